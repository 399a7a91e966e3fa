//! The answer: the sentence to say, the ranges drawn, the options side by side, each opening down to its lines.

use super::picture;
use crate::castings::Conversion;
use crate::enquiry::{Answer, Comparison, Figures, OptionAnswer, OptionKind, Outcome, Terms};
use crate::estimating::{CostLine, Route};
use crate::web::ui::{SignedIn, show, words};
use chrono::{DateTime, NaiveDate, Utc};
use maud::{Markup, html};
use uuid::Uuid;

/// What can be done with options, as markup.
pub(super) struct Acts<'a> {
    /// Quoting one.
    pub(super) quote: &'a dyn Fn(&OptionAnswer) -> Markup,
    /// Saying what a casting of a variant costs that nobody has seen.
    pub(super) opinion: &'a dyn Fn(Uuid) -> Markup,
}

/// The whole answer.
pub(super) fn view(who: &SignedIn, answer: &Answer, acts: &Acts) -> Markup {
    let zone = who.shop.time_zone;
    let possible = answer.options.iter().any(|o| o.figures().is_some());
    html! {
        div.card.say {
            h2 { "Tell the customer" }
            p.sentence { (answer.sentence) }
            p.muted { (words::dates_from(answer.plan)) }
        }
        @if possible {
            div.card.pictures data-fold="the pictures" {
                figure { figcaption { "Price before tax" } (picture::price(answer)) }
                figure { figcaption { "Ready, time from now" } (picture::ready(answer, zone)) }
                p.legend {
                    "Bar: 80 % of " (answer.futures) " simulated outcomes fall in it. Diamond: the middle one. Flag: the price to quote and the day to promise, "
                    (answer.confidence_percent) " % sure"
                    @if answer.options.iter().any(is_search) { "; a search promises nothing" }
                    "."
                    @if let Some(share) = answer.day_share_percent {
                        " By the record of promises kept, a day is " (answer.confidence_percent) " % sure when it holds in " (share) " % of the futures."
                    }
                }
            }
        }
        @if let Some(comparison) = &answer.comparison { (compared(comparison, answer)) }
        div.options {
            @for option in &answer.options { (card(who, answer, option, acts)) }
        }
    }
}

fn is_search(option: &OptionAnswer) -> bool {
    let terms = option.figures().map(|figures| &figures.terms);
    matches!(terms, Some(Terms::Search(_)))
}

fn compared(comparison: &Comparison, answer: &Answer) -> Markup {
    let conversion = answer
        .option(&comparison.conversion)
        .map_or("", |o| &o.title);
    html! {
        div.card {
            h2 { "Convert or find one?" }
            p.muted { (conversion) ", against finding one" }
            dl.figures {
                div { dt { "Converting is cheaper" } dd { (comparison.cheaper_percent) " %" } }
                @if let Some(percent) = comparison.sooner_percent {
                    div { dt { "Converting is sooner" } dd { (percent) " %" } }
                }
                div {
                    dt { "Buy one if offered below" }
                    dd { @match comparison.hunt_wins_below {
                        Some(price) => (picture::whole(price)),
                        None => "no price is low enough",
                    } }
                }
            }
        }
    }
}

fn card(who: &SignedIn, answer: &Answer, option: &OptionAnswer, acts: &Acts) -> Markup {
    let recommended = answer.recommended.as_deref() == Some(option.key.as_str());
    let inspects = option.kind == OptionKind::Inspect;
    let id = |part: &str| format!("{part}-{}", option.key.replace(':', "-"));
    let title_id = id("option");
    html! {
        article.card.option.recommended[recommended] aria-labelledby=(title_id) {
            h3 id=(title_id) { (option.title) }
            @if recommended && answer.options.len() > 1 { p.tag.take { "★ " (if inspects { "First step" } else { "Best option" }) } }
            @else if answer.in_time.as_deref() == Some(option.key.as_str()) { p.tag { "✓ Cheapest in time" } }
            @match &option.outcome {
                Outcome::Possible(figures) => {
                    (headline(who, answer, figures))
                    @if !recommended { p.said { (option.sentence) } }
                    @if let Some(donor) = figures.related.as_ref().filter(|donor| !donor.lasting.is_empty()) {
                        h4 { "Stays different for good" }
                        ul.risks { @for lasting in &donor.lasting { li { (lasting) } } }
                    }
                    @if !option.risks.is_empty() {
                        h4 { (if inspects { "What happens then" } else { "Risks" }) }
                        ul.risks { @for risk in &option.risks { li { (risk) } } }
                    }
                    ((acts.quote)(option))
                    details id=(id("price")) {
                        summary { "Price breakdown" }
                        (build_up(figures))
                    }
                    details id=(id("route")) {
                        summary { "Operations (" (figures.route.operations.len()) ")" }
                        (route_table(&figures.route))
                    }
                    @if let Some(conversion) = &figures.conversion {
                        details id=(id("remedies")) {
                            summary { "Differences and the work on each" }
                            (remedies(conversion))
                            p { a href={ "/castings/compare?donor=" (conversion.donor) "&wanted=" (conversion.wanted) } { "Compare the drawings" } }
                        }
                    }
                }
                Outcome::PriceUnknown { variant } => {
                    p.tag { "? No price known" }
                    p { "None was seen for sale, and nobody has said what one costs. Enter your own estimate:" }
                    ((acts.opinion)(*variant))
                }
                Outcome::Impossible { reasons } => {
                    p.tag { "✕ Not possible" }
                    ul.risks { @for reason in reasons { li { (reason) } } }
                }
            }
        }
    }
}

fn headline(who: &SignedIn, answer: &Answer, figures: &Figures) -> Markup {
    let zone = who.shop.time_zone;
    let moment = |time: Option<DateTime<Utc>>| match time {
        Some(time) => html! { (show::day(time.with_timezone(&zone).date_naive(), who.today())) },
        None => html! { "no date" },
    };
    let sure = answer.confidence_percent;
    html! {
        dl.figures {
            (asked(figures, who.today()))
            @match &figures.terms {
                Terms::Search(_) => {
                    div.main { dt { "Half of the time ready by" } dd { (moment(figures.ready.likely)) } }
                    div { dt { (sure) " % of the time by" } dd { (moment(figures.ready.at_confidence)) } }
                }
                Terms::Fixed | Terms::IfSound { .. } => {
                    div.main { dt { "Ready by (" (sure) " % sure)" } dd { (moment(figures.ready.at_confidence)) } }
                    div { dt { "Likely ready" } dd { (moment(figures.ready.likely)) } }
                }
            }
            div { dt { "Earliest" } dd { (moment(figures.ready.earliest)) } }
            @if let Some(by) = answer.wanted_by {
                @if let Some(percent) = figures.in_time_percent {
                    div { dt { "On time for " (show::day(by, who.today())) } dd { (percent) " %" } }
                }
                @if let Some(late) = answer.days_late(figures) {
                    div { dt { "After the day needed" } dd { (show::count(late, "day", "days")) } }
                }
            }
        }
        @if figures.ready.earliest.is_none() {
            p.notice.warn {
                "No day can be named: as things are this work never gets done. "
                @if figures.lacks.is_empty() { "There have to be hours to do it in (" a href="/shop/hours" { "hours" } ")." }
                @else {
                    "The shop has no " (figures.lacks.join(", no ")) " (" a href="/shop/machines" { "machines" } ", "
                    a href="/shop/people" { "people and their skills" } ")."
                }
            }
        }
        h4 { "Hours by machine" }
        table.hours {
            thead { tr { th scope="col" { "Machine" } th scope="col" { "Expected" } th scope="col" { (sure) " % sure" } } }
            tbody { @for machine in &figures.machines {
                tr {
                    th scope="row" { (machine.machine_kind) }
                    td { (machine.expected.rounded()) }
                    td { (machine.at_confidence.rounded()) }
                }
            } }
        }
    }
}

/// What the customer is asked, on the terms of the option.
fn asked(figures: &Figures, today: NaiveDate) -> Markup {
    html! {
        @match &figures.terms {
            Terms::Fixed => {
                div.main { dt { "Quote, before tax" } dd { (figures.build_up.net) } }
                div { dt { "With tax" } dd { (figures.build_up.gross) } }
                div { dt { "Likely cost to customer" } dd { (picture::whole(figures.price.likely)) } }
            }
            Terms::IfSound { lost, sound_percent } => {
                div.main { dt { "Quote if sound, before tax" } dd { (figures.build_up.net) } }
                div { dt { "With tax" } dd { (figures.build_up.gross) } }
                div { dt { "Chance it is sound" } dd { (sound_percent) " %" } }
                div { dt { "Charged if it is not" } dd { @if lost.amount().is_zero() { "nothing" } @else { (lost) } } }
            }
            Terms::Search(terms) => {
                div.main { dt { "A search: likely in all, before tax" } dd { (picture::whole(figures.price.low)) " to " (picture::whole(figures.price.high)) } }
                div { dt { "Work, quoted" } dd { (terms.work) } }
                div { dt { "Casting" } dd { "at cost + " (terms.handling_percent.normalize()) " %" } }
                div { dt { "Search fee" } dd { @if terms.fee.amount().is_zero() { "none" } @else { (terms.fee) } } }
                div { dt { "Chance one is found" } dd { (terms.found_percent) " %" } }
                @if let Some(most) = terms.limits.most { div { dt { "Most to pay" } dd { (most) } } }
                @if let Some(day) = terms.limits.ends_on { div { dt { "Search ends" } dd { (show::day(day, today)) } } }
            }
        }
    }
}

fn build_up(figures: &Figures) -> Markup {
    html! {
        (cost_lines(&figures.build_up.lines))
        dl.totals {
            div { dt { "Before tax" } dd { (figures.build_up.net) } }
            div { dt { "Tax" } dd { (figures.build_up.tax) } }
            div { dt { "Total" } dd { (figures.build_up.gross) } }
        }
    }
}

/// Cost lines, each opening down to what it is the sum of.
pub(in crate::web) fn cost_lines(lines: &[CostLine]) -> Markup {
    html! {
        ul.cost {
            @for line in lines {
                li {
                    @if line.lines.is_empty() {
                        div.row { (cost_line(line)) }
                    } @else {
                        details { summary.row { (cost_line(line)) } (cost_lines(&line.lines)) }
                    }
                }
            }
        }
    }
}

fn cost_line(line: &CostLine) -> Markup {
    html! {
        span.label { (line.label) @if !line.how.is_empty() { " " small.muted { (line.how) } } }
        span.amount { (line.amount) }
    }
}

/// A route as a table, with what each operation is made of.
pub(in crate::web) fn route_table(route: &Route) -> Markup {
    html! {
        ol.route {
            @for operation in &route.operations {
                li {
                    p.heading {
                        span.number { (operation.number) } " " strong { (operation.title) }
                        " · " (operation.machine_kind) ", " (operation.skill)
                    }
                    p.muted {
                        @match operation.outside {
                            Some((price, days)) => { "Sent out: " (price) ", " (show::count(days, "day", "days")) " away" }
                            None => { "Set up " (operation.setup.rounded()) ", run " (operation.run.rounded()) }
                        }
                        @if !operation.after.is_empty() {
                            " · after " (operation.after.iter().map(u32::to_string).collect::<Vec<_>>().join(", "))
                        }
                    }
                    ul.steps { @for step in &operation.steps {
                        li {
                            @if step.count > 1 { (step.count) " × " } (step.name) ", " (step.each.rounded()) @if step.count > 1 { " each" }
                            @if !step.sizes.is_empty() { ". " (step.sizes) "." }
                            " " small.muted { (step.how) }
                        }
                    } }
                    @if !operation.checks.is_empty() {
                        p.small { strong { "Check: " } @for (i, check) in operation.checks.iter().enumerate() {
                            @if i > 0 { "; " } (check.what) " " (check.limits_in_words()) @if !check.instrument.is_empty() { " (" (check.instrument) ")" }
                        } }
                    }
                    @if !operation.cautions.is_empty() {
                        p.small.caution { strong { "⚠ Caution: " } (operation.cautions.join(" ")) }
                    }
                }
            }
        }
        p.small.muted {
            "Guide figures only: follow the tool maker’s data, local codes and qualified people."
        }
    }
}

/// Differences with the remedy for each.
fn remedies(conversion: &Conversion) -> Markup {
    html! {
        table.cells.small {
            thead { tr { th scope="col" { "Place" } th scope="col" { "Feature" } th scope="col" { "Work" } } }
            tbody { @for remedy in &conversion.remedies {
                @let subject = remedy.difference.subject();
                tr {
                    th scope="row" { (subject.place) }
                    td data-label="Feature" { (subject.kind) }
                    td data-label="Work" {
                        strong { (remedy.action) } @if !remedy.rule.is_empty() { ": " (remedy.rule) }
                        @if !remedy.say.is_empty() { br; small { (remedy.say) } }
                    }
                }
            } }
        }
    }
}
