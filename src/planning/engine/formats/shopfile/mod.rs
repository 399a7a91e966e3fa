//! A shop as a JSON file: what `borewright plan solve` reads.
//!
//! All times are whole minutes from the file's origin, where nothing says otherwise. Names tie things together, so no
//! two of a kind have the same; nor has a field a name that is not told here.
//!
//! ```json
//! {
//!   "goal": "promises",
//!   "origin": "2026-11-23T00:00:00Z",
//!   "hours": {
//!     "days":  { "zone": "Europe/London", "until": "2027-01-01T00:00:00Z", "holidays": ["2026-12-25"],
//!                "shifts": [{ "day": "Mon", "from": "08:00", "to": "16:30" }, { "day": "Tue", "from": "08:00", "to": "16:30" }] },
//!     "short": { "windows": [[480, 720], [1920, 2160]] }
//!   },
//!   "machines": [{ "name": "Mill", "hours": "days", "on_table": "rear face" }],
//!   "people": [{ "name": "Wyn", "hours": "short", "skills": ["milling"] }],
//!   "jobs": [{
//!     "name": "101", "release": 0, "due": 2880, "weight": 2,
//!     "operations": [
//!       { "name": "10", "skill": "milling", "setup_key": "rear face", "may_pause": true, "spread": 0.2,
//!         "machines": [{ "machine": "Mill", "setup": 30, "setup_same_key": 5, "run": 90, "attended": 45 }] },
//!       { "name": "20", "outside": 4320, "after": [{ "operation": "10", "min_lag": 60, "max_lag": 5760 }] }
//!     ]
//!   }],
//!   "changeovers": [{ "from": "rear face", "to": "sump face", "minutes": 20 }]
//! }
//! ```
//!
//! Left out, `goal` is `promises` (the other is `makespan`), `hours` of a machine or person never close, `release` is
//! 0, `weight` is 1, `due` is no promise, `setup_same_key` is `setup`, `attended` is `run` where a skill is named,
//! `after` is the operation written before. Fixed work (started or pinned) says
//! `"fixed": { "machine": "Mill", "person": "Wyn", "start": -30, "attended_until": 15, "end": 60 }`. What begins at the
//! origin or before it has been started, and is taken as it is, whoever does it at whatever hour. What begins later is
//! pinned: its person has the skill, both are at work when it begins and ends, and throughout when it may not pause.

mod read;
#[cfg(test)]
mod tests;
mod write;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, NaiveTime, Utc, Weekday};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use crate::planning::engine::model::{
    Minute, Model, ModelError, calendar::WorkingTime, plan::Plan,
};
use crate::planning::{Calendar, calendar::floor_minute};

/// A shop file.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShopFile {
    /// `promises` or `makespan`.
    #[serde(default = "promises")]
    goal: String,
    /// Minute zero; needed where hours are given as shifts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    origin: Option<DateTime<Utc>>,
    #[serde(default, deserialize_with = "hours_by_name")]
    hours: BTreeMap<String, FileHours>,
    machines: Vec<FileMachine>,
    #[serde(default)]
    people: Vec<FilePerson>,
    jobs: Vec<FileJob>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    changeovers: Vec<FileChangeover>,
}

fn promises() -> String {
    "promises".into()
}

/// Hours by name, each name once.
fn hours_by_name<'de, D: serde::Deserializer<'de>>(
    from: D,
) -> Result<BTreeMap<String, FileHours>, D::Error> {
    struct ByName;

    impl<'de> serde::de::Visitor<'de> for ByName {
        type Value = BTreeMap<String, FileHours>;

        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.write_str("hours by name")
        }

        fn visit_map<A: serde::de::MapAccess<'de>>(
            self,
            mut map: A,
        ) -> Result<Self::Value, A::Error> {
            let mut hours = BTreeMap::new();
            while let Some(name) = map.next_key::<String>()? {
                let value = map.next_value()?;
                if hours.contains_key(&name) {
                    let twice = format!("there are two hours {name}");
                    return Err(serde::de::Error::custom(twice));
                }
                hours.insert(name, value);
            }
            Ok(hours)
        }
    }

    from.deserialize_map(ByName)
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(untagged, try_from = "FileHoursFields")]
enum FileHours {
    Windows {
        windows: Vec<(Minute, Minute)>,
    },
    Shifts {
        zone: Tz,
        until: DateTime<Utc>,
        shifts: Vec<FileShift>,
        holidays: BTreeSet<NaiveDate>,
        stops: Vec<(DateTime<Utc>, DateTime<Utc>)>,
    },
}

/// Hours as they are written: either windows, or shifts with what belongs to them.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileHoursFields {
    windows: Option<Vec<(Minute, Minute)>>,
    zone: Option<Tz>,
    until: Option<DateTime<Utc>>,
    shifts: Option<Vec<FileShift>>,
    holidays: Option<BTreeSet<NaiveDate>>,
    stops: Option<Vec<(DateTime<Utc>, DateTime<Utc>)>>,
}

impl TryFrom<FileHoursFields> for FileHours {
    type Error = &'static str;

    fn try_from(f: FileHoursFields) -> Result<Self, Self::Error> {
        match f {
            FileHoursFields {
                windows: Some(windows),
                zone: None,
                until: None,
                shifts: None,
                holidays: None,
                stops: None,
            } => Ok(Self::Windows { windows }),
            FileHoursFields {
                windows: None,
                zone: Some(zone),
                until: Some(until),
                shifts: Some(shifts),
                holidays,
                stops,
            } => Ok(Self::Shifts {
                zone,
                until,
                shifts,
                holidays: holidays.unwrap_or_default(),
                stops: stops.unwrap_or_default(),
            }),
            _ => Err("hours are either windows alone, or shifts with zone and until"),
        }
    }
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileShift {
    day: Weekday,
    #[serde(with = "clock")]
    from: NaiveTime,
    #[serde(with = "clock")]
    to: NaiveTime,
}

/// A time on the wall clock as `08:00`.
mod clock {
    use chrono::NaiveTime;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(time: &NaiveTime, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&time.format("%H:%M"))
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveTime, D::Error> {
        let text = String::deserialize(from)?;
        NaiveTime::parse_from_str(&text, "%H:%M")
            .map_err(|_| D::Error::custom(format!("{text:?} is no time like 08:00")))
    }
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileMachine {
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hours: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    on_table: Option<String>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FilePerson {
    name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    hours: Option<String>,
    #[serde(default)]
    skills: BTreeSet<String>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileJob {
    name: String,
    #[serde(default)]
    release: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    due: Option<Minute>,
    #[serde(default = "one")]
    weight: i64,
    operations: Vec<FileOperation>,
}

fn one() -> i64 {
    1
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileOperation {
    name: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    machines: Vec<FileMode>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    outside: Option<Minute>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    skill: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    setup_key: Option<String>,
    #[serde(default)]
    may_pause: bool,
    #[serde(default)]
    spread: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    after: Option<Vec<FileLink>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    fixed: Option<FileFixed>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileMode {
    machine: String,
    #[serde(default)]
    setup: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    setup_same_key: Option<Minute>,
    run: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    attended: Option<Minute>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileLink {
    operation: String,
    #[serde(default)]
    min_lag: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    max_lag: Option<Minute>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileFixed {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    machine: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    person: Option<String>,
    start: Minute,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    attended_until: Option<Minute>,
    end: Minute,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct FileChangeover {
    from: String,
    to: String,
    minutes: Minute,
}

fn unreadable(what: String) -> ModelError {
    ModelError::Unreadable(what)
}

impl ShopFile {
    /// Reads a shop file.
    ///
    /// # Errors
    /// Where the text is not one, with line and column.
    pub fn read(text: &str) -> Result<Self, ModelError> {
        serde_json::from_str(text).map_err(|e| unreadable(format!("not a shop file: {e}")))
    }
}

/// A working calendar in minutes from the origin.
pub(crate) fn working_time(calendar: &Calendar, origin: DateTime<Utc>) -> WorkingTime {
    let zero = floor_minute(origin);
    let minute = |at: DateTime<Utc>| floor_minute(at) - zero;
    WorkingTime::from_windows(
        calendar
            .intervals()
            .map(|(a, b)| (minute(a), minute(b)))
            .collect(),
    )
}

/// One operation of a plan, for people and programs to read.
#[derive(Debug, Clone, Serialize)]
pub struct PlannedOperation {
    /// Job.
    pub job: String,
    /// Operation.
    pub operation: String,
    /// Machine; none for outside work.
    pub machine: Option<String>,
    /// Who attends it.
    pub person: Option<String>,
    /// Start of the setup.
    pub start: Minute,
    /// Setup minutes.
    pub setup: Minute,
    /// When the person is free again.
    pub attended_until: Minute,
    /// When the machine is free again.
    pub end: Minute,
}

/// The operations of a plan by start.
#[must_use]
pub fn planned(model: &Model, plan: &Plan) -> Vec<PlannedOperation> {
    let mut rows: Vec<PlannedOperation> = model
        .operations
        .iter()
        .zip(&plan.assignments)
        .map(|(op, a)| PlannedOperation {
            job: model.jobs[op.job].name.clone(),
            operation: op.name.clone(),
            machine: op
                .modes
                .get(a.mode)
                .and_then(|m| m.machine)
                .map(|m| model.machines[m].name.clone()),
            person: a.person.map(|p| model.people[p].name.clone()),
            start: a.start,
            setup: a.setup,
            attended_until: a.attended_until,
            end: a.end,
        })
        .collect();
    rows.sort_by(|a, b| (a.start, &a.job, &a.operation).cmp(&(b.start, &b.job, &b.operation)));
    rows
}
