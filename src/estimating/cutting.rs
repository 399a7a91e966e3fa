//! Cutting time by the textbook formulas: spindle speed n = 1000·v/(π·D), time = travel/(feed·n).
//!
//! The figures are starting points. The tool maker's data, the machine and the person at it decide.

use super::cutting_data::{CuttingData, ToolData};
use crate::castings::{Feature, before_reamer, words::words};
use crate::units::{Length, Minutes};
use rust_decimal::prelude::{FromPrimitive, ToPrimitive};
use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;
use strum::{EnumString, IntoStaticStr, VariantArray};

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
    /// Diameter where it is not the feature's own; for milling the cutter's. A drill before a tap or a reamer needs none:
    /// it is the thread's tap drill, or leaves the reamer its allowance.
    pub diameter: Option<Length>,
}

/// A cutting process.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    Serialize,
    Deserialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[serde(rename_all = "snake_case")]
#[strum(serialize_all = "snake_case")]
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
    Drill = "Drill";
    Ream = "Ream";
    Tap = "Tap";
    Bore = "Bore";
    Mill = "Mill";
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
    /// - Drilling, reaming and boring: passes × (approach + length + overrun)/(f·n). A blind hole is drilled deeper than it
    ///   is tapped or reamed, by the run-out ([`crate::castings::Depths`]), and a drill's point is added.
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
        for (cut, reamed) in self.in_turn() {
            let running = cut.running(feature, reamed, data)?;
            let (minutes, words) = cut.time(feature, through, &running)?;
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

impl Recipe {
    /// The tools with speed, feed and stock per pass, one cut after the other, in words: starting points for whoever is at the
    /// machine. A bore grows `from` the size that it has, if it is known. A cut that the table has no tool for is not in it.
    #[must_use]
    pub fn settings(
        &self,
        feature: &Feature,
        from: Option<Length>,
        data: &CuttingData,
    ) -> Vec<String> {
        let cuts = self.in_turn();
        cuts.filter_map(|(cut, reamed)| {
            let running = cut.running(feature, reamed, data).ok()?;
            Some(cut.setting(feature, from, &running))
        })
        .collect()
    }

    /// Its cuts, each with whether it is reamed or a reamer follows it.
    fn in_turn(&self) -> impl Iterator<Item = (&Cut, bool)> {
        let last = (self.cuts.iter()).rposition(|cut| cut.process == Process::Ream);
        let cuts = self.cuts.iter().enumerate();
        cuts.map(move |(at, cut)| (cut, last.is_some_and(|last| at <= last)))
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
        running: &Running<'_>,
    ) -> Result<(f64, String), CuttingError> {
        let &Running {
            tool,
            diameter,
            n,
            feed,
        } = running;
        let d = positive("the diameter", diameter.mm())?;
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

    /// How it runs on a feature.
    fn running<'d>(
        &self,
        feature: &Feature,
        reamed: bool,
        data: &'d CuttingData,
    ) -> Result<Running<'d>, CuttingError> {
        let diameter = self.cutting_diameter(feature, reamed)?;
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
        Ok(Running {
            tool,
            diameter,
            n: spindle_speed(v, d, top),
            feed: self.feed_a_revolution(feature, tool)?,
        })
    }

    /// The tool with its speed and feed, as they are set; what each pass of a bore takes off, `from` the size it has.
    fn setting(&self, feature: &Feature, from: Option<Length>, running: &Running) -> String {
        let tool = &running.tool.tool;
        let what = match (self.process, &feature.thread) {
            (Process::Tap, Some(thread)) => format!("{tool} {thread}"),
            _ => format!("{tool} ⌀{}", running.diameter.mm().normalize()),
        };
        let n = running.n;
        let feed = match self.process {
            Process::Mill => format!("table feed {:.0} mm/min", running.feed * n),
            _ => format!("{} mm/rev", trimmed(running.feed)),
        };
        let passes = match self.passes {
            0 | 1 => String::new(),
            passes => format!(", {}", stock(passes, from, feature.size)),
        };
        format!("{what}: {n:.0} rev/min, {feed}{passes}")
    }

    /// The diameter that cuts; a drill before a reamer is smaller by the reamer's allowance.
    fn cutting_diameter(&self, feature: &Feature, reamed: bool) -> Result<Length, CuttingError> {
        match (self.process, self.diameter, &feature.thread) {
            (_, Some(diameter), _) => Ok(diameter),
            (Process::Mill, None, _) => Err(CuttingError::NoCutter),
            (Process::Drill, None, Some(thread)) => Ok(thread.tap_drill().diameter),
            (Process::Drill, None, None) if reamed => Ok(before_reamer(feature.size).diameter),
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
        let drilled = feature
            .depths(None)
            .filter(|_| self.process == Process::Drill)
            .map(|depths| depths.shoulder());
        let length = drilled
            .or(feature.depth)
            .or(through)
            .ok_or(CuttingError::NoLength)?;
        positive("the depth", length.mm())
    }
}

/// A cut as it runs.
struct Running<'d> {
    tool: &'d ToolData,
    diameter: Length,
    /// Revolutions a minute.
    n: f64,
    /// Millimetres a revolution.
    feed: f64,
}

/// What each of several passes takes off a bore `to` a size: equal parts, on the radius.
fn stock(passes: u32, from: Option<Length>, to: Length) -> String {
    let both_sides = from.map(|from| to.mm() - from.mm());
    match both_sides.filter(|more| *more > Decimal::ZERO) {
        Some(more) => {
            let each = (more / Decimal::from(2 * passes)).round_dp(2);
            format!("{passes} passes of {} mm a side", each.normalize())
        }
        None => {
            let part = match passes {
                2 => "half".to_owned(),
                3 => "a third".to_owned(),
                4 => "a quarter".to_owned(),
                _ => format!("1/{passes}"),
            };
            format!("{passes} passes, each {part} of what is measured")
        }
    }
}

/// Up to three decimals, without trailing zeros.
fn trimmed(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests;
