//! The guide: the trade's own tasks, each on a page with a picture. Its text stands in `guide/`, its pictures are those the
//! tests take.

use crate::web::shell::assets;
use crate::web::ui::{Answer, Page, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, PreEscaped, html};
use pulldown_cmark::{CowStr, Event, Parser, Tag, html::push_html};

/// A task with its text in Markdown, the title first.
struct Topic {
    code: &'static str,
    text: &'static str,
}

macro_rules! topics {
    ($($code:literal),+ $(,)?) => {
        [$(Topic {
            code: $code,
            text: include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/guide/", $code, ".md")),
        }),+]
    };
}

/// In the order in which a shop meets them.
const TOPICS: [Topic; 8] = topics![
    "first-hour",
    "call",
    "job",
    "week",
    "bench",
    "casting",
    "market",
    "month",
];

impl Topic {
    fn title(&self) -> &'static str {
        let first = self.text.lines().next().unwrap_or_default();
        first.trim_start_matches('#').trim()
    }

    fn path(&self) -> String {
        format!("/help/{}", self.code)
    }

    /// Its text with each picture at the address it is served under.
    fn body(&self) -> Markup {
        let events = Parser::new(self.text).map(|event| match event {
            Event::Start(Tag::Image {
                link_type,
                dest_url,
                title,
                id,
            }) => Event::Start(Tag::Image {
                link_type,
                dest_url: CowStr::from(assets::url(&format!("{dest_url}.png"))),
                title,
                id,
            }),
            other => other,
        });
        let mut out = String::new();
        push_html(&mut out, events);
        PreEscaped(out)
    }
}

/// `/help` and a page for each task.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/help", web::get().to(list))
        .route("/help/{topic}", web::get().to(topic));
}

async fn list(who: SignedIn) -> Answer {
    let body = html! {
        h1 { "Help" }
        p.lead { "What a shop does with it, one page for each task." }
        ul.links { @for topic in &TOPICS { li { a href=(topic.path()) { (topic.title()) } } } }
        p { "Press " kbd { "?" } " on any page for its keys." }
    };
    Ok(Page::new(&who, "Help").body(body).into())
}

async fn topic(who: SignedIn, code: web::Path<String>) -> Answer {
    let found = TOPICS.iter().find(|topic| topic.code == *code);
    let topic = found.ok_or(WebError::NotFound("this page of the guide"))?;
    let body = html! {
        p.back { a href="/help" { "‹ Help" } }
        article.guide { (topic.body()) }
        nav aria-label="Other tasks" { ul.links {
            @for other in TOPICS.iter().filter(|other| other.code != topic.code) {
                li { a href=(other.path()) { (other.title()) } }
            }
        } }
    };
    Ok(Page::new(&who, topic.title()).body(body).into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_task_has_a_title_and_its_pictures_are_served() {
        for topic in &TOPICS {
            assert!(topic.text.starts_with("# "), "{}", topic.code);
            let html = topic.body().into_string();
            assert!(
                html.contains("<ol>") || html.contains("<ul>"),
                "{}",
                topic.code
            );
            for picture in html.split("src=\"").skip(1) {
                let address = picture.split('"').next().unwrap();
                assert!(address.ends_with(".png"), "{address}");
            }
        }
    }
}
