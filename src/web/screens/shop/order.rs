//! The order of work: which kinds of work come before which.

use crate::app::change_order::{OrderChange, change};
use crate::app::{AppError, Refusal};
use crate::db::order_of_work;
use crate::db::people::Role;
use crate::estimating::{OrderOfWork, Precedence, Stage};
use crate::units::Code;
use crate::units::text::capitalised;
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use utoipa::ToSchema;

const PATH: &str = "/shop/order";

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(show))
            .route(web::post().to(enter)),
    );
}

/// A change of the order of work, as typed.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct OrderForm {
    /// `add`, `remove` or `usual`.
    change: String,
    first: String,
    then: String,
    why: String,
}

async fn show(who: SignedIn) -> Answer {
    let (rules, order) = order_of_work::get(&mut who.begin().await?).await?;
    let page = page(
        &who,
        &rules,
        &order,
        &OrderForm::default(),
        &FormErrors::default(),
    );
    Ok(page.into())
}

fn page(
    who: &SignedIn,
    rules: &[Precedence],
    order: &OrderOfWork,
    form: &OrderForm,
    errors: &FormErrors,
) -> Page {
    let may = who.may(Role::Owner);
    let body = html! {
        p.back { a href="/shop" { "Shop" } }
        h1 { "Order of work" }
        p.lead { "Operations of a route come in this order. It follows from the rules below: the main line first, and what is set from it after." }
        (errors.summary())
        ol.plain.order-of-work { @for stage in order.all() { li { (capitalised(stage.word())) } } }
        @if !may { (super::read_only()) }
        table.cells {
            caption { "What comes before what" }
            thead { tr {
                th scope="col" { "First" } th scope="col" { "Then" } th scope="col" { "Why" }
                @if may { th scope="col" { span.visually-hidden { "Change" } } }
            } }
            tbody { @for rule in rules { (line(who, rule, may)) } }
        }
        @if may { (add(who, form, errors)) }
    };
    Page::new(who, "Order of work")
        .nav(Section::Shop)
        .body(body)
}

fn line(who: &SignedIn, rule: &Precedence, may: bool) -> Markup {
    html! {
        tr {
            td data-label="First" { (capitalised(rule.first.word())) }
            td data-label="Then" { (capitalised(rule.then.word())) }
            td data-label="Why" { (rule.why) }
            @if may {
                td {
                    form method="post" action=(PATH) {
                        (csrf_field(who))
                        input type="hidden" name="change" value="remove";
                        input type="hidden" name="first" value=(rule.first.code());
                        input type="hidden" name="then" value=(rule.then.code());
                        button.quiet type="submit" { "Remove" span.visually-hidden { ": " (rule.first) " before " (rule.then) } }
                    }
                }
            }
        }
    }
}

fn add(who: &SignedIn, form: &OrderForm, errors: &FormErrors) -> Markup {
    let kinds = || -> Vec<Choice> {
        let all = Stage::ALL.iter();
        all.map(|s| Choice::new(s.code(), capitalised(s.word())))
            .collect()
    };
    html! {
        h2 { "Add a rule" }
        form.grid method="post" action=(PATH) novalidate {
            (csrf_field(who))
            input type="hidden" name="change" value="add";
            (Field::select("first", "First", &form.first, kinds()).errors(errors))
            (Field::select("then", "Then", &form.then, kinds()).errors(errors))
            (Field::text("why", "Why", &form.why).wide().optional().errors(errors))
            div.actions { button type="submit" { "Add rule" } }
        }
        form method="post" action=(PATH) {
            (csrf_field(who))
            input type="hidden" name="change" value="usual";
            button.quiet type="submit" { "Go back to the usual order" }
        }
    }
}

async fn enter(who: SignedIn, form: CheckedForm<OrderForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let Some(asked) = form.read(&mut errors) else {
        return again(&who, &form, &errors).await;
    };
    match change(&who.actor(), &asked).await {
        Ok(()) => Ok(Reply::see_other(PATH)
            .flash("The order of work is saved. New quotes and jobs follow it.")),
        Err(AppError::Refused(Refusal::Order(why))) => {
            errors.add("then", format!("Choose another: {why}"));
            again(&who, &form, &errors).await
        }
        Err(other) => Err(other.into()),
    }
}

async fn again(who: &SignedIn, form: &OrderForm, errors: &FormErrors) -> Answer {
    let (rules, order) = order_of_work::get(&mut who.begin().await?).await?;
    Ok(page(who, &rules, &order, form, errors).invalid().into())
}

impl OrderForm {
    pub(in crate::web) fn read(&self, errors: &mut FormErrors) -> Option<OrderChange> {
        if self.change == "usual" {
            return Some(OrderChange::Usual);
        }
        let removes = errors.choice("change", &self.change, |code| match code {
            "add" => Some(false),
            "remove" => Some(true),
            _ => None,
        });
        let first = errors.choice("first", &self.first, Stage::from_code);
        let then = errors.choice("then", &self.then, Stage::from_code);
        let why = errors.text("why", &self.why, 200);
        let (removes, first, then, why) = (removes?, first?, then?, why?);
        if removes {
            return Some(OrderChange::Remove(first, then));
        }
        if first == then {
            errors.add("then", "Choose another kind of work than the first");
            return None;
        }
        Some(OrderChange::Add(Precedence { first, then, why }))
    }
}
