//! What comes of a change in one sentence: the change, then the jobs that go late, those that are no longer late, the
//! others, and how much moves.

use super::SMALL_SHIFT;
use super::effect::{PromiseMove, working};
use crate::planning::floor::{Floor, SchedulingIssue};
use crate::planning::words::{hours, job_words, moment, working_time};

/// Jobs that go late named one by one.
const NAMED: usize = 3;

/// The sentence. `condition` is how it begins, `moved` how many operations move and how many shift a little.
pub(super) fn sentence(
    condition: &str,
    floor: &Floor,
    promises: &[PromiseMove],
    (moved, shifted): (usize, usize),
    issues: &[SchedulingIssue],
) -> String {
    let mut clauses = late(floor, promises);
    clauses.extend(no_longer_late(floor, promises));
    clauses.extend(as_late_as_before(floor, promises));
    clauses.extend(in_and_out(floor, promises));
    for issue in issues.iter().filter(|issue| !issue.reason.leaves_out()) {
        clauses.push(format!(
            "for {} {}",
            job_words(floor, issue.job),
            issue.reason
        ));
    }
    if clauses.is_empty() {
        clauses.push("every job is ready when it was".to_owned());
    }
    let tail = match moved {
        0 if shifted == 0 => "nothing else moves".to_owned(),
        0 => "no operation moves".to_owned(),
        1 => "1 operation moves".to_owned(),
        n => format!("{n} operations move"),
    };
    let tail = match shifted {
        0 => tail,
        n => format!("{tail}, {n} shift by less than {}", hours(SMALL_SHIFT)),
    };
    format!("{condition}: {}; {tail}.", clauses.join(", "))
}

/// Jobs that go late.
fn late(floor: &Floor, promises: &[PromiseMove]) -> Vec<String> {
    let late: Vec<&PromiseMove> = promises
        .iter()
        .filter(|p| p.is_late() && !p.was_late())
        .collect();
    let mut clauses: Vec<String> = late
        .iter()
        .take(NAMED)
        .enumerate()
        .map(|(i, p)| {
            let goes = if i == 0 { " goes late" } else { "" };
            format!(
                "{}{goes} by {}",
                job_words(floor, p.job),
                lateness(floor, p)
            )
        })
        .collect();
    if late.len() > NAMED {
        clauses.push(format!("and {} more", late.len() - NAMED));
    }
    clauses
}

/// Jobs that were late and are not.
fn no_longer_late(floor: &Floor, promises: &[PromiseMove]) -> Option<String> {
    let saved: Vec<&PromiseMove> = promises
        .iter()
        .filter(|p| p.was_late() && !p.is_late() && p.after.is_some())
        .collect();
    let (first, rest) = saved.split_first()?;
    let first = job_words(floor, first.job);
    Some(match rest.len() {
        0 => format!("{first} is no longer late"),
        more => format!("{first} and {more} more are no longer late"),
    })
}

/// Jobs that are ready later or sooner and are as late, or as much in time, as they were.
fn as_late_as_before(floor: &Floor, promises: &[PromiseMove]) -> Vec<String> {
    let mut clauses = Vec::new();
    let mut clause = |which: &str, pick: &dyn Fn(&PromiseMove) -> bool, tail: &str| {
        let those: Vec<&PromiseMove> = promises
            .iter()
            .filter(|p| p.before.is_some() && p.after.is_some() && p.is_late() == p.was_late())
            .filter(|p| pick(p))
            .collect();
        let most = those.iter().map(|p| p.later.abs()).max();
        match (those.as_slice(), most.map(|by| working_time(floor, by))) {
            ([only], Some(by)) => clauses.push(format!(
                "{} is ready {by} {which}{tail}",
                job_words(floor, only.job)
            )),
            ([_, ..], Some(by)) => clauses.push(format!(
                "{} jobs are ready up to {by} {which}{tail}",
                those.len()
            )),
            _ => {}
        }
    };
    clause("later", &|p| p.later > 0 && p.is_late(), ", late already");
    clause(
        "later",
        &|p| p.later > 0 && !p.is_late(),
        " and still on time",
    );
    clause("sooner", &|p| p.later < 0, "");
    clauses
}

/// Jobs that drop out of the plan, and those that come into it.
fn in_and_out(floor: &Floor, promises: &[PromiseMove]) -> Vec<String> {
    let gone = promises
        .iter()
        .filter(|p| p.before.is_some() && p.after.is_none())
        .map(|p| format!("{} drops out of the plan", job_words(floor, p.job)));
    let come = promises
        .iter()
        .filter(|p| p.before.is_none())
        .filter_map(|p| {
            let late = if p.is_late() { ", which is late" } else { "" };
            Some(format!(
                "{} is ready on {}{late}",
                job_words(floor, p.job),
                moment(p.after?, floor.zone)
            ))
        });
    gone.chain(come).collect()
}

fn lateness(floor: &Floor, p: &PromiseMove) -> String {
    match p.after.zip(p.due) {
        Some((at, due)) => working_time(floor, working(floor, due, at)),
        None => String::new(),
    }
}
