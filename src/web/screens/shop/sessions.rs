//! Who is signed in, from where and since when, for the owner, who can end it.

use crate::app::sign_in;
use crate::db::people::Role;
use crate::db::sessions::{self, Running};
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::show::{count, moment};
use crate::web::ui::{Answer, CheckedForm, Page, Reply, Section, SignedIn, csrf_field};
use actix_web::{HttpRequest, web};
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

const PATH: &str = "/shop/people/sessions";

/// `/shop/people/sessions`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/shop/people/sessions/{id}/end", web::post().to(end));
}

#[derive(Debug, Deserialize)]
struct Nothing {}

/// Rules: the owner alone; the session that asks is marked.
async fn list(req: HttpRequest, who: SignedIn, site: web::Data<Site>) -> Answer {
    who.require(Role::Owner)?;
    let own = session::token_of(&req, &site).map(|token| token.hash());
    let mut tx = who.begin().await?;
    let own = own.as_ref().map(<[u8; 32]>::as_slice);
    let running = sessions::running(&mut tx, own, Utc::now()).await?;
    let hours = sessions::IDLE.num_hours();
    let body = html! {
        div.bar { h1 { "Who is signed in" } }
        p.muted { "A session ends by itself after " (count(hours, "hour", "hours")) " without use. Bench devices are listed under " a href="/shop/devices" { "Bench devices" } "." }
        table.cells {
            thead {
                tr { th scope="col" { "Name" } th scope="col" { "From" } th scope="col" { "Browser" } th scope="col" { "Since" } th scope="col" { "Last used" } th scope="col" { span.visually-hidden { "End it" } } }
            }
            tbody { @for one in &running { (line(&who, one)) } }
        }
    };
    Ok(Page::new(&who, "Who is signed in")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn line(who: &SignedIn, one: &Running) -> Markup {
    let at = |when| moment(when, who.shop.time_zone, who.today());
    html! {
        tr {
            th scope="row" { a href={ "/shop/people/" (one.person_id) } { (one.name) } }
            td data-label="From" { @if one.address.is_empty() { span.muted { "not known" } } @else { (one.address) } }
            td data-label="Browser" { (browser(&one.browser)) }
            td data-label="Since" { (at(one.created_at)) }
            td data-label="Last used" { (at(one.last_seen_at)) }
            td {
                @if one.own { span.tag { "This one" } } @else {
                    form method="post" action={ (PATH) "/" (one.id) "/end" } {
                        (csrf_field(who))
                        button.quiet type="submit" aria-label={ "Sign out " (one.name) } { "Sign out" }
                    }
                }
            }
        }
    }
}

/// Browser and system in words, from what the browser calls itself; the first that fits, as most name others too.
fn browser(name: &str) -> String {
    let first = |known: &[(&str, &'static str)]| {
        let found = known.iter().find(|(mark, _)| name.contains(mark));
        found.map(|(_, word)| *word)
    };
    let browser = first(&[
        ("Edg", "Edge"),
        ("OPR/", "Opera"),
        ("Firefox/", "Firefox"),
        ("Chrome/", "Chrome"),
        ("Safari/", "Safari"),
    ]);
    let system = first(&[
        ("Android", "Android"),
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Windows", "Windows"),
        ("Mac OS X", "Mac"),
        ("Linux", "Linux"),
    ]);
    match (browser, system) {
        (Some(browser), Some(system)) => format!("{browser}, {system}"),
        (Some(one), None) | (None, Some(one)) => one.to_owned(),
        (None, None) => "Not known".to_owned(),
    }
}

async fn end(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    sign_in::end_session(&who.actor(), *id).await?;
    Ok(Reply::see_other(PATH).flash("Signed out."))
}

#[cfg(test)]
mod tests {
    #[test]
    fn browsers_are_named_in_words() {
        for (name, words) in [
            (
                "Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0",
                "Firefox, Linux",
            ),
            (
                "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0 Mobile Safari/537.36",
                "Chrome, Android",
            ),
            ("curl/8.5", "Not known"),
        ] {
            assert_eq!(super::browser(name), words);
        }
    }
}
