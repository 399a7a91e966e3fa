//! The shop itself: its people and settings.

mod cutting;
mod devices;
mod fitting;
pub mod hours;
mod machines;
mod order;
pub mod people;
mod rates;
mod selling;
mod sessions;
mod settings;
mod standards;
mod templates;
mod tokens;
mod variation;

pub(in crate::web) use order::OrderForm;

use crate::db::cutting::{CuttingLine, WorkMaterial};
use crate::db::people::Role;
use crate::estimating::{Element, LabourRate, Machine, WorkTemplate};
use crate::jobs::FittingText;
use crate::web::ui::record::Each;
use crate::web::ui::{Answer, Page, Section, SignedIn};
use actix_web::web;
use maud::{Markup, html};
use selling::Terms;
use settings::ShopSheet;
use variation::VariationSheet;

/// `/shop` and what is under it. One line for each screen, in alphabetical order.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cutting::routes(cfg);
    devices::routes(cfg);
    fitting::routes(cfg);
    hours::routes(cfg);
    machines::routes(cfg);
    order::routes(cfg);
    sessions::routes(cfg);
    people::routes(cfg);
    rates::routes(cfg);
    settings::routes(cfg);
    selling::routes(cfg);
    standards::routes(cfg);
    templates::routes(cfg);
    tokens::routes(cfg);
    variation::routes(cfg);
    cfg.route(Section::Shop.path(), web::get().to(index));
}

/// The records that are kept here.
pub(in crate::web) fn records(each: &mut impl Each) {
    each.record::<Machine>();
    each.record::<Element>();
    each.record::<people::Staff>();
    each.record::<LabourRate>();
    each.record::<ShopSheet>();
    each.record::<VariationSheet>();
    each.record::<Terms>();
    each.record::<WorkMaterial>();
    each.record::<CuttingLine>();
    each.record::<WorkTemplate>();
    each.record::<FittingText>();
    hours::records(each);
}

/// Screens listed on `/shop`: address, name, what it is for, who may use it. In the order a shop is set up.
const SCREENS: &[(&str, &str, &str, Role)] = &[
    (
        "/shop/settings",
        "Settings",
        "Overhead, margin, tax, confidence, how long a quote holds; the clock and the units",
        Role::Office,
    ),
    (
        "/shop/terms",
        "Terms of sale",
        "What a week’s wait is worth, searches, the least margin, how long an answer keeps",
        Role::Office,
    ),
    (
        "/shop/machines",
        "Machines",
        "Each machine, and what an hour of it costs, line by line",
        Role::Office,
    ),
    (
        "/shop/rates",
        "Labour rates",
        "What an hour of labour costs, by skill",
        Role::Office,
    ),
    (
        "/shop/standards",
        "Standard times",
        "The elements of work: how long each takes, its checks, cautions and materials",
        Role::Machinist,
    ),
    (
        "/shop/templates",
        "Everyday work",
        "What callers ask for again and again, as lists of standard times that a quick quote starts from",
        Role::Office,
    ),
    (
        "/shop/fitting",
        "Fitting sheets",
        "What goes out with a job for whoever fits it, by kind of work",
        Role::Office,
    ),
    (
        "/shop/order",
        "Order of work",
        "Which kinds of work come before which on a casting, and why",
        Role::Machinist,
    ),
    (
        "/shop/variation",
        "How work varies",
        "How far work differs from its standard times; days off sick, breakdowns, rework",
        Role::Office,
    ),
    (
        "/review/standards",
        "Standard times against bookings",
        "Which standard times are short or long by your own bookings, and what a change would do to quotes",
        Role::Office,
    ),
    (
        "/review/spread",
        "How work varies, by bookings",
        "How much people, jobs and kinds of work really differ; days off and rework as they were",
        Role::Office,
    ),
    (
        "/review/quotes",
        "Quotes won and lost",
        "What wins a quote: by price, by kind, and why the others are lost",
        Role::Office,
    ),
    (
        "/shop/cutting",
        "Cutting data",
        "Speeds and feeds by material and tool, behind calculated times",
        Role::Machinist,
    ),
    (
        "/shop/people",
        "People",
        "Who works here, what they can do, and how they sign in",
        Role::Owner,
    ),
    (
        "/shop/devices",
        "Bench devices",
        "Tablets and phones at the machines, and the PINs people sign on with there",
        Role::Owner,
    ),
    (
        "/shop/tokens",
        "API tokens",
        "Let a program of your own read or change what is here",
        Role::Owner,
    ),
    (
        "/shop/hours",
        "Hours",
        "Weekly shifts, holidays and stops that ready dates are based on",
        Role::Owner,
    ),
];

/// Said above a form that only the owner may save.
fn read_only() -> Markup {
    html! { p.notice { "Read only: the owner of the shop can change this." } }
}

async fn index(who: SignedIn) -> Answer {
    let screens = SCREENS.iter().filter(|(.., role)| who.may(*role));
    let body = html! {
        h1 { (who.shop.name) }
        ul.doors {
            @for (path, name, purpose, _) in screens {
                li { a href=(path) { strong { (name) } span { (purpose) } } }
            }
            li { a href="/feeds" { strong { "Calendar feeds" } span { "A machine’s or a person’s week in a phone’s calendar" } } }
            li { a href="/password" { strong { "Your password" } span { "Change your password" } } }
        }
    };
    Ok(Page::new(&who, "Shop").nav(Section::Shop).body(body).into())
}
