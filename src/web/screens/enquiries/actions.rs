//! What is done about a call, whatever it asks for: quoting an option, agreeing another price, closing it; and the quotes given.

use crate::app::answer_enquiry::ReadOut;
use crate::db::enquiries::Enquiry;
use crate::enquiry::quote::{Quote, slot_until};
use crate::enquiry::{EnquiryState, OptionAnswer, Terms};
use crate::web::ui::{Field, SignedIn, csrf_field, show, words};
use maud::{Markup, html};
use uuid::Uuid;

/// Closing with no sale, or reopening.
pub(super) fn close_form(who: &SignedIn, enquiry: &Enquiry) -> Markup {
    let closed = enquiry.state == EnquiryState::Closed;
    html! {
        @if matches!(enquiry.state, EnquiryState::Open | EnquiryState::Closed) {
            form method="post" action={ "/enquiries/" (enquiry.id) "/close" } {
                (csrf_field(who))
                input type="hidden" name="version" value=(enquiry.version);
                input type="hidden" name="closed" value=(if closed { "no" } else { "yes" });
                button.quiet type="submit" { @if closed { "Reopen" } @else { "No sale" } }
            }
        }
    }
}

/// Quotes already given.
pub(super) fn quotes_given(quotes: &[Quote]) -> Markup {
    html! {
        @if !quotes.is_empty() {
            h3 { "Quotes given" }
            ul.plain {
                @for quote in quotes {
                    li {
                        a href={ "/quotes/" (quote.id) } { "Quote " (quote.number) } ": " (quote.title) ", " (quote.net)
                        " before tax, " (words::quote_state(quote.state))
                    }
                }
            }
        }
    }
}

/// Quoting an option as it was read out, or on other terms.
pub(super) fn quote_form(
    who: &SignedIn,
    enquiry_id: Uuid,
    read_out: &ReadOut,
    option: &OptionAnswer,
) -> Markup {
    let is_search = option
        .figures()
        .is_some_and(|figures| matches!(figures.terms, Terms::Search(_)));
    let late = option
        .figures()
        .is_some_and(|figures| !is_search && read_out.answer.days_late(figures).is_some());
    let slot = show::day(slot_until(who.today()), who.today());
    let asked = format!("answer={}&option={}", read_out.id, option.key);
    html! {
        @if late {
            p { a href={ "/enquiries/" (enquiry_id) "/sooner?" (asked) } {
                "What would make the day?" span.visually-hidden { " " (option.title) }
            } }
        }
        form method="post" action={ "/enquiries/" (enquiry_id) "/quotes" } {
            (csrf_field(who))
            input type="hidden" name="option" value=(option.key);
            input type="hidden" name="answer" value=(read_out.id);
            input type="hidden" name="form" value=(Uuid::now_v7());
            (Field::checkbox("hold", &format!("Reserve the slot until {slot}"), false)
                .value("yes").id(&format!("hold-{}", option.key.replace(':', "-"))))
            button type="submit" { "Quote this option" span.visually-hidden { ": " (option.title) } }
        }
        @if option.figures().is_some() && !is_search {
            p { a href={ "/enquiries/" (enquiry_id) "/bargain?" (asked) } {
                "Agree another price" span.visually-hidden { ": " (option.title) }
            } }
        }
    }
}
