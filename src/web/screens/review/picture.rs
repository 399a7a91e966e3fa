//! The differences as bars about the estimate: to the right what cost more, to the left what cost less.

use super::query::Asked;
use super::words;
use crate::review::variance::Review;
use crate::units::{Currency, plain};
use crate::web::ui::show::coordinate as n;
use maud::{Markup, html};

const WIDTH: f64 = 420.0;
const MIDDLE: f64 = 200.0;
const REACH: f64 = 120.0;
const ROW: f64 = 44.0;
/// As many as can be taken in at a glance.
const MOST: usize = 12;

/// A name cut to the room there is.
fn cut(name: &str) -> String {
    const ROOM: usize = 56;
    if name.chars().count() <= ROOM {
        name.to_owned()
    } else {
        let short: String = name.chars().take(ROOM - 1).collect();
        format!("{}…", short.trim_end())
    }
}

/// The groups with the largest differences, dearest first.
pub(super) fn bars(review: &Review, asked: &Asked, currency: Currency) -> Markup {
    let mut groups: Vec<_> = review.groups.iter().collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.figures.variance().abs()));
    groups.truncate(MOST);
    groups.sort_by_key(|group| std::cmp::Reverse(group.figures.variance()));
    let size = |amount| plain(amount).abs();
    let largest = groups
        .iter()
        .map(|group| size(group.figures.variance()))
        .fold(1.0, f64::max);
    let height = 30.0 + ROW * f64::from(u32::try_from(groups.len()).unwrap_or(0));
    let rows: Vec<_> = groups
        .iter()
        .zip(0_u32..)
        .map(|(group, at)| {
            let variance = group.figures.variance();
            let length = size(variance) / largest * REACH;
            let over = variance.is_sign_positive() && !variance.is_zero();
            (28.0 + ROW * f64::from(at), length, over, group)
        })
        .collect();
    html! {
        svg.picture.wide viewBox={ "0 0 " (WIDTH) " " (n(height)) } role="img" aria-labelledby="bars-title bars-desc" {
            title #bars-title { "Cost against estimate by " (words::grouping(asked.by).to_lowercase()) }
            desc #bars-desc {
                @for (_, _, _, group) in &rows {
                    (words::name(&group.label, asked.by)) ": " (words::beyond(group.figures.variance(), currency)) ". "
                }
            }
            text.small x=(n(MIDDLE - 6.0)) y="14" text-anchor="end" { "← less than estimated" }
            text.small x=(n(MIDDLE + 6.0)) y="14" { "more than estimated →" }
            line.zero x1=(n(MIDDLE)) x2=(n(MIDDLE)) y1="20" y2=(n(height)) {}
            @for (y, length, over, group) in &rows {
                @let name = words::name(&group.label, asked.by);
                @let said = words::beyond(group.figures.variance(), currency);
                text.small x="0" y=(n(y + 12.0)) { (cut(&name)) }
                @if *over {
                    rect.over x=(n(MIDDLE)) y=(n(y + 18.0)) width=(n(*length)) height="16" {}
                    text.small x=(n(MIDDLE + length + 6.0)) y=(n(y + 31.0)) { (said) }
                } @else {
                    rect.under x=(n(MIDDLE - length)) y=(n(y + 18.0)) width=(n(*length)) height="16" {}
                    text.small x=(n(MIDDLE + 6.0)) y=(n(y + 31.0)) { (said) }
                }
            }
        }
        @if review.groups.len() > MOST { p.muted { "The " (MOST) " largest differences; all are in the table." } }
    }
}
