//! What happened so far: how long waits really were, where prices go, which places paid.

use super::words::{percent, span};
use crate::sourcing::places::{PlaceYield, places};
use crate::sourcing::survival::{Step, Waited, kaplan_meier, median, waits};
use crate::sourcing::trend::{LEAST_PRICES, Trend, trend};
use crate::sourcing::{Sighting, Watch};
use crate::units::Currency;
use crate::web::ui::show::coordinate as n;
use crate::web::ui::show::count;
use chrono::NaiveDate;
use maud::{Markup, html};

const LEFT: f64 = 46.0;
const RIGHT: f64 = 378.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 176.0;

/// Fewer waits that ended have no picture that anybody should act on: common practice, no source.
const LEAST_WAITS: usize = 3;

/// The section of one variant. Without a watch nobody knows since when one would have been noticed, so there are no waits.
pub(super) fn section(
    watch: Option<&Watch>,
    seen: &[Sighting],
    currency: Currency,
    today: NaiveDate,
) -> Markup {
    if seen.is_empty() {
        return html! {};
    }
    let waited = watch.map(|watch| waits(watch, seen, today));
    html! {
        h2 { "So far" }
        div.columns.market {
            section.card #waits aria-labelledby="waits-head" {
                h3 #waits-head { "How long it took" }
                @match waited {
                    None => { p { "Start tracking to see how long it takes from one to the next." } }
                    Some(waited) => { (waits_card(&waited)) }
                }
            }
            section.card #trend aria-labelledby="trend-head" {
                h3 #trend-head { "Prices over time" }
                p { (trend_words(trend(seen, currency, today))) }
            }
        }
        section.card #places aria-labelledby="places-head" {
            h3 #places-head { "Places" }
            (places_table(&places(seen)))
        }
    }
}

fn waits_card(waited: &[Waited]) -> Markup {
    let ended = waited.iter().filter(|w| w.ended).count();
    let running = waited.iter().find(|w| !w.ended).map(|w| w.days);
    if ended < LEAST_WAITS {
        return html! {
            p {
                @if ended == 0 { "No usable one has turned up since tracking began" } @else { (count(ended as i64, "usable one has", "usable ones have")) " turned up since tracking began" }
                @if let Some(days) = running { ", and you have waited " (span(days)) " since" } "."
            }
            p.muted { "From three on, this shows how long waits really were." }
        };
    }
    let steps = kaplan_meier(waited);
    html! {
        (picture(&steps, waited))
        p {
            @match median(&steps) {
                Some(days) => { "Half of the waits were over " strong { "within " (span(days)) } "." }
                None => { "More than half of the waits were longer than any that has ended." }
            }
            @if let Some(days) = running { " The present wait has lasted " (span(days)) ", and counts as at least so long." }
        }
        p.muted { "From " (count(ended as i64, "wait", "waits")) " that ended. The shaded band holds the true share 9 times in 10." }
    }
}

/// The share of waits that last longer, as steps, with the band of its interval; a stroke where a wait is still running.
fn picture(steps: &[Step], waited: &[Waited]) -> Markup {
    let longest = waited.iter().map(|w| w.days).fold(1.0, f64::max);
    let x = |days: f64| LEFT + (RIGHT - LEFT) * (days / longest).clamp(0.0, 1.0);
    let y = |share: f64| BOTTOM - share * (BOTTOM - TOP);
    let mut curve = format!("M{} {}", n(x(0.0)), n(y(1.0)));
    let (mut over, mut under) = (format!("M{} {}", n(x(0.0)), n(y(1.0))), String::new());
    let mut before = (1.0, 1.0, 1.0);
    for s in steps {
        let at = n(x(s.days));
        curve.push_str(&format!("L{at} {}L{at} {}", n(y(before.0)), n(y(s.longer))));
        over.push_str(&format!("L{at} {}L{at} {}", n(y(before.2)), n(y(s.high))));
        under = format!("L{at} {}L{at} {}{under}", n(y(s.low)), n(y(before.1)));
        before = (s.longer, s.low, s.high);
    }
    let end = n(RIGHT);
    curve.push_str(&format!("L{end} {}", n(y(before.0))));
    over.push_str(&format!(
        "L{end} {}L{end} {}{under}Z",
        n(y(before.2)),
        n(y(before.1))
    ));
    let running: Vec<f64> = waited.iter().filter(|w| !w.ended).map(|w| w.days).collect();
    let share_at = |days: f64| {
        let step = steps.iter().rev().find(|s| s.days <= days);
        step.map_or(1.0, |s| s.longer)
    };
    html! {
        svg.picture viewBox="0 0 400 222" role="img" aria-labelledby="so-far-title so-far-desc" {
            title #so-far-title { "Share of waits that last longer, by their length" }
            desc #so-far-desc {
                @for s in steps { (percent(s.longer)) " last longer than " (span(s.days)) ". " }
            }
            path.band d=(over) {}
            @for p in [0.0, 0.5, 1.0] {
                line.grid x1=(n(LEFT)) x2=(n(RIGHT)) y1=(n(y(p))) y2=(n(y(p))) {}
                text.small x=(n(LEFT - 6.0)) y=(n(y(p) + 4.0)) text-anchor="end" { (percent(p)) }
            }
            path.curve d=(curve) {}
            @for days in running {
                line.likely x1=(n(x(days))) x2=(n(x(days))) y1=(n(y(share_at(days)) - 7.0)) y2=(n(y(share_at(days)) + 7.0)) {}
            }
            text.small x=(n(LEFT)) y=(n(BOTTOM + 19.0)) { "0" }
            text.small x=(n(RIGHT)) y=(n(BOTTOM + 19.0)) text-anchor="end" { (span(longest)) }
            text.small x=(n((LEFT + RIGHT) / 2.0)) y=(n(BOTTOM + 38.0)) text-anchor="middle" { "length of the wait; a stroke is still running" }
        }
    }
}

fn trend_words(trend: Option<Trend>) -> String {
    let Some(trend) = trend else {
        return format!(
            "Too few prices to see a trend: it takes {LEAST_PRICES} usable ones with a price, over half a year."
        );
    };
    let off = |factor: f64| ((factor - 1.0) * 100.0).round() as i64;
    let (year, low, high) = (off(trend.year), off(trend.low), off(trend.high));
    let way = |percent: i64| {
        let size = percent.abs();
        match percent {
            0 => "no change".to_owned(),
            1.. => format!("{size} % up"),
            _ => format!("{size} % down"),
        }
    };
    let from = format!("From {} prices.", trend.prices);
    if low <= 0 && high >= 0 {
        format!(
            "No clear trend: between {} and {} a year, 9 times in 10. {from}",
            way(low),
            way(high)
        )
    } else {
        format!(
            "Prices go {} a year; between {} and {}, 9 times in 10. {from}",
            way(year),
            way(low),
            way(high)
        )
    }
}

fn places_table(places: &[PlaceYield]) -> Markup {
    let bought: usize = places.iter().map(|p| p.good + p.scrap).sum();
    let scrap: usize = places.iter().map(|p| p.scrap).sum();
    html! {
        @if bought > 0 {
            p { strong { (scrap) " of " (bought) } " bought " @if scrap == 1 { "was" } @else { "were" } " scrap." }
        } @else { p { "None bought yet." } }
        table.cells {
            thead { tr {
                th scope="col" { "Place" } th.number scope="col" { "Seen" } th.number scope="col" { "Usable" }
                th.number scope="col" { "Bought, good" } th.number scope="col" { "Bought, scrap" }
            } }
            tbody { @for p in places.iter().take(8) {
                tr {
                    th scope="row" { @if p.place.is_empty() { span.muted { "no place" } } @else { (p.place) } }
                    td.number data-label="Seen" { (p.seen) }
                    td.number data-label="Usable" { (p.usable) }
                    td.number data-label="Bought, good" { (p.good) }
                    td.number data-label="Bought, scrap" { (p.scrap) }
                }
            } }
        }
        @if places.len() > 8 { p.muted { "And " (places.len() - 8) " more with less." } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trend_is_said_with_its_doubt() {
        let said = |year, low, high| {
            trend_words(Some(Trend {
                year,
                low,
                high,
                prices: 9,
            }))
        };
        assert_eq!(
            said(1.07, 1.02, 1.13),
            "Prices go 7 % up a year; between 2 % up and 13 % up, 9 times in 10. From 9 prices."
        );
        assert_eq!(
            said(1.03, 0.94, 1.12),
            "No clear trend: between 6 % down and 12 % up a year, 9 times in 10. From 9 prices."
        );
    }
}
