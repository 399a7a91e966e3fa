//! Which options there are: each with its route, where the casting comes from and what could go wrong.

use super::answer::{AnswerError, OptionKind};
use super::donors::{Donors, Prepared};
use super::own_block;
use super::procurement::Procurement;
use super::range::percent_of;
use super::say;
use super::ways::{Found, Label, NoWay, OnOffer, Options, Way};
use super::wish::{Knowledge, OwnBlock, ShelfCasting, Supply, Wish};
use crate::castings::Variant;
use crate::estimating::Route;
use crate::estimating::cost::Donor;
use crate::sourcing::hunt::GIVE_UP_AFTER;
use crate::sourcing::{Fate, Good, Hunt, Outlook, Sighting, Unusable};
use crate::units::Money;
use crate::units::text::capitalised;
use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::FromPrimitive;

/// Of the castings on offer, how many are options of their own: the cheapest.
const OFFERS_SHOWN: usize = 2;

/// A casting is taken to be on offer no longer than this many times the days an offer stays open: one in twenty is still
/// there then.
const OFFER_STANDS: i64 = 3;

/// Conversions to the wanted variant: of the caller's own block, of donors on the shelf, of donors to be bought; donors of the
/// wanted pattern, and of those related to it.
pub(super) fn conversions(wish: &Wish, knowledge: &Knowledge, today: NaiveDate) -> Options {
    let mut options = Options::default();
    let all = Donors::all(knowledge);
    if let Some(own) = wish
        .own
        .as_ref()
        .filter(|own| own.variant.id != wish.wanted.id)
    {
        let title = format!("Convert the customer’s own {}", own.variant.name);
        let label = Label::new("convert-own", OptionKind::ConvertOwn, title);
        let of = |donors| Donors::supply_of(donors, own.variant.id).map(|supply| (donors, supply));
        let found = match all.iter().find_map(of) {
            Some((donors, supply)) => own_block::work(own, wish, knowledge)
                .and_then(|work| donors.convert(wish, knowledge, supply, &work))
                .map(|work| brought(own, supply, work)),
            None => Err(NoWay::because(format!(
                "It is not of the pattern “{}”, nor of one related to it: the metal is in other places.",
                knowledge.pattern.name
            ))),
        };
        options.add(label, found);
    }
    for donors in &all {
        for supply in donors
            .supplies
            .iter()
            .filter(|s| s.variant.id != wish.wanted.id)
        {
            convert_one_of(&mut options, (donors, supply), wish, knowledge, today);
        }
    }
    options
}

/// Conversions of the castings of one variant: the cheapest of the shelf, else those on offer and one to be bought.
fn convert_one_of(
    options: &mut Options,
    (donors, supply): (&Donors, &Supply),
    wish: &Wish,
    knowledge: &Knowledge,
    today: NaiveDate,
) {
    let Variant { id, name, .. } = &supply.variant;
    let converted = || donors.convert(wish, knowledge, supply, &[]);
    if let Some(cheapest) = supply.shelf.first() {
        let title = format!("Convert {} from the shelf", say::a(name));
        let key = format!("convert-shelf:{id}");
        let found =
            converted().and_then(|work| from_shelf(knowledge, supply, cheapest, today, work));
        options.add(Label::new(key, OptionKind::ConvertShelf, title), found);
        return;
    }
    for sighting in on_offer(knowledge, supply, today) {
        let title = format!("Buy the {name} on offer{} and convert it", at(sighting));
        let key = format!("convert-offered:{}", sighting.id);
        let found = converted().map(|work| offered(supply, sighting, today, work));
        options.add(Label::new(key, OptionKind::ConvertOffered, title), found);
    }
    let title = format!("Buy {} and convert it", say::a(name));
    let key = format!("convert-bought:{id}");
    let found = converted().and_then(|work| from_hunt(knowledge, supply, today, work));
    options.add(Label::new(key, OptionKind::ConvertBought, title), found);
}

/// Blocks that are of the wanted kind already: the customer's own to repair, one on the shelf, one to be found.
///
/// # Errors
/// [`AnswerError::NotOfPattern`].
pub(super) fn found_and_own(
    wish: &Wish,
    knowledge: &Knowledge,
    today: NaiveDate,
) -> Result<Options, AnswerError> {
    let supply = knowledge
        .supply_of(wish.wanted.id)
        .ok_or_else(|| AnswerError::NotOfPattern(knowledge.pattern.name.clone()))?;
    let wanted = &wish.wanted.name;
    let mut options = Options::default();
    let rules = (&knowledge.cutting, &knowledge.order);
    let route = |work: &[(String, u32)]| {
        Route::for_elements(work, &knowledge.pattern, &knowledge.elements, rules)
            .and_then(|route| route.with_made(&knowledge.made, &knowledge.elements, rules))
            .map_err(NoWay::because)
    };
    if let Some(own) = wish
        .own
        .as_ref()
        .filter(|own| own.variant.id == wish.wanted.id)
    {
        let found = match own_block::needs_unknown(own, wish) {
            true => Err(NoWay::because(
                "Nothing is listed that it needs. Inspect it first, or enter the work.",
            )),
            false => own_block::work(own, wish, knowledge)
                .and_then(|cracks| {
                    let work = own.repairs.iter().chain(&cracks).chain(&wish.also);
                    route(&work.cloned().collect::<Vec<_>>())
                })
                .map(|route| brought(own, supply, route.into())),
        };
        let title = format!("Repair the customer’s own {wanted}");
        options.add(Label::new("repair", OptionKind::Repair, title), found);
    }
    let inspects =
        |own: &&OwnBlock| own.condition.inspect_first() || own_block::needs_unknown(own, wish);
    if let Some(own) = wish.own.as_ref().filter(inspects) {
        let found = route(&[]).map(|route| own_block::inspected(supply, route, knowledge));
        let title = format!("Inspect the customer’s own {}", own.variant.name);
        options.add(Label::new("inspect", OptionKind::Inspect, title), found);
    }
    if let Some(cheapest) = supply.shelf.first() {
        let found = route(&wish.also)
            .and_then(|route| from_shelf(knowledge, supply, cheapest, today, route.into()));
        let title = capitalised(&format!("{} from the shelf", say::a(wanted)));
        options.add(Label::new("shelf", OptionKind::Shelf, title), found);
    }
    for sighting in on_offer(knowledge, supply, today) {
        let found = route(&wish.also).map(|route| offered(supply, sighting, today, route.into()));
        let title = format!("Buy the {wanted} on offer{}", at(sighting));
        let key = format!("offered:{}", sighting.id);
        options.add(Label::new(key, OptionKind::Offered, title), found);
    }
    let found =
        route(&wish.also).and_then(|route| from_hunt(knowledge, supply, today, route.into()));
    let title = format!("Find {}", say::a(wanted));
    options.add(Label::new("hunt", OptionKind::Hunt, title), found);
    Ok(options)
}

/// Usable castings of this supply that are on offer at a price in the shop's currency, the cheapest.
fn on_offer<'a>(knowledge: &Knowledge, supply: &'a Supply, today: NaiveDate) -> Vec<&'a Sighting> {
    let stands = i64::from(supply.watch.offer_days.max(1)).saturating_mul(OFFER_STANDS);
    let mut open: Vec<(Decimal, &Sighting)> = supply
        .sightings
        .iter()
        .filter(|s| s.acceptable && s.fate == Fate::Open)
        .filter(|s| (0..=stands).contains(&(today - s.seen_on).num_days()))
        .filter_map(|s| {
            let asked = s
                .asked
                .filter(|money| money.currency() == knowledge.currency)?;
            Some((asked.amount(), s))
        })
        .collect();
    open.sort_by_key(|(asked, s)| (*asked, s.id));
    open.into_iter()
        .take(OFFERS_SHOWN)
        .map(|(_, sighting)| sighting)
        .collect()
}

/// Where it is on offer, as a title says it.
fn at(sighting: &Sighting) -> String {
    match sighting.place.trim() {
        "" => String::new(),
        place => format!(" ({place})"),
    }
}

/// With a block the caller brings.
fn brought(own: &OwnBlock, supply: &Supply, work: Prepared) -> Way {
    let mut risks = work.cautions();
    risks.extend(own_block::caution(own.condition));
    risks.push(own_fails(supply));
    Way {
        casting: None,
        risks,
        route: work.route,
        conversion: work.conversion,
        related: work.related,
        donor: None,
        procurement: Procurement::Brought,
        casting_of: supply.variant.id,
        good: soundness(supply).ok(),
        offer: None,
    }
}

/// With a particular one that is on offer.
fn offered(supply: &Supply, sighting: &Sighting, today: NaiveDate, work: Prepared) -> Way {
    let mut risks = work.cautions();
    let stays = f64::from(supply.watch.offer_days.max(1));
    let age = (today - sighting.seen_on).num_days().max(0);
    let there = percent_of(
        ((-(age as f64) / stays).exp() * 1000.0).round() as usize,
        1000,
    );
    risks.push(format!(
        "Ring the seller first: it was seen on {}, and is still there with a chance of about {there} %.",
        sighting.seen_on.format("%-d %B")
    ));
    if !sighting.condition.trim().is_empty() {
        risks.push(format!(
            "Its condition, as seen: {}.",
            sighting.condition.trim()
        ));
    }
    let good = soundness(supply).ok();
    risks.push(match good {
        Some(good) => format!(
            "If it fails crack test or measuring, casting, carriage and inspection are charged; {} pass.",
            in_ten(good.chance())
        ),
        None => "If it fails crack test or measuring, casting, carriage and inspection are charged."
            .to_owned(),
    });
    let carriage = supply.watch.carriage;
    let nothing = Money::zero(carriage.currency());
    Way {
        casting: None,
        risks,
        route: work.route,
        conversion: work.conversion,
        related: work.related,
        donor: None,
        procurement: Procurement::Offered {
            days: supply.watch.carriage_days,
        },
        casting_of: supply.variant.id,
        good,
        offer: Some(OnOffer {
            asked: sighting.asked.unwrap_or(nothing),
            carriage,
        }),
    }
}

/// With the cheapest casting of the supply's shelf.
fn from_shelf(
    knowledge: &Knowledge,
    supply: &Supply,
    cheapest: &ShelfCasting,
    today: NaiveDate,
    work: Prepared,
) -> Found {
    let good = soundness(supply).map_err(NoWay::because)?;
    let free = u32::try_from(supply.shelf.len()).unwrap_or(u32::MAX);
    let failures = good.expected_failures(free.min(GIVE_UP_AFTER));
    let mut risks = work.cautions();
    risks.push(format!(
        "{} of these castings pass crack test and measuring; the shop bears the cost of those that fail.",
        capitalised(&in_ten(good.chance()))
    ));
    risks.extend(shelf_ends(supply));
    Ok(Way {
        casting: Some(cheapest.clone()),
        risks,
        route: work.route,
        conversion: work.conversion,
        related: work.related,
        donor: Some(Donor {
            price: cheapest.cost,
            failures: Decimal::from_f64(failures).unwrap_or_default().round_dp(3),
            another: None,
        }),
        procurement: Procurement::Shelf {
            free,
            good,
            then: hunt(knowledge, supply, today).ok(),
        },
        casting_of: supply.variant.id,
        good: Some(good),
        offer: None,
    })
}

/// With a casting that must be found and bought first.
fn from_hunt(knowledge: &Knowledge, supply: &Supply, today: NaiveDate, work: Prepared) -> Found {
    let hunt = hunt(knowledge, supply, today)?;
    let mut risks = work.cautions();
    if work.conversion.is_some() {
        risks.push("None on the shelf: one must be bought first.".to_owned());
    }
    risks.extend(hunt_risks(&hunt));
    Ok(Way {
        casting: None,
        risks,
        route: work.route,
        conversion: work.conversion,
        related: work.related,
        donor: None,
        casting_of: supply.variant.id,
        good: Some(hunt.outlook().good),
        procurement: Procurement::Hunt(hunt),
        offer: None,
    })
}

fn hunt(knowledge: &Knowledge, supply: &Supply, today: NaiveDate) -> Result<Hunt, NoWay> {
    let outlook = Outlook::new(
        &supply.watch,
        &supply.sightings,
        today,
        knowledge.currency,
        supply.inspected,
    )
    .map_err(NoWay::because)?;
    if outlook.price.is_none() {
        return Err(NoWay::PriceUnknown(supply.variant.id));
    }
    Hunt::new(
        &supply.watch,
        outlook,
        &supply.sightings,
        today,
        knowledge.rates.people_default,
    )
    .map_err(NoWay::because)
}

/// How likely a casting of this variant is good, by the shop's opinion and all whose worth it knows.
fn soundness(supply: &Supply) -> Result<Good, Unusable> {
    let bought = |fate: Fate| {
        let count = supply.sightings.iter().filter(|s| s.fate == fate).count();
        u32::try_from(count).unwrap_or(u32::MAX)
    };
    Good::new(
        supply.watch.good_percent,
        bought(Fate::BoughtGood).saturating_add(supply.inspected.good),
        bought(Fate::BoughtScrap).saturating_add(supply.inspected.bad),
    )
}

fn in_ten(chance: f64) -> String {
    format!(
        "about {:.0} %",
        (chance * 10.0).round().clamp(0.0, 10.0) * 10.0
    )
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
            capitalised(&in_ten(outlook.good.chance()))
        ),
    ]
}
