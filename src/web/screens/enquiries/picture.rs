//! The ranges of price and ready day, drawn: one row an option, the same order as the cards below.
//!
//! Nothing is shown by colour alone: the range is a bar, the middle a diamond, the figure to quote a flag with its
//! value written beside it.

use crate::enquiry::{Answer, Figures, OptionAnswer, Terms, say};
use crate::units::Money;
use crate::web::ui::show;
use crate::web::ui::show::coordinate as n;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};
use rust_decimal::prelude::ToPrimitive;

/// Drawing width in SVG units; about a phone's, so that type is legible there at scale one.
const WIDTH: f64 = 380.0;
const LEFT: f64 = 14.0;
const RIGHT: f64 = 366.0;
const ROW: f64 = 66.0;
const TOP: f64 = 8.0;

/// One row of a picture, positions already in SVG units.
struct Row<'a> {
    option: &'a OptionAnswer,
    low: f64,
    likely: f64,
    high: Option<f64>,
    flag: Option<f64>,
    says: String,
}

fn possible(answer: &Answer) -> impl Iterator<Item = (&OptionAnswer, &Figures)> {
    answer
        .options
        .iter()
        .filter_map(|o| Some((o, o.figures()?)))
}

/// A search has no price to quote and no day to promise.
fn is_search(figures: &Figures) -> bool {
    matches!(figures.terms, Terms::Search(_))
}

/// Prices before tax, from nothing to the dearest that 9 in 10 futures stay under.
pub(super) fn price(answer: &Answer) -> Markup {
    let value = |money: Money| money.amount().to_f64().unwrap_or(0.0).max(0.0);
    let most = possible(answer)
        .map(|(_, f)| value(f.price.high).max(value(f.build_up.net)))
        .fold(1.0, f64::max);
    let step = nice_step(most / 4.0);
    let end = (most / step).ceil() * step;
    let at = |v: f64| LEFT + (RIGHT - LEFT) * v / end;
    let rows: Vec<Row> = possible(answer)
        .map(|(option, f)| Row {
            option,
            low: at(value(f.price.low)),
            likely: at(value(f.price.likely)),
            high: Some(at(value(f.price.high))),
            flag: (!is_search(f)).then(|| at(value(f.build_up.net))),
            says: format!(
                "{} to {}, likely {}{}",
                whole(f.price.low),
                whole(f.price.high),
                whole(f.price.likely),
                if is_search(f) {
                    String::new()
                } else {
                    format!("; quote {}", whole(f.build_up.net))
                }
            ),
        })
        .collect();
    let ticks: Vec<(f64, String)> = (0..=6)
        .map(|i| f64::from(i) * step)
        .filter(|v| *v <= end)
        .map(|v| (at(v), grouped(v)))
        .collect();
    draw(
        "price",
        "Price before tax",
        answer.confidence_percent,
        &rows,
        &ticks,
    )
}

/// Ready days on a logarithmic scale of time from now, so that a week and two years both fit.
pub(super) fn ready(answer: &Answer, zone: Tz) -> Markup {
    const TICKS: [(f64, &str); 8] = [
        (3.0, "3 days"),
        (7.0, "1 week"),
        (14.0, "2 w"),
        (30.0, "1 month"),
        (91.0, "3 m"),
        (182.0, "6 m"),
        (365.0, "1 year"),
        (1825.0, "5 y"),
    ];
    let days = |time: DateTime<Utc>| ((time - answer.at).num_minutes() as f64 / 1440.0).max(1.0);
    let furthest = possible(answer)
        .flat_map(|(_, f)| [f.ready.late, f.ready.at_confidence, f.ready.likely])
        .map(|time| time.map_or(1825.0, days))
        .fold(14.0, f64::max);
    let nearest = possible(answer)
        .filter_map(|(_, f)| f.ready.early)
        .map(days)
        .fold(7.0, f64::min);
    let (start, end) = ((nearest / 1.3).ln(), (furthest * 1.1).ln());
    let at = |d: f64| LEFT + (RIGHT - LEFT) * ((d.ln() - start) / (end - start)).clamp(0.0, 1.0);
    let say = |time: Option<DateTime<Utc>>| match time {
        Some(time) => show::day(
            time.with_timezone(&zone).date_naive(),
            answer.at.with_timezone(&zone).date_naive(),
        ),
        None => "no date".to_owned(),
    };
    let rows: Vec<Row> = possible(answer)
        .filter_map(|(option, f)| {
            Some(Row {
                option,
                low: at(days(f.ready.early?)),
                likely: f.ready.likely.map_or(RIGHT, |t| at(days(t))),
                high: f.ready.late.map(|t| at(days(t))),
                flag: f
                    .ready
                    .at_confidence
                    .filter(|_| !is_search(f))
                    .map(|t| at(days(t))),
                says: format!(
                    "{} to {}; {}",
                    say(f.ready.early),
                    say(f.ready.late),
                    if is_search(f) {
                        format!("half by {}", say(f.ready.likely))
                    } else {
                        format!("promise {}", say(f.ready.at_confidence))
                    }
                ),
            })
        })
        .collect();
    let ticks: Vec<(f64, String)> = TICKS
        .iter()
        .filter(|(d, _)| d.ln() >= start && d.ln() <= end)
        .map(|(d, word)| (at(*d), (*word).to_owned()))
        .collect();
    draw(
        "ready",
        "Ready, time from now",
        answer.confidence_percent,
        &rows,
        &thinned(ticks),
    )
}

/// Leaves out ticks whose words would run into the one before.
fn thinned(ticks: Vec<(f64, String)>) -> Vec<(f64, String)> {
    let mut kept: Vec<(f64, String)> = Vec::new();
    for (x, word) in ticks {
        if kept
            .last()
            .is_none_or(|(last, before)| x - last > 4.0 * (before.len() + word.len()) as f64)
        {
            kept.push((x, word));
        }
    }
    kept
}

fn draw(id: &str, title: &str, confidence: u32, rows: &[Row], ticks: &[(f64, String)]) -> Markup {
    let floor = TOP + ROW * rows.len() as f64;
    let height = floor + 26.0;
    let title_id = format!("picture-{id}-title");
    let desc_id = format!("picture-{id}-desc");
    html! {
        svg class="ranges" viewBox={ "0 0 " (WIDTH) " " (height) } role="img" aria-labelledby={ (title_id) " " (desc_id) } {
            title id=(title_id) { (title) }
            desc id=(desc_id) {
                @for row in rows { (row.option.title) ": " (row.says) ". " }
                "80 % of outcomes fall in the bar; the diamond is the middle one, the flag is " (confidence) " % sure."
            }
            @for (x, word) in ticks {
                line class="grid" x1=(n(*x)) x2=(n(*x)) y1=(n(TOP)) y2=(n(floor)) {}
                text class="tick" x=(n(x.clamp(LEFT + 6.0, RIGHT - 14.0))) y=(n(floor + 18.0)) text-anchor="middle" { (word) }
            }
            @for (i, row) in rows.iter().enumerate() {
                @let y = TOP + ROW * i as f64;
                @let bar = y + 48.0;
                text class="name" x=(n(LEFT)) y=(n(y + 15.0)) { (shortened(&row.option.title, 48)) }
                text class="says" x=(n(LEFT)) y=(n(y + 31.0)) { (row.says) }
                line class="bar" x1=(n(row.low)) x2=(n(row.high.unwrap_or(RIGHT))) y1=(n(bar)) y2=(n(bar)) {}
                @if row.high.is_none() {
                    path class="onward" d={ "M" (n(RIGHT - 7.0)) " " (n(bar - 6.0)) " l7 6 l-7 6" } {}
                }
                path class="middle" d={ "M" (n(row.likely)) " " (n(bar - 7.0)) " l6 7 l-6 7 l-6 -7 z" } {}
                @if let Some(x) = row.flag {
                    path class="flag" d={ "M" (n(x)) " " (n(bar + 9.0)) " v-20 l9 4 l-9 4" } {}
                }
            }
            line class="axis" x1=(n(LEFT)) x2=(n(RIGHT)) y1=(n(floor)) y2=(n(floor)) {}
        }
    }
}

/// A step of 1, 2 or 5 times a power of ten, at least `least`.
fn nice_step(least: f64) -> f64 {
    let power = 10_f64.powf(least.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= least)
        .unwrap_or(least)
}

/// Whole units with thousands apart, for an axis.
fn grouped(value: f64) -> String {
    let digits = format!("{value:.0}");
    let mut out = String::with_capacity(digits.len() + 3);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// Money without its pence, for a picture.
pub(super) fn whole(money: Money) -> String {
    say::whole(money)
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars()
        .take(most - 1)
        .chain(std::iter::once('…'))
        .collect()
}
