use super::*;
use crate::castings::measured::Sizes;
use rust_decimal::dec;

fn limited(kind: CheckKind, lower: Option<Decimal>, upper: Option<Decimal>) -> Check {
    Check {
        kind,
        lower,
        upper,
        unit: "mm".to_owned(),
        ..Check::yes_no("Gap", "", "feeler gauges")
    }
}

#[test]
fn limits_are_said_as_the_trade_says_them() {
    let about = Check {
        nominal: Some(dec!(0.10)),
        note: "4 thou".to_owned(),
        ..limited(CheckKind::TwoSided, Some(dec!(0.08)), Some(dec!(0.13)))
    };
    assert_eq!(about.limits_in_words(), "0.10 mm, 0.08 to 0.13 mm (4 thou)");
    for (check, words) in [
        (
            limited(CheckKind::TwoSided, Some(dec!(-0.05)), Some(dec!(0.05))),
            "within ±0.05 mm",
        ),
        (
            limited(CheckKind::OneSided, None, Some(dec!(0.05))),
            "at most 0.05 mm",
        ),
        (
            limited(CheckKind::OneSided, Some(dec!(5)), None),
            "at least 5 mm",
        ),
        (
            limited(CheckKind::Range, Some(dec!(2.5)), Some(dec!(3))),
            "2.5 to 3 mm",
        ),
        (
            Check::yes_no("Plug", "flush and tight", ""),
            "flush and tight",
        ),
    ] {
        assert_eq!(check.limits_in_words(), words);
        assert_eq!(check.fault(), None, "{words}");
    }
}

#[test]
fn a_measured_check_without_limits_is_refused() {
    for (kind, lower, upper, field) in [
        (CheckKind::TwoSided, None, Some(dec!(0.05)), "upper"),
        (CheckKind::Range, Some(dec!(3)), Some(dec!(2)), "lower"),
        (CheckKind::OneSided, None, None, "upper"),
        (CheckKind::OneSided, Some(dec!(1)), Some(dec!(2)), "upper"),
        (CheckKind::YesNo, None, Some(dec!(2)), "lower"),
    ] {
        let fault = limited(kind, lower, upper).fault();
        assert_eq!(fault.map(|(field, _)| field), Some(field), "{kind:?}");
    }
    let twice = Check {
        places: vec!["top".to_owned(), "top".to_owned()],
        ..limited(CheckKind::OneSided, None, Some(dec!(1)))
    };
    assert_eq!(twice.fault().map(|(field, _)| field), Some("places"));
    let many = |places: usize| Check {
        places: (0..places).map(|n| n.to_string()).collect(),
        ..limited(CheckKind::OneSided, None, Some(dec!(1)))
    };
    assert_eq!(many(MOST_PLACES).fault(), None);
    assert!(many(MOST_PLACES + 1).fault().is_some());
}

#[test]
fn a_check_takes_the_patterns_limits_and_without_them_is_judged() {
    let kind = |kind| Check {
        kind,
        each: true,
        ..Check::yes_no("Main housing", "", "bore gauge")
    };
    let mut sizes = Sizes::default();
    sizes.mains.smallest = "68".parse().ok();
    sizes.mains.largest = "68.03".parse().ok();
    sizes.bores.taper = "0.02".parse().ok();
    sizes.bores.finish_least = "0.0004".parse().ok();
    sizes.bores.finish_most = "0.0008".parse().ok();
    sizes.deck.finish_most = "0.0032".parse().ok();
    let taken = |of| {
        let mut check = kind(of).on_route(Basis::PerMain, 2, None);
        assert_eq!(kind(of).fault(), None);
        check.take_sizes(&sizes);
        (check.limits_in_words(), check.readings())
    };
    assert_eq!(taken(CheckKind::Housing), ("68 to 68.03 mm".to_owned(), 2));
    assert_eq!(
        taken(CheckKind::BoreTaper),
        ("at most 0.02 mm".to_owned(), 2)
    );
    // Roughness is said in micrometres, on one side alone where the other has no limit.
    assert_eq!(
        taken(CheckKind::BoreFinish),
        ("0.4 to 0.8 µm".to_owned(), 2)
    );
    assert_eq!(
        taken(CheckKind::DeckFinish),
        ("at most 3.2 µm".to_owned(), 2)
    );
    let judged = "to the maker’s limits; the pattern has no sizes yet";
    assert_eq!(taken(CheckKind::HousingOvality), (judged.to_owned(), 1));
    assert_eq!(taken(CheckKind::PistonClearance), (judged.to_owned(), 1));
}

#[test]
fn a_torque_is_checked_in_its_stages_and_a_dowel_has_limits_of_its_own() {
    let torque = || Check {
        kind: CheckKind::TorqueBolts,
        ..Check::yes_no("Torque of the temporary bolts", "", "torque wrench")
    };
    let mut sizes = Sizes::default();
    let judged = torque().in_stages(&sizes);
    assert_eq!(judged.len(), 1);
    assert!(judged[0].limits_in_words().contains("no torques yet"));
    sizes.mains.bolt_stages = vec![dec!(40), dec!(110)];
    let staged = torque().in_stages(&sizes);
    let said: Vec<_> = staged
        .iter()
        .map(|one| (one.what.as_str(), one.limits_in_words()))
        .collect();
    // 4 % of 40 is 1.6, of 110 it is 4.4.
    assert_eq!(
        said,
        [
            (
                "Torque of the temporary bolts, stage 1 of 2",
                "40 Nm, 38.4 to 41.6 Nm".to_owned()
            ),
            (
                "Torque of the temporary bolts, stage 2 of 2",
                "110 Nm, 105.6 to 114.4 Nm".to_owned()
            ),
        ]
    );
    assert!(staged.iter().all(|one| one.fault().is_none()));
}

#[test]
fn readings_are_named_for_each_main_and_direction() {
    let bored = Check {
        each: true,
        places: vec!["upright".to_owned(), "across".to_owned()],
        ..limited(CheckKind::Range, Some(dec!(1)), Some(dec!(2)))
    };
    assert_eq!(
        bored.on_route(Basis::PerMain, 2, None).places,
        [
            "main 1, upright",
            "main 1, across",
            "main 2, upright",
            "main 2, across"
        ]
    );
    let places = |count| bored.on_route(Basis::PerFeature, count, None).places;
    assert_eq!(places(1), ["piece, upright", "piece, across"]);
    assert_eq!(places(2)[2], "piece, 2 of 2, upright");
    let alone = limited(CheckKind::Range, Some(dec!(1)), Some(dec!(2)));
    assert_eq!(alone.on_route(Basis::PerMain, 5, None).readings(), 1);
}
