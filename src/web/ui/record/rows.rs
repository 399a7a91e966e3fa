//! A list within a record, such as the checks of an element: each item one row of fields.

use super::group::{Group, Shape};
use super::typed::Typed;
use crate::web::ui::{Field, FormErrors};
use maud::{Markup, html};
use std::rc::Rc;

/// Empty rows offered under every list.
const SPARE: usize = 2;

/// A row in which something is written.
pub(in crate::web) struct Row {
    index: usize,
    cells: Vec<String>,
}

impl Row {
    /// What stands in a column, by its place in the row.
    pub(in crate::web) fn get(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }

    /// The id of a column's field in this row, for a complaint beside it.
    pub(in crate::web) fn id(&self, name: &str) -> String {
        format!("{name}-{}", self.index)
    }
}

fn cell<'a>(typed: &'a Typed, column: &Field, row: usize) -> &'a str {
    typed
        .all(column.name())
        .get(row)
        .map_or("", |text| text.trim())
}

/// The rows in which something is written, in order.
fn filled(typed: &Typed, columns: &[Field]) -> Vec<Row> {
    let longest = columns.iter().map(|c| typed.all(c.name()).len()).max();
    (0..longest.unwrap_or(0))
        .map(|index| Row {
            index,
            cells: columns
                .iter()
                .map(|column| cell(typed, column, index).to_owned())
                .collect(),
        })
        .filter(|row| row.cells.iter().any(|cell| !cell.is_empty()))
        .collect()
}

fn draw(
    (title, name, hint): (&str, &str, &str),
    columns: &[Field],
    typed: &Typed,
    errors: &FormErrors,
) -> Markup {
    let last = filled(typed, columns).last().map_or(0, |row| row.index + 1);
    html! {
        fieldset.rows.wide id=(name) {
            legend { h2 { (title) } }
            p.hint { (hint) }
            @if let Some(error) = errors.get(name) {
                p.error { span.sign aria-hidden="true" { "!" } " " (error) }
            }
            @for row in 0..last + SPARE {
                div.row {
                    @for column in columns {
                        (column.clone().filled(cell(typed, column, row))
                            .id(&format!("{}-{row}", column.name())).optional().errors(errors))
                    }
                }
            }
        }
    }
}

/// A list under a title, with a hint; `name` is the id complaints about the whole of it lead to. `write` gives a row of
/// texts for each item, `read` takes the rows that are filled in.
pub(in crate::web) fn rows<R: 'static>(
    (title, name, hint): (&'static str, &'static str, &'static str),
    columns: Vec<Field>,
    write: impl Fn(&R) -> Vec<Vec<String>> + 'static,
    read: impl Fn(&mut R, &[Row], &mut FormErrors) + 'static,
) -> Group<R> {
    let columns: Rc<[Field]> = columns.into();
    let (to_read, to_draw, to_tell) = (columns.clone(), columns.clone(), columns.clone());
    let shape = Shape::Rows {
        name,
        title,
        columns: columns.clone(),
        first: 0,
    };
    Group::new(
        title,
        vec![shape],
        move |record, typed| {
            let items = write(record);
            for (place, column) in columns.iter().enumerate() {
                let texts = items.iter().map(|item| item.get(place).cloned());
                typed.set_all(
                    column.name(),
                    texts.map(Option::unwrap_or_default).collect(),
                );
            }
        },
        move |record, typed, errors| {
            read(record, &filled(typed, &to_read), errors);
        },
        move |typed, errors| draw((title, name, hint), &to_draw, typed, errors),
        move |typed| {
            let items = filled(typed, &to_tell).into_iter();
            items
                .map(|row| row.cells.join(", "))
                .collect::<Vec<_>>()
                .join("; ")
        },
    )
    .headed()
}
