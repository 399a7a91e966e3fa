//! The readable seed data in `demo-seed/`, parsed and checked.

use super::files::{MachinesFile, PatternFile};
use super::measured;
use super::past_truth::PastFile;
use super::stock::StockFile;
use crate::castings::{Correspondence, Pattern, RemedyRule, SameSpot, Shift, Variant, same_engine};
use crate::enquiry::{CrackRepair, Lasting, RelatedPattern};
use crate::estimating::element::OUTSIDE;
use crate::estimating::{Element, LabourRate, Machine, starting};
use crate::units::{Currency, Money};
use chrono::{NaiveTime, Weekday};
use rust_decimal::Decimal;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use uuid::Uuid;

/// A seed file that does not say what it should. The files are part of the program, so this is a fault of the program;
/// a test reads them all.
#[derive(Debug, thiserror::Error)]
#[error("demo-seed/{file}: {why}")]
pub struct SeedError {
    /// Which file.
    pub file: &'static str,
    /// What is wrong with it.
    pub why: String,
}

/// Everything in `demo-seed/`, as the rooms understand it.
#[derive(Debug, Clone)]
pub struct Seed {
    /// The shop and its people.
    pub shop: ShopFile,
    /// Machines with their worksheets.
    pub machines: Vec<Machine>,
    /// People's hourly rates by skill.
    pub labour: Vec<LabourRate>,
    /// Patterns.
    pub patterns: Vec<Pattern>,
    /// Variants of all patterns.
    pub variants: Vec<Variant>,
    /// Patterns with donors for others.
    pub related: Vec<RelatedPattern>,
    /// Remedy rules in the order they are tried.
    pub rules: Vec<RemedyRule>,
    /// What is done about cracks.
    pub crack_repairs: Vec<CrackRepair>,
    /// Elements with their standard times.
    pub elements: Vec<Element>,
    /// The watches, sightings of the scarce block and the shelf.
    pub market: MarketFile,
    /// What live jobs are drawn from.
    pub jobs: JobsFile,
    /// Shifts, holidays and stops.
    pub calendars: CalendarsFile,
    /// Stock, tooling and what live jobs need.
    pub stock: StockFile,
    /// What the past year is drawn from.
    pub past: PastFile,
}

/// `calendars.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalendarsFile {
    /// Weekly shifts.
    pub shift: Vec<ShiftSeed>,
    /// Days on which nobody works, every year.
    pub holiday: Vec<HolidaySeed>,
    /// Stretches without work, counted from the day the demo is made.
    pub stop: Vec<StopSeed>,
}

/// The same hours on some days of the week; of the shop where neither a machine nor a person is named.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShiftSeed {
    pub machine: Option<String>,
    pub person: Option<String>,
    pub days: Vec<Weekday>,
    pub hours: Vec<[NaiveTime; 2]>,
}

/// A holiday.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HolidaySeed {
    pub month: u32,
    pub day: u32,
    pub name: String,
}

/// A stretch without work on one day.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StopSeed {
    pub machine: Option<String>,
    pub person: Option<String>,
    pub in_days: u32,
    pub hours: [NaiveTime; 2],
    pub why: String,
}

/// `shop.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShopFile {
    /// The shop.
    pub shop: Shop,
    /// How one signs in.
    pub sign_in: SignIn,
    /// Its people.
    pub person: Vec<Person>,
}

/// The shop's own settings.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shop {
    pub name: String,
    pub short_name: String,
    pub currency: Currency,
    pub time_zone: chrono_tz::Tz,
    pub length_unit: String,
    pub overhead_percent: Decimal,
    pub margin_percent: Decimal,
    pub tax_percent: Decimal,
    pub tax_name: String,
    pub confidence_percent: u8,
    pub quote_valid_days: u16,
}

/// The published password.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SignIn {
    /// The same for everyone.
    pub password: String,
}

/// One of the shop's people.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    pub name: String,
    pub sign_in: String,
    pub role: String,
    pub skills: Vec<String>,
    /// For the bench; who has none does not sign on there.
    #[serde(default)]
    pub pin: Option<String>,
}

/// `market.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MarketFile {
    /// The watches kept: the scarce block first, then the common donors.
    pub watch: Vec<WatchSeed>,
    /// What its sightings look like.
    pub sightings: SightingSeed,
    /// Castings on the shelf.
    pub shelf: Vec<ShelfSeed>,
}

/// A watch on one variant.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WatchSeed {
    pub variant: String,
    /// How many years ago it began.
    pub years: u32,
    pub likely_wait_days: u32,
    pub likely_price: Decimal,
    pub price_factor: Decimal,
    pub good_percent: u32,
    pub search_hours_a_week: Decimal,
    pub carriage: Decimal,
    pub carriage_days: u32,
    pub offer_days: u32,
}

/// What sightings are drawn from.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SightingSeed {
    /// Of which variant.
    pub variant: String,
    /// How many.
    pub count: u32,
    /// Over how many years before today.
    pub years: u32,
    /// Median of the asked price, in the shop's money.
    pub middle_price: Decimal,
    /// Standard deviation of the logarithm of the price.
    pub price_spread: f64,
    /// Where they are seen.
    pub places: Vec<String>,
    /// What they look like.
    pub conditions: Vec<String>,
}

/// A casting on the shelf.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShelfSeed {
    pub variant: String,
    pub cost: Decimal,
    pub condition: String,
    /// From whom.
    pub came_from: String,
    /// The customer, when it is a customer's; it was bought otherwise.
    pub owner: Option<String>,
    /// How made, where, what it says.
    #[serde(default)]
    pub marks: Vec<[String; 3]>,
    /// What, how much, with what.
    #[serde(default)]
    pub measured: Vec<[String; 3]>,
    /// Pictures that are drawn for it.
    #[serde(default)]
    pub photo: Vec<PhotoSeed>,
}

/// A picture in place of a photograph.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PhotoSeed {
    pub view: View,
    pub cylinders: u32,
    pub caption: String,
}

/// From where a block is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    Side,
    Deck,
}

/// `jobs.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JobsFile {
    /// How many live jobs.
    pub count: u32,
    /// Conversions to draw from.
    pub conversion: Vec<ConversionSeed>,
    /// Repairs to draw from.
    pub repair: Vec<RepairSeed>,
    /// Who they are for.
    pub customers: Customers,
}

/// A conversion that comes up.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConversionSeed {
    pub donor: String,
    pub wanted: String,
    /// How often, against the others.
    pub weight: u32,
}

/// A repair that comes up.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RepairSeed {
    pub title: String,
    pub pattern: String,
    pub elements: Vec<String>,
    /// How often, against the others.
    pub weight: u32,
}

/// Invented customers.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Customers {
    /// Their names.
    pub names: Vec<String>,
}

/// `related.toml`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct RelatedFile {
    related: Vec<RelatedSeed>,
}

/// A pattern with donors for another, by their names.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct RelatedSeed {
    wanted: String,
    donor: String,
    note: String,
    shifts: Vec<Shift>,
    labels: Vec<SameSpot>,
    lasting: Vec<Lasting>,
}

impl RelatedFile {
    fn understood(self, patterns: &[Pattern]) -> Result<Vec<RelatedPattern>, SeedError> {
        let fault = |why: String| SeedError {
            file: "related.toml",
            why,
        };
        let named = |name: &str| {
            let found = patterns.iter().find(|pattern| pattern.name == name);
            found.ok_or_else(|| fault(format!("there is no pattern “{name}”")))
        };
        self.related
            .into_iter()
            .map(|seed| {
                let (wanted, donor) = (named(&seed.wanted)?, named(&seed.donor)?);
                same_engine(donor, wanted).map_err(|why| fault(why.to_string()))?;
                Ok(RelatedPattern {
                    id: Uuid::now_v7(),
                    wanted: wanted.id,
                    donor: donor.id,
                    places: Correspondence {
                        shifts: seed.shifts,
                        labels: seed.labels,
                    },
                    lasting: seed.lasting,
                    note: seed.note,
                    version: 1,
                })
            })
            .collect()
    }
}

fn read<T: DeserializeOwned>(file: &'static str, text: &str) -> Result<T, SeedError> {
    toml::from_str(text).map_err(|error| SeedError {
        file,
        why: error.to_string(),
    })
}

impl Seed {
    /// Reads the files built into the program.
    ///
    /// # Errors
    /// [`SeedError`], with the file and what is wrong with it.
    pub fn read() -> Result<Self, SeedError> {
        let shop: ShopFile = read("shop.toml", include_str!("../../demo-seed/shop.toml"))?;
        let currency = shop.shop.currency;
        let money = |amount| Money::new(amount, currency);
        let machines: MachinesFile = read(
            "machines.toml",
            include_str!("../../demo-seed/machines.toml"),
        )?;
        let (rules, crack_repairs) =
            crate::enquiry::starting::rules(Uuid::now_v7).map_err(|error| SeedError {
                file: "conversion rules",
                why: error.to_string(),
            })?;
        let machines = machines.understood(&money);
        let elements = starting::elements(currency, Uuid::now_v7).map_err(|error| SeedError {
            file: "elements",
            why: error.to_string(),
        })?;
        let mut patterns = Vec::new();
        let mut variants = Vec::new();
        for (file, text) in [
            ("tarn.toml", include_str!("../../demo-seed/tarn.toml")),
            ("ousel.toml", include_str!("../../demo-seed/ousel.toml")),
            ("corrie.toml", include_str!("../../demo-seed/corrie.toml")),
            ("fell.toml", include_str!("../../demo-seed/fell.toml")),
        ] {
            let castings: PatternFile = read(file, text)?;
            let (pattern, of_pattern) = castings.understood(file)?;
            patterns.push(pattern);
            variants.extend(of_pattern);
        }
        measured::give_sizes(&mut patterns)?;
        let related: RelatedFile =
            read("related.toml", include_str!("../../demo-seed/related.toml"))?;
        Ok(Self {
            related: related.understood(&patterns)?,
            // A new shop's starting set, less what it has no machine for.
            elements: elements
                .into_iter()
                .filter(|element| {
                    element.machine_kind == OUTSIDE
                        || machines
                            .0
                            .iter()
                            .any(|machine| machine.kind == element.machine_kind)
                })
                .collect(),
            machines: machines.0,
            labour: machines.1,
            patterns,
            variants,
            rules,
            crack_repairs,
            market: read("market.toml", include_str!("../../demo-seed/market.toml"))?,
            calendars: read(
                "calendars.toml",
                include_str!("../../demo-seed/calendars.toml"),
            )?,
            jobs: read("jobs.toml", include_str!("../../demo-seed/jobs.toml"))?,
            stock: read("stock.toml", include_str!("../../demo-seed/stock.toml"))?,
            past: read("past.toml", include_str!("../../demo-seed/past.toml"))?,
            shop,
        })
    }

    /// A variant by its name.
    ///
    /// # Errors
    /// [`SeedError`] when there is none.
    pub fn variant(&self, file: &'static str, name: &str) -> Result<&Variant, SeedError> {
        self.variants
            .iter()
            .find(|variant| variant.name == name)
            .ok_or_else(|| SeedError {
                file,
                why: format!("there is no variant “{name}”"),
            })
    }

    /// A pattern by its name.
    ///
    /// # Errors
    /// [`SeedError`] when there is none.
    pub fn pattern(&self, file: &'static str, name: &str) -> Result<&Pattern, SeedError> {
        self.patterns
            .iter()
            .find(|pattern| pattern.name == name)
            .ok_or_else(|| SeedError {
                file,
                why: format!("there is no pattern “{name}”"),
            })
    }
}
