//! The first page after signing in: what waits for the office, a machinist's work in order, and for a new shop what it still
//! needs.

mod bench;
mod office;
mod steps;

use crate::app::take_starting_set::take_starting_set;
use crate::app::today::{bench_day, office_day};
use crate::db::people::Role;
use crate::web::shell::device::AtBench;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, CheckedForm, Page, Reply, SignedIn, show};
use actix_web::{HttpRequest, web};
use chrono::Utc;
use serde::Deserialize;

/// `/`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/", web::get().to(today))
        .route("/shop/starting-set", web::post().to(take));
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Nothing {}

/// Takes the starting set for whatever the shop has none of.
async fn take(who: SignedIn, _form: CheckedForm<Nothing>) -> Answer {
    let taken = take_starting_set(&who.actor()).await?;
    let count = |n: usize, one, many| show::count(i64::try_from(n).unwrap_or(i64::MAX), one, many);
    let added = [
        (taken.machines, count(taken.machines, "machine", "machines")),
        (
            taken.labour_rates,
            count(taken.labour_rates, "labour rate", "labour rates"),
        ),
        (
            taken.standard_times,
            count(taken.standard_times, "standard time", "standard times"),
        ),
        (
            taken.rules,
            count(taken.rules, "conversion rule", "conversion rules"),
        ),
        (taken.shifts, count(taken.shifts, "shift", "shifts")),
    ];
    let added: Vec<String> = added
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .map(|(_, words)| words)
        .collect();
    let words = match added.is_empty() {
        true => "You have all of it already.".to_owned(),
        false => format!(
            "Added {}. The figures are starting points: put in your own.",
            added.join(", ")
        ),
    };
    Ok(Reply::see_other("/").flash(words))
}

async fn today(who: SignedIn, site: web::Data<Site>, req: HttpRequest) -> Answer {
    let body = if who.may(Role::Office) {
        let day = office_day(&who.actor(), &site.plans, who.today(), Utc::now()).await?;
        office::body(&who, &day)
    } else {
        let day = bench_day(&who.actor(), &site.plans, Utc::now()).await?;
        let at_bench = AtBench::find(&req, &site).await.is_ok();
        bench::body(&who, &day, at_bench)
    };
    Ok(Page::new(&who, "Today").body(body).into())
}
