//! Hours by hand: a day's work from a sheet of paper, several rows in one form, booked all together or not at all.

use crate::app::book_hours::{HoursBasis, HoursByHand, basis, book_hours};
use crate::db::calendars::Owner;
use crate::db::jobs::OperationState;
use crate::db::machines;
use crate::db::people::{self, Role};
use crate::db::work_list::{self, NumberedOperation};
use crate::planning::local_instant;
use crate::shopfloor::{Named, Row, RowFault, lay};
use crate::units::Minutes;
use crate::web::ui::forms::Choice;
use crate::web::ui::show::count;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use chrono::{DateTime, Days, NaiveDate, NaiveTime, Utc};
use maud::{Markup, html};
use rust_decimal::prelude::ToPrimitive;
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/jobs/hours")
            .route(web::get().to(blank))
            .route(web::post().to(add)),
    );
}

/// Rows of the form, and the most that are read of one that was sent.
const ROWS: usize = 6;
const MOST_ROWS: usize = 40;

/// The longest that one row may be: a day.
const LONGEST: i64 = 24 * 60;

/// Columns by name, with what each is called.
const COLUMNS: [(&str, &str); 7] = [
    ("day", "Day"),
    ("person", "Who"),
    ("work", "Job and operation"),
    ("from", "From"),
    ("hours", "Hours"),
    ("machine", "Machine"),
    ("then", "After that"),
];

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct HoursForm {
    key: String,
    reason: String,
    day: Vec<String>,
    person: Vec<String>,
    work: Vec<String>,
    from: Vec<String>,
    hours: Vec<String>,
    machine: Vec<String>,
    then: Vec<String>,
}

impl HoursForm {
    fn get(&self, column: &str, row: usize) -> &str {
        let all = match column {
            "day" => &self.day,
            "person" => &self.person,
            "work" => &self.work,
            "from" => &self.from,
            "hours" => &self.hours,
            "machine" => &self.machine,
            _ => &self.then,
        };
        all.get(row).map_or("", |text| text.trim())
    }

    /// The rows in which more than a day is written.
    fn filled(&self) -> Vec<usize> {
        let written = |row: usize| {
            COLUMNS
                .iter()
                .any(|(name, _)| *name != "day" && !self.get(name, row).is_empty())
        };
        (0..self.work.len().min(MOST_ROWS))
            .filter(|row| written(*row))
            .collect()
    }
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Office)?;
    let form = HoursForm {
        key: Uuid::now_v7().to_string(),
        day: vec![who.today().to_string()],
        ..HoursForm::default()
    };
    Ok(page(&who, &form, &FormErrors::default()).await?.into())
}

async fn page(who: &SignedIn, form: &HoursForm, errors: &FormErrors) -> Result<Page, WebError> {
    let mut tx = who.begin().await?;
    let everyone = people::list(&mut tx).await?;
    let machines = machines::machines(&mut tx).await?;
    let waiting = work_list::waiting(&mut tx, None, None).await?;
    drop(tx);
    let people = everyone.iter().filter(|p| p.active);
    let people: Vec<Choice> = people.map(|p| Choice::new(p.id, &p.name)).collect();
    let machines: Vec<Choice> = machines
        .iter()
        .map(|m| Choice::new(m.id, &m.name))
        .collect();
    let rows = form.filled().last().map_or(0, |last| last + 1).max(ROWS);
    let body = html! {
        div.bar { h1 { "Enter hours" } a.button.quiet href="/jobs" { "Jobs" } }
        p { "Copy a sheet of hours, one line for each piece of work. A day or name left blank is that of the line above; a time left blank follows on from it, or from the start of the shift. Nothing is booked until every line is right." }
        (errors.summary())
        form method="post" action="/jobs/hours" novalidate {
            (csrf_field(who))
            input type="hidden" name="key" value=(form.key);
            datalist #open-work {
                @for w in waiting.iter().filter(|w| w.is_ready() || w.state == OperationState::Started) {
                    option value={ (w.job_number) "-" (w.planned.number) } { (w.planned.number) " " (w.planned.title) }
                }
            }
            @for row in 0..rows { (draw_row(form, row, (people.as_slice(), machines.as_slice()), errors)) }
            div.grid {
                (Field::text("reason", "Why they were not booked at the bench", &form.reason).errors(errors))
                div.actions { button type="submit" { "Book hours" } a.button.quiet href="/jobs" { "Back" } }
            }
        }
    };
    Ok(Page::new(who, "Enter hours").nav(Section::Jobs).body(body))
}

fn draw_row(
    form: &HoursForm,
    row: usize,
    (people, machines): (&[Choice], &[Choice]),
    errors: &FormErrors,
) -> Markup {
    let ends = [("", "Not finished"), ("done", "Finished")];
    let field = |(name, label): (&str, &str)| {
        let value = form.get(name, row);
        let drawn = match name {
            "day" => Field::date(name, label, value),
            "person" => Field::select(name, label, value, with_blank("", people)),
            "work" => Field::text(name, label, value).suggestions("open-work"),
            "from" => Field::time(name, label, value),
            "machine" => Field::select(name, label, value, with_blank("", machines)),
            "then" => {
                let ends = ends.iter().map(|(code, words)| Choice::new(code, words));
                Field::select(name, label, value, ends.collect())
            }
            _ => Field::text(name, label, value),
        };
        drawn.id(&id(name, row)).errors(errors)
    };
    html! {
        fieldset.hours-row {
            legend { "Line " (row + 1) }
            @for column in COLUMNS { (field(column)) }
        }
    }
}

fn with_blank(words: &str, choices: &[Choice]) -> Vec<Choice> {
    let blank = [Choice::new("", words)];
    blank.into_iter().chain(choices.iter().cloned()).collect()
}

fn id(column: &str, row: usize) -> String {
    format!("{column}-{row}")
}

/// A line that reads by itself, before it is held against jobs and shifts.
struct Line {
    row: usize,
    day: NaiveDate,
    person: Uuid,
    named: Named,
    from: Option<NaiveTime>,
    minutes: i64,
    machine: Option<Uuid>,
    done: bool,
}

/// Reads the lines; a blank day or name is that of the line above.
fn lines(form: &HoursForm, errors: &mut FormErrors) -> Vec<Line> {
    let (mut day_above, mut person_above) = (None, None);
    let mut lines = Vec::new();
    for row in form.filled() {
        let text = |column| form.get(column, row);
        for (name, label) in COLUMNS {
            errors.label(
                &id(name, row),
                &format!("Line {}, {}", row + 1, label.to_lowercase()),
            );
        }
        let day = match (text("day"), day_above) {
            ("", Some(above)) => Some(above),
            (typed, _) => errors.date(&id("day", row), typed),
        };
        let person = match (text("person"), person_above) {
            ("", Some(above)) => Some(above),
            (typed, _) => errors.row(&id("person", row), typed),
        };
        (day_above, person_above) = (day.or(day_above), person.or(person_above));
        let named = Named::parse(text("work"));
        if named.is_none() {
            errors.add(
                &id("work", row),
                "Enter job and operation, for example 214-30",
            );
        }
        let from = errors.optional(text("from"), |errors| {
            errors.time(&id("from", row), text("from"))
        });
        let minutes = read_hours(errors, &id("hours", row), text("hours"));
        let machine = errors.optional(text("machine"), |errors| {
            errors.row(&id("machine", row), text("machine"))
        });
        if let (Some(day), Some(person), Some(named), Some(from), Some(minutes), Some(machine)) =
            (day, person, named, from, minutes, machine)
        {
            lines.push(Line {
                row,
                day,
                person,
                named,
                from,
                minutes,
                machine,
                done: text("then") == "done",
            });
        }
    }
    lines
}

/// Hours as they are written on a sheet: 2.5, 2:30, 150 min.
fn read_hours(errors: &mut FormErrors, field: &str, raw: &str) -> Option<i64> {
    if raw.is_empty() {
        errors.add(field, "Enter hours, for example 2.5 or 2:30");
        return None;
    }
    let plain = raw
        .bytes()
        .all(|b| b.is_ascii_digit() || b == b'.' || b == b',');
    let text = if plain {
        format!("{} h", raw.replace(',', "."))
    } else {
        raw.to_owned()
    };
    let minutes = errors.parsed(field, &text, Minutes::parse)?;
    let whole = minutes.hours() * rust_decimal::Decimal::from(60);
    match whole.round().to_i64() {
        Some(minutes) if (1..=LONGEST).contains(&minutes) => Some(minutes),
        _ => {
            errors.add(field, "Enter hours from 0:01 to 24:00");
            None
        }
    }
}

/// The operation a line is about; a complaint where there is none, or more than one.
fn operation<'a>(
    line: &Line,
    basis: &'a HoursBasis,
    errors: &mut FormErrors,
) -> Option<&'a NumberedOperation> {
    let field = id("work", line.row);
    let job = line.named.job;
    let all: Vec<&NumberedOperation> = basis
        .operations
        .iter()
        .filter(|o| o.job_number == job)
        .collect();
    let open = all.first().map(|o| o.job_is_open);
    let meant: Vec<&NumberedOperation> = match line.named.operation {
        Some(number) => all.iter().copied().filter(|o| o.number == number).collect(),
        None => all
            .iter()
            .copied()
            .filter(|o| o.state != OperationState::Done)
            .collect(),
    };
    let numbers = || {
        let numbers: Vec<String> = all.iter().map(|o| o.number.to_string()).collect();
        numbers.join(", ")
    };
    match (open, line.named.operation, meant.as_slice()) {
        (None, ..) => errors.add(&field, format!("There is no job {job} with operations")),
        (Some(false), ..) => errors.add(
            &field,
            format!("Job {job} is closed: reopen it, or add the booking on its page"),
        ),
        (Some(true), _, [one]) => return Some(*one),
        (Some(true), Some(number), _) => errors.add(
            &field,
            format!("Job {job} has no operation {number}. It has {}", numbers()),
        ),
        (Some(true), None, _) => errors.add(
            &field,
            format!("Say which operation of job {job}: {}", numbers()),
        ),
    }
    None
}

/// Where the lines lie on the clock, with a complaint beside each that cannot.
fn on_the_clock(
    who: &SignedIn,
    lines: &[Line],
    basis: &HoursBasis,
    errors: &mut FormErrors,
) -> Vec<Option<(DateTime<Utc>, DateTime<Utc>)>> {
    let zone = who.shop.time_zone;
    let at = |day: NaiveDate, time: NaiveTime| local_instant(zone, day.and_time(time));
    let rows: Vec<Row> = lines
        .iter()
        .map(|line| Row {
            person: line.person,
            day: line.day,
            from: line.from.map(|time| at(line.day, time)),
            minutes: line.minutes,
        })
        .collect();
    let shift = |person: Uuid, day: NaiveDate| {
        let from = at(day, NaiveTime::MIN);
        let until = at(day.checked_add_days(Days::new(1))?, NaiveTime::MIN);
        let calendar = basis.working.calendar(Owner::Person(person), from, until);
        let first = calendar.intervals().next();
        first.map(|(from, _)| from)
    };
    let laid = lay(&rows, shift, Utc::now());
    let placed = lines.iter().zip(laid);
    placed
        .map(|(line, laid)| {
            let fault = match laid {
                Ok(place) => return Some(place),
                Err(fault) => fault,
            };
            match fault {
                RowFault::NoStart => errors.add(
                    &id("from", line.row),
                    "Enter when it began: there is no shift on this day",
                ),
                RowFault::Overlaps(other) => {
                    let other = lines.get(other).map_or(0, |line| line.row);
                    errors.add(
                        &id("from", line.row),
                        format!("This is at the same time as line {}", other + 1),
                    );
                }
                RowFault::ToCome => {
                    errors.add(&id("hours", line.row), "This ends later than now");
                }
            }
            None
        })
        .collect()
}

async fn add(who: SignedIn, form: CheckedForm<HoursForm>) -> Answer {
    who.require(Role::Office)?;
    let mut errors = FormErrors::default();
    errors.label("reason", "Why they were not booked at the bench");
    let lines = lines(&form, &mut errors);
    if lines.is_empty() && errors.is_empty() {
        errors.label(&id("work", 0), "Line 1, job and operation");
        errors.add(
            &id("work", 0),
            "Enter job and operation, for example 214-30",
        );
    }
    let jobs: Vec<i64> = lines.iter().map(|line| line.named.job).collect();
    let basis = basis(&who.actor(), &jobs).await?;
    let places = on_the_clock(&who, &lines, &basis, &mut errors);
    let rows: Vec<HoursByHand> = lines
        .iter()
        .zip(places)
        .filter_map(|(line, place)| {
            let operation = operation(line, &basis, &mut errors)?;
            let (from, until) = place?;
            Some(HoursByHand {
                operation_id: operation.id,
                person_id: line.person,
                machine_id: line.machine,
                from,
                until,
                done: line.done,
            })
        })
        .collect();
    let reason = errors.text("reason", &form.reason, 400);
    if form.reason.trim().is_empty() {
        errors.add(
            "reason",
            "Say why, for example: tablet down, hours from paper",
        );
    }
    let Some(reason) = reason.filter(|_| errors.is_empty()) else {
        return Ok(page(&who, &form, &errors).await?.invalid().into());
    };
    let key = Uuid::try_parse(&form.key).unwrap_or_else(|_| Uuid::now_v7());
    book_hours(&who.actor(), key, &rows, &reason, Utc::now(), None).await?;
    let minutes: i64 = rows
        .iter()
        .map(|row| (row.until - row.from).num_minutes())
        .sum();
    let lines = i64::try_from(rows.len()).unwrap_or(i64::MAX);
    Ok(Reply::see_other("/jobs/hours").flash(format!(
        "{} booked, {}",
        count(lines, "line", "lines"),
        crate::planning::words::hours(minutes)
    )))
}
