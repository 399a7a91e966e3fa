//! A customer on one page: how to reach them, what they own, and all they have to do with the shop.

use super::path;
use crate::db::customer_links::{self, Links, Merge};
use crate::db::customers::{self, Customer};
use crate::db::people::Role;
use crate::web::screens::enquiries::state_words;
use crate::web::ui::floor_words::job_state;
use crate::web::ui::{Answer, Page, Reply, Section, SignedIn, csrf_field, history, show, words};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/customers/{id}", web::get().to(page));
}

async fn page(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let customer = customers::get(&mut tx, *id).await?;
    if let Some(kept) = customer.merged_into {
        return Ok(Reply::see_other(path(kept)));
    }
    let links = customer_links::links(&mut tx, customer.id).await?;
    let merges = customer_links::merges(&mut tx, customer.id).await?;
    let past = crate::db::history::of_row(&mut tx, "customer", customer.id).await?;
    let body = html! {
        p.back { a href="/customers" { "‹ Customers" } }
        div.bar {
            h1 { (customer.name) }
            div.actions {
                a.button.quiet href={ (path(customer.id)) "/merge" } { "Merge" }
                a.button href={ (path(customer.id)) "/edit" } data-key="e" data-key-label="Edit" { "Edit" }
            }
        }
        @if !customer.note.is_empty() { p.notice { (customer.note) } }
        (figures(&links))
        (reached(&customer))
        (owned(&customer))
        (jobs(&who, &links))
        (quotes(&who, &links))
        (calls(&who, &links))
        (castings(&links))
        (merged(&who, &customer, &merges))
        (history::section_of(&who, history::Kept::Customer, customer.id, &past))
    };
    Ok(Page::new(&who, customer.name.clone())
        .nav(Section::Enquiries)
        .body(body)
        .into())
}

fn figures(links: &Links) -> Markup {
    let money = links.money;
    html! {
        section.card aria-label="Money" {
            dl.figures {
                div { dt { "Open quotes" } dd { (show::whole(money.quoted)) } }
                div { dt { "Open jobs" } dd { (show::whole(money.in_work)) } }
                div { dt { "Won in all" } dd { (show::whole(money.won)) } }
                div { dt { "Quotes won" } dd { (money.quotes_won) " of " (money.quotes_decided) } }
            }
            p.muted { "Before tax." }
        }
    }
}

fn reached(customer: &Customer) -> Markup {
    html! {
        section.card {
            h2 { "Phone, email and address" }
            dl.figures {
                @if !customer.phone.is_empty() { div { dt { "Phone" } dd { (phone(&customer.phone)) } } }
                @if !customer.email.is_empty() { div { dt { "Email" } dd { (email(&customer.email)) } } }
                @if !customer.address.is_empty() { div { dt { "Address" } dd { @for line in customer.address.lines() { (line) br; } } } }
                @if !customer.terms.is_empty() { div { dt { "Terms of payment" } dd { (customer.terms) } } }
            }
            @if customer.phone.is_empty() && customer.email.is_empty() && customer.contacts.is_empty() {
                p.muted { "No phone or email on record." }
            }
            @if !customer.contacts.is_empty() {
                table.cells {
                    thead { tr { th scope="col" { "Name" } th scope="col" { "What they do" } th scope="col" { "Phone" } th scope="col" { "Email" } } }
                    tbody { @for contact in &customer.contacts { tr {
                        th scope="row" { (contact.name) }
                        td data-label="What they do" { (contact.role) }
                        td data-label="Phone" { (phone(&contact.phone)) }
                        td data-label="Email" { (email(&contact.email)) }
                    } } }
                }
            }
        }
    }
}

fn phone(number: &str) -> Markup {
    let dial: String = number
        .chars()
        .filter(|c| c.is_ascii_digit() || *c == '+')
        .collect();
    html! { @if number.is_empty() { span.muted { "none" } } @else { a href={ "tel:" (dial) } { (number) } } }
}

fn email(address: &str) -> Markup {
    html! { @if address.is_empty() { span.muted { "none" } } @else { a href={ "mailto:" (address) } { (address) } } }
}

fn owned(customer: &Customer) -> Markup {
    html! {
        @if !customer.machines.is_empty() {
            section.card {
                h2 { "Boats, engines and machines" }
                table.cells {
                    thead { tr { th scope="col" { "Boat, vehicle or machine" } th scope="col" { "Engine" } th scope="col" { "Serial number or mark" } th scope="col" { "Note" } } }
                    tbody { @for owned in &customer.machines { tr {
                        th scope="row" { @if owned.what.is_empty() { (owned.engine) } @else { (owned.what) } }
                        td data-label="Engine" { (owned.engine) }
                        td data-label="Serial number" { (owned.serial) }
                        td data-label="Note" { (owned.note) }
                    } } }
                }
            }
        }
    }
}

fn jobs(who: &SignedIn, links: &Links) -> Markup {
    html! {
        section.card #jobs {
            h2 { "Jobs" }
            (folded(&links.jobs, |rows| html! {
                table.cells {
                    thead { tr { th scope="col" { "No." } th scope="col" { "Job" } th scope="col" { "Due" } th.number scope="col" { "Before tax" } th scope="col" { "Status" } } }
                    tbody { @for job in rows { tr {
                        th scope="row" { a href={ "/jobs/" (job.id) } { (job.number) } }
                        td data-label="Job" { (job.title) }
                        td data-label="Due" { (show::day(job.due_on, who.today())) }
                        td.number data-label="Before tax" { @match job.value { Some(value) => (value), None => { span.muted { "not agreed" } } } }
                        td data-label="Status" { span.tag { (job_state(job.state)) } }
                    } } }
                }
            }))
        }
    }
}

fn quotes(who: &SignedIn, links: &Links) -> Markup {
    html! {
        section.card #quotes {
            h2 { "Quotes" }
            (folded(&links.quotes, |rows| html! {
                table.cells {
                    thead { tr { th scope="col" { "No." } th scope="col" { "Quoted" } th scope="col" { "Valid until" } th.number scope="col" { "Before tax" } th scope="col" { "Status" } } }
                    tbody { @for quote in rows { tr {
                        th scope="row" { a href={ "/quotes/" (quote.id) } { (quote.number) } }
                        td data-label="Quoted" { (quote.title) }
                        td data-label="Valid until" { (show::day(quote.valid_until, who.today())) }
                        td.number data-label="Before tax" { (quote.net) }
                        td data-label="Status" { span.tag { (words::quote_state(quote.state)) } }
                    } } }
                }
            }))
        }
    }
}

fn calls(who: &SignedIn, links: &Links) -> Markup {
    html! {
        section.card #calls {
            h2 { "Enquiries" }
            (folded(&links.calls, |rows| html! {
                table.cells {
                    thead { tr { th scope="col" { "No." } th scope="col" { "Wanted" } th scope="col" { "Received" } th scope="col" { "Status" } } }
                    tbody { @for call in rows { tr {
                        th scope="row" { a href={ "/enquiries/" (call.id) } { (call.number) } }
                        td data-label="Wanted" { @match &call.wanted { Some(wanted) => (wanted), None => { span.muted { "not given" } } } }
                        td data-label="Received" { (show::moment(call.at, who.shop.time_zone, who.today())) }
                        td data-label="Status" { span.tag { (state_words(call.state)) } }
                    } } }
                }
            }))
        }
    }
}

fn castings(links: &Links) -> Markup {
    html! {
        @if !links.castings.is_empty() {
            section.card #castings {
                h2 { "Their castings" }
                ul.plain { @for casting in &links.castings {
                    li { a href={ "/castings/shelf/" (casting.id) } { "Casting " (casting.number) } ": " (casting.variant) }
                } }
            }
        }
    }
}

/// Rows that are shown before the rest is folded.
const SHOWN: usize = 5;

/// The newest of a list as a table, and the rest folded below it in another.
fn folded<T>(all: &[T], table: impl Fn(&[T]) -> Markup) -> Markup {
    let (newest, older) = all.split_at(all.len().min(SHOWN));
    let full = i64::try_from(all.len()) == Ok(customer_links::ROWS);
    html! {
        @if all.is_empty() { p.muted { "None yet." } } @else { (table(newest)) }
        @if !older.is_empty() {
            details {
                summary { (older.len()) " older" @if full { " of the newest " (all.len()) } }
                (table(older))
            }
        }
    }
}

fn merged(who: &SignedIn, customer: &Customer, merges: &[Merge]) -> Markup {
    html! {
        @if !merges.is_empty() {
            section.card #merged {
                h2 { "Merged into this customer" }
                ul.plain { @for merge in merges {
                    li {
                        (merge.name) ", " (show::moment(merge.at, who.shop.time_zone, who.today()))
                        @if let Some(person) = &merge.person { ", by " (person) }
                        form.inline method="post" action={ (path(customer.id)) "/merges/" (merge.id) "/undo" } {
                            (csrf_field(who))
                            button.quiet type="submit" { "Undo" span.visually-hidden { " merging " (merge.name) } }
                        }
                    }
                } }
                p.muted { "Undo gives back what came with it, except what was changed since." }
            }
        }
    }
}
