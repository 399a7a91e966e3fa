//! Fields that belong together, such as the rows of a list: written, read and drawn as one.

use super::typed::Typed;
use crate::web::ui::{Field, FormErrors};
use maud::Markup;
use std::rc::Rc;

/// How values stand in JSON.
#[derive(Clone)]
pub(in crate::web) enum Shape {
    /// A text, or yes or no, under the name of the field.
    One(Field),
    /// A list of texts under the name of the field.
    Many(Field),
    /// A list of rows under a name, each with the columns.
    Rows {
        /// The name.
        name: &'static str,
        /// What it is called.
        title: &'static str,
        /// The columns.
        columns: Rc<[Field]>,
        /// The number that the first row has in complaints.
        first: usize,
    },
}

/// Writes the record's values into the form.
type WriteForm<R> = dyn Fn(&R, &mut Typed);
/// Reads the whole form into the record, or notes complaints.
type ReadForm<R> = dyn Fn(&mut R, &Typed, &mut FormErrors);
/// Draws the controls with what was typed.
type DrawForm = dyn Fn(&Typed, &FormErrors) -> Markup;

/// Fields that belong together.
pub(in crate::web) struct Group<R> {
    pub(super) label: &'static str,
    pub(super) shapes: Vec<Shape>,
    pub(super) write: Box<WriteForm<R>>,
    pub(super) read: Box<ReadForm<R>>,
    pub(super) draw: Box<DrawForm>,
    pub(super) tell: Box<dyn Fn(&Typed) -> String>,
    pub(super) headed: bool,
}

impl<R> Group<R> {
    /// A group under the heading that stands over it. A stale edit calls it by its label; `shapes` says how its values stand
    /// in JSON; `write` writes the record's values
    /// into the form, `read` reads the form into the record or notes complaints, `draw` draws the controls, and `tell` says in
    /// one line what the form says.
    pub(in crate::web) fn new(
        label: &'static str,
        shapes: Vec<Shape>,
        write: impl Fn(&R, &mut Typed) + 'static,
        read: impl Fn(&mut R, &Typed, &mut FormErrors) + 'static,
        draw: impl Fn(&Typed, &FormErrors) -> Markup + 'static,
        tell: impl Fn(&Typed) -> String + 'static,
    ) -> Self {
        Self {
            label,
            shapes,
            write: Box::new(write),
            read: Box::new(read),
            draw: Box::new(draw),
            tell: Box::new(tell),
            headed: false,
        }
    }

    /// A part of the form by itself, which draws a heading of its own.
    pub(super) fn headed(self) -> Self {
        Self {
            headed: true,
            ..self
        }
    }
}
