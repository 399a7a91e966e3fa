//! Pictures of what sightings say. Each says in its title and description what it shows; shapes, not colours, tell
//! things apart.

use super::words::{percent, roughly, span};
use crate::sourcing::hunt::HORIZON_DAYS;
use crate::sourcing::{Good, Outlook, Sighting, Wait};
use crate::units::Money;
use crate::web::ui::show::coordinate as n;
use maud::{Markup, html};

const WIDTH: f64 = 400.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 378.0;

/// Maps a value to a place between two ends.
fn place(value: f64, from: f64, to: f64) -> f64 {
    let share = ((value - from) / (to - from)).clamp(0.0, 1.0);
    LEFT + share * (RIGHT - LEFT)
}

/// The chance that the next one worth having has turned up, week by week.
pub fn wait(wait: &Wait) -> Markup {
    const TOP: f64 = 14.0;
    const BOTTOM: f64 = 176.0;
    let weeks = (wait.quantile(0.85) / 7.0).clamp(8.0, HORIZON_DAYS / 7.0);
    let x = |week: f64| place(week, 0.0, weeks);
    let y = |chance: f64| BOTTOM - chance * (BOTTOM - TOP);
    let mut curve = String::new();
    for step in 0..=80 {
        let week = weeks * f64::from(step) / 80.0;
        let command = if step == 0 { 'M' } else { 'L' };
        curve.push_str(&format!(
            "{command}{} {}",
            n(x(week)),
            n(y(wait.chance_within(week * 7.0)))
        ));
    }
    let step = [1, 2, 4, 8, 13, 26, 52]
        .into_iter()
        .find(|step| weeks / f64::from(*step) <= 7.0)
        .unwrap_or(104);
    let ticks = (0..)
        .map(|i| i * step)
        .take_while(|week| f64::from(*week) <= weeks);
    let marks: Vec<(f64, f64)> = [0.5, 0.8]
        .into_iter()
        .map(|p| (p, wait.quantile(p) / 7.0))
        .filter(|(_, week)| *week <= weeks)
        .collect();
    html! {
        svg.picture viewBox={ "0 0 " (WIDTH) " 222" } role="img" aria-labelledby="wait-title wait-desc" {
            title #wait-title { "Chance of finding one, by week" }
            desc #wait-desc {
                "A rising curve over " (span(weeks * 7.0)) ". "
                @for (p, week) in &marks { (percent(*p)) " is reached after " (span(week * 7.0)) ". " }
            }
            @for p in [0.0, 0.5, 0.8, 1.0] {
                line.grid x1=(n(LEFT)) x2=(n(RIGHT)) y1=(n(y(p))) y2=(n(y(p))) {}
                text.small x=(n(LEFT - 6.0)) y=(n(y(p) + 4.0)) text-anchor="end" { (percent(p)) }
            }
            @for week in ticks {
                line.tick x1=(n(x(f64::from(week)))) x2=(n(x(f64::from(week)))) y1=(n(BOTTOM)) y2=(n(BOTTOM + 5.0)) {}
                text.small x=(n(x(f64::from(week)))) y=(n(BOTTOM + 19.0)) text-anchor="middle" { (week) }
            }
            text.small x=(n((LEFT + RIGHT) / 2.0)) y=(n(BOTTOM + 38.0)) text-anchor="middle" { "weeks from now" }
            path.curve d=(curve) {}
            @for (p, week) in &marks {
                @let (cx, cy) = (x(*week), y(*p));
                line.drop x1=(n(cx)) x2=(n(cx)) y1=(n(cy)) y2=(n(BOTTOM)) {}
                @if *p < 0.6 {
                    circle.mark cx=(n(cx)) cy=(n(cy)) r="5" {}
                } @else {
                    rect.mark x=(n(cx - 5.0)) y=(n(cy - 5.0)) width="10" height="10" {}
                }
                // Below the curve there is always room: to the right of a mark and well under it, or near the edge to
                // its left and below where the curve passes the first of the words.
                @if cx < 250.0 {
                    text x=(n(cx + 8.0)) y=(n(cy + 34.0)) { (percent(*p)) ": " (span(week * 7.0)) }
                } @else {
                    @let first = (cx - 118.0 - LEFT).max(0.0) / (RIGHT - LEFT) * weeks;
                    text x=(n(cx - 8.0)) y=(n(y(wait.chance_within(first * 7.0)) + 18.0)) text-anchor="end" {
                        (percent(*p)) ": " (span(week * 7.0))
                    }
                }
            }
        }
    }
}

/// What was asked, and what the next is likely to cost, on a scale of ratios.
pub fn price(outlook: &Outlook, sightings: &[Sighting]) -> Markup {
    let Some(price) = outlook.price else {
        return Markup::default();
    };
    let currency = outlook.currency();
    let asked: Vec<(f64, bool)> = sightings
        .iter()
        .filter_map(|s| {
            let money = s.asked.filter(|money| money.currency() == currency)?;
            let minor = money.to_minor().ok().filter(|&minor| minor > 0)?;
            Some((minor as f64, s.acceptable))
        })
        .collect();
    let quantile = |p| price.quantile(p);
    let low = asked.iter().map(|a| a.0).fold(quantile(0.07), f64::min) * 0.92;
    let high = asked.iter().map(|a| a.0).fold(quantile(0.93), f64::max) * 1.08;
    let x = |minor: f64| place(minor.ln(), low.ln(), high.ln());
    let money = |minor: f64| roughly(Money::from_minor(minor.round() as i64, currency));
    let (q10, q25, q50, q75, q90) = (
        quantile(0.1),
        quantile(0.25),
        quantile(0.5),
        quantile(0.75),
        quantile(0.9),
    );
    html! {
        svg.picture viewBox={ "0 0 " (WIDTH) " 150" } role="img" aria-labelledby="price-title price-desc" {
            title #price-title { "Price of the next one" }
            desc #price-desc {
                "Likely " (money(q50)) "; eight times in ten between " (money(q10)) " and " (money(q90)) ". "
                (asked.len()) " asked prices are marked above."
            }
            @for (minor, acceptable) in &asked {
                @let cx = x(*minor);
                @if *acceptable {
                    circle.seen cx=(n(cx)) cy="22" r="5" {}
                } @else {
                    path.passed d={ "M" (n(cx - 4.0)) " 18l8 8m0 -8l-8 8" } {}
                }
            }
            line.grid x1=(n(LEFT)) x2=(n(RIGHT)) y1="38" y2="38" {}
            rect.range x=(n(x(q10))) y="58" width=(n(x(q90) - x(q10))) height="10" {}
            rect.core x=(n(x(q25))) y="52" width=(n(x(q75) - x(q25))) height="22" {}
            line.likely x1=(n(x(q50))) x2=(n(x(q50))) y1="46" y2="80" {}
            text x=(n(x(q50).clamp(90.0, 330.0))) y="98" text-anchor="middle" { "likely " (money(q50)) }
            line.tick x1=(n(LEFT)) x2=(n(RIGHT)) y1="112" y2="112" {}
            @for (minor, said) in steps(low, high, currency.minor_digits()) {
                line.tick x1=(n(x(minor))) x2=(n(x(minor))) y1="112" y2="117" {}
                @if said { text.small x=(n(x(minor))) y="133" text-anchor="middle" { (money(minor)) } }
            }
        }
    }
}

/// Round prices on the scale, in minor units, and whether each has room for its words.
fn steps(low: f64, high: f64, digits: u32) -> Vec<(f64, bool)> {
    // A wide scale has only decades and their halves; a narrow one has more between.
    let wide = high / low > 12.0;
    let figures: &[f64] = if wide {
        &[1.0, 3.0]
    } else {
        &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0]
    };
    let mut steps = Vec::new();
    let mut last = f64::NEG_INFINITY;
    let major = 10_f64.powi(i32::try_from(digits).unwrap_or(2));
    let first = (low / major).log10().floor() as i32;
    for decade in first..first + 16 {
        for figure in figures {
            let value = figure * 10_f64.powi(decade) * major;
            if (low..=high).contains(&value) {
                let at = place(value.ln(), low.ln(), high.ln());
                let room = at - last >= 52.0 && at > LEFT + 14.0 && at < RIGHT - 14.0;
                if room {
                    last = at;
                }
                steps.push((value, room));
            }
        }
    }
    steps
}

/// The share of bought ones that are good, as far as it is known.
pub fn good(good: &Good) -> Markup {
    let x = |share: f64| place(share, 0.0, 1.0);
    let (low, likely, high) = (good.quantile(0.1), good.chance(), good.quantile(0.9));
    html! {
        svg.picture viewBox={ "0 0 " (WIDTH) " 104" } role="img" aria-labelledby="good-title good-desc" {
            title #good-title { "Chance that a bought one is good" }
            desc #good-desc {
                (percent(likely)) " for the next one; the share of good ones is between " (percent(low)) " and "
                (percent(high)) " with a chance of eight in ten."
            }
            rect.trough x=(n(LEFT)) y="26" width=(n(RIGHT - LEFT)) height="14" {}
            rect.range x=(n(x(low))) y="26" width=(n(x(high) - x(low))) height="14" {}
            line.likely x1=(n(x(likely))) x2=(n(x(likely))) y1="18" y2="48" {}
            text x=(n(x(likely).clamp(80.0, 350.0))) y="13" text-anchor="middle" { "next: " (percent(likely)) }
            @for p in [0.0, 0.25, 0.5, 0.75, 1.0] {
                line.tick x1=(n(x(p))) x2=(n(x(p))) y1="56" y2="61" {}
                text.small x=(n(x(p))) y="77" text-anchor="middle" { (percent(p)) }
            }
            line.tick x1=(n(LEFT)) x2=(n(RIGHT)) y1="56" y2="56" {}
            text.small x=(n((LEFT + RIGHT) / 2.0)) y="97" text-anchor="middle" { "good ones among those bought" }
        }
    }
}
