//! Sizes of the patterns and what was measured on castings of the shelf, from `demo-seed/measured.toml`.

use super::fill::DemoError;
use super::seed::{Seed, SeedError};
use crate::castings::Pattern;
use crate::castings::measured::{Purpose, Readings, Sizes};
use crate::db::measured_records::{self, NewRecord};
use crate::db::{ShopTx, casting_records, castings_on_shelf};
use crate::units::Code;
use chrono::{DateTime, Utc};
use serde::Deserialize;
use std::collections::HashMap;
use uuid::Uuid;

const FILE: &str = "measured.toml";

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MeasuredFile {
    sizes: Vec<SizesSeed>,
    record: Vec<RecordSeed>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SizesSeed {
    pattern: String,
    sizes: Sizes,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RecordSeed {
    /// A mark of the casting.
    casting: String,
    instrument: String,
    note: String,
    readings: Readings,
}

fn fault(why: impl std::fmt::Display) -> SeedError {
    SeedError {
        file: FILE,
        why: why.to_string(),
    }
}

fn file() -> Result<MeasuredFile, SeedError> {
    toml::from_str(include_str!("../../demo-seed/measured.toml")).map_err(fault)
}

/// Gives the patterns their sizes.
pub(super) fn give_sizes(patterns: &mut [Pattern]) -> Result<(), SeedError> {
    for one in file()?.sizes {
        let pattern = patterns
            .iter_mut()
            .find(|pattern| pattern.name == one.pattern);
        let pattern =
            pattern.ok_or_else(|| fault(format!("there is no pattern “{}”", one.pattern)))?;
        if let Some(what) = one.sizes.faults().first() {
            return Err(fault(format!("{}: {}: {what}", one.pattern, what.field())));
        }
        pattern.sizes = one.sizes;
    }
    Ok(())
}

/// Writes the sizes of the patterns, and what was measured on castings that are on the shelf.
pub(super) async fn write(
    tx: &mut ShopTx,
    seed: &Seed,
    now: DateTime<Utc>,
) -> Result<(), DemoError> {
    for pattern in &seed.patterns {
        let sizes = Sizes {
            pattern_id: pattern.id,
            version: 0,
            ..pattern.sizes.clone()
        };
        measured_records::set_sizes(tx, &sizes).await?;
    }
    let mut by_mark: HashMap<String, Uuid> = HashMap::new();
    for casting in castings_on_shelf::list(tx, castings_on_shelf::ShelfState::ALL, None).await? {
        for kept in casting_records::marks(tx, casting.id).await? {
            by_mark.insert(kept.mark.text, casting.id);
        }
    }
    for one in file()?.record {
        let casting_id = *by_mark
            .get(&one.casting)
            .ok_or_else(|| fault(format!("no casting is marked “{}”", one.casting)))?;
        let sizes = measured_records::sizes_for_casting(tx, casting_id).await?;
        let verdict = one
            .readings
            .judgement(&sizes, Purpose::Inspection)
            .verdict();
        let record = NewRecord {
            id: Uuid::now_v7(),
            casting_id,
            job_id: None,
            purpose: Purpose::Inspection,
            readings: one.readings,
            instrument: one.instrument,
            note: one.note,
            at: now,
        };
        measured_records::insert(tx, &record, &sizes, verdict).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::measured::{CylinderRemedy, Grind, Verdict};

    /// The demo shows one record of each verdict, so its figures must stay what its words say.
    #[test]
    fn the_seed_reads_and_says_what_it_is_meant_to() {
        let file = file().unwrap();
        let sizes = &file.sizes[0].sizes;
        let judged: Vec<Verdict> = file
            .record
            .iter()
            .map(|one| one.readings.judgement(sizes, Purpose::Inspection).verdict())
            .collect();
        assert_eq!(
            judged,
            [Verdict::Outside, Verdict::Within, Verdict::Outside]
        );
        // Main 3, the worst: 63.938 - 0.02 - 0.03 = 63.888, above 63.75.
        let Readings::Crankshaft(crank) = &file.record[2].readings else {
            panic!("the crankshaft comes last");
        };
        let remedy = crank.remedy(&sizes.crank);
        assert_eq!(remedy.mains, Grind::To("0.25".parse().unwrap()));
        assert_eq!(remedy.pins, Grind::None);
        let Readings::Cylinders(worn) = &file.record[0].readings else {
            panic!("cylinders come first");
        };
        // Bore 3, the worst: 90.19 + 0.10 = 90.29, so +0.5.
        assert_eq!(
            worn.remedy(&sizes.bores),
            CylinderRemedy::Bore {
                over: "0.5".parse().unwrap(),
                sleeve: vec![]
            }
        );
        for one in &file.record {
            assert_eq!(one.readings.not_believed(sizes), Vec::<String>::new());
        }
    }
}
