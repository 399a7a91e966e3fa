//! Work picked from the standard times: a row for each piece of work with how many, and the cylinders and main bearings
//! that some of it is timed by.

use super::forms::{Choice, Field, FormErrors};
use super::record::Shape;
use crate::estimating::{Basis, Element, WorkList, WorkListError, WorkTemplate};
use maud::{Markup, html};

/// The id of the part of the page that changes with the work that is picked, for `live.js`: what it is timed by. The rows
/// themselves stay, since somebody is choosing in them.
pub(in crate::web) const TIMED_BY: &str = "timed-by";

/// Rows that a page begins with.
const ROWS: usize = 4;
/// Empty rows at the end of longer lists.
const SPARE: usize = 2;
/// Rows at most.
const MOST_ROWS: usize = 40;
/// Cylinders or main bearings at most.
const MOST_BEARINGS: i64 = 48;

/// Rows as they were typed.
#[derive(Debug, Clone, Copy)]
pub(in crate::web) struct TypedLines<'a> {
    /// What is worked on.
    pub(in crate::web) part: &'a str,
    /// Codes of elements, a row each, empty ones among them.
    pub(in crate::web) work: &'a [String],
    /// How many, beside each.
    pub(in crate::web) count: &'a [String],
    /// Cylinders.
    pub(in crate::web) cylinders: &'a str,
    /// Main bearings.
    pub(in crate::web) mains: &'a str,
}

/// The columns of a list as they are typed: codes, and how many beside each.
pub(in crate::web) fn columns(list: &WorkList) -> (Vec<String>, Vec<String>) {
    list.lines
        .iter()
        .map(|(code, count)| (code.clone(), count.to_string()))
        .unzip()
}

/// How a list stands in JSON: rows of work, and what it is timed by.
pub(in crate::web) fn shapes(elements: &[Element]) -> Vec<Shape> {
    let count = Field::int("count", "How many", "").optional();
    vec![
        Shape::Rows {
            name: "lines",
            title: "Work",
            columns: [Field::select("work", "Work", "", choices(elements)), count].into(),
            first: 1,
        },
        Shape::One(Field::int("cylinders", "Cylinders", "").optional()),
        Shape::One(Field::int("mains", "Main bearings", "").optional()),
    ]
}

impl TypedLines<'_> {
    fn row(&self, at: usize) -> (&str, &str) {
        (
            self.work.get(at).map_or("", |code| code.trim()),
            self.count.get(at).map_or("", |count| count.trim()),
        )
    }

    /// Reads them, with a complaint beside every row that does not read. Whether the list makes a route is for the list
    /// to say.
    pub(in crate::web) fn read(
        &self,
        elements: &[Element],
        errors: &mut FormErrors,
    ) -> Option<WorkList> {
        let part = errors.text("part", self.part, 120);
        let mut lines = Vec::new();
        let mut whole = true;
        for at in 0..self.work.len().max(self.count.len()).min(MOST_ROWS) {
            let (code, count) = self.row(at);
            let (work_id, count_id) = (id("work", at), id("count", at));
            errors.label(&work_id, &format!("Work {}", at + 1));
            errors.label(&count_id, &format!("How many of work {}", at + 1));
            if code.is_empty() {
                if !count.is_empty() {
                    errors.add(&work_id, "Choose the work, or clear how many");
                    whole = false;
                }
                continue;
            }
            if !elements.iter().any(|e| e.code == code) {
                let gone = format!(
                    "“{code}” is no longer one of the shop’s standard times. Choose another"
                );
                errors.add(&work_id, gone);
                whole = false;
            }
            let times = errors.optional(count, |errors| errors.int(&count_id, count, 1..=1000));
            match times.map(|times| u32::try_from(times.unwrap_or(1))) {
                Some(Ok(times)) => lines.push((code.to_owned(), times)),
                _ => whole = false,
            }
        }
        let mut bearings = |field: &str, typed: &str| {
            let read = errors.optional(typed, |e| e.int(field, typed, 1..=MOST_BEARINGS))?;
            Some(read.and_then(|n| u32::try_from(n).ok()))
        };
        let cylinders = bearings("cylinders", self.cylinders);
        let mains = bearings("mains", self.mains);
        whole.then_some(WorkList {
            part: part?,
            lines,
            cylinders: cylinders?,
            mains: mains?,
        })
    }

    /// The rows, some more than are filled in, and what the picked work is timed by.
    pub(in crate::web) fn fields(&self, elements: &[Element], errors: &FormErrors) -> Markup {
        let filled = (0..self.work.len())
            .rev()
            .find(|&at| !self.row(at).0.is_empty())
            .map_or(0, |at| at + 1);
        let rows = (filled + SPARE).clamp(ROWS, MOST_ROWS);
        let timed_by = |basis: Basis| {
            let picked =
                |code: &String| elements.iter().any(|e| e.code == *code && e.basis == basis);
            self.work.iter().any(picked)
        };
        let choices = choices(elements);
        html! {
            div.wide.work-lines {
                @if elements.is_empty() {
                    p { "There is no work to choose from yet. Set up the " a href="/shop/standards" { "standard times" } " first." }
                }
                @for at in 0..rows {
                    @let (code, count) = self.row(at);
                    div.work-line {
                        @let work = Field::select("work", &format!("Work {}", at + 1), code, choices.clone()).id(&id("work", at));
                        @if at == 0 { (work.errors(errors)) } @else { (work.optional().errors(errors)) }
                        @let many = Field::int("count", "How many", count).id(&id("count", at)).optional();
                        @let many = if at == 0 { many.hint("Blank is one") } else { many };
                        (many.errors(errors))
                    }
                }
                div #(TIMED_BY).work-bearings {
                    @if timed_by(Basis::PerCylinder) || !self.cylinders.is_empty() {
                        (Field::int("cylinders", "Cylinders", self.cylinders).errors(errors))
                    }
                    @if timed_by(Basis::PerMain) || !self.mains.is_empty() {
                        (Field::int("mains", "Main bearings", self.mains).errors(errors))
                    }
                }
            }
        }
    }
}

/// The button for more rows. It stands after the one that sends the form, which the Enter key presses.
pub(in crate::web) fn more() -> Markup {
    html! { button.quiet type="submit" name="more" value="yes" { "Add lines" } }
}

/// Everyday work to add to a list. It stands after the button that sends the form, as [`more`] does.
pub(in crate::web) fn everyday(templates: &[WorkTemplate]) -> Markup {
    let choices = templates.iter().map(|one| Choice::new(one.id, &one.name));
    html! {
        @if !templates.is_empty() {
            div.wide.everyday {
                (Field::select("template", "Everyday work", "", choices.collect()).optional())
                button.quiet type="submit" name="add" value="yes" { "Add this work" }
            }
        }
    }
}

/// What a form has of a list, to be added to.
pub(in crate::web) struct Typing<'a> {
    /// What is worked on.
    pub(in crate::web) part: &'a mut String,
    /// Codes of elements.
    pub(in crate::web) work: &'a mut Vec<String>,
    /// How many, beside each.
    pub(in crate::web) count: &'a mut Vec<String>,
    /// Cylinders.
    pub(in crate::web) cylinders: &'a mut String,
    /// Main bearings.
    pub(in crate::web) mains: &'a mut String,
}

impl Typing<'_> {
    /// Adds the work of the chosen template, if one is, behind what was typed; what was said of the part stays. Returns the
    /// template.
    pub(in crate::web) fn add<'t>(
        self,
        templates: &'t [WorkTemplate],
        chosen: &str,
    ) -> Option<&'t WorkTemplate> {
        let template = templates.iter().find(|one| one.id.to_string() == chosen)?;
        let rows = self.work.len().max(self.count.len());
        self.work.resize(rows, String::new());
        self.count.resize(rows, String::new());
        let empty = |at: &usize| self.work.get(*at).is_none_or(|code| code.trim().is_empty());
        let filled = (0..rows).rev().find(|at| !empty(at)).map_or(0, |at| at + 1);
        self.work.truncate(filled);
        self.count.truncate(filled);
        let (codes, counts) = columns(&template.list);
        self.work.extend(codes);
        self.count.extend(counts);
        let number = |n: Option<u32>| n.map(|n| n.to_string());
        let said = [
            (self.part, Some(template.list.part.clone())),
            (self.cylinders, number(template.list.cylinders)),
            (self.mains, number(template.list.mains)),
        ];
        for (field, from) in said {
            if let Some(from) = from.filter(|_| field.trim().is_empty()) {
                *field = from;
            }
        }
        Some(template)
    }
}

/// The field that a complaint about a list belongs beside.
pub(in crate::web) fn field_of(why: &WorkListError) -> String {
    match why {
        WorkListError::Cylinders(_) => "cylinders".to_owned(),
        WorkListError::Mains(_) => "mains".to_owned(),
        WorkListError::Empty | WorkListError::Count(_) | WorkListError::Route(_) => id("work", 0),
    }
}

fn id(name: &str, at: usize) -> String {
    format!("{name}-{}", at + 1)
}

/// The standard times by name, each with what it is timed by.
fn choices(elements: &[Element]) -> Vec<Choice> {
    let mut named: Vec<(&str, String)> = elements
        .iter()
        .map(|element| {
            let label = match element.basis {
                Basis::Once | Basis::PerFeature => element.name.clone(),
                Basis::PerMain => format!("{} (each main bearing)", element.name),
                Basis::PerCylinder => format!("{} (each cylinder)", element.name),
            };
            (element.code.as_str(), label)
        })
        .collect();
    named.sort_by_key(|(_, label)| label.to_lowercase());
    named
        .into_iter()
        .map(|(code, label)| Choice::new(code, label))
        .collect()
}
