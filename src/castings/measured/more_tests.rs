//! Crankshaft, cam, liners and surfaces: figures worked by hand; castings, sizes and limits are invented.

use super::*;

fn mm(text: &str) -> Option<Length> {
    Some(text.parse().unwrap())
}

fn lengths(texts: &[&str]) -> Vec<Length> {
    texts.iter().map(|one| one.parse().unwrap()).collect()
}

fn said(judged: &Judgement) -> Vec<(Part, Option<usize>, Quantity)> {
    let each = judged.outside.iter();
    each.map(|o| (o.part, o.number, o.what)).collect()
}

fn crank_sizes() -> CrankSizes {
    let journal = |smallest, largest| JournalSizes {
        smallest: mm(smallest),
        largest: mm(largest),
        wear: mm("0.05"),
        taper: mm("0.01"),
        ovality: mm("0.02"),
        undersizes: lengths(&["0.25", "0.5", "0.75"]),
        clean_up: mm("0.03"),
    };
    CrankSizes {
        mains: journal("63.98", "64"),
        pins: journal("51.98", "52"),
        run_out: mm("0.05"),
        ..CrankSizes::default()
    }
}

fn journal(readings: [&str; 4], run_out: Option<Length>) -> Journal {
    let [a, b, c, d] = readings.map(mm);
    Journal {
        at: [[a, b], [c, d]],
        run_out,
    }
}

fn shaft(worst: [&str; 4], run_out: &str) -> Crankshaft {
    let good = || journal(["63.99"; 4], mm("0"));
    Crankshaft {
        mains: vec![good(), journal(worst, mm(run_out)), good()],
        pins: vec![Journal::default(); 2],
        ..Crankshaft::default()
    }
}

#[test]
fn a_worn_journal_has_the_next_undersize_about_the_axis_of_the_shaft() {
    let sizes = crank_sizes();
    let worn = shaft(["63.94", "63.9", "63.95", "63.93"], "0.04");
    let [mains, _] = worn.findings(&sizes);
    // 64 - 63.9; the ends differ by 0.01 and 0.03; at one end 0.04 and at the other 0.02.
    assert_eq!(
        (mains[1].wear, mains[1].taper, mains[1].ovality),
        (mm("0.1"), mm("0.03"), mm("0.04"))
    );
    // 63.9 - 0.04 - 0.03 = 63.83 is left; at 0.25 under the largest is 63.75.
    assert_eq!(worn.remedy(&sizes).mains, Grind::To(mm("0.25").unwrap()));
    assert_eq!(
        said(&worn.judgement(&sizes, Purpose::Inspection)),
        [
            (Part::Main, Some(2), Quantity::Wear),
            (Part::Main, Some(2), Quantity::Taper),
            (Part::Main, Some(2), Quantity::Ovality)
        ]
    );
    // Exactly the allowance is enough; what it runs out by is ground off besides.
    let next = |smallest: &str, run_out: &str| {
        shaft([smallest, "63.9", "63.9", "63.9"], run_out)
            .remedy(&sizes)
            .mains
    };
    let to = |under: &str| Grind::To(under.parse().unwrap());
    assert_eq!(next("63.78", "0"), to("0.25"));
    assert_eq!(next("63.779", "0"), to("0.5"));
    assert_eq!(next("63.78", "0.001"), to("0.5"));
    // At 0.75 under the largest is 63.25, so less than 63.28 is too small for any.
    assert_eq!(next("63.279", "0"), Grind::TooSmall(vec![2]));
    assert!(!worn.remedy(&sizes).bent);
    assert!(shaft(["63.99"; 4], "0.051").remedy(&sizes).bent);
}

#[test]
fn a_ground_journal_is_held_against_its_size_at_the_undersize() {
    let sizes = crank_sizes();
    let at = |size: &str| {
        let pin = journal([size; 4], None);
        let shaft = Crankshaft {
            under_pins: "0.25".parse().unwrap(),
            pins: vec![pin],
            ..Crankshaft::default()
        };
        said(&shaft.judgement(&sizes, Purpose::Finished))
    };
    assert_eq!(at("51.73"), []);
    assert_eq!(at("51.75"), []);
    assert_eq!(at("51.729"), [(Part::Pin, Some(1), Quantity::Smallest)]);
    assert_eq!(at("51.751"), [(Part::Pin, Some(1), Quantity::Largest)]);
    let nothing = Crankshaft::default();
    let judged = nothing.judgement(&sizes, Purpose::Finished);
    assert_eq!(judged.verdict(), Verdict::Open);
    // A reading that is missing, and a shaft whose undersizes nobody has entered, say nothing.
    let mut half = shaft(["63.9"; 4], "0");
    half.mains[1].at[0][0] = None;
    assert_eq!(half.remedy(&sizes).mains, Grind::Unknown);
    let worn = shaft(["63.9"; 4], "0");
    assert_eq!(worn.remedy(&CrankSizes::default()).mains, Grind::Unknown);
}

fn cam_sizes() -> CamSizes {
    CamSizes {
        bearings: Some(2),
        tunnel: lengths(&["50", "49.5"]),
        tunnel_tolerance: mm("0.025"),
        bush: lengths(&["46"]),
        bush_tolerance: mm("0.03"),
        bush_wear: mm("0.08"),
        ovality: mm("0.02"),
        lifter_smallest: mm("22"),
        lifter_largest: mm("22.021"),
        lifter_wear: mm("0.06"),
        lifter_taper: mm("0.02"),
        lifter_ovality: mm("0.02"),
        ..CamSizes::default()
    }
}

#[test]
fn cam_bearings_have_sizes_of_their_own_and_groups_left_out_are_not_asked_for() {
    let bearing = |tunnel: [&str; 2], bush: [&str; 2]| CamBearing {
        tunnel: tunnel.map(mm),
        bush: bush.map(mm),
        off: [None; 2],
    };
    let record = CamAndLifters {
        bearings: vec![
            bearing(["50.01", "50.02"], ["46.05", "46.06"]),
            bearing(["49.51", "49.53"], ["46.05", "46.06"]),
        ],
        lifters: vec![Lifter::default(); 4],
    };
    let sizes = cam_sizes();
    let came = record.judgement(&sizes, Purpose::Inspection);
    assert_eq!(
        said(&came),
        [(Part::Tunnel, Some(2), Quantity::Largest)],
        "49.53 is above 49.525"
    );
    // Worn bushes may be 46.08, new ones 46.03.
    let finished = record.judgement(&sizes, Purpose::Finished);
    let bushes = said(&finished);
    assert!(bushes.contains(&(Part::Bush, Some(1), Quantity::Largest)));
    assert_eq!(bushes.len(), 3);
    let mut half = record.clone();
    half.bearings[0].tunnel[1] = None;
    let judged = half.judgement(&sizes, Purpose::Inspection);
    assert!(judged.missing.contains(&Quantity::Reading));
    assert!(!came.missing.contains(&Quantity::Reading));

    let mut lifters = record;
    lifters.bearings = vec![CamBearing::default(); 2];
    lifters.lifters = vec![Lifter {
        at: [[mm("22.01"), mm("22.02")], [mm("22.05"), mm("22.04")]],
    }];
    assert_eq!(
        said(&lifters.judgement(&sizes, Purpose::Inspection)),
        [(Part::Lifter, Some(1), Quantity::Taper)],
        "22.05 is within 22.06, and 0.04 along it is above 0.02"
    );
    let finished = said(&lifters.judgement(&sizes, Purpose::Finished));
    assert!(finished.contains(&(Part::Lifter, Some(1), Quantity::Largest)));
}

#[test]
fn liners_surfaces_and_the_torque_plate_count_when_the_work_is_finished() {
    let sizes = BoreSizes {
        smallest: mm("95"),
        largest: mm("95.022"),
        wear: mm("0.15"),
        taper: mm("0.1"),
        ovality: mm("0.08"),
        finish_least: mm("0.0004"),
        finish_most: mm("0.0008"),
        square: mm("0.05"),
        torque_plate: true,
        liner: Some(Liner::Wet),
        liner_lowest: mm("0.02"),
        liner_highest: mm("0.1"),
        liner_step: mm("0.04"),
        ..BoreSizes::default()
    };
    let bore = |liner: [&str; 4], finish: &str| Bore {
        at: [[mm("95.01"); 2]; 3],
        finish: mm(finish),
        square: mm("0.05"),
        liner: liner.map(mm),
        ..Bore::default()
    };
    let two = |next: [&str; 4], finish: &str| Cylinders {
        torque_plate: true,
        liner: Some(Liner::Wet),
        bores: vec![bore(["0.03"; 4], "0.0006"), bore(next, finish)],
        ..Cylinders::default()
    };
    let good = two(["0.07"; 4], "0.0008");
    let finished = |record: &Cylinders| record.judgement(&sizes, Purpose::Finished);
    assert_eq!(finished(&good).verdict(), Verdict::Within);
    // Round one liner 0.05; the mean of 0.03, 0.03, 0.08, 0.03 is 0.0425, so 0.0125 from the next.
    let tilted = two(["0.03", "0.03", "0.08", "0.03"], "0.0006");
    assert_eq!(
        said(&finished(&tilted)),
        [(Part::Bore, Some(2), Quantity::LinerStep)]
    );
    // 0.08 to 0.03: 0.05 from one to the next.
    let high = two(["0.08"; 4], "0.0006");
    assert_eq!(
        said(&finished(&high)),
        [(Part::Whole, None, Quantity::LinerStep)]
    );
    for (finish, outside) in [("0.00039", true), ("0.0004", false), ("0.00081", true)] {
        let judged = finished(&two(["0.03"; 4], finish));
        assert_eq!(!judged.outside.is_empty(), outside, "{finish}");
    }
    let rough = finished(&two(["0.03"; 4], "0.0012"));
    assert_eq!(
        rough.outside[0].to_string(),
        "bore 2: surface finish Ra 1.2 µm, limit 0.8 µm"
    );
    // Without the plate, or without a reading of the surface, nothing is said to be right.
    let bare = Cylinders {
        torque_plate: false,
        ..good.clone()
    };
    assert_eq!(finished(&bare).missing, [Quantity::TorquePlate]);
    let mut unread = good.clone();
    unread.bores[1].finish = None;
    assert_eq!(finished(&unread).verdict(), Verdict::Open);
    // As it came, none of these is asked for.
    let mut worn = unread;
    worn.torque_plate = false;
    worn.bores.iter_mut().for_each(|bore| {
        bore.liner = [None; 4];
        bore.square = None;
    });
    let came = worn.judgement(&sizes, Purpose::Inspection);
    assert_eq!(came.verdict(), Verdict::Within);
}

#[test]
fn cam_sizes_are_one_for_all_or_one_for_each() {
    let faults = |bearings, tunnel: &[&str]| {
        let mut sizes = Sizes::default();
        sizes.cam.bearings = bearings;
        sizes.cam.tunnel = lengths(tunnel);
        sizes.faults()
    };
    assert_eq!(faults(None, &["50"]), []);
    assert_eq!(faults(Some(2), &["50", "49.5"]), []);
    for bearings in [None, Some(3)] {
        let each = faults(bearings, &["50", "49.5"]);
        assert_eq!(each, [SizeFault::NotEach("tunnel")]);
    }
}

/// Common practice, no source: two lifters a cylinder, a cam bearing a main; what the pattern says goes before it.
#[test]
fn a_layout_has_two_lifters_a_cylinder_where_nothing_else_is_said() {
    let usual = Layout::of(6, 7, &Sizes::default());
    let counted = (usual.lifters, usual.cam_bearings, usual.pins);
    assert_eq!(counted, (12, 7, 6));
    let mut sizes = Sizes::default();
    (sizes.cam.lifters, sizes.cam.bearings) = (Some(6), Some(4));
    sizes.crank.pin_count = Some(3);
    let said = Layout::of(6, 7, &sizes);
    assert_eq!((said.lifters, said.cam_bearings, said.pins), (6, 4, 3));
}
