//! Against published tables, and every way of writing a thread.

use super::*;
use proptest::prelude::*;

fn thread(text: &str) -> Thread {
    text.parse().unwrap()
}

/// Major, pitch and minor diameter in millimetres to three places, as ISO 724 prints them.
fn metric(text: &str) -> [String; 3] {
    let t = thread(text);
    [t.major_diameter(), t.pitch_diameter(), t.minor_diameter()]
        .map(|d| format!("{:.3}", d.mm().round_dp(3)))
}

/// The same in inches to four places, as ASME B1.1 and BS 84 print them.
fn inch(text: &str) -> [String; 3] {
    let t = thread(text);
    [t.major_diameter(), t.pitch_diameter(), t.minor_diameter()]
        .map(|d| format!("{:.4}", d.inches().round_dp(4)))
}

/// ISO 724 values: M10 from obliczenia.icad.pl/gwinty (M10-6g: d2 9.026, d1 8.376); the fine ones from
/// engineeringhardware.com, "Metric fine thread dimensions, ISO 724"; M12 and M14x2 from engineersedge.com,
/// "metric internal thread sizes" (ANSI/ASME B1.13M, the least diameters of 6H, which are the basic ones).
#[test]
fn metric_basic_dimensions_are_those_of_iso_724() {
    for (designation, major, pitch, minor) in [
        ("M10", "10.000", "9.026", "8.376"),
        ("M12", "12.000", "10.863", "10.106"),
        ("M14", "14.000", "12.701", "11.835"),
        ("M8x1", "8.000", "7.350", "6.917"),
        ("M8x0.75", "8.000", "7.513", "7.188"),
        ("M10x1.25", "10.000", "9.188", "8.647"),
        ("M12x1.5", "12.000", "11.026", "10.376"),
        ("M16x1.5", "16.000", "15.026", "14.376"),
        ("M18x2", "18.000", "16.701", "15.835"),
        ("M20x2", "20.000", "18.701", "17.835"),
    ] {
        assert_eq!(metric(designation), [major, pitch, minor], "{designation}");
    }
    assert_eq!(thread("M10").height().mm().round_dp(3).to_string(), "1.299");
}

/// ISO 261 coarse pitches, as listed by torquetoolbox.com, "Metric coarse tap drill sizes".
#[test]
fn metric_coarse_pitches_are_those_of_iso_261() {
    for (designation, pitch) in [
        ("M2", "0.4"),
        ("M2.5", "0.45"),
        ("M3", "0.5"),
        ("M3.5", "0.6"),
        ("M4", "0.7"),
        ("M5", "0.8"),
        ("M6", "1"),
        ("M8", "1.25"),
        ("M10", "1.5"),
        ("M12", "1.75"),
        ("M14", "2"),
        ("M16", "2"),
        ("M18", "2.5"),
        ("M20", "2.5"),
        ("M22", "2.5"),
        ("M24", "3"),
        ("M27", "3"),
        ("M30", "3.5"),
        ("M33", "3.5"),
        ("M36", "4"),
    ] {
        assert_eq!(
            thread(designation).pitch().mm().to_string(),
            pitch,
            "{designation}"
        );
    }
}

/// ASME B1.1 basic dimensions: major and pitch diameter from trfastenings.com, "Thread geometry: Unified coarse
/// (UNC)", whose minor diameter of the female thread is the basic minor diameter.
#[test]
fn unified_basic_dimensions_are_those_of_asme_b1_1() {
    for (designation, major, pitch, minor) in [
        ("#4 UNC", "0.1120", "0.0958", "0.0849"),
        ("#10 UNC", "0.1900", "0.1629", "0.1449"),
        ("1/4 UNC", "0.2500", "0.2175", "0.1959"),
        ("5/16 UNC", "0.3125", "0.2764", "0.2524"),
        ("1/2-13 UNC", "0.5000", "0.4500", "0.4167"),
        ("9/16 UNC", "0.5625", "0.5084", "0.4723"),
        ("5/8 UNC", "0.6250", "0.5660", "0.5266"),
        ("3/4 UNC", "0.7500", "0.6850", "0.6417"),
        ("1 UNC", "1.0000", "0.9188", "0.8647"),
        ("1-1/8 UNC", "1.1250", "1.0322", "0.9704"),
        ("1 3/4 UNC", "1.7500", "1.6201", "1.5335"),
        ("2 UNC", "2.0000", "1.8557", "1.7594"),
    ] {
        assert_eq!(inch(designation), [major, pitch, minor], "{designation}");
    }
    // Pitch diameter 0.5660, 0.5709 and 0.5889 in for 5/8 at 11, 12 and 18 threads: least internal limits of ASME
    // B1.1 table 3 as stored by huatuo6.cn, which are the basic sizes.
    assert_eq!(inch("5/8-12 UN")[1], "0.5709");
    assert_eq!(inch("5/8 UNF")[1], "0.5889");
}

/// ISO 228-1: G 1/8, 1/4 and 3/8 from Newnes Mechanical Engineer's Pocket Book, 4.1.38 (O'Reilly preview of the same
/// basic diameters); major diameters of the rest from engineeringhardware.com, "ISO 228 (G)".
#[test]
fn pipe_thread_dimensions_are_those_of_iso_228_1() {
    for (designation, major, pitch, minor) in [
        ("G 1/8", "9.728", "9.147", "8.566"),
        ("1/4 BSP", "13.157", "12.301", "11.445"),
        ("G3/8", "16.662", "15.806", "14.950"),
    ] {
        assert_eq!(metric(designation), [major, pitch, minor], "{designation}");
    }
    // G 1/2: pitch 19.793 and minor 18.631 from memory of the standard's table.
    assert_eq!(metric("G 1/2"), ["20.955", "19.793", "18.631"]);
    assert_eq!(metric("G 1 1/4")[0], "41.910");
}

/// BS 84: trfastenings.com, "Thread geometry: British Standard Whitworth".
#[test]
fn whitworth_dimensions_are_those_of_bs_84() {
    for (designation, major, pitch, minor) in [
        ("1/4 BSW", "0.2500", "0.2180", "0.1860"),
        ("5/16 BSW", "0.3125", "0.2769", "0.2413"),
        ("3/8 BSW", "0.3750", "0.3350", "0.2950"),
        ("1/2 BSW", "0.5000", "0.4466", "0.3933"),
        ("3/4 BSW", "0.7500", "0.6860", "0.6219"),
        ("1 BSW", "1.0000", "0.9200", "0.8399"),
    ] {
        let printed = inch(designation);
        for (ours, published) in printed.iter().zip([major, pitch, minor]) {
            let off = ours.parse::<f64>().unwrap() - published.parse::<f64>().unwrap();
            // The table truncates or rounds the last figure by turns.
            assert!(
                off.abs() < 0.000_15,
                "{designation}: {ours} against {published}"
            );
        }
    }
    assert_eq!(
        thread("3/8 BSF").threads_per_inch(),
        Some(Decimal::from(20))
    );
    assert_eq!(
        thread("1/4 BSF").threads_per_inch(),
        Some(Decimal::from(26))
    );
    assert_eq!(thread("3/8 BSW").angle_degrees(), 55);
}

#[test]
fn reads_every_usual_way_of_writing() {
    for (typed, printed) in [
        ("M10", "M10x1.5"),
        ("m10x1.5", "M10x1.5"),
        ("M10 × 1", "M10x1"),
        ("M 10 x 1.25 - 6H", "M10x1.25-6H"),
        ("M10-6g", "M10x1.5-6g"),
        ("M2.5", "M2.5x0.45"),
        ("M13x1.5", "M13x1.5"),
        ("1/2-13 UNC", "1/2-13 UNC"),
        ("1/2 UNC", "1/2-13 UNC"),
        ("1/2\" UNC", "1/2-13 UNC"),
        ("1/2 unf-2B", "1/2-20 UNF-2B"),
        ("#10-32 UNF", "#10-32 UNF"),
        ("10-32 UNF", "#10-32 UNF"),
        ("10 UNF", "#10-32 UNF"),
        ("1-8 UNC", "1-8 UNC"),
        ("1-1/8-7 UNC-2A", "1 1/8-7 UNC-2A"),
        ("1 1/8 UNC", "1 1/8-7 UNC"),
        ("1-64 UNC", "#1-64 UNC"),
        ("2-4.5 UNC", "2-4.5 UNC"),
        ("7/16-28 UNEF", "7/16-28 UNEF"),
        ("G 1/2", "G 1/2"),
        ("g1/2 A", "G 1/2 A"),
        ("1/2 BSP", "G 1/2"),
        ("1/2 BSPP", "G 1/2"),
        ("G 1-1/4", "G 1 1/4"),
        ("3/8 BSW", "3/8-16 BSW"),
        ("3/8-16 BSW", "3/8-16 BSW"),
        ("3/8 Whit", "3/8-16 BSW"),
        ("7/32 BSF", "7/32-28 BSF"),
    ] {
        let read: Result<Thread, _> = typed.parse();
        assert_eq!(
            read.map(|t| t.to_string()).as_deref(),
            Ok(printed),
            "{typed}"
        );
        // What is printed reads back to the same.
        assert_eq!(thread(printed), thread(typed));
    }
}

#[test]
fn refuses_the_rest_with_a_reason() {
    let refused = |text: &str| text.parse::<Thread>().unwrap_err().to_string();
    assert_eq!(
        refused("1/2-12 UNC"),
        "1/2 UNC has 13 threads per inch, not 12"
    );
    assert_eq!(
        refused("M13"),
        "metric has no standard pitch for M13; write the pitch too"
    );
    assert_eq!(refused("G 7/16"), "G has no size 7/16");
    assert_eq!(
        refused("5/16 UNS"),
        "UNS has no standard pitch for 5/16; write the pitch too"
    );
    assert_eq!(
        refused("M10x9"),
        "a pitch of 9 mm does not go with that diameter"
    );
    assert!(refused("R 1/2").contains("taper"));
    for text in [
        "",
        "10",
        "M",
        "Mx1",
        "M10x",
        "M10x0",
        "1/0 UNC",
        "UNC",
        "G",
        "BSW",
        "x BSW",
        "M10-zz",
        "1/2-13 UNC-9Q",
    ] {
        assert!(text.parse::<Thread>().is_err(), "{text}");
    }
}

/// ISO 261 keeps pitches within 0.2 and 8 mm; a basic profile deeper than a third of the diameter is no thread.
#[test]
fn sizes_and_pitches_end_where_the_standard_ends() {
    for (text, reads) in [
        ("M1x0.2", true),
        ("M1x0.19", false),
        ("M0.9x0.2", false),
        ("M300x8", true),
        ("M300x8.1", false),
        ("M301x8", false),
        ("M3x1", true),
        ("M3x1.01", false),
        ("M1000x6", false),
        ("M10x1.2500", true),
        ("M10x1.25001", false),
        ("#12 UNF", true),
        ("#13 UNF", false),
    ] {
        assert_eq!(text.parse::<Thread>().is_ok(), reads, "{text}");
    }
    assert_eq!(thread("M10-6H").class(), "6H");
    assert_eq!(thread("M10").class(), "");
}

#[test]
fn is_stored_as_its_designation() {
    let json = serde_json::to_string(&thread("M10")).unwrap();
    assert_eq!(json, "\"M10x1.5\"");
    assert_eq!(
        serde_json::from_str::<Thread>(&json).unwrap(),
        thread("M10")
    );
    assert!(serde_json::from_str::<Thread>("\"M13\"").is_err());
}

proptest! {
    #[test]
    fn reading_never_panics(text in ".{0,24}", tail in prop::sample::select(vec!["UNC", "UNF", "BSW", "BSF", "BSP", "UNS"])) {
        drop(text.parse::<Thread>());
        drop(format!("{text} {tail}").parse::<Thread>());
        drop(format!("M{text}").parse::<Thread>());
        drop(format!("G{text}").parse::<Thread>());
    }

    #[test]
    fn a_thread_that_reads_has_a_sane_shape(tenths in 10_u32..3000, pitch in 20_u32..800) {
        let text = format!("M{}x{}", f64::from(tenths) / 10.0, f64::from(pitch) / 100.0);
        if let Ok(thread) = text.parse::<Thread>() {
            prop_assert!(thread.minor_diameter() > Length::ZERO);
            prop_assert!(thread.minor_diameter() < thread.pitch_diameter());
            prop_assert!(thread.pitch_diameter() < thread.major_diameter());
            prop_assert!(thread.tap_drill().diameter < thread.major_diameter());
            prop_assert_eq!(thread.to_string().parse(), Ok(thread));
        }
    }
}
