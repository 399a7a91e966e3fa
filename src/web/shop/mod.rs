//! The shop itself: its people and settings.

pub mod hours;
pub mod people;

use super::{Answer, Page, Section, SignedIn};
use crate::store::people::Role;
use actix_web::web;
use maud::html;

/// `/shop` and what is under it. One line for each screen, in alphabetical order.
pub fn routes(cfg: &mut web::ServiceConfig) {
    hours::routes(cfg);
    people::routes(cfg);
    cfg.route(Section::Shop.path(), web::get().to(index));
}

/// Screens listed on `/shop`: address, name, what it is for, who may use it. In the order a shop is set up.
const SCREENS: &[(&str, &str, &str, Role)] = &[
    (
        "/shop/people",
        "People",
        "Who works here, what they can do, and how they sign in",
        Role::Owner,
    ),
    (
        "/shop/hours",
        "Hours",
        "Weekly shifts, holidays and stops, which ready dates count on",
        Role::Owner,
    ),
];

async fn index(who: SignedIn) -> Answer {
    let screens = SCREENS.iter().filter(|(.., role)| who.may(*role));
    let body = html! {
        h1 { (who.shop.name) }
        ul.doors {
            @for (path, name, purpose, _) in screens {
                li { a href=(path) { strong { (name) } span { (purpose) } } }
            }
            li { a href="/password" { strong { "Your password" } span { "Change what you sign in with" } } }
        }
    };
    Ok(Page::new(&who, "Shop").nav(Section::Shop).body(body).into())
}
