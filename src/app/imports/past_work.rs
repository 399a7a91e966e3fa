//! Work done in the past, with the hours it took, from a table: what the standard times are compared with beside the shop's
//! own bookings.

use super::{Cells, Column, Fault, Kind, Sheet};
use crate::db::past_work::{self, PastWork as Row};
use crate::db::{DbError, ShopTx, standards};
use crate::estimating::Element;
use crate::estimating::element::OUTSIDE;
use crate::units::{Minutes, MinutesError};
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

pub(super) struct PastWork;

/// The most times that one line says its work was done.
const MOST_TIMES: u32 = 10_000;

/// Hours as a sheet writes them: a bare number is hours, unlike a form's, which is minutes.
fn hours(text: &str) -> Result<Minutes, MinutesError> {
    match Decimal::from_str_exact(text) {
        Ok(hours) => Minutes::new(
            hours
                .checked_mul(Decimal::from(60))
                .ok_or(MinutesError::TooLong)?,
        ),
        Err(_) => Minutes::parse(text),
    }
}

impl Sheet for PastWork {
    const KIND: Kind = Kind::PastWork;
    const COLUMNS: &'static [Column] = &[
        Column::new(
            "done_on",
            &["done on", "date", "day", "finished", "when"],
            40,
        ),
        Column::new("hours", &["hours", "time", "hrs"], 40),
        Column::new(
            "count",
            &["count", "qty", "quantity", "how many", "times"],
            10,
        ),
        Column::new("customer", &["customer", "company"], 120),
        Column::new("job", &["job", "number", "reference"], 80),
        Column::new(
            "work",
            &["work", "operation", "element", "task", "what"],
            120,
        ),
    ];
    type Row = Row;
    type Around = Vec<Element>;

    async fn around(tx: &mut ShopTx) -> Result<Vec<Element>, DbError> {
        standards::list(tx).await
    }

    fn read(cells: &Cells<'_>, elements: &Vec<Element>) -> Result<Row, Fault> {
        let done_on = cells.date("done_on")?.ok_or(Fault::Missing("done_on"))?;
        let said = cells.must("work")?;
        let same = |e: &&Element| {
            e.code.eq_ignore_ascii_case(&said) || e.name.to_lowercase() == said.to_lowercase()
        };
        let element = elements.iter().find(same);
        let element = element.ok_or_else(|| Fault::Unknown("work", said.clone()))?;
        if element.machine_kind == OUTSIDE {
            let why = format!("“{}” is sent out, so its hours are not yours", element.name);
            return Err(Fault::Unread("work", why));
        }
        let count = cells.read("count", |text| {
            let count = text.parse().ok().filter(|n| (1..=MOST_TIMES).contains(n));
            count.ok_or_else(|| format!("“{text}” is not a count"))
        })?;
        let minutes = cells.read("hours", hours)?.ok_or(Fault::Missing("hours"))?;
        if minutes <= Minutes::ZERO {
            return Err(Fault::Missing("hours"));
        }
        Ok(Row {
            id: Uuid::now_v7(),
            // Set for the rows of one job together when they are entered.
            job_id: Uuid::nil(),
            job: cells.get("job"),
            customer: cells.get("customer"),
            done_on,
            element_id: element.id,
            count: count.unwrap_or(1),
            minutes,
        })
    }

    fn key(row: &Row) -> Option<String> {
        let Row {
            job,
            element_id,
            done_on,
            ..
        } = row;
        (!job.is_empty()).then(|| format!("{} {element_id} {done_on}", job.to_lowercase()))
    }

    async fn known(_: &mut ShopTx, rows: &[Row]) -> Result<Vec<bool>, DbError> {
        Ok(vec![false; rows.len()])
    }

    async fn insert(tx: &mut ShopTx, mut rows: Vec<Row>) -> Result<Vec<Uuid>, DbError> {
        let mut jobs: HashMap<String, Uuid> = HashMap::new();
        for row in &mut rows {
            row.job_id = match row.job.to_lowercase() {
                // Nobody said which job: each row is one by itself.
                name if name.is_empty() => row.id,
                name => *jobs.entry(name).or_insert(row.id),
            };
        }
        past_work::insert(tx, &rows).await?;
        Ok(rows.iter().map(|row| row.id).collect())
    }
}
