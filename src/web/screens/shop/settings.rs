//! The shop's settings: its pricing policy, its clock, the units its screens show.

use crate::db::people::Role;
use crate::db::settings::{self, Settings};
use crate::db::{DbError, history as changes};
use crate::estimating::Policy;
use crate::units::{Code, LengthUnit, Money};
use crate::web::ui::forms::Choice;
use crate::web::ui::history;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::{Decimal, dec};
use serde::Deserialize;

/// `/shop/settings`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/settings")
            .route(web::get().to(show))
            .route(web::post().to(save)),
    );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct SettingsForm {
    name: String,
    time_zone: String,
    length_unit: String,
    overhead_percent: String,
    margin_percent: String,
    tax_percent: String,
    tax_name: String,
    confidence_percent: String,
    quote_valid_days: String,
    version: String,
}

impl SettingsForm {
    fn of(stored: &Settings) -> Self {
        let percent = |p: Decimal| p.normalize().to_string();
        Self {
            name: stored.name.clone(),
            time_zone: stored.time_zone.name().to_owned(),
            length_unit: stored.length_unit.code().to_owned(),
            overhead_percent: percent(stored.policy.overhead_percent),
            margin_percent: percent(stored.policy.margin_percent),
            tax_percent: percent(stored.policy.tax_percent),
            tax_name: stored.tax_name.clone(),
            confidence_percent: stored.policy.confidence_percent.to_string(),
            quote_valid_days: stored.quote_valid_days.to_string(),
            version: stored.version.to_string(),
        }
    }

    fn read(&self, stored: &Settings, errors: &mut FormErrors) -> Option<Settings> {
        let name = errors.required_text("name", &self.name, 80);
        let time_zone = errors.parsed("time_zone", &self.time_zone, |text| {
            text.parse::<chrono_tz::Tz>()
                .map_err(|_| "Choose a time zone from the list, like Europe/London")
        });
        let length_unit = errors.choice("length_unit", &self.length_unit, LengthUnit::from_code);
        // What a policy may be is the policy's to say, below.
        let mut percent = |field, raw: &str| {
            errors.percent(field, raw, Decimal::NEGATIVE_ONE..=Decimal::ONE_THOUSAND)
        };
        let overhead = percent("overhead_percent", &self.overhead_percent);
        let margin = percent("margin_percent", &self.margin_percent);
        let tax = percent("tax_percent", &self.tax_percent);
        let tax_name = errors.required_text("tax_name", &self.tax_name, 40);
        let confidence = errors.int("confidence_percent", &self.confidence_percent, 0..=100);
        let valid = errors.int("quote_valid_days", &self.quote_valid_days, 1..=365);
        let policy = Policy {
            overhead_percent: overhead?,
            margin_percent: margin?,
            tax_percent: tax?,
            confidence_percent: u32::try_from(confidence?).ok()?,
            costs: stored.policy.costs,
        };
        for (field, message) in policy.faults() {
            errors.add(field, message);
        }
        let settings = Settings {
            name: name?,
            currency: stored.currency,
            time_zone: time_zone?,
            length_unit: length_unit?,
            policy,
            selling: stored.selling.clone(),
            tax_name: tax_name?,
            quote_valid_days: u32::try_from(valid?).ok()?,
            days_follow_record: stored.days_follow_record,
            prices_follow_record: stored.prices_follow_record,
            days: stored.days,
            variation: stored.variation.clone(),
            version: self.version.parse().unwrap_or_default(),
        };
        errors.is_empty().then_some(settings)
    }
}

async fn show(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let stored = settings::get(&mut tx).await?;
    let past = changes::of_row(&mut tx, "shop", who.scope.shop_id).await?;
    let form = SettingsForm::of(&stored);
    let past = history::section(&who, &past);
    Ok(page(
        &who,
        &stored,
        &form,
        &FormErrors::default(),
        &html! {},
        &past,
    )
    .into())
}

async fn save(who: SignedIn, form: CheckedForm<SettingsForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let stored = settings::get(&mut tx).await?;
    let Some(wanted) = form.read(&stored, &mut errors) else {
        return Ok(page(&who, &stored, &form, &errors, &html! {}, &html! {})
            .invalid()
            .into());
    };
    match settings::update(&mut tx, &wanted).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other("/shop/settings").flash("The settings are saved."))
        }
        Err(DbError::Stale(_)) => {
            let now = SettingsForm::of(&settings::get(&mut tx).await?);
            let changed: Vec<Changed> = [
                Changed::if_differs("Name", &now.name, &form.name),
                Changed::if_differs("Overhead", &now.overhead_percent, &form.overhead_percent),
                Changed::if_differs("Margin", &now.margin_percent, &form.margin_percent),
                Changed::if_differs("Tax", &now.tax_percent, &form.tax_percent),
                Changed::if_differs("Name of the tax", &now.tax_name, &form.tax_name),
                Changed::if_differs(
                    "Confidence",
                    &now.confidence_percent,
                    &form.confidence_percent,
                ),
                Changed::if_differs(
                    "Quotes are valid for",
                    &now.quote_valid_days,
                    &form.quote_valid_days,
                ),
                Changed::if_differs("Time zone", &now.time_zone, &form.time_zone),
                Changed::if_differs("Lengths in", &now.length_unit, &form.length_unit),
            ]
            .into_iter()
            .flatten()
            .collect();
            let mine = SettingsForm {
                version: now.version,
                ..(*form).clone()
            };
            let notice = stale_notice("The settings", &changed);
            Ok(page(&who, &stored, &mine, &errors, &notice, &html! {})
                .status(StatusCode::CONFLICT)
                .into())
        }
        Err(error) => Err(error.into()),
    }
}

/// What the policy does to a round cost, so that margin is not taken for a mark-up.
fn example(stored: &Settings) -> Markup {
    let policy = &stored.policy;
    let cost = Money::new(dec!(1000), stored.currency);
    let steps = || -> Result<_, crate::units::MoneyError> {
        let overhead = cost.percent(policy.overhead_percent)?.rounded();
        let net = policy.price(cost)?.rounded();
        let margin = net.minus(cost)?.minus(overhead)?;
        let tax = net.percent(policy.tax_percent)?.rounded();
        Ok((overhead, margin, net, tax, net.plus(tax)?))
    };
    html! {
        @if let Ok((overhead, margin, net, tax, gross)) = steps() {
            section.card.example aria-labelledby="example" {
                h2 #example { "What that does to a price" }
                table.cells.sum {
                    tbody {
                        tr { th scope="row" { "Cost, with its contingency" } td.number { (cost) } }
                        tr { th scope="row" { "Overhead, " (policy.overhead_percent.normalize()) " % of cost" } td.number { (overhead) } }
                        tr { th scope="row" { "Margin, " (policy.margin_percent.normalize()) " % of the price" } td.number { (margin) } }
                    }
                    tfoot {
                        tr { th scope="row" { "Price" } td.number { (net) } }
                        tr { th scope="row" { (stored.tax_name) ", " (policy.tax_percent.normalize()) " %" } td.number { (tax) } }
                        tr { th scope="row" { "The customer pays" } td.number { (gross) } }
                    }
                }
            }
        }
    }
}

fn page(
    who: &SignedIn,
    stored: &Settings,
    form: &SettingsForm,
    errors: &FormErrors,
    notice: &Markup,
    past: &Markup,
) -> Page {
    let may = who.may(Role::Owner);
    let units = vec![
        Choice::new("mm", "Millimetres"),
        Choice::new("inch", "Inches"),
    ];
    let body = html! {
        h1 { "Settings" }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        form.grid method="post" action="/shop/settings" novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            fieldset.plain.wide disabled[!may] {
                h2 { "Pricing" }
                (Field::decimal("overhead_percent", "Overhead", &form.overhead_percent).unit("% of cost")
                    .hint("What the shop spends that no machine's or person's hour carries").errors(errors))
                (Field::decimal("margin_percent", "Margin", &form.margin_percent).unit("% of price")
                    .hint("A share of the selling price, not a mark-up on cost").errors(errors))
                (Field::int("confidence_percent", "Confidence", &form.confidence_percent).unit("%")
                    .hint("How sure you want to be of a quoted price and day").errors(errors))
                (Field::text("tax_name", "Name of the tax", &form.tax_name).errors(errors))
                (Field::decimal("tax_percent", "Tax", &form.tax_percent).unit("%").errors(errors))
                (Field::int("quote_valid_days", "Quotes are valid for", &form.quote_valid_days).unit("days").errors(errors))
                h2 { "The shop" }
                (Field::text("name", "Name", &form.name).errors(errors))
                (Field::text("time_zone", "Time zone", &form.time_zone).suggestions("zones").errors(errors))
                (Field::radios("length_unit", "Lengths in", &form.length_unit, units).errors(errors))
                p { "Money is in " strong { (stored.currency.code()) } ". It was chosen when the shop was set up and stays: every stored amount is in it." }
                @if may {
                    div.actions { button type="submit" { "Save" } a.button.quiet href="/shop" { "Cancel" } }
                }
            }
            datalist #zones { @for zone in chrono_tz::TZ_VARIANTS { option value=(zone.name()) {} } }
        }
        (example(stored))
        (past)
    };
    Page::new(who, "Settings").nav(Section::Shop).body(body)
}
