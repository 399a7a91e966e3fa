//! A remedy rule entered or changed.

use super::{CheckedForm, back, face_choices, kind_choices, version};
use crate::castings::fault::{LONGEST_NAME, LONGEST_NOTE};
use crate::castings::{Action, Face, FeatureKind, RemedyRule, When};
use crate::db::people::Role;
use crate::db::{DbError, remedy_rules as db, standards};
use crate::estimating::Element;
use crate::units::{Code, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{Answer, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field};
use actix_web::{http::StatusCode, web};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/rules/new", web::get().to(new))
        .route("/castings/rules", web::post().to(create))
        .route("/castings/rules/{id}/edit", web::get().to(edit))
        .route("/castings/rules/{id}/edit", web::post().to(save));
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct RuleForm {
    name: String,
    when: String,
    kind: String,
    face: String,
    smallest: String,
    largest: String,
    gearbox_under: String,
    action: String,
    elements: String,
    say: String,
    version: String,
}

impl RuleForm {
    fn of(rule: &RemedyRule, unit: LengthUnit) -> Self {
        Self {
            name: rule.name.clone(),
            when: rule.when.code().to_owned(),
            kind: rule
                .kind
                .map(FeatureKind::code)
                .unwrap_or_default()
                .to_owned(),
            face: rule.face.map(Face::code).unwrap_or_default().to_owned(),
            smallest: rule
                .smallest
                .map(|size| size.entry(unit))
                .unwrap_or_default(),
            largest: rule
                .largest
                .map(|size| size.entry(unit))
                .unwrap_or_default(),
            gearbox_under: match rule.gearbox_under {
                None => "",
                Some(true) => "yes",
                Some(false) => "no",
            }
            .to_owned(),
            action: rule.action.code().to_owned(),
            elements: rule.elements.join(", "),
            say: rule.say.clone(),
            version: rule.version.to_string(),
        }
    }

    /// Reads it for a rule with this key, place in the order and version.
    fn parse(
        &self,
        id: Uuid,
        priority: i32,
        version: i32,
        known: &[Element],
        unit: LengthUnit,
    ) -> Result<RemedyRule, FormErrors> {
        let mut errors = FormErrors::default();
        let name = errors.required_text("name", &self.name, LONGEST_NAME);
        let when = errors.choice("when", &self.when, When::from_code);
        let kind = errors.optional(&self.kind, |errors| {
            errors.choice("kind", &self.kind, FeatureKind::from_code)
        });
        let face = errors.optional(&self.face, |errors| {
            errors.choice("face", &self.face, Face::from_code)
        });
        let smallest = errors.optional(&self.smallest, |errors| {
            errors.length("smallest", &self.smallest, unit)
        });
        let largest = errors.optional(&self.largest, |errors| {
            errors.length("largest", &self.largest, unit)
        });
        let gearbox_under = errors.optional(&self.gearbox_under, |errors| {
            errors.choice("gearbox_under", &self.gearbox_under, |word| match word {
                "yes" => Some(true),
                "no" => Some(false),
                _ => None,
            })
        });
        let action = errors.choice("action", &self.action, Action::from_code);
        let say = errors.text("say", &self.say, LONGEST_NOTE);
        let elements = self
            .elements
            .split([',', ' ', '\n', '\r', '\t'])
            .filter(|code| !code.is_empty())
            .map(str::to_uppercase)
            .collect();
        let read = || {
            Some(RemedyRule {
                id,
                priority,
                name: name?,
                when: when?,
                kind: kind?,
                face: face?,
                smallest: smallest?,
                largest: largest?,
                gearbox_under: gearbox_under?,
                action: action?,
                elements,
                say: say?,
                version,
            })
        };
        let Some(rule) = read() else {
            return Err(errors);
        };
        for fault in rule.faults() {
            errors.add(fault.field(), fault);
        }
        let is_known = |code: &str| known.iter().any(|element| element.code == code);
        for code in rule.elements.iter().filter(|code| !is_known(code)) {
            errors.add(
                "elements",
                format!("the shop has no element “{code}”; its codes are listed below"),
            );
        }
        if errors.is_empty() {
            Ok(rule)
        } else {
            Err(errors)
        }
    }
}

fn choices<T: Copy>(
    all: &[T],
    code: fn(T) -> &'static str,
    word: fn(T) -> &'static str,
) -> Vec<Choice> {
    all.iter()
        .map(|one| Choice::new(code(*one), word(*one)))
        .collect()
}

fn any_or(mut choices: Vec<Choice>) -> Vec<Choice> {
    choices.insert(0, Choice::new("", "any"));
    choices
}

fn view(
    who: &SignedIn,
    id: Option<Uuid>,
    known: &[Element],
    form: &RuleForm,
    errors: &FormErrors,
    notice: Option<Markup>,
) -> Page {
    let unit = who.shop.length_unit;
    let (title, action) = match id {
        None => ("New rule".to_owned(), "/castings/rules".to_owned()),
        Some(id) => (
            format!("Edit {}", form.name),
            format!("/castings/rules/{id}/edit"),
        ),
    };
    let gearbox = vec![
        Choice::new("", "either way"),
        Choice::new("yes", "a gearbox under the block"),
        Choice::new("no", "no gearbox under the block"),
    ];
    Page::new(who, title.clone()).nav(Section::Castings).body(html! {
        (back("/castings/rules", "Remedy rules"))
        h1 { (title) }
        @if let Some(notice) = notice { (notice) }
        (errors.summary())
        form.grid method="post" action=(action) {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (Field::text("name", "Name", &form.name).errors(errors).hint("E.g. Fitted dowel in sound metal").wide().autofocus(errors.is_empty()))
            h2 { "When" }
            (Field::select("when", "The feature is", &form.when, choices(When::ALL, When::code, When::word)).errors(errors).wide())
            (Field::select("kind", "Kind of feature", &form.kind, any_or(kind_choices())).errors(errors))
            (Field::select("face", "On the face", &form.face, any_or(face_choices())).errors(errors))
            (Field::length("smallest", "From this size", &form.smallest, unit).errors(errors).optional())
            (Field::length("largest", "Up to this size", &form.largest, unit).errors(errors).optional()
                .hint("A thread counts by its major diameter"))
            (Field::select("gearbox_under", "Wanted with", &form.gearbox_under, gearbox).errors(errors))
            h2 { "Then" }
            (Field::select("action", "What is done", &form.action, choices(Action::ALL, Action::code, Action::word)).errors(errors))
            (Field::text("elements", "Elements of work, in order", &form.elements).errors(errors).optional()
                .hint("Their codes, between commas: DOWEL-DIAL, DOWEL-REAM"))
            (Field::textarea("say", "What to say", &form.say, 3).errors(errors).optional()
                .hint("What the customer must hear, or why it cannot be done"))
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href="/castings/rules" { "Cancel" }
            }
        }
        @if !known.is_empty() {
            details {
                summary { "The shop's elements and their codes" }
                dl.codes { @for element in known { dt { code { (element.code) } } dd { (element.name) } } }
            }
        }
    })
}

async fn new(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let known = standards::list(&mut tx).await?;
    let blank = RuleForm::default();
    Ok(view(&who, None, &known, &blank, &FormErrors::default(), None).into())
}

async fn create(who: SignedIn, form: CheckedForm<RuleForm>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let known = standards::list(&mut tx).await?;
    let last = db::list(&mut tx)
        .await?
        .last()
        .map_or(0, |rule| rule.priority);
    let priority = last.saturating_add(10);
    let errors = match form.parse(Uuid::now_v7(), priority, 1, &known, who.shop.length_unit) {
        Err(errors) => errors,
        Ok(rule) => match db::insert(&mut tx, &rule).await {
            Ok(()) => {
                tx.commit().await?;
                let to = format!("/castings/rules#rule-{}", rule.id);
                return Ok(Reply::see_other(to).flash(
                    "Saved at the end of the list; move it up if it should be tried earlier.",
                ));
            }
            Err(error) => {
                let mut errors = FormErrors::default();
                errors.absorb(error)?;
                errors
            }
        },
    };
    Ok(view(&who, None, &known, &form, &errors, None)
        .invalid()
        .into())
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Office)?;
    let mut tx = who.begin().await?;
    let known = standards::list(&mut tx).await?;
    let rule = db::get(&mut tx, *id).await?;
    let form = RuleForm::of(&rule, who.shop.length_unit);
    Ok(view(&who, Some(*id), &known, &form, &FormErrors::default(), None).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<RuleForm>) -> Answer {
    who.require(Role::Office)?;
    let unit = who.shop.length_unit;
    let seen = version(&form.version)?;
    let mut tx = who.begin().await?;
    let known = standards::list(&mut tx).await?;
    let stored = db::get(&mut tx, *id).await?;
    if stored.version != seen {
        return Ok(stale(&who, &known, &stored, &form));
    }
    let errors = match form.parse(*id, stored.priority, seen, &known, unit) {
        Err(errors) => errors,
        Ok(rule) => match db::update(&mut tx, &rule).await {
            Ok(()) => {
                tx.commit().await?;
                let to = format!("/castings/rules#rule-{id}");
                return Ok(Reply::see_other(to).flash("Saved"));
            }
            Err(error @ DbError::Stale(_)) => return Err(error.into()),
            Err(error) => {
                let mut errors = FormErrors::default();
                errors.absorb(error)?;
                errors
            }
        },
    };
    Ok(view(&who, Some(*id), &known, &form, &errors, None)
        .invalid()
        .into())
}

fn stale(who: &SignedIn, known: &[Element], stored: &RemedyRule, typed: &RuleForm) -> Reply {
    let unit = who.shop.length_unit;
    let now = RuleForm::of(stored, unit);
    // Written alike, so that 1 in and 25.4 mm are no difference.
    let wanted = typed
        .parse(stored.id, stored.priority, stored.version, known, unit)
        .map_or_else(|_| typed.clone(), |rule| RuleForm::of(&rule, unit));
    let when = |form: &RuleForm| {
        When::from_code(&form.when).map_or(String::new(), |when| when.to_string())
    };
    let action = |form: &RuleForm| {
        Action::from_code(&form.action).map_or(String::new(), |action| action.to_string())
    };
    let changed: Vec<Changed> = [
        Changed::if_differs("Name", &now.name, &wanted.name),
        Changed::if_differs("The feature is", &when(&now), &when(&wanted)),
        Changed::if_differs("Kind of feature", &now.kind, &wanted.kind),
        Changed::if_differs("On the face", &now.face, &wanted.face),
        Changed::if_differs("From this size", &now.smallest, &wanted.smallest),
        Changed::if_differs("Up to this size", &now.largest, &wanted.largest),
        Changed::if_differs(
            "Gearbox under the block",
            &now.gearbox_under,
            &wanted.gearbox_under,
        ),
        Changed::if_differs("What is done", &action(&now), &action(&wanted)),
        Changed::if_differs("Elements of work", &now.elements, &wanted.elements),
        Changed::if_differs("What to say", &now.say, &wanted.say),
    ]
    .into_iter()
    .flatten()
    .collect();
    let form = RuleForm {
        version: now.version,
        ..typed.clone()
    };
    let notice = stale_notice("The rule", &changed);
    view(
        who,
        Some(stored.id),
        known,
        &form,
        &FormErrors::default(),
        Some(notice),
    )
    .status(StatusCode::CONFLICT)
    .into()
}
