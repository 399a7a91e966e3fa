//! Where one verdict ends and the next begins; what was not measured.

use super::*;

/// The first bore is good but thin: at the oversize the second needs, 95.522 − 95.01 = 0.512 mm on the diameter takes 0.256
/// from a wall of 4.2. The third has no oversize that leaves it 4 mm.
#[test]
fn the_worst_bore_decides_and_thin_walls_elsewhere_are_sleeved() {
    let sizes = bore_sizes();
    let thin = Bore {
        wall: mm("4.2"),
        ..good()
    };
    let needs = |bores: Vec<Bore>, sizes: &BoreSizes| {
        let over = Length::ZERO;
        let all = Cylinders {
            over,
            bores,
            ..Cylinders::default()
        };
        all.remedy(sizes)
    };
    let half = mm("0.5").unwrap();
    assert_eq!(
        needs(vec![thin, worn(None), worn(mm("4.25"))], &sizes),
        CylinderRemedy::Bore {
            over: half,
            sleeve: vec![1, 3]
        }
    );
    // Of a worn bore nothing is said while a reading, the list or the allowance is missing.
    let mut half_read = worn(None);
    half_read.at[2][0] = None;
    assert_eq!(needs(vec![half_read], &sizes), CylinderRemedy::Unknown);
    let no_list = BoreSizes {
        oversizes: vec![],
        ..bore_sizes()
    };
    let no_allowance = BoreSizes {
        clean_up: None,
        ..bore_sizes()
    };
    for sizes in [no_list, no_allowance] {
        assert_eq!(needs(vec![worn(None)], &sizes), CylinderRemedy::Unknown);
    }
    // Wear counts from the size it was bored to last: 95.53 − 95.5.
    let bored = Cylinders {
        over: half,
        bores: vec![bore(
            ["95.53", "95.52", "95.51", "95.51", "95.5", "95.5"],
            None,
        )],
        ..Cylinders::default()
    };
    assert_eq!(bored.findings(&sizes)[0].wear, mm("0.03"));
    // One reading alone has neither taper nor ovality.
    let mut single = Bore::default();
    single.at[0][0] = mm("95.1");
    let single = Cylinders {
        over: Length::ZERO,
        bores: vec![single],
        ..Cylinders::default()
    };
    let found = &single.findings(&sizes)[0];
    assert_eq!((found.taper, found.ovality), (None, None));
}

#[test]
fn a_housing_tells_its_sizes_and_alignment_is_asked_for_where_it_has_a_limit() {
    let housings = vec![housing(["68.02", "67.99", "68.01", "68.005"], ["0.01", "0"]); 3];
    let found = MainLine {
        housings,
        thrust: None,
    }
    .findings()
    .remove(2);
    assert_eq!((found.smallest, found.largest), (mm("67.99"), mm("68.02")));
    assert_eq!((found.taper, found.ovality), (mm("0.015"), mm("0.03")));

    let verdict = |off: [Option<Length>; 2], step: Option<Length>, line: Option<Length>| {
        let one = Housing {
            off,
            ..housing(["68.01"; 4], ["0", "0"])
        };
        let sizes = HousingSizes {
            smallest: mm("68"),
            largest: mm("68.03"),
            taper: mm("0.01"),
            ovality: mm("0.015"),
            step,
            line,
            ..HousingSizes::default()
        };
        let housings = vec![one; 3];
        MainLine {
            housings,
            thrust: None,
        }
        .judgement(&sizes)
        .verdict()
    };
    let (measured, not) = ([mm("0.01"); 2], [None; 2]);
    let limit = mm("0.02");
    assert_eq!(
        verdict(not, None, None),
        Verdict::Within,
        "nobody's question"
    );
    assert_eq!(verdict(not, limit, None), Verdict::Open);
    assert_eq!(verdict(not, None, limit), Verdict::Open);
    assert_eq!(
        verdict(measured, None, None),
        Verdict::Open,
        "without limits"
    );
    assert_eq!(verdict(measured, limit, limit), Verdict::Within);
    // A bar laid askew: the steps count from the line of the ends, and one housing makes no line.
    let askew = ["0", "0.01", "0.02", "0.03"].map(|off| housing(["68"; 4], [off, "0"]));
    let line = |housings: Vec<Housing>| {
        MainLine {
            housings,
            thrust: None,
        }
        .line()[0]
    };
    assert_eq!(line(askew.to_vec()), Some(LineFinding::default()));
    assert_eq!(line(askew[..1].to_vec()), None);
}

#[test]
fn half_a_table_of_flatness_is_open() {
    let sizes = DeckSizes {
        flat_step: mm("0.03"),
        flat_length: mm("150"),
        flat: mm("0.08"),
        ..DeckSizes::default()
    };
    let verdict = |flat| {
        let deck = Deck {
            flat,
            ..Deck::blank(2)
        };
        deck.findings(&sizes).judgement.verdict()
    };
    let whole = [[mm("0.02"), mm("0.05")]; 5];
    assert_eq!(verdict(whole), Verdict::Within);
    let mut one_missing = whole;
    one_missing[4][1] = None;
    assert_eq!(verdict(one_missing), Verdict::Open);
    assert_eq!(verdict([[None, mm("0.05")]; 5]), Verdict::Open, "no length");
}

#[test]
fn readings_that_cannot_be_are_named_and_an_empty_table_says_nothing() {
    let mut sizes = Sizes::default();
    sizes.bores.smallest = mm("95");
    sizes.mains.smallest = mm("68");
    for (kind, field, value, believed) in [
        (RecordKind::Cylinders, "bore-0-0-0", "100", true),
        (RecordKind::Cylinders, "bore-0-0-0", "100.001", false),
        (RecordKind::Cylinders, "bore-0-0-0", "89.999", false),
        (RecordKind::Cylinders, "bore-0-wall", "5", true),
        (RecordKind::Cylinders, "bore-0-wall", "0", false),
        (RecordKind::MainLine, "main-1-0-1", "73.001", false),
        (RecordKind::MainLine, "main-1-off-0", "-0.02", true),
        (RecordKind::Deck, "height-0-0", "0", false),
        (RecordKind::Deck, "flat-0-0", "0", true),
        (RecordKind::Deck, "flat-0-0", "-0.01", false),
        (RecordKind::Deck, "piston-0", "-0.3", true),
    ] {
        let mut record = Readings::blank(kind, &Layout::of(2, 3, &sizes));
        assert_eq!(
            record.judgement(&sizes, Purpose::Inspection).verdict(),
            Verdict::Open
        );
        let fields = record.fields().into_iter();
        for (_, reading) in fields.filter(|(name, _)| name == field) {
            *reading = mm(value);
        }
        assert!(!record.is_empty(), "{field}");
        let named = record.not_believed(&sizes);
        let expected = if believed {
            vec![]
        } else {
            vec![field.to_owned()]
        };
        assert_eq!(named, expected, "{field} {value}");
    }
}

#[test]
fn what_is_outside_is_noted_with_its_piece_and_its_limit() {
    let outside = |part, number| Outside {
        what: Quantity::Wear,
        part,
        number,
        found: "0.28".parse().unwrap(),
        limit: "0.15".parse().unwrap(),
    };
    let one = outside(Part::Bore, Some(2)).to_string();
    assert_eq!(one, "bore 2: wear 0.28 mm, limit 0.15 mm");
    let whole = outside(Part::Whole, None).to_string();
    assert_eq!(whole, "wear 0.28 mm, limit 0.15 mm");
}
