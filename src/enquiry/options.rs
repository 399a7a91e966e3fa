//! Which options there are: each with its route, where the casting comes from and what could go wrong.

use super::answer::{AnswerError, Figures, OptionAnswer, OptionKind, Outcome};
use super::wish::{Knowledge, ShelfCasting, Supply, Wish};
use crate::castings::Conversion;
use crate::estimating::Route;
use crate::estimating::cost::{CostLine, Donor};
use crate::estimating::futures::CostSampler;
use crate::sourcing::hunt::{HORIZON_DAYS, Spent};
use crate::sourcing::{Good, Hunt, Outlook, Unusable};
use crate::units::{Currency, Money, MoneyError};
use chrono::NaiveDate;
use rand::Rng;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// Where the casting comes from.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Procurement {
    /// The caller brings it. If it fails, the job ends there.
    Brought,
    /// From the shelf; once the shelf is empty, from a hunt for another, if one can be thought of.
    Shelf {
        /// How many stand there.
        free: u32,
        /// What replaces the last of them.
        then: Option<Hunt>,
    },
    /// Hunted for.
    Hunt(Hunt),
}

/// What procuring took in one future.
pub(super) struct Procured {
    /// Days until work can start; `None` when never.
    pub(super) days: Option<f64>,
    /// Castings that failed the inspection first.
    pub(super) failed: u32,
    /// Spent on a hunt, minor units.
    pub(super) spent_minor: i64,
    /// What a hunt's money went on.
    pub(super) parts: Option<Spent>,
}

impl Procurement {
    /// Draws one future.
    pub(super) fn sample(&self, costs: &CostSampler, rng: &mut impl Rng) -> Procured {
        match self {
            Self::Brought => Procured {
                days: Some(0.0),
                failed: 0,
                spent_minor: 0,
                parts: None,
            },
            Self::Shelf { free, then } => {
                let failed = costs.failures(rng);
                let days = match then {
                    _ if failed < *free => Some(0.0),
                    Some(hunt) => hunt.sample(rng).days,
                    None => None,
                };
                Procured {
                    days,
                    failed,
                    spent_minor: 0,
                    parts: None,
                }
            }
            Self::Hunt(hunt) => {
                let future = hunt.sample(rng);
                Procured {
                    days: future.days,
                    failed: future.failed,
                    spent_minor: future.spent_minor(),
                    parts: future.days.map(|_| future.spent),
                }
            }
        }
    }
}

/// An option before it is simulated.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Proposal {
    key: String,
    kind: OptionKind,
    title: String,
    casting: Option<ShelfCasting>,
    risks: Vec<String>,
    pub(super) route: Route,
    pub(super) conversion: Option<Conversion>,
    pub(super) donor: Option<Donor>,
    pub(super) procurement: Procurement,
}

impl Proposal {
    pub(super) fn possible(&self, figures: Figures) -> OptionAnswer {
        let mut risks = self.risks.clone();
        if figures.never_percent > 0 {
            let years = (HORIZON_DAYS / 365.0).round();
            risks.push(format!(
                "In {} of 100 futures none that is good is found within {years} years.",
                figures.never_percent
            ));
        }
        self.with(Outcome::Possible(Box::new(figures)), risks)
    }

    pub(super) fn impossible(&self, reasons: Vec<String>) -> OptionAnswer {
        self.with(Outcome::Impossible { reasons }, Vec::new())
    }

    fn with(&self, outcome: Outcome, risks: Vec<String>) -> OptionAnswer {
        OptionAnswer {
            key: self.key.clone(),
            kind: self.kind,
            title: self.title.clone(),
            casting: self.casting.clone(),
            risks,
            outcome,
        }
    }
}

/// An option that fell at the first fence.
fn impossible(
    key: String,
    kind: OptionKind,
    title: String,
    reasons: Vec<String>,
) -> Box<OptionAnswer> {
    Box::new(OptionAnswer {
        key,
        kind,
        title,
        casting: None,
        risks: Vec::new(),
        outcome: Outcome::Impossible { reasons },
    })
}

type Options = (Vec<Proposal>, Vec<OptionAnswer>);

/// Conversions to the wanted variant: of the caller's own block, of donors on the shelf, of donors to be bought.
pub(super) fn conversions(
    wish: &Wish,
    knowledge: &Knowledge,
    today: NaiveDate,
) -> Result<Options, AnswerError> {
    let mut proposals = Vec::new();
    let mut impossibles = Vec::new();
    let mut add = |found: Result<Proposal, Box<OptionAnswer>>| match found {
        Ok(proposal) => proposals.push(proposal),
        Err(option) => impossibles.push(*option),
    };
    if let Some(own) = wish
        .own
        .as_ref()
        .filter(|own| own.variant.id != wish.wanted.id)
    {
        let supply = knowledge
            .supplies
            .iter()
            .find(|s| s.variant.id == own.variant.id);
        add(convert_own(
            wish,
            knowledge,
            own.variant.name.as_str(),
            supply,
        ));
    }
    for supply in knowledge
        .supplies
        .iter()
        .filter(|s| s.variant.id != wish.wanted.id)
    {
        add(if supply.shelf.is_empty() {
            convert_bought(wish, knowledge, supply, today)
        } else {
            convert_shelf(wish, knowledge, supply, today)
        });
    }
    Ok((proposals, impossibles))
}

/// Blocks that are of the wanted kind already: the caller's own to repair, one on the shelf, one to be hunted for.
/// `borrowed` stands in for a price that nobody has seen.
pub(super) fn found_and_own(
    wish: &Wish,
    knowledge: &Knowledge,
    today: NaiveDate,
    borrowed: Option<Money>,
) -> Result<Options, AnswerError> {
    let supply = knowledge
        .supplies
        .iter()
        .find(|s| s.variant.id == wish.wanted.id)
        .ok_or_else(|| AnswerError::NotOfPattern(knowledge.pattern.name.clone()))?;
    let wanted = &wish.wanted.name;
    let mut proposals = Vec::new();
    let mut impossibles = Vec::new();
    let mut add = |found: Result<Proposal, Box<OptionAnswer>>| match found {
        Ok(proposal) => proposals.push(proposal),
        Err(option) => impossibles.push(*option),
    };
    let route = |work: &[(String, u32)]| {
        Route::for_elements(
            work,
            &knowledge.pattern,
            &knowledge.elements,
            &knowledge.cutting,
        )
    };
    if let Some(own) = wish
        .own
        .as_ref()
        .filter(|own| own.variant.id == wish.wanted.id)
    {
        let (key, title) = (
            "repair".to_owned(),
            format!("Repair the caller's own {wanted}"),
        );
        let work: Vec<_> = own.repairs.iter().chain(&wish.also).cloned().collect();
        let mut risks = vec![own_fails(supply)];
        if own.repairs.is_empty() {
            risks.push(
                "No repair is named yet: the price is only for cleaning, crack-testing and measuring what is brought."
                    .to_owned(),
            );
        }
        add(match route(&work) {
            Ok(route) => Ok(Proposal {
                key,
                kind: OptionKind::Repair,
                title,
                casting: None,
                risks,
                route,
                conversion: None,
                donor: None,
                procurement: Procurement::Brought,
            }),
            Err(why) => Err(impossible(
                key,
                OptionKind::Repair,
                title,
                vec![why.to_string()],
            )),
        });
    }
    if let Some(cheapest) = supply.shelf.first() {
        let (key, title) = ("shelf".to_owned(), format!("A {wanted} from the shelf"));
        let proposal = route(&wish.also)
            .map_err(|e| e.to_string())
            .and_then(|route| {
                let (donor, mut risks) =
                    shelf_donor(supply, cheapest.cost).map_err(|e| e.to_string())?;
                risks.extend(shelf_ends(supply));
                Ok(Proposal {
                    key: key.clone(),
                    kind: OptionKind::Shelf,
                    title: title.clone(),
                    casting: Some(cheapest.clone()),
                    risks,
                    route,
                    conversion: None,
                    donor: Some(donor),
                    procurement: Procurement::Shelf {
                        free: count(&supply.shelf),
                        then: hunt(knowledge, supply, today, Some(cheapest.cost)).ok(),
                    },
                })
            });
        add(proposal.map_err(|why| impossible(key, OptionKind::Shelf, title, vec![why])));
    }
    let (key, title) = ("hunt".to_owned(), format!("Hunt for a {wanted}"));
    let proposal = route(&wish.also)
        .map_err(|e| e.to_string())
        .and_then(|route| {
            let hunt = hunt(knowledge, supply, today, borrowed).map_err(|e| e.to_string())?;
            Ok(Proposal {
                key: key.clone(),
                kind: OptionKind::Hunt,
                title: title.clone(),
                casting: None,
                risks: hunt_risks(&hunt),
                route,
                conversion: None,
                donor: None,
                procurement: Procurement::Hunt(hunt),
            })
        });
    add(proposal.map_err(|why| impossible(key, OptionKind::Hunt, title, vec![why])));
    Ok((proposals, impossibles))
}

fn convert_own(
    wish: &Wish,
    knowledge: &Knowledge,
    own: &str,
    supply: Option<&Supply>,
) -> Result<Proposal, Box<OptionAnswer>> {
    let key = "convert-own".to_owned();
    let title = format!("Convert the caller's own {own}");
    let kind = OptionKind::ConvertOwn;
    let fail = |reasons| impossible(key.clone(), kind, title.clone(), reasons);
    let Some(supply) = supply else {
        return Err(fail(vec![format!(
            "It is not a casting of the pattern “{}”: the metal is in other places.",
            knowledge.pattern.name
        )]));
    };
    let (conversion, route) = convert(wish, knowledge, supply).map_err(fail)?;
    let mut risks = cautions(&conversion);
    risks.push(own_fails(supply));
    Ok(Proposal {
        key: key.clone(),
        kind,
        title: title.clone(),
        casting: None,
        risks,
        route,
        conversion: Some(conversion),
        donor: None,
        procurement: Procurement::Brought,
    })
}

fn convert_shelf(
    wish: &Wish,
    knowledge: &Knowledge,
    supply: &Supply,
    today: NaiveDate,
) -> Result<Proposal, Box<OptionAnswer>> {
    let key = format!("convert-shelf:{}", supply.variant.id);
    let title = format!("Convert a {} from the shelf", supply.variant.name);
    let kind = OptionKind::ConvertShelf;
    let fail = |reasons| impossible(key.clone(), kind, title.clone(), reasons);
    let (conversion, route) = convert(wish, knowledge, supply).map_err(fail)?;
    let cost = supply
        .shelf
        .first()
        .map_or(Money::zero(knowledge.currency), |c| c.cost);
    let (donor, survival) = shelf_donor(supply, cost).map_err(|why| fail(vec![why.to_string()]))?;
    let mut risks = cautions(&conversion);
    risks.extend(survival);
    risks.extend(shelf_ends(supply));
    Ok(Proposal {
        key: key.clone(),
        kind,
        title: title.clone(),
        casting: supply.shelf.first().cloned(),
        risks,
        route,
        conversion: Some(conversion),
        donor: Some(donor),
        procurement: Procurement::Shelf {
            free: count(&supply.shelf),
            then: hunt(knowledge, supply, today, Some(cost)).ok(),
        },
    })
}

fn convert_bought(
    wish: &Wish,
    knowledge: &Knowledge,
    supply: &Supply,
    today: NaiveDate,
) -> Result<Proposal, Box<OptionAnswer>> {
    let key = format!("convert-bought:{}", supply.variant.id);
    let title = format!("Buy a {} and convert it", supply.variant.name);
    let kind = OptionKind::ConvertBought;
    let fail = |reasons| impossible(key.clone(), kind, title.clone(), reasons);
    let (conversion, route) = convert(wish, knowledge, supply).map_err(fail)?;
    let hunt = hunt(knowledge, supply, today, None).map_err(|why| fail(vec![why.to_string()]))?;
    let mut risks = cautions(&conversion);
    risks.push("None stands on the shelf: one must be bought first.".to_owned());
    risks.extend(hunt_risks(&hunt));
    Ok(Proposal {
        key: key.clone(),
        kind,
        title: title.clone(),
        casting: None,
        risks,
        route,
        conversion: Some(conversion),
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

fn count<T>(things: &[T]) -> u32 {
    u32::try_from(things.len()).unwrap_or(u32::MAX)
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
    format!("about {:.0} in 10", (chance * 10.0).clamp(0.0, 10.0))
}

fn shelf_donor(supply: &Supply, cost: Money) -> Result<(Donor, Vec<String>), Unusable> {
    let good = soundness(supply)?;
    let survives = Decimal::from_f64(good.chance())
        .unwrap_or(Decimal::ONE)
        .round_dp(3);
    let risks = vec![format!(
        "{} of these castings come through crack test and measuring; the shop bears those that do not.",
        capital(&in_ten(good.chance()))
    )];
    Ok((
        Donor {
            price: cost,
            survives,
            shop_bears_risk: true,
        },
        risks,
    ))
}

fn shelf_ends(supply: &Supply) -> Option<String> {
    (supply.shelf.len() == 1).then(|| {
        "It is the last on the shelf: if it fails, another must be found first.".to_owned()
    })
}

fn own_fails(supply: &Supply) -> String {
    match soundness(supply) {
        Ok(good) => format!(
            "If the caller's block fails crack test or measuring, the job ends there and the inspection is charged; {} come through.",
            in_ten(good.chance())
        ),
        Err(_) => "If the caller's block fails crack test or measuring, the job ends there and the inspection is charged."
            .to_owned(),
    }
}

fn hunt_risks(hunt: &Hunt) -> Vec<String> {
    let outlook = hunt.outlook();
    vec![
        outlook.evidence.note.clone(),
        format!(
            "{} bought ones prove good.",
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
fn cautions(conversion: &Conversion) -> Vec<String> {
    conversion
        .cautions()
        .filter(|remedy| !remedy.say.is_empty())
        .map(|remedy| format!("{}: {}", remedy.difference.subject().place, remedy.say))
        .collect()
}

/// The lines of a hunt's cost that are expected, from the futures in which one was found: the middle price of the good
/// one (a mean would be at the mercy of a few extreme futures: a log-Student price has none), and the means of the rest.
pub(super) fn procurement_lines(
    found: &[Spent],
    currency: Currency,
) -> Result<Vec<CostLine>, MoneyError> {
    let n = i64::try_from(found.len()).unwrap_or(i64::MAX);
    let mut prices: Vec<i64> = found.iter().map(|s| s.good_minor).collect();
    prices.sort_unstable();
    let middle = prices.get(prices.len() / 2).copied().unwrap_or(0);
    let mean = |part: fn(&Spent) -> i64| {
        let sum = found
            .iter()
            .fold(0_i64, |sum, s| sum.saturating_add(part(s)));
        sum.checked_div(n).unwrap_or(0)
    };
    let leaf = |label: &str, how: String, minor: i64| {
        CostLine::leaf(label, how, Money::from_minor(minor, currency))
    };
    let lines = vec![
        leaf(
            "The good one",
            "middle price of the futures in which one is found".into(),
            middle,
        ),
        leaf(
            "Those that prove bad",
            "mean of those futures".into(),
            mean(|s| s.bad_minor),
        ),
        leaf(
            "Carriage",
            "mean of those futures, the bad ones' included".into(),
            mean(|s| s.carriage_minor),
        ),
        leaf(
            "Search",
            "hours of search × rate, mean of those futures".into(),
            mean(|s| s.search_minor),
        ),
    ];
    Ok(vec![CostLine::sum(
        "Finding and buying",
        "",
        lines,
        currency,
    )?])
}
