use super::*;
use crate::castings::FeatureKind;
use crate::units::table::rows;

fn mm(text: &str) -> Length {
    text.parse().unwrap()
}

#[test]
fn a_pattern_and_two_variants_in_one_table() {
    let table = "Feature;Farm;Marine\n\
                 rear face, four of M10×22 deep;x;x\n\
                 rear D1, dowel 12 H7 × 15 deep;;x\n\
                 rear face, M8 x 18 deep;x;M10 x 22 deep\n\
                 left side, plain 8 through;x;G 1/4";
    let draft = draft(rows(table), &[], LengthUnit::Mm);
    assert_eq!(draft.faults, []);
    assert!(draft.is_sound());
    let [(farm, of_farm), (marine, of_marine)] = &draft.variants[..] else {
        panic!("two variants");
    };
    assert_eq!((farm.as_str(), marine.as_str()), ("Farm", "Marine"));
    let told = |features: &[Feature]| -> Vec<String> {
        let tell = |f: &Feature| format!("{} {}x {} {}", f.place, f.count, f.kind, f.size);
        features.iter().map(tell).collect()
    };
    assert_eq!(
        told(of_farm),
        [
            "rear face, 1 4x tapped hole 10 mm",
            "rear face, 2 1x tapped hole 8 mm",
            "left side, 1 1x plain hole 8 mm"
        ]
    );
    assert_eq!(
        told(of_marine),
        [
            "rear face, 1 4x tapped hole 10 mm",
            "rear face, 2 1x tapped hole 10 mm",
            "rear face, D1 1x dowel hole 12 mm",
            "left side, 1 1x tapped hole 13.157 mm"
        ]
    );
    let opened = &draft.bosses[1];
    assert_eq!((opened.largest, opened.through), (mm("10"), false));
    let wider = of_marine[1].depths(None).unwrap().bottom();
    assert_eq!(
        opened.deepest,
        Some(wider),
        "what one variant has, the metal takes"
    );
    assert!(draft.bosses[3].through);
    assert!(draft.outlines.is_empty(), "nobody has measured anything");
}

#[test]
fn columns_of_their_own_say_the_same_and_positions_are_drawn() {
    let line = "Face\tLabel\tWhat\tSize\tFit\tDepth\tQty\tX\tY\tMetal\tMetal depth\tHill\n";
    let row = "rear\tR1\tdowel\t12\tH7\t15\t2\t100\t61.5\t20\t40\tyes\n";
    let draft = draft(rows(&format!("{line}{row}")), &[], LengthUnit::Mm);
    assert_eq!(draft.faults, []);
    let feature = &draft.variants[0].1[0];
    assert_eq!((feature.count, feature.kind), (2, FeatureKind::DowelHole));
    assert_eq!(
        feature.at,
        Some(Point {
            x: mm("100"),
            y: mm("61.5")
        })
    );
    assert_eq!(
        (draft.bosses[0].largest, draft.bosses[0].deepest),
        (mm("20"), Some(mm("40")))
    );
    assert_eq!(
        (draft.outlines[0].width, draft.outlines[0].height),
        (mm("120"), mm("90"))
    );
}

#[test]
fn what_is_wrong_is_said_by_row() {
    let table = "Feature;Farm;Metal depth\n\
                 rear R1, M10 x 22 deep;x;\n\
                 M8 x 20 deep;x;\n\
                 rear R1, M8 x 20 deep;x;\n\
                 rear, M8;x;\n\
                 rear, 45 H7 x 10 deep;x;\n\
                 rear, M10x22;x;\n\
                 rear, 12 x 30 deep;x;20\n\
                 rear, dowel;x;";
    let draft = draft(rows(table), &[], LengthUnit::Mm);
    let rows: Vec<usize> = draft.faults.iter().map(|(row, _)| *row).collect();
    assert_eq!(rows, [3, 4, 5, 6, 7, 8, 9]);
    assert_eq!(draft.faults[0].1, RowFault::NoFace);
    assert_eq!(draft.faults[1].1, RowFault::Twice(2));
    assert_eq!(draft.faults[2].1, RowFault::NoDepth);
    assert_eq!(draft.faults[3].1, RowFault::NoKind);
    assert!(matches!(
        draft.faults[4].1,
        RowFault::Said(SaidError::PitchOrDepth(_))
    ));
    assert!(matches!(
        draft.faults[5].1,
        RowFault::Metal(NoMetal::TooDeep { .. })
    ));
    assert_eq!(draft.faults[6].1, RowFault::NoSize);
    assert!(!draft.is_sound());
}

/// Whatever is in one variant of a sound table can be made in the other: both come from one mould.
#[test]
fn there_is_metal_for_whatever_one_of_the_variants_has() {
    let table = "Feature;A;B\n rear, M10 x 22 deep;x;M12 x 18 deep\n deck, 20 through;;x\n sump, 9 x 12 deep;x;";
    let draft = draft(rows(table), &[], LengthUnit::Mm);
    for feature in draft.variants.iter().flat_map(|(_, features)| features) {
        let boss = draft.bosses.iter().find(|boss| boss.place == feature.place);
        assert_eq!(boss.unwrap().takes(feature), Ok(()));
    }
}

#[test]
fn two_columns_of_a_kind_are_read_as_one_and_metal_may_go_through() {
    let table = "Face;Label;What;;Description;Metal depth;A\n\
                 rear;R1;plain;see sheet 4;9 x 12 deep;through;x\n\
                 rear;R2;;;M8 x 18 deep;;x";
    let columns = ["face", "label", "what", "", "what", "metal depth", "A"].map(Column::guess);
    let draft = draft(rows(table), &columns, LengthUnit::Mm);
    assert_eq!(draft.faults, []);
    assert!(!draft.too_many);
    let boss = &draft.bosses[0];
    assert_eq!((boss.deepest, boss.through), (None, true));
    assert_eq!(draft.variants[0].1[0].depth, Some(mm("12")));
}
