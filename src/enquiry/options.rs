//! Which options there are: each with its route, where the casting comes from and what could go wrong.

use super::answer::{AnswerError, Figures, OptionAnswer, OptionKind, Outcome};
use super::procurement::Procurement;
use super::proportion::MOST_TIMES_CHEAPEST;
use super::wish::{Knowledge, ShelfCasting, Supply, Wish};
use crate::castings::{Conversion, Variant};
use crate::estimating::Route;
use crate::estimating::cost::{CostLine, Donor};
use crate::estimating::futures::rank;
use crate::sourcing::hunt::{HORIZON_DAYS, Spent};
use crate::sourcing::{Good, Hunt, Outlook, Unusable};
use crate::units::{Currency, Money, MoneyError};
use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// What an option is called, whether or not it can be done.
#[derive(Debug, Clone, PartialEq)]
struct Label {
    key: String,
    kind: OptionKind,
    title: String,
}

impl Label {
    fn new(key: impl Into<String>, kind: OptionKind, title: String) -> Self {
        Self {
            key: key.into(),
            kind,
            title,
        }
    }

    fn answer(
        &self,
        casting: Option<ShelfCasting>,
        risks: Vec<String>,
        outcome: Outcome,
    ) -> OptionAnswer {
        OptionAnswer {
            key: self.key.clone(),
            kind: self.kind,
            title: self.title.clone(),
            casting,
            risks,
            outcome,
        }
    }
}

/// How an option is done.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Way {
    casting: Option<ShelfCasting>,
    risks: Vec<String>,
    pub(super) route: Route,
    pub(super) conversion: Option<Conversion>,
    pub(super) donor: Option<Donor>,
    pub(super) procurement: Procurement,
}

/// A way, or the reasons why there is none, one sentence each.
type Found = Result<Way, Vec<String>>;

/// An option before it is simulated.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Proposal {
    label: Label,
    pub(super) way: Way,
}

impl Proposal {
    pub(super) fn possible(&self, figures: Figures) -> OptionAnswer {
        let mut risks = self.way.risks.clone();
        if figures.never_percent > 0 {
            let years = (HORIZON_DAYS / 365.0).round();
            risks.push(format!(
                "{} % chance that no sound one turns up within {years} years, or only at more than {MOST_TIMES_CHEAPEST} times the price of the cheapest option.",
                figures.never_percent
            ));
        }
        self.answer(risks, Outcome::Possible(Box::new(figures)))
    }

    pub(super) fn impossible(&self, reasons: Vec<String>) -> OptionAnswer {
        self.answer(Vec::new(), Outcome::Impossible { reasons })
    }

    fn answer(&self, risks: Vec<String>, outcome: Outcome) -> OptionAnswer {
        self.label.answer(self.way.casting.clone(), risks, outcome)
    }
}

/// Options to be simulated, and those that cannot be done.
#[derive(Debug, Default)]
pub(super) struct Options {
    pub(super) proposals: Vec<Proposal>,
    pub(super) impossible: Vec<OptionAnswer>,
}

impl Options {
    fn add(&mut self, label: Label, found: Found) {
        match found {
            Ok(way) => self.proposals.push(Proposal { label, way }),
            Err(reasons) => {
                let outcome = Outcome::Impossible { reasons };
                self.impossible
                    .push(label.answer(None, Vec::new(), outcome));
            }
        }
    }
}

/// Conversions to the wanted variant: of the caller's own block, of donors on the shelf, of donors to be bought.
pub(super) fn conversions(wish: &Wish, knowledge: &Knowledge, today: NaiveDate) -> Options {
    let mut options = Options::default();
    if let Some(own) = wish
        .own
        .as_ref()
        .filter(|own| own.variant.id != wish.wanted.id)
    {
        let title = format!("Convert the customer’s own {}", own.variant.name);
        let label = Label::new("convert-own", OptionKind::ConvertOwn, title);
        let found = match knowledge.supply_of(own.variant.id) {
            Some(supply) => convert(wish, knowledge, supply)
                .map(|(conversion, route)| brought(supply, route, Some(conversion))),
            None => Err(vec![format!(
                "It is not of the pattern “{}”: the metal is in other places.",
                knowledge.pattern.name
            )]),
        };
        options.add(label, found);
    }
    for supply in knowledge
        .supplies
        .iter()
        .filter(|s| s.variant.id != wish.wanted.id)
    {
        let Variant { id, name, .. } = &supply.variant;
        let converted = convert(wish, knowledge, supply);
        if let Some(cheapest) = supply.shelf.first() {
            let title = format!("Convert a {name} from the shelf");
            options.add(
                Label::new(
                    format!("convert-shelf:{id}"),
                    OptionKind::ConvertShelf,
                    title,
                ),
                converted.and_then(|(conversion, route)| {
                    from_shelf(knowledge, supply, cheapest, today, route, Some(conversion))
                }),
            );
        } else {
            let title = format!("Buy a {name} and convert it");
            options.add(
                Label::new(
                    format!("convert-bought:{id}"),
                    OptionKind::ConvertBought,
                    title,
                ),
                converted.and_then(|(conversion, route)| {
                    from_hunt(knowledge, supply, today, None, route, Some(conversion))
                }),
            );
        }
    }
    options
}

/// Blocks that are of the wanted kind already: the customer's own to repair, one on the shelf, one to be found.
/// `borrowed` stands in for a price that nobody has seen.
///
/// # Errors
/// [`AnswerError::NotOfPattern`].
pub(super) fn found_and_own(
    wish: &Wish,
    knowledge: &Knowledge,
    today: NaiveDate,
    borrowed: Option<Money>,
) -> Result<Options, AnswerError> {
    let supply = knowledge
        .supply_of(wish.wanted.id)
        .ok_or_else(|| AnswerError::NotOfPattern(knowledge.pattern.name.clone()))?;
    let wanted = &wish.wanted.name;
    let mut options = Options::default();
    let route = |work: &[(String, u32)]| {
        Route::for_elements(
            work,
            &knowledge.pattern,
            &knowledge.elements,
            &knowledge.cutting,
        )
        .map_err(|why| vec![why.to_string()])
    };
    if let Some(own) = wish
        .own
        .as_ref()
        .filter(|own| own.variant.id == wish.wanted.id)
    {
        let work: Vec<_> = own.repairs.iter().chain(&wish.also).cloned().collect();
        let mut found = route(&work).map(|route| brought(supply, route, None));
        if let Ok(way) = &mut found
            && own.repairs.is_empty()
        {
            way.risks.push(
                "No repair is listed yet: the price covers only cleaning, crack-testing and measuring the block."
                    .to_owned(),
            );
        }
        let title = format!("Repair the customer’s own {wanted}");
        options.add(Label::new("repair", OptionKind::Repair, title), found);
    }
    if let Some(cheapest) = supply.shelf.first() {
        let found = route(&wish.also)
            .and_then(|route| from_shelf(knowledge, supply, cheapest, today, route, None));
        let title = format!("A {wanted} from the shelf");
        options.add(Label::new("shelf", OptionKind::Shelf, title), found);
    }
    let found = route(&wish.also)
        .and_then(|route| from_hunt(knowledge, supply, today, borrowed, route, None));
    let title = format!("Find a {wanted}");
    options.add(Label::new("hunt", OptionKind::Hunt, title), found);
    Ok(options)
}

/// With a block the caller brings.
fn brought(supply: &Supply, route: Route, conversion: Option<Conversion>) -> Way {
    let mut risks = cautions(conversion.as_ref());
    risks.push(own_fails(supply));
    Way {
        casting: None,
        risks,
        route,
        conversion,
        donor: None,
        procurement: Procurement::Brought,
    }
}

/// With the cheapest casting of the supply's shelf.
fn from_shelf(
    knowledge: &Knowledge,
    supply: &Supply,
    cheapest: &ShelfCasting,
    today: NaiveDate,
    route: Route,
    conversion: Option<Conversion>,
) -> Found {
    let (donor, survival) =
        shelf_donor(supply, cheapest.cost).map_err(|why| vec![why.to_string()])?;
    let mut risks = cautions(conversion.as_ref());
    risks.push(survival);
    risks.extend(shelf_ends(supply));
    Ok(Way {
        casting: Some(cheapest.clone()),
        risks,
        route,
        conversion,
        donor: Some(donor),
        procurement: Procurement::Shelf {
            free: u32::try_from(supply.shelf.len()).unwrap_or(u32::MAX),
            then: hunt(knowledge, supply, today, Some(cheapest.cost)).ok(),
        },
    })
}

/// With a casting that must be found and bought first.
fn from_hunt(
    knowledge: &Knowledge,
    supply: &Supply,
    today: NaiveDate,
    borrowed: Option<Money>,
    route: Route,
    conversion: Option<Conversion>,
) -> Found {
    let hunt = hunt(knowledge, supply, today, borrowed).map_err(|why| vec![why.to_string()])?;
    let mut risks = cautions(conversion.as_ref());
    if conversion.is_some() {
        risks.push("None on the shelf: one must be bought first.".to_owned());
    }
    risks.extend(hunt_risks(&hunt));
    Ok(Way {
        casting: None,
        risks,
        route,
        conversion,
        donor: None,
        procurement: Procurement::Hunt(hunt),
    })
}

/// The remedies and the route from this supply's variant to the wanted one, or why there are none.
fn convert(
    wish: &Wish,
    knowledge: &Knowledge,
    supply: &Supply,
) -> Result<(Conversion, Route), Vec<String>> {
    let conversion = Conversion::plan(
        &knowledge.pattern,
        &supply.variant,
        &wish.wanted,
        &knowledge.rules,
    )
    .map_err(|why| vec![why.to_string()])?;
    if !conversion.is_possible() {
        let reasons = conversion
            .impossible()
            .map(|remedy| format!("{}: {}", remedy.difference.subject().place, remedy.say))
            .collect();
        return Err(reasons);
    }
    let route = Route::for_conversion(
        &conversion,
        &wish.also,
        &knowledge.pattern,
        &knowledge.elements,
        &knowledge.cutting,
    )
    .map_err(|why| vec![why.to_string()])?;
    Ok((conversion, route))
}

fn hunt(
    knowledge: &Knowledge,
    supply: &Supply,
    today: NaiveDate,
    borrowed: Option<Money>,
) -> Result<Hunt, Unusable> {
    let outlook = Outlook::new(
        &supply.watch,
        &supply.sightings,
        today,
        knowledge.currency,
        borrowed,
    )?;
    Hunt::new(
        &supply.watch,
        outlook,
        &supply.sightings,
        today,
        knowledge.rates.people_default,
    )
}

/// What the shop's inspections say of castings of this variant.
fn soundness(supply: &Supply) -> Result<Good, Unusable> {
    Good::new(
        supply.watch.good_percent,
        supply.inspected_good,
        supply.inspected_bad,
    )
}

fn in_ten(chance: f64) -> String {
    format!(
        "about {:.0} %",
        (chance * 10.0).round().clamp(0.0, 10.0) * 10.0
    )
}

fn shelf_donor(supply: &Supply, cost: Money) -> Result<(Donor, String), Unusable> {
    let good = soundness(supply)?;
    let survives = Decimal::from_f64(good.chance())
        .unwrap_or(Decimal::ONE)
        .round_dp(3);
    let survival = format!(
        "{} of these castings pass crack test and measuring; the shop bears the cost of those that fail.",
        capital(&in_ten(good.chance()))
    );
    Ok((
        Donor {
            price: cost,
            survives,
            shop_bears_risk: true,
        },
        survival,
    ))
}

fn shelf_ends(supply: &Supply) -> Option<String> {
    (supply.shelf.len() == 1)
        .then(|| "It is the last on the shelf: if it fails, another must be found.".to_owned())
}

fn own_fails(supply: &Supply) -> String {
    match soundness(supply) {
        Ok(good) => format!(
            "If the customer’s block fails crack test or measuring, the job ends there and the inspection is charged; {} pass.",
            in_ten(good.chance())
        ),
        Err(_) => "If the customer’s block fails crack test or measuring, the job ends there and the inspection is charged."
            .to_owned(),
    }
}

fn hunt_risks(hunt: &Hunt) -> Vec<String> {
    let outlook = hunt.outlook();
    vec![
        outlook.evidence.note.clone(),
        format!(
            "{} of those bought prove sound.",
            capital(&in_ten(outlook.good.chance()))
        ),
    ]
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// What must be said of the remedies: cautions, and what is left as it is.
fn cautions(conversion: Option<&Conversion>) -> Vec<String> {
    conversion
        .into_iter()
        .flat_map(Conversion::cautions)
        .filter(|remedy| !remedy.say.is_empty())
        .map(|remedy| format!("{}: {}", remedy.difference.subject().place, remedy.say))
        .collect()
}

/// The lines of a hunt's cost, from the futures in which one was found: what each part comes to, on average, in the
/// middle fifth of them by all that is spent. The parts add up to about the median of the whole. A mean over all futures
/// would be at the mercy of the few in which one dear block after another proves bad: a log-Student price has none.
pub(super) fn procurement_lines(
    found: &[Spent],
    currency: Currency,
) -> Result<Vec<CostLine>, MoneyError> {
    const FROM: u32 = 40;
    const TO: u32 = 60;
    let mut sorted: Vec<&Spent> = found.iter().collect();
    sorted.sort_by_key(|spent| spent.total_minor());
    let (first, last) = (rank(FROM, sorted.len()), rank(TO, sorted.len()));
    let middle = sorted.get(first..=last).unwrap_or_default();
    let n = i64::try_from(middle.len()).unwrap_or(i64::MAX);
    let typical = |part: fn(&Spent) -> i64| {
        let sum = middle
            .iter()
            .fold(0_i64, |sum, spent| sum.saturating_add(part(spent)));
        sum.checked_div(n).unwrap_or(0)
    };
    let leaf = |label: &str, how: String, minor: i64| {
        CostLine::leaf(label, how, Money::from_minor(minor, currency))
    };
    let how = "middle fifth of the outcomes in which one is found, by cost";
    let lines = vec![
        leaf("The good one", how.into(), typical(|s| s.good_minor)),
        leaf("Those that prove bad", how.into(), typical(|s| s.bad_minor)),
        leaf(
            "Carriage",
            format!("{how}, including those that prove bad"),
            typical(|s| s.carriage_minor),
        ),
        leaf(
            "Search",
            format!("hours of search × rate, {how}"),
            typical(|s| s.search_minor),
        ),
    ];
    Ok(vec![CostLine::sum(
        "Finding and buying",
        "",
        lines,
        currency,
    )?])
}
