//! Cutting time by the textbook formulas: spindle speed n = 1000·v/(π·D), time = travel/(feed·n).
//!
//! The figures are starting points. The tool maker's data, the machine and the person at it decide.

use super::cutting_data::{CuttingData, ToolData};
use crate::castings::{Feature, words::words};
use crate::units::{Length, Minutes};
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// How an element's cutting time is calculated from the feature it makes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recipe {
    /// The cuts, in order.
    pub cuts: Vec<Cut>,
}

/// One cut.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cut {
    /// Which process.
    pub process: Process,
    /// The tool, as the cutting-data table names it.
    pub tool: String,
    /// Passes.
    pub passes: u32,
    /// Diameter where it is not the feature's own; for milling the cutter's. A drill before a tap needs none: it is the
    /// thread's tap drill.
    pub diameter: Option<Length>,
}

/// A cutting process.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Process {
    /// Drilling.
    Drill,
    /// Reaming.
    Ream,
    /// Tapping.
    Tap,
    /// Boring.
    Bore,
    /// Milling.
    Mill,
}

words!(Process {
    Drill = "drill", "Drill";
    Ream = "ream", "Ream";
    Tap = "tap", "Tap";
    Bore = "bore", "Bore";
    Mill = "mill", "Mill";
});

/// Why a cutting time could not be calculated.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CuttingError {
    /// The table has no line for the tool.
    #[error("no cutting data for “{tool}” ({process}) at {diameter} in {work}", process = .process.word().to_lowercase())]
    NoData {
        /// The process.
        process: Process,
        /// The tool.
        tool: String,
        /// The diameter that was looked for.
        diameter: Length,
        /// The work material.
        work: String,
    },
    /// A through feature without a thickness.
    #[error("the hole goes through and the thickness of the metal is not known")]
    NoLength,
    /// A milling cut without its cutter.
    #[error("the diameter of the milling cutter is missing")]
    NoCutter,
    /// A tapping cut on something without a thread.
    #[error("there is no thread to tap")]
    NoThread,
    /// A length, diameter, speed, feed or number of teeth of nothing.
    #[error("{0} must be above 0")]
    NotPositive(&'static str),
    /// A time nobody believes.
    #[error("the cutting time comes out longer than is believed; look at the cutting data")]
    TooLong,
}

/// A cutting time and how it was reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CuttingTime {
    /// The time, to a hundredth of a minute.
    pub minutes: Minutes,
    /// The figures in words a machinist can check, one cut after the other.
    pub how: String,
}

/// Spindle speed in revolutions a minute: n = 1000·v/(π·D), v in m/min and D in mm, no faster than the machine turns.
#[must_use]
pub fn spindle_speed(speed: f64, diameter_mm: f64, top_speed: f64) -> f64 {
    (1000.0 * speed / (PI * diameter_mm)).min(top_speed)
}

/// Minutes to feed a tool along `travel` mm at `feed` mm a revolution and `n` revolutions a minute.
#[must_use]
pub fn feed_time(travel: f64, feed: f64, n: f64) -> f64 {
    travel / (feed * n)
}

/// How far a 118° drill point reaches ahead of the full diameter: D/(2·tan 59°), in mm.
#[must_use]
pub fn drill_point(diameter_mm: f64) -> f64 {
    diameter_mm / (2.0 * 59.0_f64.to_radians().tan())
}

impl Recipe {
    /// The cutting time of one feature. `through` is the thickness of metal where the feature goes through.
    ///
    /// - Drilling, reaming and boring: passes × (approach + length + overrun)/(f·n); a drill's point is added.
    /// - Tapping: in and out at the pitch, 2 × (approach + length + overrun)/(P·n).
    /// - Milling: table feed f·z·n. Inside a feature larger than the cutter the path is the circle π·(D − d); otherwise one
    ///   straight pass of the feature's size plus the cutter's diameter, so that it starts and ends clear.
    ///
    /// # Errors
    /// [`CuttingError`].
    pub fn time(
        &self,
        feature: &Feature,
        through: Option<Length>,
        data: &CuttingData,
    ) -> Result<CuttingTime, CuttingError> {
        let mut total = 0.0;
        let mut how = Vec::with_capacity(self.cuts.len());
        for cut in &self.cuts {
            let (minutes, words) = cut.time(feature, through, data)?;
            total += minutes;
            how.push(words);
        }
        // Rounded once, at the end.
        let minutes = Decimal::from_f64(total)
            .map(|m| m.round_dp_with_strategy(2, RoundingStrategy::MidpointAwayFromZero))
            .ok_or(CuttingError::TooLong)?;
        Ok(CuttingTime {
            minutes: Minutes::new(minutes.normalize()).map_err(|_| CuttingError::TooLong)?,
            how: how.join("; "),
        })
    }
}

/// As a floating-point number above zero.
fn positive(what: &'static str, value: Decimal) -> Result<f64, CuttingError> {
    value
        .to_f64()
        .filter(|value| *value > 0.0)
        .ok_or(CuttingError::NotPositive(what))
}

impl Cut {
    fn time(
        &self,
        feature: &Feature,
        through: Option<Length>,
        data: &CuttingData,
    ) -> Result<(f64, String), CuttingError> {
        let diameter = self.cutting_diameter(feature)?;
        let tool = data
            .find(self.process, &self.tool, diameter)
            .ok_or_else(|| CuttingError::NoData {
                process: self.process,
                tool: self.tool.clone(),
                diameter,
                work: data.work.clone(),
            })?;
        let d = positive("the diameter", diameter.mm())?;
        let v = positive("the cutting speed", tool.speed)?;
        let top = positive("the machine's top speed", data.top_speed)?;
        let n = spindle_speed(v, d, top);
        let feed = self.feed_a_revolution(feature, tool)?;
        let length = self.length(feature, through, d)?;
        let point = if self.process == Process::Drill {
            drill_point(d)
        } else {
            0.0
        };
        let (approach, overrun) = (tool.approach.mm_f64(), tool.overrun.mm_f64());
        let travel = approach + point + length + overrun;
        let strokes = f64::from(self.passes.max(1))
            * if self.process == Process::Tap {
                2.0
            } else {
                1.0
            };
        let minutes = strokes * feed_time(travel, feed, n);
        let mut words = format!(
            "{} ⌀{}, {}: {} m/min is {n:.0} rev/min, {} mm/rev, {travel:.1} mm of travel",
            self.process.word(),
            diameter.mm().normalize(),
            tool.tool,
            tool.speed.normalize(),
            trimmed(feed),
        );
        if self.process == Process::Tap {
            words.push_str(" in and out");
        }
        if self.passes > 1 {
            words.push_str(&format!(", {} passes", self.passes));
        }
        words.push_str(&format!(": {minutes:.2} min"));
        Ok((minutes, words))
    }

    /// The diameter that cuts.
    fn cutting_diameter(&self, feature: &Feature) -> Result<Length, CuttingError> {
        match (self.process, self.diameter, &feature.thread) {
            (_, Some(diameter), _) => Ok(diameter),
            (Process::Mill, None, _) => Err(CuttingError::NoCutter),
            (Process::Drill, None, Some(thread)) => Ok(thread.tap_drill().diameter),
            (Process::Tap, None, Some(thread)) => Ok(thread.major_diameter()),
            (_, None, _) => Ok(feature.size),
        }
    }

    fn feed_a_revolution(&self, feature: &Feature, tool: &ToolData) -> Result<f64, CuttingError> {
        match self.process {
            Process::Tap => {
                let thread = feature.thread.as_ref().ok_or(CuttingError::NoThread)?;
                positive("the pitch", thread.pitch().mm())
            }
            Process::Mill => {
                let teeth = positive("the number of teeth", Decimal::from(tool.teeth))?;
                Ok(positive("the feed", tool.feed)? * teeth)
            }
            _ => positive("the feed", tool.feed),
        }
    }

    /// Length of cut in mm, without approach and overrun.
    fn length(
        &self,
        feature: &Feature,
        through: Option<Length>,
        cutter: f64,
    ) -> Result<f64, CuttingError> {
        if self.process == Process::Mill {
            let size = positive("the size", feature.size.mm())?;
            return Ok(if size > cutter {
                PI * (size - cutter)
            } else {
                size + cutter
            });
        }
        let length = feature.depth.or(through).ok_or(CuttingError::NoLength)?;
        positive("the depth", length.mm())
    }
}

/// Up to three decimals, without trailing zeros.
fn trimmed(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::castings::{Face, FeatureKind, Place};
    use crate::estimating::cutting_data;

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
                .starts_with("Drill ⌀12, HSS drill: 25 m/min is 663 rev/min, 0.2 mm/rev"),
            "{}",
            time.how
        );
        assert!(time.how.contains("; Ream ⌀12, HSS reamer: "));
        assert!(time.minutes > Minutes::ZERO);
        assert!(time.minutes.0.scale() <= 2);
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
            x: Length::ZERO,
            y: Length::ZERO,
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
}
