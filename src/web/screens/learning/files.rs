//! What is learned, as files for a spreadsheet.

use super::words::part;
use crate::app::review_quotes::quotes_review;
use crate::app::{learn, learn_spread};
use crate::db::settings;
use crate::review::proposals::{Measure, Verdict};
use crate::review::spread::Unit;
use crate::units::Code;
use crate::web::screens::review::words;
use crate::web::shell::site::Site;
use crate::web::ui::{Answer, SignedIn, csv};
use actix_web::web;
use chrono::Utc;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/review/standards.csv", web::get().to(standards))
        .route("/review/spread.csv", web::get().to(spread))
        .route("/review/quotes.csv", web::get().to(quotes));
}

fn head(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

fn two(ratio: f64) -> String {
    format!("{ratio:.2}")
}

async fn standards(who: SignedIn, site: web::Data<Site>) -> Answer {
    let lesson = learn::lesson(&who.actor(), &site.lessons, Utc::now()).await?;
    let mut rows = vec![head(&[
        "Code",
        "Work",
        "Part",
        "Unit",
        "Standard",
        "By bookings",
        "Actual over standard",
        "1 in 20 below",
        "1 in 20 above",
        "Operations",
        "Change",
    ])];
    for proposal in &lesson.proposals {
        let found = &proposal.found;
        for change in &proposal.changes {
            rows.push(vec![
                change.code.clone(),
                change.name.clone(),
                part(change.part).to_owned(),
                match change.measure {
                    Measure::Minutes => "minutes".to_owned(),
                    Measure::Percent => "% of the calculated time".to_owned(),
                },
                change.before.to_string(),
                change.after.to_string(),
                two(found.ratio.likely),
                two(found.ratio.low),
                two(found.ratio.high),
                found.operations.to_string(),
                match proposal.verdict {
                    Verdict::Change => "yes".to_owned(),
                    Verdict::Right => "no".to_owned(),
                    Verdict::TooLittle => "too little booked".to_owned(),
                },
            ]);
        }
    }
    Ok(csv::download("standards.csv", rows).into())
}

async fn spread(who: SignedIn, site: web::Data<Site>) -> Answer {
    let (lines, _) = learn_spread::spread(&who.actor(), &site.lessons, Utc::now()).await?;
    let mut rows = vec![head(&[
        "Figure",
        "Unit",
        "Now",
        "By bookings",
        "1 in 20 below",
        "1 in 20 above",
        "From",
    ])];
    rows.extend(lines.iter().map(|line| {
        let end = |of: fn(crate::review::ratios::Interval) -> f64| {
            line.interval.map(|i| two(of(i))).unwrap_or_default()
        };
        vec![
            super::spread::label(line.figure).to_owned(),
            match line.figure.unit() {
                Unit::Percent => "%".to_owned(),
                Unit::Hours => "h".to_owned(),
            },
            line.present.to_string(),
            line.proposed.map(|p| p.to_string()).unwrap_or_default(),
            end(|i| i.low),
            end(|i| i.high),
            super::spread::rests_on(line),
        ]
    }));
    Ok(csv::download("how-work-varies.csv", rows).into())
}

async fn quotes(who: SignedIn) -> Answer {
    let review = quotes_review(&who.actor(), Utc::now()).await?;
    let mut tx = who.begin().await?;
    let currency = settings::get(&mut tx).await?.currency;
    drop(tx);
    let code = currency.code();
    let mut rows = vec![vec![
        "Kind".to_owned(),
        format!("Price {code}"),
        format!("Margin {code}"),
        "What became of it".to_owned(),
        "Why".to_owned(),
    ]];
    rows.extend(review.quotes.iter().map(|quote| {
        vec![
            words::kind(&quote.option_kind).to_owned(),
            quote.net.amount().to_string(),
            quote
                .margin
                .map(|m| m.amount().to_string())
                .unwrap_or_default(),
            quote.state.code().to_owned(),
            quote.lost_why.clone().unwrap_or_default(),
        ]
    }));
    Ok(csv::download("quotes.csv", rows).into())
}
