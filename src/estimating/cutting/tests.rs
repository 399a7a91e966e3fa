//! Against published worked examples.

use super::*;
use crate::castings::{Face, FeatureKind, Place};
use crate::estimating::cutting_data;
use rust_decimal::dec;

fn seconds(minutes: f64) -> f64 {
    minutes * 60.0
}

fn near(ours: f64, published: f64, within: f64) {
    assert!(
        (ours - published).abs() <= within,
        "{ours} against {published}"
    );
}

const ANY_SPEED: f64 = f64::INFINITY;

/// Worked examples of drilling:
/// - keyence.com, "Drilling formulas": 35 mm deep, 1500 rev/min, 0.1 mm/rev: about 14 s; ⌀10 at 1500 is 47.1 m/min.
/// - lzqtool.com, "Calculation formula of hole machining": ⌀15, 30 deep, 50 m/min, 0.15 mm/rev: 11.3 s.
/// - studyclix.ie (L = 25, D = 20, V = 20 m/min, f = 0.25): N = 318.31 rev/min, 0.314 min.
/// - collegedunia.com (plate 30, approach 3, breakthrough 3, 600 rev/min, 0.3 mm/rev): 0.20 min.
#[test]
fn drilling_times_are_the_published_ones() {
    near(seconds(feed_time(35.0, 0.1, 1500.0)), 14.0, 0.05);
    near(spindle_speed(47.1, 10.0, ANY_SPEED), 1500.0, 1.0);
    near(
        seconds(feed_time(30.0, 0.15, spindle_speed(50.0, 15.0, ANY_SPEED))),
        11.3,
        0.05,
    );
    let n = spindle_speed(20.0, 20.0, ANY_SPEED);
    near(n, 318.31, 0.005);
    near(feed_time(25.0, 0.25, n), 0.314, 0.000_5);
    near(feed_time(30.0 + 3.0 + 3.0, 0.3, 600.0), 0.20, 1e-9);
    // The point of a 118° drill is 0.3 of its diameter: X = D/(2·tan β), the studyclix.ie formula.
    near(drill_point(20.0), 6.009, 0.001);
}

/// Boring, like turning, is length over feed times speed, once a pass (Kyocera, "Basic formulas, inch": boring
/// T = 60·LOC·passes/(IPR·RPM)). Worked: mmci-carbide.co.in, "Formula for turning": 100 mm at 1000 rev/min and
/// 0.2 mm/rev is 0.5 min; Keyence, "Cutting formulas": 120 mm at 1100 rev/min and 0.2 mm/rev is 33 s.
#[test]
fn boring_times_are_the_published_ones() {
    near(feed_time(100.0, 0.2, 1000.0), 0.5, 1e-9);
    near(seconds(feed_time(120.0, 0.2, 1100.0)), 33.0, 0.3);
    let mut hole = hole(FeatureKind::Bore, "50", None);
    let data = one_tool(Process::Bore, "0.2", 1, "1000");
    let once = recipe(Process::Bore, 1, None)
        .time(&hole, None, &data)
        .unwrap();
    assert_eq!(once.minutes, Minutes(Decimal::new(5, 1)));
    hole.depth = Some("120".parse().unwrap());
    let thrice = recipe(Process::Bore, 3, None)
        .time(&hole, None, &data)
        .unwrap();
    near(
        thrice.minutes.0.to_f64().unwrap(),
        3.0 * 120.0 / 200.0,
        1e-9,
    );
}

/// Milling: lzqtool.com.cn, "Calculation formula of milling machining": a casting 300 long, cutter ⌀200 with 16 teeth,
/// 125 m/min, 0.25 mm/tooth, 200 rev/min: table feed 800 mm/min, travel 300 + 200 = 500 mm, 37.5 s.
#[test]
fn milling_times_are_the_published_ones() {
    near(spindle_speed(125.0, 200.0, ANY_SPEED), 200.0, 1.1);
    near(seconds(feed_time(500.0, 0.25 * 16.0, 200.0)), 37.5, 1e-9);
    // 300 mm of face is not "inside" the cutter; a feature of 200 under a cutter of 300 travels the same 500 mm.
    let face = hole(FeatureKind::Spotface, "200", Some("1"));
    let data = one_tool(Process::Mill, "0.25", 16, "200");
    let cut = recipe(Process::Mill, 1, Some("300"))
        .time(&face, None, &data)
        .unwrap();
    near(cut.minutes.0.to_f64().unwrap(), 37.5 / 60.0, 0.005_1);
}

/// Tapping: M8x1.25 at 600 rev/min feeds 750 mm/min (midnightcoderlab.com, "Tapping basics: feed"), and the tap goes
/// out at the speed and feed it went in (Beckhoff, "Thread tapping without compensating chuck"). So 20 mm takes
/// 2·20/750 min. A published example of the whole time was not found; the two halves are published.
#[test]
fn tapping_feeds_at_the_pitch_in_and_out() {
    let mut tapped = hole(FeatureKind::TappedHole, "8", Some("20"));
    tapped.thread = Some("M8".parse().unwrap());
    let data = one_tool(Process::Tap, "1", 1, "600");
    let cut = recipe(Process::Tap, 1, None)
        .time(&tapped, None, &data)
        .unwrap();
    near(cut.minutes.0.to_f64().unwrap(), 2.0 * 20.0 / 750.0, 0.005);
    assert!(
        cut.how
            .contains("600 rev/min, 1.25 mm/rev, 20.0 mm of travel in and out"),
        "{}",
        cut.how
    );
    tapped.thread = None;
    assert_eq!(
        recipe(Process::Tap, 1, None).time(&tapped, None, &data),
        Err(CuttingError::NoThread)
    );
}

/// Reaming is drilling's formula at a third of the speed and more feed. Speed by vastcalc.com, "Reamer feed and
/// speed": RPM = SFM·12/(π·D), cast iron with high-speed steel 50 SFM, so 382 rev/min at half an inch. The time is
/// keyence.com's T = l/(n·f); a published example of a reaming time was not found.
#[test]
fn reaming_speed_is_the_published_one() {
    let n = spindle_speed(50.0 * 0.3048, 12.7, ANY_SPEED);
    near(n, 50.0 * 12.0 / (PI * 0.5), 0.01);
    near(n, 382.0, 0.1);
    near(feed_time(30.0, 0.3, n), 0.262, 0.001);
}

#[test]
fn the_machine_s_top_speed_is_a_limit() {
    near(spindle_speed(300.0, 10.0, 2000.0), 2000.0, 1e-9);
}

#[test]
fn the_working_shows_its_figures() {
    let dowel = hole(FeatureKind::DowelHole, "12", Some("25"));
    let recipe = Recipe {
        cuts: vec![
            Cut {
                process: Process::Drill,
                tool: "HSS drill".into(),
                passes: 1,
                diameter: None,
            },
            Cut {
                process: Process::Ream,
                tool: "HSS reamer".into(),
                passes: 1,
                diameter: None,
            },
        ],
    };
    let data = cutting_data::starting_points().into_iter().next().unwrap();
    let time = recipe.time(&dowel, None, &data).unwrap();
    assert!(
        time.how
            .starts_with("Drill ⌀11.7, HSS drill: 25 m/min is 680 rev/min, 0.2 mm/rev"),
        "{}",
        time.how
    );
    assert!(time.how.contains("; Ream ⌀12, HSS reamer: "));
    // By hand: the drill travels 3 + 27 + 11.7/(2 tan 59°) + 2 = 35.515 mm at 0.2 × 25000/(11.7 π) = 136.03 mm/min, 0.2611 min;
    // the reamer 3 + 25 + 5 = 33 mm at 0.3 × 10000/(12 π) = 79.58 mm/min, 0.4147 min.
    assert_eq!(time.minutes, Minutes(dec!(0.68)));
}

#[test]
fn what_is_missing_is_said() {
    let data = one_tool(Process::Drill, "0.2", 1, "1000");
    let through = hole(FeatureKind::PlainHole, "10", None);
    let mut without_depth = through.clone();
    without_depth.depth = None;
    let drill = recipe(Process::Drill, 1, None);
    assert_eq!(
        drill.time(&without_depth, None, &data),
        Err(CuttingError::NoLength)
    );
    assert!(
        drill
            .time(&without_depth, Some("20".parse().unwrap()), &data)
            .is_ok()
    );
    let error = recipe(Process::Mill, 1, Some("20"))
        .time(&through, None, &data)
        .unwrap_err();
    assert_eq!(
        error.to_string(),
        "no cutting data for “the tool” (mill) at 20 mm in test iron"
    );
    assert_eq!(
        recipe(Process::Mill, 1, None).time(&through, None, &data),
        Err(CuttingError::NoCutter)
    );
    let flat = hole(FeatureKind::PlainHole, "0", Some("5"));
    assert_eq!(
        drill.time(&flat, None, &data),
        Err(CuttingError::NotPositive("the diameter"))
    );
}

/// A feature 100 mm deep unless told otherwise.
fn hole(kind: FeatureKind, size: &str, depth: Option<&str>) -> Feature {
    Feature {
        place: Place {
            face: Face::Rear,
            label: "R1".into(),
        },
        kind,
        at: Some(crate::castings::Point {
            x: Length::ZERO,
            y: Length::ZERO,
        }),
        size: size.parse().unwrap(),
        depth: Some(depth.unwrap_or("100").parse().unwrap()),
        thread: None,
        fit: None,
        count: 1,
        note: String::new(),
    }
}

/// One tool without approach and overrun, on a machine whose top speed is the speed wanted.
fn one_tool(process: Process, feed: &str, teeth: u32, n: &str) -> CuttingData {
    CuttingData {
        metal: None,
        work: "test iron".into(),
        top_speed: n.parse().unwrap(),
        tools: vec![ToolData {
            process,
            tool: "the tool".into(),
            smallest: None,
            largest: None,
            speed: Decimal::from(100_000),
            feed: feed.parse().unwrap(),
            teeth,
            approach: Length::ZERO,
            overrun: Length::ZERO,
            source: "test".into(),
        }],
    }
}

fn recipe(process: Process, passes: u32, diameter: Option<&str>) -> Recipe {
    Recipe {
        cuts: vec![Cut {
            process,
            tool: "the tool".into(),
            passes,
            diameter: diameter.map(|d| d.parse().unwrap()),
        }],
    }
}
