//! The first page after signing in: what waits for the office, a machinist's work in order, and for a new shop what it still
//! needs.

mod bench;
mod office;
mod steps;

use crate::app::today::{bench_day, office_day};
use crate::db::people::Role;
use crate::web::shell::device::AtBench;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, Page, SignedIn};
use actix_web::{HttpRequest, web};
use chrono::Utc;

/// `/`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/", web::get().to(today));
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
