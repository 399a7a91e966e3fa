//! Won and lost: by price, by kind, by reason; and the chance to win by price over cost.

use super::words::percent;
use crate::app::review_quotes::{QuotesReview, quotes_review};
use crate::db::decided_quotes::DecidedQuote;
use crate::enquiry::OptionKind;
use crate::enquiry::quote::QuoteState;
use crate::enquiry::say::whole;
use crate::review::rates::share;
use crate::review::ratios::Interval;
use crate::review::wins::{Curve, LEAST_OFFERS, Offer};
use crate::units::{Code, Money};
use crate::web::screens::review::tabs;
use crate::web::ui::show::coordinate as n;
use crate::web::ui::show::count;
use crate::web::ui::{Answer, Page, Section, SignedIn};
use actix_web::web;
use chrono::Utc;
use maud::{Markup, html};
use rust_decimal::Decimal;
use std::collections::BTreeMap;

const TITLE: &str = "Quotes won and lost";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/review/quotes", web::get().to(show));
}

async fn show(who: SignedIn) -> Answer {
    let review = quotes_review(&who.actor(), Utc::now()).await?;
    let body = html! {
        h1 { (TITLE) }
        (tabs("/review/quotes"))
        @if review.quotes.is_empty() {
            section.card {
                p { "Here you will see which quotes are won: by price, by kind of work, and why the others are lost." }
                p { "No quote is decided yet. On each " a href="/quotes" { "quote" } ", say whether it was accepted or declined, and why." }
            }
        } @else { (found(&review)) }
    };
    Ok(Page::new(&who, TITLE)
        .nav(Section::Review)
        .body(body)
        .into())
}

/// How many of some quotes were won.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    won: u64,
    all: u64,
}

impl Tally {
    fn add(&mut self, quote: &DecidedQuote) {
        self.all += 1;
        self.won += u64::from(quote.state == QuoteState::Won);
    }

    fn share(self) -> Option<Interval> {
        share(self.won, self.all)
    }
}

fn found(review: &QuotesReview) -> Markup {
    let mut all = Tally::default();
    for quote in &review.quotes {
        all.add(quote);
    }
    let unanswered = review
        .quotes
        .iter()
        .filter(|q| q.state == QuoteState::Lapsed)
        .count();
    html! {
        p.lead {
            (all.won) " of the last " (count(all.all as i64, "quote", "quotes")) " that were decided were won"
            @if let Some(share) = all.share() { ": " strong { (percent(share.likely)) } }
            "." @if unanswered > 0 { " " (count(unanswered as i64, "was", "were")) " never answered." }
        }
        section.card #chance {
            h2 { "Chance to win by price" }
            @match &review.curve {
                Some(curve) => { (picture(curve, &review.offers)) (said(curve)) }
                None => { p { (no_curve(review)) } }
            }
        }
        section.card { h2 { "By price" } (tallies("Price before tax", &by_price(&review.quotes))) }
        section.card { h2 { "By kind" } (tallies("Kind", &by_kind(&review.quotes))) }
        section.card { h2 { "Why they were lost" } (reasons(&review.quotes)) }
        p.no-print { a type="text/csv" href="/review/quotes.csv" { "Download for a spreadsheet" } }
    }
}

fn no_curve(review: &QuotesReview) -> String {
    if review.offers.len() < LEAST_OFFERS {
        format!(
            "It takes {LEAST_OFFERS} decided quotes with a margin to see what price does; there are {}.",
            review.offers.len()
        )
    } else {
        "All quotes were priced at nearly the same margin, so nothing can be seen of what price does.".to_owned()
    }
}

fn said(curve: &Curve) -> Markup {
    let at = |factor: f64| curve.chance(curve.middle * factor);
    let usual = at(1.0);
    html! {
        p {
            "At your usual price, " (format!("{:.2}", curve.middle)) " times cost, you win " strong { (percent(usual.likely)) }
            " (9 in 10 sure: " (percent(usual.low)) " to " (percent(usual.high)) "). "
            @if curve.price_counts() {
                "5 % cheaper it would be " (percent(at(0.95).likely)) ", 5 % dearer " (percent(at(1.05).likely)) "."
            } @else { "Whether a quote was cheap or dear has made no clear difference so far." }
        }
        p.muted {
            "From " (count(curve.offers as i64, "quote", "quotes")) ". Cost is the price without its margin. "
            "The shaded band holds the true chance 9 times in 10."
        }
    }
}

const LEFT: f64 = 56.0;
const RIGHT: f64 = 616.0;
const TOP: f64 = 26.0;
const BOTTOM: f64 = 226.0;

/// The curve with its band; quotes that were won as dots above, those that were not as crosses below.
fn picture(curve: &Curve, offers: &[Offer]) -> Markup {
    let (low, high) = (curve.ends.0 * 0.99, curve.ends.1 * 1.01);
    let x = |over: f64| LEFT + (RIGHT - LEFT) * (over / low).ln() / (high / low).ln();
    let y = |chance: f64| BOTTOM - (BOTTOM - TOP) * chance;
    let places: Vec<f64> = (0..=60)
        .map(|i| low * (high / low).powf(f64::from(i) / 60.0))
        .collect();
    let line = |of: &dyn Fn(Interval) -> f64| {
        let points = places
            .iter()
            .map(|over| format!("{} {}", n(x(*over)), n(y(of(curve.chance(*over))))));
        points.collect::<Vec<_>>()
    };
    let middle = format!("M{}", line(&|i| i.likely).join("L"));
    let mut around = line(&|i| i.high);
    around.extend(line(&|i| i.low).into_iter().rev());
    let band = format!("M{}Z", around.join("L"));
    let marks = [1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.8, 2.0, 2.5, 3.0];
    html! {
        svg.picture.evidence viewBox="0 0 640 290" role="img" aria-labelledby="wins-title wins-desc" {
            title #wins-title { "Chance to win by price over cost" }
            desc #wins-desc {
                "At " (format!("{:.2}", curve.middle)) " times cost " (percent(curve.chance(curve.middle).likely)) "; at the cheapest "
                (percent(curve.chance(curve.ends.0).likely)) ", at the dearest " (percent(curve.chance(curve.ends.1).likely)) "."
            }
            path.band d=(band) {}
            @for p in [0.0, 0.25, 0.5, 0.75, 1.0] {
                line.grid x1=(n(LEFT)) x2=(n(RIGHT)) y1=(n(y(p))) y2=(n(y(p))) {}
                text.small x=(n(LEFT - 8.0)) y=(n(y(p) + 4.0)) text-anchor="end" { (format!("{:.0} %", p * 100.0)) }
            }
            path.curve d=(middle) {}
            @for offer in offers {
                @let cx = x(offer.over_cost);
                @if offer.won { circle.seen cx=(n(cx)) cy="12" r="3.5" {} }
                @else { path.passed d={ "M" (n(cx - 3.0)) " 235l6 6m0 -6l-6 6" } {} }
            }
            @for mark in marks.into_iter().filter(|m| (low..=high).contains(m)) {
                line.tick x1=(n(x(mark))) x2=(n(x(mark))) y1="248" y2="253" {}
                text.small x=(n(x(mark))) y="267" text-anchor="middle" { "× " (mark) }
            }
            text.small x=(n((LEFT + RIGHT) / 2.0)) y="286" text-anchor="middle" { "price over cost; dots were won, crosses were not" }
        }
    }
}

/// Upper ends of the price bands, in whole units of money.
const BANDS: [i64; 5] = [250, 500, 1_000, 2_000, 5_000];

fn by_price(quotes: &[DecidedQuote]) -> Vec<(String, Tally)> {
    let mut tallies = [Tally::default(); BANDS.len() + 1];
    for quote in quotes {
        let at = BANDS
            .iter()
            .position(|end| quote.net.amount() < Decimal::from(*end));
        if let Some(tally) = tallies.get_mut(at.unwrap_or(BANDS.len())) {
            tally.add(quote);
        }
    }
    let Some(currency) = quotes.first().map(|q| q.net.currency()) else {
        return Vec::new();
    };
    let said = |units: i64| whole(Money::new(Decimal::from(units), currency));
    let names = (0..tallies.len()).map(|i| {
        match (i.checked_sub(1).and_then(|b| BANDS.get(b)), BANDS.get(i)) {
            (None, Some(end)) => format!("under {}", said(*end)),
            (Some(from), Some(end)) => format!("{} to {}", said(*from), said(*end)),
            (Some(from), None) => format!("{} and over", said(*from)),
            (None, None) => String::new(),
        }
    });
    names.zip(tallies).filter(|(_, t)| t.all > 0).collect()
}

fn kind(code: &str) -> &'static str {
    match OptionKind::from_code(code) {
        Some(OptionKind::Inspect) => "Inspect customer’s own block",
        Some(OptionKind::Repair) => "Repair customer’s own block",
        Some(OptionKind::ConvertOwn) => "Convert customer’s own block",
        Some(OptionKind::ConvertShelf) => "Convert from the shelf",
        Some(OptionKind::ConvertBought | OptionKind::ConvertOffered) => "Buy and convert",
        Some(OptionKind::Shelf) => "From the shelf",
        Some(OptionKind::Offered) => "Buy one on offer",
        Some(OptionKind::Hunt) => "Find one",
        Some(OptionKind::Work) => "Work on a part",
        None => "Other",
    }
}

fn by_kind(quotes: &[DecidedQuote]) -> Vec<(String, Tally)> {
    let mut by: BTreeMap<&str, Tally> = BTreeMap::new();
    for quote in quotes {
        by.entry(kind(&quote.option_kind)).or_default().add(quote);
    }
    let mut by: Vec<(String, Tally)> = by.into_iter().map(|(k, t)| (k.to_owned(), t)).collect();
    by.sort_by_key(|(_, t)| std::cmp::Reverse(t.all));
    by
}

/// Shares of few quotes are said with how little that is.
fn tallies(head: &str, rows: &[(String, Tally)]) -> Markup {
    html! {
        table.cells {
            thead { tr { th scope="col" { (head) } th.number scope="col" { "Quotes" } th.number scope="col" { "Won" } th scope="col" { "9 in 10 sure" } } }
            tbody { @for (name, tally) in rows {
                tr {
                    th scope="row" { (name) }
                    td.number data-label="Quotes" { (tally.all) }
                    td.number data-label="Won" { (tally.won) }
                    td data-label="9 in 10 sure" {
                        @match tally.share().filter(|_| tally.all >= 5) {
                            Some(s) => { (format!("{:.0} to {:.0} %", s.low * 100.0, s.high * 100.0)) }
                            None => { span.muted { "too few" } }
                        }
                    }
                }
            } }
        }
    }
}

fn reasons(quotes: &[DecidedQuote]) -> Markup {
    let mut by: BTreeMap<String, (String, u64)> = BTreeMap::new();
    let lost = quotes.iter().filter(|q| q.state != QuoteState::Won);
    for quote in lost.clone() {
        let why = match quote.lost_why.as_deref().map(str::trim) {
            Some(why) if !why.is_empty() => why,
            _ => "Never answered",
        };
        by.entry(why.to_lowercase())
            .or_insert_with(|| (why.to_owned(), 0))
            .1 += 1;
    }
    let all = lost.count();
    let mut by: Vec<(String, u64)> = by.into_values().collect();
    by.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    html! {
        @if all == 0 { p { "None was lost." } } @else {
            table.cells {
                thead { tr { th scope="col" { "Reason" } th.number scope="col" { "Quotes" } } }
                tbody { @for (why, n) in by.iter().take(12) {
                    tr { th scope="row" { (why) } td.number data-label="Quotes" { (n) } }
                } }
            }
            @if by.len() > 12 { p.muted { "And " (by.len() - 12) " other reasons." } }
        }
    }
}
