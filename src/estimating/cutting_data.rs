//! Cutting data by work material and tool: where a calculated time gets its speeds and feeds.
//!
//! Every line is a **starting point**: the tool maker's own data come first, then what the machine and the job will bear.

use super::cutting::Process;
use crate::castings::Metal;
use crate::units::Length;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// The status every line has and every screen that shows one must show.
pub const STATUS: &str = "starting point";

/// What one tool does in one work material.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ToolData {
    /// The process it is for.
    pub process: Process,
    /// The tool's name, as a recipe names it.
    pub tool: String,
    /// Smallest diameter the line is for, itself left out; none is any.
    pub smallest: Option<Length>,
    /// Largest diameter the line is for, itself included; none is any.
    pub largest: Option<Length>,
    /// Cutting speed, m/min.
    pub speed: Decimal,
    /// Feed: mm a revolution; for milling mm a tooth. A tap feeds at its pitch whatever stands here.
    pub feed: Decimal,
    /// Teeth, for milling; one otherwise.
    pub teeth: u32,
    /// Feed before the metal is reached.
    pub approach: Length,
    /// Feed after it is left.
    pub overrun: Length,
    /// Where the speed and feed come from.
    pub source: String,
}

/// All tools for one work material on one machine.
#[derive(Default, Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CuttingData {
    /// The work material, e.g. "grey cast iron".
    pub work: String,
    /// The metal of castings that it is for, if it is.
    #[serde(default)]
    pub metal: Option<Metal>,
    /// The machine's top speed, rev/min.
    pub top_speed: Decimal,
    /// The lines.
    pub tools: Vec<ToolData>,
}

impl CuttingData {
    /// The line for a tool at a diameter; the first that fits.
    #[must_use]
    pub fn find(&self, process: Process, tool: &str, diameter: Length) -> Option<&ToolData> {
        self.tools.iter().find(|line| {
            line.process == process
                && line.tool.eq_ignore_ascii_case(tool.trim())
                && line.smallest.is_none_or(|smallest| smallest < diameter)
                && line.largest.is_none_or(|largest| diameter <= largest)
        })
    }
}

/// Drill feeds by diameter: machinemfg.com, "CNC calculation formula", drill factor table, gives 0.025 to 0.075 mm/rev for
/// 1.6 to 3.2 mm, 0.05 to 0.15 to 6.4, 0.10 to 0.25 to 12.8, 0.175 to 0.375 to 25 and more above.
const DRILL_FEEDS: &str = "feed: machinemfg.com, “CNC calculation formula”, drill factor table";

/// The table a shop starts with: high-speed steel in grey cast iron first, then in aluminium alloy, ductile iron and steel,
/// on a machine that turns 2500 rev/min.
#[must_use]
pub fn starting_points() -> Vec<CuttingData> {
    [
        (Metal::GreyIron, for_grey_iron()),
        (Metal::Aluminium, for_aluminium()),
        (
            Metal::DuctileIron,
            slower("20", "8", "7", "60", ("18", "70")),
        ),
        (Metal::Steel, slower("15", "6", "5", "80", ("18", "80"))),
    ]
    .map(|(metal, tools)| CuttingData {
        work: metal.word().to_owned(),
        metal: Some(metal),
        top_speed: Decimal::from(2500),
        tools,
    })
    .into()
}

/// Without a source: what shops commonly start with.
const PRACTICE: &str = "common practice, no source";

fn for_grey_iron() -> Vec<ToolData> {
    let drill = format!("speed 25 m/min common practice, no source; {DRILL_FEEDS}");
    let ream = "speed: a third to a half of drilling (th4.ilovetranslation.com, table H-5); vastcalc.com gives 50 ft/min, 15 m/min; a third less for a fitted hole. Feed common practice, no source";
    let tap = "8 to 10 m/min, cnclathing.com, “CNC tapping speeds and feeds”";
    let mut tools = drills("25", &drill);
    tools.extend([
        line(Process::Ream, "HSS reamer", "10", "0.3", 1, "3", "5", ream),
        line(Process::Tap, "HSS tap", "8", "1", 1, "3", "3", tap),
        line(
            Process::Bore,
            "boring bar, carbide",
            "70",
            "0.12",
            1,
            "3",
            "3",
            PRACTICE,
        ),
        line(
            Process::Mill,
            "end mill, HSS",
            "22",
            "0.05",
            4,
            "3",
            "3",
            PRACTICE,
        ),
        line(
            Process::Mill,
            "face mill, carbide",
            "90",
            "0.15",
            6,
            "5",
            "5",
            PRACTICE,
        ),
    ]);
    tools
}

/// The tools of grey iron at other speeds, m/min: drill, reamer, tap, boring bar, and end and face mill.
fn slower(
    drill: &str,
    ream: &str,
    tap: &str,
    bore: &str,
    (end_mill, face_mill): (&str, &str),
) -> Vec<ToolData> {
    let mut tools = for_grey_iron();
    for tool in &mut tools {
        let speed = match (tool.process, tool.tool.as_str()) {
            (Process::Drill, _) => drill,
            (Process::Ream, _) => ream,
            (Process::Tap, _) => tap,
            (Process::Bore, _) => bore,
            (Process::Mill, "end mill, HSS") => end_mill,
            (Process::Mill, _) => face_mill,
        };
        tool.speed = decimal(speed);
        PRACTICE.clone_into(&mut tool.source);
    }
    tools
}

fn for_aluminium() -> Vec<ToolData> {
    let drill = format!("speed 60 m/min common practice, no source; {DRILL_FEEDS}");
    let mut tools = drills("60", &drill);
    tools.extend([
        line(
            Process::Ream,
            "HSS reamer",
            "25",
            "0.3",
            1,
            "3",
            "5",
            PRACTICE,
        ),
        line(Process::Tap, "HSS tap", "15", "1", 1, "3", "3", PRACTICE),
        line(
            Process::Bore,
            "boring bar, carbide",
            "200",
            "0.12",
            1,
            "3",
            "3",
            PRACTICE,
        ),
        line(
            Process::Mill,
            "end mill, HSS",
            "80",
            "0.06",
            3,
            "3",
            "3",
            PRACTICE,
        ),
        line(
            Process::Mill,
            "face mill, carbide",
            "300",
            "0.15",
            6,
            "5",
            "5",
            PRACTICE,
        ),
    ]);
    tools
}

/// HSS drills, a line for each range of the feed table.
fn drills(speed: &str, source: &str) -> Vec<ToolData> {
    let mut smallest = None;
    [
        (Some("3.2"), "0.05"),
        (Some("6.4"), "0.1"),
        (Some("12.8"), "0.2"),
        (Some("25"), "0.25"),
        (None, "0.35"),
    ]
    .map(|(largest, feed)| {
        let largest = largest.map(mm);
        let mut tool = line(
            Process::Drill,
            "HSS drill",
            speed,
            feed,
            1,
            "3",
            "2",
            source,
        );
        tool.smallest = smallest;
        tool.largest = largest;
        smallest = largest;
        tool
    })
    .into()
}

#[expect(
    clippy::too_many_arguments,
    reason = "one argument for each column of the table"
)]
fn line(
    process: Process,
    tool: &str,
    speed: &str,
    feed: &str,
    teeth: u32,
    approach: &str,
    overrun: &str,
    source: &str,
) -> ToolData {
    ToolData {
        process,
        tool: tool.to_owned(),
        smallest: None,
        largest: None,
        speed: decimal(speed),
        feed: decimal(feed),
        teeth,
        approach: mm(approach),
        overrun: mm(overrun),
        source: source.to_owned(),
    }
}

/// A figure of the table above; the tests see to it that each one reads.
fn decimal(text: &str) -> Decimal {
    text.parse().unwrap_or_default()
}

fn mm(text: &str) -> Length {
    Length::from_mm(decimal(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_reads_and_names_its_source() {
        for data in starting_points() {
            for tool in data.tools {
                assert!(tool.speed > Decimal::ZERO, "{}", tool.tool);
                assert!(tool.feed > Decimal::ZERO, "{}", tool.tool);
                assert!(tool.approach > Length::ZERO && tool.overrun > Length::ZERO);
                assert!(!tool.source.is_empty());
            }
        }
    }

    #[test]
    fn a_drill_is_found_at_every_diameter_with_the_feed_of_its_range() {
        let iron = &starting_points()[0];
        for (diameter, feed) in [
            ("3.2", "0.05"),
            ("3.3", "0.1"),
            ("12.8", "0.2"),
            ("12.9", "0.25"),
            ("60", "0.35"),
        ] {
            let found = iron
                .find(Process::Drill, "hss drill", mm(diameter))
                .unwrap();
            assert_eq!(found.feed.to_string(), feed, "{diameter}");
        }
        assert!(
            iron.find(Process::Drill, "carbide drill", mm("10"))
                .is_none()
        );
    }
}
