//! How work varies: the shares and rates that prices, ready days and chances are drawn from.

use crate::db::people::Role;
use crate::db::settings::{self, Settings};
use crate::db::{DbError, history as changes};
use crate::estimating::Variation;
use crate::web::ui::history;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;

const PATH: &str = "/shop/variation";

/// `/shop/variation`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(show))
            .route(web::post().to(save)),
    );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct VariationForm {
    level_percent: String,
    shop_percent: String,
    person_percent: String,
    element_percent: String,
    job_percent: String,
    outside_percent: String,
    absence_percent: String,
    breakdown_hours: String,
    repair_hours: String,
    rework_percent: String,
    rework_share_percent: String,
    version: String,
}

/// A field of the form: its name, its label, its unit, what it means.
type Line = (&'static str, &'static str, &'static str, &'static str);

/// What differs from the standard times.
const TIMES: [Line; 6] = [
    (
        "level_percent",
        "Work takes",
        "% of standard",
        "110 when your standard times are ten per cent short",
    ),
    (
        "shop_percent",
        "How much the whole shop differs",
        "%",
        "From one month to another, for all work alike",
    ),
    (
        "person_percent",
        "How much people differ",
        "%",
        "One is quicker than another at the same work",
    ),
    (
        "element_percent",
        "How much kinds of work differ",
        "%",
        "A standard time may be short for one kind of work and long for another",
    ),
    (
        "job_percent",
        "How much whole jobs differ",
        "%",
        "One casting gives trouble from first to last",
    ),
    (
        "outside_percent",
        "How much deliveries differ",
        "%",
        "Outside work and parts, against the days you were given",
    ),
];

/// What happens in between.
const EVENTS: [Line; 5] = [
    (
        "absence_percent",
        "Days off sick",
        "% of days",
        "Booked holidays are under Hours",
    ),
    (
        "breakdown_hours",
        "Hours between breakdowns",
        "h",
        "Running hours of one machine; 0 for never",
    ),
    ("repair_hours", "A repair takes", "h", "Working hours"),
    (
        "rework_percent",
        "Work done again",
        "% of operations",
        "Out of a hundred operations, how many are done again",
    ),
    (
        "rework_share_percent",
        "Doing it again takes",
        "% of its time",
        "",
    ),
];

impl VariationForm {
    fn of(stored: &Settings) -> Self {
        let v = &stored.variation;
        let figure = |d: Decimal| d.normalize().to_string();
        Self {
            level_percent: figure(v.level_percent),
            shop_percent: figure(v.shop_percent),
            person_percent: figure(v.person_percent),
            element_percent: figure(v.element_percent),
            job_percent: figure(v.job_percent),
            outside_percent: figure(v.outside_percent),
            absence_percent: figure(v.absence_percent),
            breakdown_hours: figure(v.breakdown_hours),
            repair_hours: figure(v.repair_hours),
            rework_percent: figure(v.rework_percent),
            rework_share_percent: figure(v.rework_share_percent),
            version: stored.version.to_string(),
        }
    }

    fn value(&self, field: &str) -> &str {
        match field {
            "level_percent" => &self.level_percent,
            "shop_percent" => &self.shop_percent,
            "person_percent" => &self.person_percent,
            "element_percent" => &self.element_percent,
            "job_percent" => &self.job_percent,
            "outside_percent" => &self.outside_percent,
            "absence_percent" => &self.absence_percent,
            "breakdown_hours" => &self.breakdown_hours,
            "repair_hours" => &self.repair_hours,
            "rework_percent" => &self.rework_percent,
            _ => &self.rework_share_percent,
        }
    }

    fn read(&self, errors: &mut FormErrors) -> Option<Variation> {
        // What each may be is the model's to say, below.
        let mut figure = |field| {
            errors.percent(
                field,
                self.value(field),
                Decimal::NEGATIVE_ONE..=Decimal::from(1_000_000),
            )
        };
        let level = figure("level_percent");
        let shop = figure("shop_percent");
        let person = figure("person_percent");
        let element = figure("element_percent");
        let job = figure("job_percent");
        let outside = figure("outside_percent");
        let absence = figure("absence_percent");
        let breakdown = figure("breakdown_hours");
        let repair = figure("repair_hours");
        let rework = figure("rework_percent");
        let again = figure("rework_share_percent");
        let variation = Variation {
            level_percent: level?,
            shop_percent: shop?,
            person_percent: person?,
            element_percent: element?,
            job_percent: job?,
            outside_percent: outside?,
            absence_percent: absence?,
            breakdown_hours: breakdown?,
            repair_hours: repair?,
            rework_percent: rework?,
            rework_share_percent: again?,
        };
        for (field, message) in variation.faults() {
            errors.add(field, message);
        }
        errors.is_empty().then_some(variation)
    }
}

async fn show(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let stored = settings::get(&mut tx).await?;
    let past = changes::of_row(&mut tx, "shop", who.scope.shop_id).await?;
    let past = history::section(&who, &past);
    let form = VariationForm::of(&stored);
    Ok(page(&who, &form, &FormErrors::default(), &html! {}, &past).into())
}

async fn save(who: SignedIn, form: CheckedForm<VariationForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let Some(wanted) = form.read(&mut errors) else {
        return Ok(page(&who, &form, &errors, &html! {}, &html! {})
            .invalid()
            .into());
    };
    let mut tx = who.begin().await?;
    let version = form.version.parse().unwrap_or_default();
    match settings::update_variation(&mut tx, &wanted, version).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other(PATH)
                .flash("Saved. Chances and ready days are worked out with it from now on."))
        }
        Err(DbError::Stale(_)) => {
            let now = VariationForm::of(&settings::get(&mut tx).await?);
            let changed: Vec<Changed> = TIMES
                .iter()
                .chain(&EVENTS)
                .filter_map(|(field, label, ..)| {
                    Changed::if_differs(label, now.value(field), form.value(field))
                })
                .collect();
            let mine = VariationForm {
                version: now.version,
                ..(*form).clone()
            };
            let notice = stale_notice("The settings", &changed);
            Ok(page(&who, &mine, &errors, &notice, &html! {})
                .status(StatusCode::CONFLICT)
                .into())
        }
        Err(error) => Err(error.into()),
    }
}

fn fields(lines: &[Line], form: &VariationForm, errors: &FormErrors) -> Markup {
    html! {
        @for (field, label, unit, hint) in lines {
            @if hint.is_empty() { (Field::decimal(field, label, form.value(field)).unit(unit).errors(errors)) }
            @else { (Field::decimal(field, label, form.value(field)).unit(unit).hint(hint).errors(errors)) }
        }
    }
}

fn page(
    who: &SignedIn,
    form: &VariationForm,
    errors: &FormErrors,
    notice: &Markup,
    past: &Markup,
) -> Page {
    let may = who.may(Role::Owner);
    let body = html! {
        h1 { "How work varies" }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        p {
            "Prices, ready days and chances are worked out with these figures. "
            "At 10 %, two times out of three the work takes between 10 % less and 10 % more. "
            "The figures to begin with are common practice: " a href="/review/spread" { "see what your bookings say" } "."
        }
        form.grid method="post" action=(PATH) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            fieldset.plain.wide disabled[!may] {
                h2 { "Times" }
                (fields(&TIMES, form, errors))
                h2 { "What gets in the way" }
                (fields(&EVENTS, form, errors))
                @if may {
                    div.actions { button type="submit" { "Save" } a.button.quiet href="/shop" { "Cancel" } }
                }
            }
        }
        (past)
    };
    Page::new(who, "How work varies")
        .nav(Section::Shop)
        .body(body)
}
