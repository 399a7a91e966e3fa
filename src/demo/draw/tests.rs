//! What the demo promises: the typical conversion, the trade's facts, a loaded shop.

use super::*;
use crate::castings::{Action, FeatureKind};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use std::collections::BTreeMap;

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 11, 25).unwrap()
}

fn plan(seed: &Seed, donor: &str, wanted: &str) -> Conversion {
    let donor = seed.variant("test", donor).unwrap();
    let wanted = seed.variant("test", wanted).unwrap();
    let pattern = seed
        .patterns
        .iter()
        .find(|p| p.id == wanted.pattern_id)
        .unwrap();
    Conversion::plan(pattern, donor, wanted, &seed.rules).unwrap()
}

fn route(seed: &Seed, conversion: &Conversion) -> Route {
    let wanted = seed
        .variants
        .iter()
        .find(|v| v.id == conversion.wanted)
        .unwrap();
    let pattern = seed
        .patterns
        .iter()
        .find(|p| p.id == wanted.pattern_id)
        .unwrap();
    Route::for_conversion(
        conversion,
        &[],
        pattern,
        &seed.elements,
        (&iron().unwrap(), &OrderOfWork::default()),
    )
    .unwrap()
}

fn machining(route: &Route) -> Minutes {
    route
        .operations
        .iter()
        .filter(|o| o.stage.is_machining())
        .map(|o| o.setup + o.run)
        .sum()
}

/// Two fitted dowels, four more rear holes, the oil passage, two sump holes, the two-piece seal, and nothing else but
/// what stands in every conversion: four to five hours of machining at least (common practice, no source).
#[test]
fn the_typical_conversion_holds() {
    let seed = Seed::read().unwrap();
    let conversion = plan(&seed, "Tarn 4/90 farm", "Tarn 4/90 marine");
    assert!(conversion.is_possible());
    let made: Vec<(&str, FeatureKind, Action)> = conversion
        .to_machine()
        .map(|r| {
            let subject = r.difference.subject();
            (subject.place.label.as_str(), subject.kind, r.action)
        })
        .collect();
    use FeatureKind::{DowelHole, Register, TappedHole};
    assert_eq!(
        made,
        [
            ("S2", TappedHole, Action::Machine),
            ("S3", TappedHole, Action::Machine),
            ("R1", Register, Action::Rework),
            ("R2", DowelHole, Action::Machine),
            ("R3", DowelHole, Action::Machine),
            ("R4", TappedHole, Action::Machine),
            ("R5", TappedHole, Action::Machine),
            ("R6", TappedHole, Action::Machine),
            ("R7", TappedHole, Action::Machine),
            ("L1", TappedHole, Action::Rework),
        ]
    );
    let route = route(&seed, &conversion);
    let hours = machining(&route).hours();
    assert!(hours >= Decimal::from(5), "{hours} h of machining");
    assert!(
        hours <= Decimal::from(10),
        "{hours} h of machining is more than anyone would believe"
    );
    let codes: Vec<&str> = route
        .operations
        .iter()
        .flat_map(|o| &o.steps)
        .map(|s| s.code.as_str())
        .collect();
    for standing in [
        "RECEIVE",
        "CLEAN",
        "CRACK-TEST",
        "MEASURE",
        "MAINS-LINE-BORE",
        "WASH-FINAL",
        "FINAL-CHECK",
    ] {
        assert!(codes.contains(&standing), "{standing} in {codes:?}");
    }
}

#[test]
fn a_larger_sump_fastening_is_made_only_where_a_gearbox_hangs_under_the_block() {
    let seed = Seed::read().unwrap();
    let sump = |conversion: &Conversion| {
        let remedy = conversion
            .remedies
            .iter()
            .find(|r| r.difference.subject().place.label == "S1")
            .unwrap();
        (remedy.action, remedy.elements.clone())
    };
    let hanging = plan(&seed, "Ousel twin pump set", "Ousel twin saildrive");
    assert_eq!(
        sump(&hanging),
        (Action::Rework, vec!["HOLE-TAP".to_owned()])
    );
    let standing = plan(&seed, "Tarn 4/90 farm", "Tarn 4/90 generator");
    assert_eq!(sump(&standing), (Action::Caution, vec![]));
}

#[test]
fn what_has_no_metal_cannot_be_made_and_says_so() {
    let seed = Seed::read().unwrap();
    let conversion = plan(&seed, "Corrie six lorry", "Corrie six turbo");
    let impossible: Vec<_> = conversion.impossible().collect();
    assert_eq!(impossible.len(), 1);
    assert_eq!(impossible[0].difference.subject().place.label, "J1-6");
    assert!(impossible[0].say.contains("metal"), "{}", impossible[0].say);
}

/// Whatever a variant has at a boss is there, so the boss must have taken it: drill points and run-out of the threads too.
#[test]
fn every_feature_of_the_demo_fits_the_boss_it_was_made_in() {
    let seed = Seed::read().unwrap();
    let mut held = 0;
    for variant in &seed.variants {
        let pattern = seed.patterns.iter().find(|p| p.id == variant.pattern_id);
        for feature in &variant.features {
            if let Some(boss) = pattern.unwrap().boss(&feature.place) {
                held += 1;
                assert_eq!(boss.takes(feature), Ok(()), "{}", variant.name);
                let depths = feature.depths(boss.deepest);
                assert!(
                    depths.is_none_or(|d| !d.short),
                    "{}: {}",
                    variant.name,
                    feature.place
                );
            }
        }
    }
    assert!(held > 30, "{held}");
}

#[test]
fn the_trade_s_limits_stand_in_the_checks() {
    let seed = Seed::read().unwrap();
    let text: String = seed
        .elements
        .iter()
        .flat_map(|e| &e.checks)
        .map(|c| format!("{}: {}\n", c.what, c.limits_in_words()))
        .collect();
    for fact in [
        "0.05 mm, 0.04 to 0.06 mm (2 thou)",
        "at most 0.037 mm (a 0.038 mm, 1.5 thou feeler must not enter",
        "0.10 mm, 0.08 to 0.13 mm (4 thou)",
    ] {
        assert!(text.contains(fact), "{fact}");
    }
}

#[test]
fn sixty_jobs_load_the_machines_for_weeks_and_are_the_same_every_time() {
    let seed = Seed::read().unwrap();
    let draw = || live_jobs(&seed, today(), &mut Pcg64::seed_from_u64(490)).unwrap();
    let jobs = draw();
    assert_eq!(jobs.len(), 60);
    let again: Vec<String> = draw().into_iter().map(|j| j.title).collect();
    assert_eq!(
        jobs.iter().map(|j| j.title.clone()).collect::<Vec<_>>(),
        again
    );
    let mut left: BTreeMap<&str, Decimal> = BTreeMap::new();
    for job in &jobs {
        assert!(job.due_on >= today());
        assert!(job.promised_on.is_none_or(|day| day >= job.due_on));
        for day in job.promised_on.into_iter().chain([job.due_on]) {
            assert_eq!(working_day(&seed, day, 0), day, "{day} is no working day");
        }
        assert!(job.done < job.route.operations.len());
        for operation in job.route.operations.iter().skip(job.done) {
            *left.entry(operation.machine_kind.as_str()).or_default() +=
                (operation.setup + operation.run).hours();
        }
    }
    // A few weeks of 38 hours stand before the mill and the line borer.
    for kind in ["mill", "line borer"] {
        let weeks = left[kind] / Decimal::from(38);
        assert!(
            weeks > Decimal::TWO && weeks < Decimal::from(8),
            "{kind}: {weeks:.1} weeks in {left:?}"
        );
    }
}

#[test]
fn ten_sightings_over_two_years_say_something_but_not_much() {
    let seed = Seed::read().unwrap();
    let seen = sightings(&seed, today(), &mut Pcg64::seed_from_u64(91)).unwrap();
    assert_eq!(seen.len(), 10);
    assert!(
        seen.windows(2)
            .all(|pair| pair[0].seen_on <= pair[1].seen_on)
    );
    assert!(seen.iter().all(|s| s.seen_on < today()));
    assert_eq!(seen.iter().filter(|s| s.asked.is_none()).count(), 1);
    assert_eq!(
        seen.iter().filter(|s| s.fate == Fate::BoughtGood).count(),
        2
    );
    assert_eq!(
        seen.iter().filter(|s| s.fate == Fate::BoughtScrap).count(),
        1
    );
}

/// A casting of the sister pattern needs for the marine engine what the farm block needs, less what that has too many.
#[test]
fn a_casting_of_the_sister_pattern_is_converted_like_one_of_the_pattern() {
    let seed = Seed::read().unwrap();
    let related = seed.related.first().unwrap();
    let of = |id| seed.patterns.iter().find(|p| p.id == id).unwrap();
    let (tarn, fell) = (of(related.wanted), of(related.donor));
    let donor = seed.variant("test", "Fell 4/90 compressor").unwrap();
    let marine = seed.variant("test", "Tarn 4/90 marine").unwrap();
    let seen = related.places.pattern(fell, tarn);
    let donor = related.places.variant(donor, tarn);
    let made = Conversion::plan(&seen, &donor, marine, &seed.rules).unwrap();
    assert!(made.is_possible());
    let mut farm = plan(&seed, "Tarn 4/90 farm", "Tarn 4/90 marine").remedies;
    let too_many: Vec<String> = farm
        .extract_if(.., |remedy| !made.remedies.contains(remedy))
        .map(|remedy| remedy.difference.place().label.clone())
        .collect();
    assert_eq!(too_many, ["R8", "R9", "K2"]);
    assert_eq!(farm, made.remedies);
}
