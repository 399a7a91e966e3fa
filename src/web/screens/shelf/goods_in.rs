//! Goods in: a casting identified by its marks and by what is found at its places, then put on the shelf with all that.

use super::form::CastingForm;
use super::path;
use super::records::{found_words, kind_choices, kind_words, place_code, place_from_code};
use crate::app::take_in_casting::{self, GoodsIn};
use crate::castings::identify::{Candidate, Finding, Found, Mark, MarkKind, Says, identify};
use crate::castings::{Pattern, Place, Variant};
use crate::db::castings::{self, VariantName};
use crate::db::castings_on_shelf::Ownership;
use crate::db::people::Role;
use crate::db::sightings;
use crate::sourcing::Sighting;
use crate::units::Code;
use crate::web::screens::castings::{back, variant_path};
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    once_field,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::BTreeSet;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(blank))
            .route(web::post().to(look)),
    )
    .route("/castings/shelf/goods-in/put", web::post().to(put));
}

const PATH: &str = "/castings/shelf/goods-in";
/// Rows for marks, the first in sight and the others folded.
const MARKS: usize = 3;
/// Rows for places.
const PLACES: usize = 6;
/// Rows for places in sight.
const PLACES_FIRST: usize = 2;
/// Candidates shown whole.
const SHOWN: usize = 6;

/// Rows of repeated fields, and the casting's own fields.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct GoodsForm {
    mark_kind: Vec<String>,
    mark_place: Vec<String>,
    mark_text: Vec<String>,
    at: Vec<String>,
    found: Vec<String>,
    size: Vec<String>,
    instrument: String,
    variant: String,
    ownership: String,
    owner: String,
    source: String,
    sighting: String,
    came_from: String,
    cost: String,
    condition: String,
}

impl GoodsForm {
    fn casting(&self) -> CastingForm {
        CastingForm {
            variant: self.variant.clone(),
            ownership: self.ownership.clone(),
            owner: self.owner.clone(),
            source: self.source.clone(),
            sighting: self.sighting.clone(),
            came_from: self.came_from.clone(),
            cost: self.cost.clone(),
            condition: self.condition.clone(),
            version: String::new(),
        }
    }

    /// What was found; rows left empty are none. Complaints go beside the row's own field.
    fn findings(&self, who: &SignedIn, errors: &mut FormErrors) -> Vec<Finding> {
        let mut findings = Vec::new();
        for row in 0..MARKS {
            let text = cell(&self.mark_text, row);
            if text.trim().is_empty() {
                continue;
            }
            let id = |name: &str| format!("{name}-{row}");
            let kind = errors.choice(
                &id("mark_kind"),
                cell(&self.mark_kind, row),
                MarkKind::from_code,
            );
            let place = errors.required_text(&id("mark_place"), cell(&self.mark_place, row), 120);
            let text = errors.required_text(&id("mark_text"), text, 120);
            if let (Some(kind), Some(place), Some(text)) = (kind, place, text) {
                findings.push(Finding::Mark(Mark { kind, place, text }));
            }
        }
        for row in 0..PLACES {
            let at = cell(&self.at, row);
            if at.trim().is_empty() {
                continue;
            }
            let id = |name: &str| format!("{name}-{row}");
            let place = errors.choice(&id("at"), at, place_from_code);
            let size = cell(&self.size, row);
            let found = match (cell(&self.found, row), size.trim().is_empty()) {
                ("absent", true) => Some(Found::Absent),
                ("absent", false) => {
                    errors.add(&id("size"), "Clear the size: nothing was found there");
                    None
                }
                (_, true) => Some(Found::There),
                (_, false) => errors
                    .length(&id("size"), size, who.shop.length_unit)
                    .and_then(|length| {
                        let positive = length.mm().is_sign_positive() && !length.mm().is_zero();
                        if !positive {
                            errors.add(&id("size"), "Enter a size of more than 0");
                        }
                        positive.then_some(Found::Measured(length))
                    }),
            };
            if let (Some(place), Some(found)) = (place, found) {
                findings.push(Finding::At(place, found));
            }
        }
        findings
    }
}

impl GoodsForm {
    /// Whether anything was typed in a row for a mark, or is wrong with it.
    fn mark_is_used(&self, row: usize, errors: &FormErrors) -> bool {
        let typed = [&self.mark_place, &self.mark_text]
            .iter()
            .any(|column| !cell(column, row).trim().is_empty());
        let wrong = |name: &str| errors.get(&format!("{name}-{row}")).is_some();
        typed
            || ["mark_kind", "mark_place", "mark_text"]
                .into_iter()
                .any(wrong)
    }

    fn place_is_used(&self, row: usize, errors: &FormErrors) -> bool {
        let typed = [&self.at, &self.size]
            .iter()
            .any(|column| !cell(column, row).trim().is_empty());
        let wrong = |name: &str| errors.get(&format!("{name}-{row}")).is_some();
        typed || ["at", "size"].into_iter().any(wrong)
    }

    fn mark_row(&self, row: usize, errors: &FormErrors) -> Markup {
        let id = |name: &str| format!("{name}-{row}");
        let kinds = kind_choices();
        html! {
            fieldset.row {
                legend { "Mark " (row + 1) }
                (Field::text("mark_text", "Text", cell(&self.mark_text, row)).id(&id("mark_text")).optional().errors(errors))
                (Field::select("mark_kind", "How it was made", cell(&self.mark_kind, row), kinds).id(&id("mark_kind")).optional().errors(errors))
                (Field::text("mark_place", "Where", cell(&self.mark_place, row)).id(&id("mark_place")).optional().errors(errors))
            }
        }
    }

    fn place_row(
        &self,
        row: usize,
        who: &SignedIn,
        places: &[Choice],
        errors: &FormErrors,
    ) -> Markup {
        let id = |name: &str| format!("{name}-{row}");
        let founds = vec![
            Choice::new("there", "something there"),
            Choice::new("absent", "nothing there"),
        ];
        html! {
            fieldset.row {
                legend { "Place " (row + 1) }
                (Field::select("at", "At", cell(&self.at, row), places.to_vec()).id(&id("at")).optional().errors(errors))
                (Field::select("found", "Found", cell(&self.found, row), founds).id(&id("found")).optional().errors(errors))
                (Field::length("size", "Diameter", cell(&self.size, row), who.shop.length_unit).id(&id("size")).optional().errors(errors))
            }
        }
    }
}

fn cell(column: &[String], row: usize) -> &str {
    column.get(row).map_or("", String::as_str)
}

/// Every pattern with its variants.
struct Register {
    patterns: Vec<(Pattern, Vec<Variant>)>,
    names: Vec<VariantName>,
    seen: Vec<Sighting>,
}

impl Register {
    async fn load(who: &SignedIn) -> Result<Self, WebError> {
        let patterns = take_in_casting::register(&who.actor()).await?;
        let mut tx = who.begin().await?;
        Ok(Self {
            patterns,
            names: castings::variant_names(&mut tx).await?,
            seen: sightings::latest(&mut tx, None, 50, 0).await?,
        })
    }

    /// Places where something is machined on one variant or another.
    fn places(&self) -> Vec<Choice> {
        let places: BTreeSet<&Place> = self
            .patterns
            .iter()
            .flat_map(|(_, variants)| variants)
            .flat_map(|variant| &variant.features)
            .map(|feature| &feature.place)
            .collect();
        places
            .into_iter()
            .map(|place| Choice::new(place_code(place), place))
            .collect()
    }
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let register = Register::load(&who).await?;
    let form = GoodsForm::default();
    Ok(page(&who, &register, &form, None, &FormErrors::default()).into())
}

async fn look(who: SignedIn, form: CheckedForm<GoodsForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let register = Register::load(&who).await?;
    let findings = form.findings(&who, &mut errors);
    if errors.is_empty() && findings.is_empty() {
        errors.add("mark_text-0", "Enter a mark, or what is found at a place");
    }
    if !errors.is_empty() {
        return Ok(page(&who, &register, &form, None, &errors).invalid().into());
    }
    let candidates = identify(&findings, &register.patterns);
    let found = (findings.as_slice(), candidates.as_slice());
    let mut form = form.into_inner();
    if form.ownership.is_empty() {
        Ownership::Shop.code().clone_into(&mut form.ownership);
    }
    Ok(page(&who, &register, &form, Some(found), &errors).into())
}

async fn put(who: SignedIn, form: CheckedForm<GoodsForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    let register = Register::load(&who).await?;
    let findings = form.findings(&who, &mut errors);
    let instrument = if findings.iter().any(|f| matches!(f, Finding::At(..))) {
        errors.required_text("instrument", &form.instrument, 80)
    } else {
        Some(String::new())
    };
    let read = form.casting().read(&who, &register.names, &mut errors);
    let (Some((details, origin)), Some(instrument), true) = (read, instrument, errors.is_empty())
    else {
        let candidates = identify(&findings, &register.patterns);
        let found = (findings.as_slice(), candidates.as_slice());
        return Ok(page(&who, &register, &form, Some(found), &errors)
            .invalid()
            .into());
    };
    let goods = GoodsIn {
        details,
        origin,
        findings,
        instrument,
    };
    let (id, number) = take_in_casting::take_in(&who.actor(), goods, form.keyed()).await?;
    Ok(Reply::see_other(path(id)).flash(format!(
        "Casting {number} is on the shelf. Print its label and tie it on."
    )))
}

fn page(
    who: &SignedIn,
    register: &Register,
    form: &GoodsForm,
    found: Option<(&[Finding], &[Candidate])>,
    errors: &FormErrors,
) -> Page {
    let title = "Goods in: which casting is it?";
    let places = register.places();
    let body = html! {
        (back("/castings/shelf", "On the shelf"))
        h1 { (title) }
        p.small { "Lift it with the right gear and set it down on timber. Clean the marks with a brush, not a grinder." }
        (errors.summary())
        form method="post" action=(PATH) novalidate {
            (csrf_field(who))
            (once_field())
            section.card {
                h2 { "Marks" }
                (form.mark_row(0, errors))
                details open[(1..MARKS).any(|row| form.mark_is_used(row, errors))] {
                    summary { "More marks" }
                    @for row in 1..MARKS { (form.mark_row(row, errors)) }
                }
            }
            section.card {
                h2 { "Features found" }
                p.muted { "The most telling: a dowel that only one variant has, a different thread, a missing hole." }
                @for row in 0..PLACES_FIRST { (form.place_row(row, who, &places, errors)) }
                details open[(PLACES_FIRST..PLACES).any(|row| form.place_is_used(row, errors))] {
                    summary { "More places" }
                    @for row in PLACES_FIRST..PLACES { (form.place_row(row, who, &places, errors)) }
                }
                (Field::text("instrument", "Measured with", &form.instrument).optional().errors(errors))
                div.actions { button type="submit" { "Identify" } }
            }
            @if let Some((findings, candidates)) = found {
                (results(who, findings, candidates))
                section.card {
                    h2 { "Add to the shelf" }
                    div.grid.fields {
                        (Field::select("variant", "Variant", &chosen(form, candidates), candidates.iter().map(|c| Choice::new(c.variant_id, &c.name)).collect()).errors(errors))
                        (form.casting().fields_of_any(who, &register.seen, errors))
                    }
                    div.actions { button type="submit" formaction={ (PATH) "/put" } { "Add casting" } }
                }
            }
        }
    };
    Page::new(who, title).nav(Section::Castings).body(body)
}

/// The variant that was chosen, or the likeliest when it leads; none when nothing tells them apart.
fn chosen(form: &GoodsForm, candidates: &[Candidate]) -> String {
    match candidates {
        _ if !form.variant.is_empty() => form.variant.clone(),
        [first, second, ..] if first.share > second.share => first.variant_id.to_string(),
        [only] => only.variant_id.to_string(),
        _ => String::new(),
    }
}

fn finding_words(finding: &Finding, who: &SignedIn) -> String {
    match finding {
        Finding::Mark(mark) => {
            format!("“{}”, {}, {}", mark.text, kind_words(mark.kind), mark.place)
        }
        Finding::At(place, found) => format!("{place}: {}", found_words(*found, who)),
    }
}

fn results(who: &SignedIn, findings: &[Finding], candidates: &[Candidate]) -> Markup {
    let finding = match candidates {
        [first, second, ..] if first.share > second.share => {
            format!("Most likely a {}: {} %.", first.name, hundredths(first))
        }
        [only] => format!("The register has one variant only: {}.", only.name),
        [] => "The register is empty. Add the pattern and its variant first.".to_owned(),
        _ => "This does not tell the likeliest apart. Check a place where they differ.".to_owned(),
    };
    html! {
        section.card #candidates aria-labelledby="candidates-title" {
            h2 #candidates-title { "What it could be" }
            p.lead { (finding) }
            @for candidate in candidates.iter().take(SHOWN) {
                details.candidate open[candidates.first().is_some_and(|first| first.variant_id == candidate.variant_id)] {
                    summary {
                        strong { (candidate.name) } ": " (hundredths(candidate)) " %; "
                        (candidate.agreeing()) " agree, " (candidate.disagreeing()) " disagree, "
                        (candidate.says.len().saturating_sub(candidate.agreeing() + candidate.disagreeing())) " say nothing"
                    }
                    ul { @for (finding, says) in findings.iter().zip(&candidate.says) {
                        li { @match says {
                            Says::Agrees => { span.tag { "agrees" } " " (finding_words(finding, who)) }
                            Says::Disagrees(why) => { span.tag.hole { "disagrees" } " " (finding_words(finding, who)) "; " (why) }
                            Says::Unknown(why) => { span.tag { "says nothing" } " " (finding_words(finding, who)) "; " (why) }
                        } }
                    } }
                    p { a href=(variant_path(candidate.variant_id)) { "This variant in the register" } }
                }
            }
            @if candidates.len() > SHOWN { p.muted { "The " (candidates.len() - SHOWN) " others are less likely." } }
        }
    }
}

/// A share in whole hundredths; what is neither sure nor ruled out never reads so.
fn hundredths(candidate: &Candidate) -> String {
    let hundredths = (candidate.share * 100.0).round();
    if hundredths < 1.0 {
        "less than 1".to_owned()
    } else if hundredths > 99.0 {
        "more than 99".to_owned()
    } else {
        format!("{hundredths:.0}")
    }
}
