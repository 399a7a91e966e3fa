//! Figures worked by hand; castings, sizes and limits are invented.

use super::*;
use proptest::prelude::*;

mod bounds;

fn mm(text: &str) -> Option<Length> {
    Some(text.parse().unwrap())
}

fn lengths(texts: &[&str]) -> Vec<Length> {
    texts.iter().map(|one| one.parse().unwrap()).collect()
}

fn bore_sizes() -> BoreSizes {
    BoreSizes {
        smallest: mm("95"),
        largest: mm("95.022"),
        wear: mm("0.15"),
        taper: mm("0.1"),
        ovality: mm("0.08"),
        oversizes: lengths(&["0.25", "0.5", "0.75", "1"]),
        clean_up: mm("0.1"),
        wall: mm("4"),
        ..BoreSizes::default()
    }
}

fn bore(readings: [&str; 6], wall: Option<Length>) -> Bore {
    let [a, b, c, d, e, f] = readings.map(mm);
    Bore {
        at: [[a, b], [c, d], [e, f]],
        wall,
        ..Bore::default()
    }
}

fn good() -> Bore {
    bore(["95.03", "95.06", "95.02", "95.04", "95.01", "95.01"], None)
}

fn worn(wall: Option<Length>) -> Bore {
    bore(["95.12", "95.28", "95.06", "95.1", "95.02", "95.03"], wall)
}

#[test]
fn a_worn_bore_has_its_wear_taper_ovality_and_next_oversize() {
    let all = Cylinders {
        over: Length::ZERO,
        bores: vec![good(), worn(None)],
        ..Cylinders::default()
    };
    let sizes = bore_sizes();
    let [_, found] = &all.findings(&sizes)[..] else {
        panic!("two bores");
    };
    assert_eq!((found.smallest, found.largest), (mm("95.02"), mm("95.28")));
    assert_eq!(
        (found.wear, found.taper, found.ovality),
        (mm("0.28"), mm("0.25"), mm("0.16"))
    );
    // 95.28 + 0.10 asks for 95.38: 0.25 is too little, 0.5 is the first. All the wear on one side and cut on the old
    // centre: 95.28 + 0.28 + 0.10 = 95.66, which is 0.75.
    let next = found.next.unwrap();
    assert_eq!(
        (Some(next.over), next.on_old_centre),
        (mm("0.5"), mm("0.75"))
    );
    let judged = all.judgement(&sizes, Purpose::Inspection);
    let said: Vec<_> = judged.outside.iter().map(|o| (o.what, o.number)).collect();
    assert_eq!(
        said,
        [
            (Quantity::Wear, Some(2)),
            (Quantity::Taper, Some(2)),
            (Quantity::Ovality, Some(2))
        ]
    );
    let half = mm("0.5").unwrap();
    assert_eq!(
        all.remedy(&sizes),
        CylinderRemedy::Bore {
            over: half,
            sleeve: vec![]
        }
    );
    // Exactly at the allowance it still cleans up; a hundredth more and it does not.
    let edge = |largest: &str| {
        let bore = bore(["95.2", largest, "95.1", "95.1", "95.1", "95.1"], None);
        bore.finding_for_test(&sizes)
    };
    assert_eq!(edge("95.4"), mm("0.5"));
    assert_eq!(edge("95.401"), mm("0.75"));
    assert_eq!(edge("95.95"), None);
}

impl Bore {
    fn finding_for_test(&self, sizes: &BoreSizes) -> Option<Length> {
        let one = Cylinders {
            over: Length::ZERO,
            bores: vec![self.clone()],
            ..Cylinders::default()
        };
        one.findings(sizes)[0].next.map(|next| next.over)
    }
}

#[test]
fn the_wall_is_what_the_cut_leaves_of_it_and_too_thin_a_one_is_sleeved() {
    // To +0.5 the bore is finished to 95.522 at most; from 95.02 that is 0.502 on the diameter, 0.251 from the wall.
    let one = |wall| Cylinders {
        over: Length::ZERO,
        bores: vec![good(), worn(mm(wall))],
        ..Cylinders::default()
    };
    let sizes = bore_sizes();
    let left = |wall| {
        one(wall).findings(&sizes)[1]
            .next
            .and_then(|next| next.wall)
    };
    assert_eq!(left("5"), mm("4.749"));
    assert_eq!(left("4.251"), mm("4"));
    assert_eq!(left("4.25"), None);
    assert_eq!(one("4.25").remedy(&sizes), CylinderRemedy::Sleeve(vec![2]));
}

#[test]
fn what_is_not_known_is_not_said_to_be_good() {
    let sizes = bore_sizes();
    let mut half = good();
    half.at[1][0] = None;
    let open = |bore: Bore, sizes: &BoreSizes| {
        let all = Cylinders {
            over: Length::ZERO,
            bores: vec![bore],
            ..Cylinders::default()
        };
        (
            all.judgement(sizes, Purpose::Inspection).verdict(),
            all.remedy(sizes),
        )
    };
    assert_eq!(
        open(good(), &sizes),
        (Verdict::Within, CylinderRemedy::None)
    );
    assert_eq!(open(half, &sizes), (Verdict::Open, CylinderRemedy::Unknown));
    let without = BoreSizes::default();
    assert_eq!(
        open(good(), &without),
        (Verdict::Open, CylinderRemedy::Unknown)
    );
    let no_wear = BoreSizes {
        wear: None,
        ..sizes
    };
    assert_eq!(
        open(good(), &no_wear),
        (Verdict::Open, CylinderRemedy::Unknown)
    );
    assert_eq!(Bore::default().finding_for_test(&no_wear), None);
}

#[test]
fn a_finished_bore_is_held_against_its_size_at_the_oversize() {
    let at = |low: &str, high: &str| Cylinders {
        over: mm("0.5").unwrap(),
        bores: vec![bore([low, high, low, low, low, low], None)],
        ..Cylinders::default()
    };
    let verdict = |record: &Cylinders| record.judgement(&bore_sizes(), Purpose::Finished).verdict();
    assert_eq!(verdict(&at("95.5", "95.522")), Verdict::Within);
    assert_eq!(verdict(&at("95.499", "95.52")), Verdict::Outside);
    assert_eq!(verdict(&at("95.5", "95.523")), Verdict::Outside);
}

fn housing(readings: [&str; 4], off: [&str; 2]) -> Housing {
    let [a, b, c, d] = readings.map(mm);
    Housing {
        at: [[a, b], [c, d]],
        off: off.map(mm),
        ..Housing::default()
    }
}

/// A cap is measured where somebody asks: faced at most so much, and as tight in its register as the pattern says.
#[test]
fn a_cap_is_held_against_what_may_be_faced_off_and_its_register() {
    let good = || housing(["68.01"; 4], ["0", "0"]);
    let sizes = HousingSizes {
        smallest: mm("68"),
        largest: mm("68.03"),
        taper: mm("0.01"),
        ovality: mm("0.015"),
        ..HousingSizes::default()
    };
    let judged = |cap: [Option<Length>; 2], sizes: &HousingSizes| {
        let housings = vec![Housing { cap, ..good() }];
        let record = MainLine {
            housings,
            ..MainLine::default()
        };
        record.judgement(sizes)
    };
    // The line of one housing alone is not asked about, nor are caps.
    assert_eq!(judged([None, None], &sizes).verdict(), Verdict::Within);
    assert_eq!(judged([mm("0"), None], &sizes).verdict(), Verdict::Within);
    let filed = judged([mm("1.4"), None], &sizes);
    assert_eq!(filed.missing, vec![Quantity::CapFaced]);
    let sizes = HousingSizes {
        faced: mm("0.4"),
        register_least: mm("0.02"),
        register_most: mm("0.08"),
        ..sizes
    };
    // The register is asked about now, facing only where it was done.
    let asked = judged([None, None], &sizes);
    assert_eq!(asked.missing, vec![Quantity::Reading]);
    let within = [(None, "0.02"), (mm("0.4"), "0.08")];
    for (faced, tight) in within {
        let judged = judged([faced, mm(tight)], &sizes);
        assert_eq!(judged.verdict(), Verdict::Within, "{faced:?} {tight}");
    }
    for (faced, tight, what) in [
        (mm("0.401"), "0.05", Quantity::CapFaced),
        (None, "0.019", Quantity::Register),
        (None, "0.081", Quantity::Register),
        (None, "-0.01", Quantity::Register),
    ] {
        let judged = judged([faced, mm(tight)], &sizes);
        assert_eq!(judged.outside.len(), 1);
        assert_eq!(
            (judged.outside[0].what, judged.outside[0].number),
            (what, Some(1))
        );
    }
    use super::fields::{Reading, reading};
    assert_eq!(reading("main-0-cap-0"), Reading::Deviation);
    assert_eq!(
        reading("main-0-cap-1"),
        Reading::Offset,
        "it may be typed with a minus"
    );
}

#[test]
fn a_housing_is_measured_both_ways_at_both_edges() {
    let sizes = HousingSizes {
        smallest: mm("68"),
        largest: mm("68.03"),
        taper: mm("0.01"),
        ovality: mm("0.015"),
        step: mm("0.02"),
        line: mm("0.04"),
        ..HousingSizes::default()
    };
    let record = |housing: Housing| MainLine {
        housings: vec![housing, self::housing(["68.01"; 4], ["0", "0"])],
        ..MainLine::default()
    };
    let outside = |housing| {
        let judged = record(housing).judgement(&sizes);
        judged
            .outside
            .iter()
            .map(|o| (o.what, o.number))
            .collect::<Vec<_>>()
    };
    let level = ["0", "0"];
    assert_eq!(
        outside(housing(["68.01", "68.01", "68.015", "68.01"], level)),
        []
    );
    // Closed in at the joint, as after a cap was filed or a bearing ran hot.
    assert_eq!(
        outside(housing(["68.02", "67.99", "68.02", "67.99"], level)),
        [(Quantity::Smallest, Some(1)), (Quantity::Ovality, Some(1))]
    );
    assert_eq!(
        outside(housing(["68.0", "68.0", "68.011", "68.011"], level)),
        [(Quantity::Taper, Some(1))]
    );
    // Two centres always lie on one line.
    assert_eq!(outside(housing(["68.01"; 4], ["5", "0"])), []);
    assert_eq!(
        record(Housing::default()).judgement(&sizes).verdict(),
        Verdict::Open
    );
}

#[test]
fn the_line_is_as_straight_as_the_best_pair_of_parallels() {
    let line = |off: &[&str]| {
        let housings = off
            .iter()
            .map(|one| housing(["68"; 4], [one, "0"]))
            .collect();
        MainLine {
            housings,
            ..MainLine::default()
        }
        .line()[0]
            .unwrap()
    };
    // A high middle: 0.03 both ways of reckoning.
    let found = line(&["0", "0.03", "0"]);
    assert_eq!(
        (Some(found.straightness), Some(found.step)),
        (mm("0.03"), mm("0.03"))
    );
    // 0, 1, -1, 0: from the line of the ends the points spread over 2, between the best parallels over 1.5 (slope -1/2).
    let found = line(&["0", "0.01", "-0.01", "0"]);
    assert_eq!(
        (Some(found.straightness), Some(found.step)),
        (mm("0.015"), mm("0.02"))
    );
    assert_eq!(
        line(&["0", "0.01", "0.02", "0.03"]).straightness,
        Length::ZERO
    );
    assert_eq!(
        MainLine {
            housings: vec![Housing::default(); 3],
            ..MainLine::default()
        }
        .line(),
        [None, None]
    );
}

#[test]
fn a_deck_has_its_height_its_lean_its_flatness_and_its_pistons() {
    let sizes = DeckSizes {
        least: mm("231.8"),
        along: mm("0.05"),
        across: mm("0.05"),
        flat_step: mm("0.03"),
        flat_length: mm("150"),
        flat: mm("0.08"),
        clean_up: mm("0.05"),
        piston_lowest: mm("-0.2"),
        piston_highest: mm("0.4"),
        gasket: mm("1.2"),
        clearance: mm("0.7"),
        ..DeckSizes::default()
    };
    let deck = Deck {
        heights: vec![
            [mm("232.10"), mm("232.08")],
            [mm("232.05"), mm("232.06")],
            [mm("232.00"), mm("232.04")],
        ],
        flat: [[mm("0.02"), mm("0.05")]; 5],
        pistons: vec![mm("0.1"), mm("0.3")],
        ..Deck::default()
    };
    let found = deck.findings(&sizes);
    assert_eq!((found.lowest, found.highest), (mm("232"), mm("232.1")));
    assert_eq!((found.along, found.across), (mm("0.1"), mm("0.04")));
    assert_eq!(
        (found.spare, found.faced, found.clearance),
        (mm("0.2"), mm("231.95"), mm("0.9"))
    );
    // Cylinder 2 stands between 232.05/232.06 and 232.00/232.04: 0.3 + (232.06 - 231.95) = 0.41.
    assert_eq!(found.piston_after, mm("0.41"));
    let said: Vec<_> = found.judgement.outside.iter().map(|o| o.what).collect();
    assert_eq!(said, [Quantity::Along]);
    assert!(found.wants_facing());
    // Without pistons in, nothing is asked of them; without anything, nothing is said.
    let bare = Deck {
        pistons: vec![None; 2],
        ..deck.clone()
    };
    assert_eq!(
        bare.findings(&DeckSizes {
            along: mm("0.1"),
            ..sizes.clone()
        })
        .judgement
        .verdict(),
        Verdict::Within
    );
    assert_eq!(
        Deck::blank(2).findings(&sizes).judgement.verdict(),
        Verdict::Open
    );
    let high = Deck {
        pistons: vec![mm("0.1"), mm("0.6")],
        ..deck
    };
    let said: Vec<_> = high
        .findings(&sizes)
        .judgement
        .outside
        .iter()
        .map(|o| (o.what, o.number))
        .collect();
    assert_eq!(
        said,
        [
            (Quantity::Along, None),
            (Quantity::Protrusion, Some(2)),
            (Quantity::Clearance, None)
        ]
    );
}

#[test]
fn sizes_that_cannot_be_are_named() {
    let mut sizes = Sizes::default();
    assert_eq!(sizes.faults(), []);
    sizes.bores.smallest = mm("95.022");
    sizes.bores.largest = mm("95");
    sizes.bores.oversizes = lengths(&["0.5", "0.25"]);
    sizes.mains.taper = mm("0");
    sizes.deck.flat_step = mm("0.03");
    assert_eq!(
        sizes.faults(),
        [
            SizeFault::NotPositive("main_taper"),
            SizeFault::Crossed("bore_largest"),
            SizeFault::Steps("oversizes"),
            SizeFault::NoLength
        ]
    );
    assert_eq!(
        sizes
            .faults()
            .into_iter()
            .map(SizeFault::field)
            .collect::<Vec<_>>(),
        ["main_taper", "bore_largest", "oversizes", "flat_length"]
    );
    let list = |texts: &[&str]| {
        let mut sizes = Sizes::default();
        sizes.bores.oversizes = lengths(texts);
        sizes.faults()
    };
    assert_eq!(list(&["0.25", "0.5", "1"]), []);
    assert_eq!(list(&["0.25", "0.25"]), [SizeFault::Steps("oversizes")]);
    assert_eq!(list(&["0", "0.25"]), [SizeFault::Steps("oversizes")]);
}

#[test]
fn a_record_reads_back_and_names_each_field_once() {
    let mut sizes = Sizes::default();
    sizes.bores.liner = Some(Liner::Wet);
    for kind in <RecordKind as crate::units::Code>::ALL {
        let mut record = Readings::blank(*kind, &Layout::of(4, 5, &sizes));
        assert!(record.is_empty());
        let mut names = Vec::new();
        for (at, (name, value)) in record.fields().into_iter().enumerate() {
            *value = Some(Length::from_um(i32::try_from(at).unwrap() + 1));
            names.push(name);
        }
        let count = names.len();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), count);
        assert!(!record.is_empty());
        let kept = serde_json::to_value(&record).unwrap();
        assert_eq!(serde_json::from_value::<Readings>(kept).unwrap(), record);
        assert_eq!(record.kind(), *kind);
    }
}

proptest! {
    /// Laying the bar at another angle or height changes no straightness, and no line is straighter than its minimum zone.
    #[test]
    fn straightness_does_not_ask_where_the_bar_lies(off in prop::collection::vec(-200_i32..200, 3..8), tilt in -50_i32..50) {
        let line = |tilt: i32| {
            let housing = |(at, off): (i32, &i32)| Housing {
                off: [Some(Length::from_um(off + tilt * at + 7)), None],
                ..Housing::default()
            };
            MainLine { housings: (0..).zip(&off).map(housing).collect(), ..MainLine::default() }.line()[0].unwrap()
        };
        let (flat, tilted) = (line(0), line(tilt));
        prop_assert!((flat.straightness - tilted.straightness).mm().abs() <= rust_decimal::dec!(0.0002));
        let spread = off.iter().max().unwrap() - off.iter().min().unwrap();
        prop_assert!(flat.straightness <= Length::from_um(spread));
    }
}
