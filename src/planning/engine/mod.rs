//! The planning engine: which operation when, on which machine, by whom.
//!
//! A plan says of every operation when it starts, on which machine and who attends it. It may be carried out when no
//! machine and no person does two things at once, work is done in working hours, what must wait waits, and nothing
//! promised for a place is moved. Of such plans the engine looks for one that keeps the promises best, and then sets up
//! least and has least work standing about, at a rate of exchange between the two; or, for the classical instances, one that is over soonest.
//!
//! | folder or file | what is in it | known in the field as |
//! | --- | --- | --- |
//! | [`model`] | machines, people, jobs, operations, links | flexible job shop with two resources, setups, lags, calendars |
//! | [`model::calendar`] | open windows in whole minutes | working time, with and without pauses |
//! | `model::build` | the model in flat arrays | |
//! | [`model::plan`], [`model::validator`] | the answer, and whether it keeps the rules | |
//! | `timing` | from decisions to times, incrementally, as long as a move is not hopeless | serial schedule generation scheme (Kolisch 1996), tails as latest starts |
//! | `construction` | a plan at once | priority rules in the schedules of Giffler and Thompson (1960) |
//! | `search::problem_space` | a region for it | problem space search (Storer, Wu and Vaccari 1992) |
//! | `search::graph`, `search::tabu`, `search::relink` | search where heads and tails are exact | N7 tabu search, path relinking (Zhang et al. 2007; Peng, Lü and Cheng 2015) |
//! | `search::anneal`, `search::moves` | search for everything else | simulated annealing on critical chains (Mati et al. 2011) |
//! | `bounds` | what no plan can beat | preemptive one-machine bound (Carlier 1982) |
//! | `bounds::disjunctive`, `bounds::destructive` | more of it, for makespan | edge-finding (Carlier and Pinson 1989), shaving (Martin and Shmoys 1996) |
//! | [`solve`] | the entry point | |
//! | [`futures`] | what may become of a plan | Monte Carlo with common random numbers, played by dispatching |
//! | [`promise`] | a date for a job not yet planned | insertion |
//! | [`repair`] | a plan overtaken by events | match-up repair (Bean, Birge, Mittenthal and Noon 1991), then search with a price on change |
//! | [`explain`] | what holds a job, and what would help | critical path, what-if |
//! | [`formats`] | models from published instances, JSON files, random samples | |
//!
//! There is one model, one builder, one timing pass and one validator. Which search runs is read off the model: where
//! nothing but machines and order matters, heads and tails are exact and a move can be judged by an estimate; a shop
//! with hours, people and setups needs the timing pass to judge it.
//!
//! Of small shops with people, hours and setups that a constraint solver has proved, `anneal` reaches the proved
//! lateness of nearly all: of 112 with five seeds each, 558 of 560 runs, 100,000 moves a run (`tests::reference`, where the
//! commands are). What it cannot do yet: a week of 420 operations is not searched out in two seconds. Of seven such
//! weeks, four seeds each, the mean lateness then was 4,700 weighted minutes (three weeks at or next to zero), and 2,900
//! after twenty seconds, two seeds each; most of the rest is one week for which no plan under 10,998 is known, nor a proof.
//! Where promises are spread over half the time that the fullest machine needs, lateness still fell by a third between
//! two seconds and ten minutes.
//!
//! Most is won by replacing, while a move is timed, the person who holds an operation up (`timing::retime`): a delay
//! then no longer runs through one person's whole row. In a large shop as much is won by giving up hopeless moves, nine
//! of ten, by latest starts (`timing::foresight`): three times the moves and, with a shorter search in the space of
//! problems, a quarter of the lateness after thirty seconds. Two things matter there: a move changes who
//! waits for whom, and closed hours must not be counted.
//!
//! Tried on such weeks and no better than what is there: kicks to a job with short coolings between them (worse the
//! shorter the coolings), whole jobs drawn together in time, operations to the ends of their critical block, setups or
//! work in progress weighed more, one long cooling in place of several, promises that count as late a little before
//! their time, machines and modes replaced like people, annealing over orders that a rule decodes, lateness counted in
//! working time, waits on a chain picked by what breaking them would cost, longer searches in the space of problems,
//! and several jobs taken out and put back into the gaps one after another (ruin and recreate; Schrimpf et al. 2000),
//! which in two seconds ended at two to three times the lateness.
//!
//! Of classical job shops, those with many more jobs than machines (Storer, Wu and Vaccari 1992) stay furthest from the
//! best known, about 0.9 % in ten seconds.
//!
//! Everything here counts in whole minutes from an origin, draws from seeds it is given and has no clock: whoever
//! calls stops the search. Same seed and same number of moves, same plan.
//!
//! ```
//! use borewright::planning::engine::{
//!     formats::classical::job_shop,
//!     model::validator::validate,
//!     solve::{SolveOptions, Termination, solve},
//! };
//!
//! // Two blocks, each bored then honed: 3 + 2 hours and 1 + 4 hours. The one that is quick to bore goes first
//! // (Johnson 1954): the borer is done at 4, the hone works from 1 to 5 and from 5 to 7.
//! let shop = job_shop(&[
//!     vec![vec![(0, 180)], vec![(1, 120)]],
//!     vec![vec![(0, 60)], vec![(1, 240)]],
//! ]);
//! let outcome = solve(&shop, &SolveOptions::default(), &mut |_| false)?;
//! assert_eq!(outcome.plan.value.makespan, 7 * 60);
//! assert_eq!(outcome.termination, Termination::Proved);
//! assert!(validate(&shop, &outcome.plan).is_empty());
//! # Ok::<(), borewright::planning::engine::model::ModelError>(())
//! ```

mod bounds;
mod construction;
pub mod explain;
pub mod formats;
pub mod futures;
pub mod model;
pub mod promise;
mod random;
pub mod repair;
mod search;
pub mod solve;
mod timing;

#[cfg(test)]
mod tests;
