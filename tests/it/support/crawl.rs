//! A visitor that reads pages as a browser without a window does: every link, every form, every field.

use super::site::Visitor;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// An address in a page that leads somewhere within the site, without its fragment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Path and query.
    pub path: String,
    /// Whether it names its type: it leads to a document and not to a page.
    pub document: bool,
    /// What a form that only asks leads to.
    pub asked: bool,
}

/// One field of a form, with the value it would be sent with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormField {
    pub name: String,
    /// `text`, `date`, `select`, …
    pub kind: String,
    pub value: String,
}

/// A form as it stands in a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Form {
    pub post: bool,
    /// Path and query.
    pub action: String,
    pub fields: Vec<FormField>,
}

/// A page that was reached.
#[derive(Debug)]
pub struct Reached {
    pub path: String,
    pub status: u16,
    /// Where it was linked.
    pub from: String,
    /// Whether it is what a form that only asks leads to, with its fields as they stand.
    pub asked: bool,
    /// Empty for a document.
    pub html: String,
}

/// A path with each key, number and day as a star: what is alike in all pages of a kind. Days without end lead on from
/// one another.
pub fn kind_of(path: &str) -> String {
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let parts: Vec<&str> = path
        .split('/')
        .map(|part| {
            let key = part.len() == 36 && part.matches('-').count() == 4;
            let number = !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
            let day = part.parse::<chrono::NaiveDate>().is_ok();
            if key || number || day { "*" } else { part }
        })
        .collect();
    let names: Vec<&str> = query
        .split('&')
        .filter_map(|pair| pair.split('=').next())
        .collect();
    format!("{}?{}", parts.join("/"), names.join("&"))
}

/// The first job of a list of jobs.
pub async fn first_job(visitor: &Visitor, list: &str) -> String {
    let page = visitor.get(list).await.text().await.unwrap();
    let rows = page.split("<tbody>").nth(1).expect("a job");
    let link = rows.split("href=\"").nth(1).expect("a link");
    link.split('"').next().unwrap_or_default().to_owned()
}

/// Follows every link, and every form that only asks, from page to page; of pages of one kind at most `of_a_kind`.
pub async fn every_page(visitor: &Visitor, starts: &[&str], of_a_kind: usize) -> Vec<Reached> {
    let mut queue: VecDeque<(Link, String)> = starts
        .iter()
        .map(|path| {
            let link = Link {
                path: (*path).to_owned(),
                document: false,
                asked: false,
            };
            (link, "the start".to_owned())
        })
        .collect();
    let mut seen: BTreeSet<String> = BTreeSet::new();
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    let mut reached = Vec::new();
    while let Some((link, from)) = queue.pop_front() {
        if !seen.insert(link.path.clone()) {
            continue;
        }
        let count = counts.entry(kind_of(&link.path)).or_default();
        if *count == of_a_kind {
            continue;
        }
        *count += 1;
        let answer = visitor.get(&link.path).await;
        let status = answer.status().as_u16();
        let headers = answer.headers();
        let header = |name| {
            let value = headers.get(name);
            value.and_then(|v| v.to_str().ok()).unwrap_or_default()
        };
        let is_page = header("content-type").starts_with("text/html");
        let location = header("location").to_owned();
        // Documents are read too: an answer that is dropped half read costs its connection.
        let body = answer.bytes().await.unwrap();
        let html = if is_page {
            String::from_utf8_lossy(&body).into_owned()
        } else {
            String::new()
        };
        let mut next = links(&html, &link.path);
        if status == 303 || status == 302 {
            next.extend(resolve(&location, &link.path).map(|path| Link {
                path,
                document: false,
                asked: false,
            }));
        }
        let asking = forms(&html, &link.path).into_iter().filter(|f| !f.post);
        next.extend(asking.map(|form| Link {
            path: form.address(),
            document: false,
            asked: true,
        }));
        queue.extend(next.into_iter().map(|next| (next, link.path.clone())));
        reached.push(Reached {
            path: link.path,
            status,
            from,
            asked: link.asked,
            html,
        });
    }
    reached
}

impl Form {
    /// The address that a form which only asks leads to, with its fields as they stand.
    pub fn address(&self) -> String {
        let pairs: Vec<(&str, &str)> = self
            .fields
            .iter()
            .map(|f| (f.name.as_str(), f.value.as_str()))
            .collect();
        let path = self.action.split('?').next().unwrap_or_default();
        format!("{path}?{}", super::site::encoded(&pairs))
    }
}

/// The addresses of a page's links.
pub fn links(html: &str, at: &str) -> Vec<Link> {
    tags(html)
        .filter(|(name, _)| *name == "a")
        .filter_map(|(_, tag)| {
            Some(Link {
                path: resolve(&attribute(tag, "href")?, at)?,
                document: attribute(tag, "type").is_some(),
                asked: false,
            })
        })
        .filter(|link| !link.path.starts_with("/static/"))
        .collect()
}

/// The forms of a page.
pub fn forms(html: &str, at: &str) -> Vec<Form> {
    let mut forms: Vec<Form> = Vec::new();
    let mut inside = false;
    let mut select: Option<(String, Option<String>)> = None;
    let mut rest = html;
    while let Some((name, tag, after)) = next_tag(rest) {
        rest = after;
        match name {
            "form" => {
                let action = attribute(tag, "action").unwrap_or_default();
                forms.push(Form {
                    post: attribute(tag, "method").as_deref() == Some("post"),
                    action: resolve(&action, at).unwrap_or_else(|| at.to_owned()),
                    fields: Vec::new(),
                });
                inside = true;
            }
            "/form" => inside = false,
            "input" | "textarea" | "button" if inside => {
                let kind = match name {
                    "input" => attribute(tag, "type").unwrap_or_else(|| "text".to_owned()),
                    other => other.to_owned(),
                };
                let ticked = !matches!(kind.as_str(), "checkbox" | "radio") || has(tag, "checked");
                let value = match name {
                    "textarea" => text(after.split("</textarea>").next().unwrap_or_default()),
                    _ => attribute(tag, "value").unwrap_or_default(),
                };
                let named = attribute(tag, "name").filter(|_| ticked && name != "button");
                if let (Some(name), Some(form)) = (named, forms.last_mut()) {
                    form.fields.push(FormField { name, kind, value });
                }
            }
            "select" if inside => {
                select = attribute(tag, "name").map(|name| (name, None));
            }
            "option" => {
                if let Some((_, chosen)) = &mut select
                    && (chosen.is_none() || has(tag, "selected"))
                {
                    *chosen = attribute(tag, "value");
                }
            }
            "/select" => {
                if let (Some((name, value)), Some(form)) = (select.take(), forms.last_mut()) {
                    form.fields.push(FormField {
                        name,
                        kind: "select".to_owned(),
                        value: value.unwrap_or_default(),
                    });
                }
            }
            _ => {}
        }
    }
    forms
}

/// A reference of a page as path and query; `None` when it leads out of the site or nowhere.
fn resolve(href: &str, at: &str) -> Option<String> {
    let href = href.split('#').next().unwrap_or_default();
    let here = at.split('?').next().unwrap_or_default();
    let outside = href.starts_with("//") || href.split(['/', '?']).next()?.contains(':');
    match href.chars().next() {
        None => None,
        Some(_) if outside => None,
        Some('/') => Some(href.to_owned()),
        Some('?') => Some(format!("{here}{href}")),
        Some(_) => {
            let (folder, _) = here.rsplit_once('/')?;
            Some(format!("{folder}/{href}"))
        }
    }
}

/// Name and inside of each tag.
fn tags(html: &str) -> impl Iterator<Item = (&str, &str)> {
    let mut rest = html;
    std::iter::from_fn(move || {
        let (name, tag, after) = next_tag(rest)?;
        rest = after;
        Some((name, tag))
    })
}

/// The next tag: its name, its inside and what comes after. Our pages escape `<` in text and `"` in values.
fn next_tag(html: &str) -> Option<(&str, &str, &str)> {
    let (_, from) = html.split_once('<')?;
    let mut quoted = false;
    let end = from.find(|c| {
        quoted ^= c == '"';
        c == '>' && !quoted
    })?;
    let (tag, after) = from.split_at(end);
    let name = tag.split([' ', '\n']).next().unwrap_or_default();
    Some((name, tag, after.get(1..)?))
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    let (_, from) = tag.split_once(&format!(" {name}=\""))?;
    Some(text(from.split('"').next()?))
}

fn has(tag: &str, name: &str) -> bool {
    tag.split([' ', '\n']).any(|part| part == name)
}

fn text(escaped: &str) -> String {
    escaped
        .replace("&quot;", "\"")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&")
}
