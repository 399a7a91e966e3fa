//! Many routes for one job in the same futures: what they share is drawn once.
//!
//! Options of one job are mostly the same work on another casting, and in one future the same element has the same luck in
//! whichever of them it stands ([`super::futures`]). So its draws in all futures are kept as a column and used again by the
//! next route that has it. The minutes are those of [`TimeSampler::sample_in`], to the last bit.
//!
//! ```
//! use borewright::estimating::variation::{Variation, Worlds};
//! use borewright::estimating::{Route, Together};
//!
//! let worlds = Worlds::new(7, Variation::default().shares());
//! let together = Together::new((0..3).map(|k| worlds.world(k)), 1);
//! let route = Route { operations: Vec::new() };
//! assert!(together.sample(&route.sampler().unwrap(), &[]).is_empty());
//! ```

use super::futures::TimeSampler;
use super::variation::{Cause, World};
use crate::units::Spread;
use std::cell::RefCell;
use std::collections::HashMap;
use std::hash::Hash;
use std::rc::Rc;

/// A figure in each future.
type Column = Rc<[f64]>;

/// Columns by what they are of.
type Columns<K> = RefCell<HashMap<K, Column>>;

/// The futures of one job, with what was drawn in them so far.
#[derive(Debug)]
pub struct Together {
    worlds: Vec<World>,
    job: u64,
    /// Level, shop and job, as a logarithm.
    whole: Vec<f64>,
    /// Ratio of an element, or of a setup, to its standard, by its key and its spread.
    ratios: Columns<(u64, Spread)>,
    elements: Columns<u64>,
    people: Columns<u64>,
    rework: Columns<u64>,
}

/// The column of a key: the one that is kept, or else a new one.
fn column<K: Hash + Eq>(
    kept: &Columns<K>,
    key: K,
    worlds: &[World],
    draw: impl Fn(&World) -> f64,
) -> Column {
    let mut kept = kept.borrow_mut();
    kept.entry(key)
        .or_insert_with(|| worlds.iter().map(draw).collect())
        .clone()
}

impl Together {
    /// Of job `job` in these futures.
    #[must_use]
    pub fn new(worlds: impl Iterator<Item = World>, job: u64) -> Self {
        let worlds: Vec<World> = worlds.collect();
        let whole = worlds.iter().map(|w| w.log_shop() + w.log_job(job));
        Self {
            whole: whole.collect(),
            worlds,
            job,
            ratios: Columns::default(),
            elements: Columns::default(),
            people: Columns::default(),
            rework: Columns::default(),
        }
    }

    /// Minutes of each operation of a route, setup included, one row of operations a future; operation `i` is done by one of
    /// `able[i]`, or by nobody in particular when there is none.
    #[must_use]
    pub fn sample(&self, times: &TimeSampler, able: &[Vec<u64>]) -> Vec<f64> {
        let job = self.job;
        let ratios: Vec<Column> = times
            .draws
            .iter()
            .zip(&times.keys)
            .map(|((spread, ratio), &key)| {
                column(&self.ratios, (key, *spread), &self.worlds, |world| {
                    let mut rng = world.generator(Cause::Own, job ^ key.rotate_left(17));
                    ratio.sample(&mut rng)
                })
            })
            .collect();
        let n = times.operations.len();
        let mut minutes = vec![0.0; n * self.worlds.len()];
        let each = times.terms.iter().zip(&times.operations).enumerate();
        for (i, (terms, &(number, element))) in each {
            let key = job ^ number.rotate_left(40);
            let element = column(&self.elements, element, &self.worlds, |w| {
                w.log_element(element)
            });
            let rework = column(&self.rework, key, &self.worlds, |w| w.rework(key));
            let able = able.get(i).map_or(&[][..], Vec::as_slice);
            let people: Vec<Column> = able
                .iter()
                .map(|&person| column(&self.people, person, &self.worlds, |w| w.log_person(person)))
                .collect();
            let terms: Vec<(f64, &Column)> = terms
                .iter()
                .filter_map(|&(standard, draw)| Some((standard, ratios.get(draw)?)))
                .collect();
            let at = |column: &Column, k: usize| column.get(k).copied().unwrap_or_default();
            let out = minutes.iter_mut().skip(i).step_by(n.max(1));
            for (k, ((out, world), whole)) in out.zip(&self.worlds).zip(&self.whole).enumerate() {
                let person = world.which(able.len(), key).and_then(|p| people.get(p));
                let log = whole + at(&element, k) + person.map_or(0.0, |person| at(person, k));
                let own: f64 = terms
                    .iter()
                    .map(|(standard, ratio)| standard * at(ratio, k))
                    .sum();
                *out = own * log.exp() * at(&rework, k);
            }
        }
        minutes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::tests::{route_of, typical};
    use crate::estimating::variation::{Variation, Worlds};
    use rust_decimal::dec;

    /// To the last bit what is drawn one route after another, also for a route that uses again what another has drawn.
    #[test]
    fn together_is_as_one_by_one() {
        let variation = Variation {
            rework_percent: dec!(30),
            ..Variation::default()
        };
        let worlds = Worlds::new(5, variation.shares());
        let whole = route_of(&typical());
        let mut part = whole.clone();
        part.operations.truncate(5);
        let together = Together::new((0..40).map(|k| worlds.world(k)), 9);
        for route in [&whole, &part, &whole] {
            let times = route.sampler().unwrap();
            let n = route.operations.len();
            let able: Vec<Vec<u64>> = (0..n).map(|i| (0..i as u64 % 4).collect()).collect();
            let minutes = together.sample(&times, &able);
            assert_eq!(minutes.len(), 40 * n);
            for (k, mine) in minutes.chunks(n).enumerate() {
                let mut alone = vec![0.0; n];
                times.sample_in(&worlds.world(k as u64), 9, &able, &mut alone);
                let bits = |row: &[f64]| row.iter().map(|m| m.to_bits()).collect::<Vec<_>>();
                assert_eq!(bits(mine), bits(&alone));
            }
        }
    }
}
