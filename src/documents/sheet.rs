//! A sheet of paper, written from the top down: lengths in points, y from the top edge.

use super::qr::Code;
use super::typeface::{Typeface, Weight};
use krilla::Document;
use krilla::geom::{Path, PathBuilder, Point, Rect};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::TextDirection;
use std::rc::Rc;

/// The size of a sheet, ISO 216.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 × 297 mm.
    A4,
    /// 148 × 210 mm.
    A5,
}

/// Why a sheet could not be set.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// The address is too long for a QR code.
    #[error("the address {0} is too long for a QR code")]
    TooLong(String),
    /// The fonts in the program do not read.
    #[error("the fonts in the program do not read")]
    Typeface,
    /// The PDF cannot be written.
    #[error("the PDF cannot be written: {0}")]
    Unwritable(String),
}

/// Points in a millimetre: an inch is 72 points.
const MM: f32 = 72.0 / 25.4;

/// The tallest drawing of a face, mm.
const TALLEST_FACE: f32 = 60.0;
/// The most that is left between two columns of a table, mm.
const COLUMNS_APART: f32 = 6.0;
/// However small the scale, a hole is drawn with this radius, in points.
const SMALLEST_HOLE: f32 = 1.5;

impl Paper {
    fn size(self) -> (f32, f32) {
        match self {
            Self::A4 => (210.0 * MM, 297.0 * MM),
            Self::A5 => (148.0 * MM, 210.0 * MM),
        }
    }

    fn margin(self) -> f32 {
        match self {
            Self::A4 => 15.0 * MM,
            Self::A5 => 9.0 * MM,
        }
    }

    /// Size of ordinary text, in points.
    fn text(self) -> f32 {
        match self {
            Self::A4 => 10.0,
            Self::A5 => 8.0,
        }
    }
}

/// How a line is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    Title,
    Heading,
    Text,
    Small,
}

impl Style {
    fn size(self, paper: Paper) -> f32 {
        paper.text()
            * match self {
                Self::Title => 1.8,
                Self::Heading => 1.25,
                Self::Text => 1.0,
                Self::Small => 0.85,
            }
    }

    fn weight(self, typeface: &Typeface) -> &Weight {
        match self {
            Self::Title | Self::Heading => &typeface.bold,
            Self::Text | Self::Small => &typeface.plain,
        }
    }
}

/// A column of a table, by its edges.
struct Column {
    left: f32,
    right: f32,
    /// Whether it is flush right.
    figures: bool,
}

/// Something on a page.
enum Mark {
    /// A line of text, by the left end of its baseline.
    Line {
        at: Point,
        style: Style,
        text: String,
    },
    /// A shape, drawn in a line of this width.
    Outline(Path, f32),
    /// A shape, filled.
    Filled(Path),
}

/// A sheet while it is being set.
pub(super) struct Sheet {
    paper: Paper,
    typeface: Rc<Typeface>,
    pages: Vec<Vec<Mark>>,
    page: Vec<Mark>,
    y: f32,
    /// Nothing is set below this.
    bottom: f32,
    /// Kept free at the right, for a QR code, down to this height.
    beside: Option<(f32, f32)>,
}

impl Sheet {
    /// # Errors
    /// [`SheetError::Typeface`].
    pub(super) fn new(paper: Paper) -> Result<Self, SheetError> {
        Ok(Self::with(paper, Rc::new(Typeface::load()?)))
    }

    fn with(paper: Paper, typeface: Rc<Typeface>) -> Self {
        Self {
            paper,
            typeface,
            pages: Vec::new(),
            page: Vec::new(),
            y: paper.margin(),
            bottom: paper.size().1 - paper.margin(),
            beside: None,
        }
    }

    /// Sets what belongs together, on the next page when this one has no room for all of it. What is longer than a page
    /// begins here and goes on there.
    pub(super) fn together(
        &mut self,
        set: impl Fn(&mut Self) -> Result<(), SheetError>,
    ) -> Result<(), SheetError> {
        // A trial sheet without end tells the height.
        let mut trial = Self {
            y: 0.0,
            bottom: f32::MAX,
            ..Self::with(self.paper, Rc::clone(&self.typeface))
        };
        set(&mut trial)?;
        let height = trial.y;
        let page = self.paper.size().1 - 2.0 * self.paper.margin();
        if self.y + height > self.bottom && height <= page {
            self.turn();
        }
        set(self)
    }

    fn turn(&mut self) {
        self.pages.push(std::mem::take(&mut self.page));
        self.y = self.paper.margin();
        self.beside = None;
    }

    pub(super) fn gap(&mut self, lines: f32) {
        self.y += lines * self.paper.text() * 1.35;
    }

    /// A line across the page.
    pub(super) fn rule(&mut self) {
        let (margin, width) = (self.paper.margin(), self.paper.size().0);
        self.below_code();
        self.gap(0.2);
        self.line(margin, width - margin);
        self.gap(0.9);
    }

    /// Goes below a code that stands at the right.
    pub(super) fn below_code(&mut self) {
        if let Some((_, down_to)) = self.beside.take() {
            self.y = self.y.max(down_to);
        }
    }

    /// The numbers of a job's castings, where it has any.
    pub(super) fn castings(&mut self, numbers: &[i64]) {
        if let [first, rest @ ..] = numbers {
            let rest: String = rest.iter().map(|n| format!(", {n}")).collect();
            self.paragraph(Style::Text, 0.0, &format!("Casting {first}{rest}"));
        }
    }

    /// A paragraph, broken where it must be, set in from the left by so many millimetres.
    pub(super) fn paragraph(&mut self, style: Style, indent_mm: f32, text: &str) {
        let size = style.size(self.paper);
        let leading = size * 1.35;
        let margin = self.paper.margin();
        let x = margin + indent_mm * MM;
        let mut words = text.split_whitespace().peekable();
        while words.peek().is_some() {
            if self.y + leading > self.bottom {
                self.turn();
            }
            if self.beside.is_some_and(|(_, down_to)| self.y >= down_to) {
                self.beside = None;
            }
            let kept = self.beside.map_or(0.0, |(kept, _)| kept);
            let room = self.paper.size().0 - margin - x - kept;
            let mut line = String::new();
            while let Some(word) = words.peek() {
                let longer = if line.is_empty() {
                    (*word).to_owned()
                } else {
                    format!("{line} {word}")
                };
                let wide = style.weight(&self.typeface).width(&longer) * size;
                if !line.is_empty() && wide > room {
                    break;
                }
                line = longer;
                words.next();
            }
            self.y += leading;
            self.page.push(Mark::Line {
                at: Point::from_xy(x, self.y),
                style,
                text: line,
            });
        }
    }

    /// A box to tick, and what it is for.
    pub(super) fn tick(&mut self, text: &str) {
        if self.y + self.paper.text() * 1.35 > self.bottom {
            self.turn();
        }
        let size = self.paper.text() * 0.9;
        let x = self.paper.margin() + 2.0 * MM;
        let top = self.y + self.paper.text() * 0.3;
        let mut square = PathBuilder::new();
        push_rect(&mut square, x, top, size, size);
        let square = square.finish().map(|path| Mark::Outline(path, 0.7));
        self.page.extend(square);
        self.paragraph(Style::Text, 8.0, text);
    }

    /// A table, its head first, which is said again at the top of each page. Columns are as wide as what stands in them;
    /// those of figures alone are flush right.
    pub(super) fn table(&mut self, indent_mm: f32, rows: &[Vec<String>]) {
        let [head, body @ ..] = rows else {
            return;
        };
        self.below_code();
        let leading = Style::Text.size(self.paper) * 1.35;
        let columns = self.columns(indent_mm, head, body);
        for (nth, row) in body.iter().enumerate() {
            let turned = self.y + leading > self.bottom;
            if turned {
                self.turn();
            }
            if nth == 0 || turned {
                self.cells(&columns, head);
                let right = columns.last().map_or(0.0, |column| column.right);
                self.line(columns.first().map_or(0.0, |column| column.left), right);
            }
            self.cells(&columns, row);
        }
        self.gap(0.3);
    }

    fn columns(&self, indent_mm: f32, head: &[String], body: &[Vec<String>]) -> Vec<Column> {
        let size = Style::Text.size(self.paper);
        let cells = |nth: usize| body.iter().filter_map(move |row| row.get(nth));
        let widths: Vec<f32> = (head.iter().enumerate())
            .map(|(nth, name)| {
                let wide = |text: &String| Style::Text.weight(&self.typeface).width(text) * size;
                cells(nth).chain([name]).map(wide).fold(0.0, f32::max)
            })
            .collect();
        let mut left = self.paper.margin() + indent_mm * MM;
        let room = self.paper.size().0 - self.paper.margin() - left;
        #[expect(clippy::cast_precision_loss, reason = "a table has a few columns")]
        let spare = (room - widths.iter().sum::<f32>()) / head.len().max(1) as f32;
        let between = spare.clamp(0.0, COLUMNS_APART * MM);
        let column = |(nth, width): (usize, &f32)| {
            let column = Column {
                left,
                right: left + width,
                figures: cells(nth).all(|cell| !cell.contains(char::is_alphabetic)),
            };
            left = column.right + between;
            column
        };
        widths.iter().enumerate().map(column).collect()
    }

    /// A line of cells in their columns.
    fn cells(&mut self, columns: &[Column], cells: &[String]) {
        let size = Style::Text.size(self.paper);
        self.y += size * 1.35;
        for (column, cell) in columns.iter().zip(cells) {
            let wide = Style::Text.weight(&self.typeface).width(cell) * size;
            let x = match column.figures {
                true => column.right - wide,
                false => column.left,
            };
            self.page.push(Mark::Line {
                at: Point::from_xy(x, self.y),
                style: Style::Text,
                text: cell.clone(),
            });
        }
    }

    /// A line from here to there, just below what was set.
    fn line(&mut self, from: f32, to: f32) {
        self.gap(0.2);
        let mut line = PathBuilder::new();
        line.move_to(from, self.y);
        line.line_to(to, self.y);
        let line = line.finish().map(|path| Mark::Outline(path, 0.5));
        self.page.extend(line);
    }

    /// A face drawn to scale from its datum, the lower left corner: its width and height, and holes by their centres across and
    /// up and their diameters, each with its label; all in millimetres.
    pub(super) fn face(&mut self, (width, height): (f32, f32), holes: &[(f32, f32, f32, &str)]) {
        self.below_code();
        self.gap(0.4);
        let room = self.paper.size().0 - 2.0 * self.paper.margin();
        let scale = (room / width).min(TALLEST_FACE * MM / height);
        if self.y + height * scale > self.bottom {
            self.turn();
        }
        let (left, bottom) = (self.paper.margin(), self.y + height * scale);
        let mut lines = PathBuilder::new();
        push_rect(&mut lines, left, self.y, width * scale, height * scale);
        for (across, up, size, label) in holes {
            let (x, y) = (left + across * scale, bottom - up * scale);
            let radius = (size * scale / 2.0).max(SMALLEST_HOLE);
            push_circle(&mut lines, x, y, radius);
            let reach = radius + 2.0;
            lines.move_to(x - reach, y);
            lines.line_to(x + reach, y);
            lines.move_to(x, y - reach);
            lines.line_to(x, y + reach);
            self.page.push(Mark::Line {
                at: Point::from_xy(x + reach + 0.5, y - 1.5),
                style: Style::Small,
                text: (*label).to_owned(),
            });
        }
        self.page
            .extend(lines.finish().map(|path| Mark::Outline(path, 0.5)));
        self.y = bottom;
        self.gap(0.3);
    }

    /// A QR code of so many millimetres at the right of what follows, its quiet zone included.
    pub(super) fn code(&mut self, address: &str, side_mm: f32) -> Result<(), SheetError> {
        let code = Code::of(address)?;
        let side = side_mm * MM;
        if self.y + side > self.bottom {
            self.turn();
        }
        let (left, top) = (self.paper.size().0 - self.paper.margin() - side, self.y);
        let module = side / code.with_quiet_zone();
        let mut dark = PathBuilder::new();
        for (column, row) in code.dark() {
            let (x, y) = (left + column * module, top + row * module);
            push_rect(&mut dark, x, y, module, module);
        }
        self.page.extend(dark.finish().map(Mark::Filled));
        self.beside = Some((side + 2.0 * MM, top + side));
        Ok(())
    }

    /// The document as a PDF, with its title and the page's number at the foot of every page.
    ///
    /// # Errors
    /// [`SheetError::Unwritable`].
    pub(super) fn finish(mut self, title: &str) -> Result<Vec<u8>, SheetError> {
        self.turn();
        let (width, height) = self.paper.size();
        let size = PageSettings::from_wh(width, height)
            .ok_or_else(|| SheetError::Unwritable("the page has no size".to_owned()))?;
        let count = self.pages.len();
        let mut document = Document::new();
        document.set_metadata(Metadata::new().title(title.to_owned()));
        for (number, mut marks) in (1..).zip(std::mem::take(&mut self.pages)) {
            let margin = self.paper.margin();
            marks.push(Mark::Line {
                at: Point::from_xy(margin, height - margin * 0.5),
                style: Style::Small,
                text: format!("{title}, page {number} of {count}"),
            });
            let mut page = document.start_page_with(size.clone());
            let mut surface = page.surface();
            for mark in &marks {
                self.draw(&mut surface, mark);
            }
            surface.finish();
            page.finish();
        }
        document
            .finish()
            .map_err(|error| SheetError::Unwritable(error.to_string()))
    }

    fn draw(&self, surface: &mut Surface<'_>, mark: &Mark) {
        let (fill, stroke) = match mark {
            Mark::Line { .. } | Mark::Filled(_) => (Some(Fill::default()), None),
            Mark::Outline(_, width) => (
                None,
                Some(Stroke {
                    width: *width,
                    ..Stroke::default()
                }),
            ),
        };
        surface.set_fill(fill);
        surface.set_stroke(stroke);
        match mark {
            Mark::Outline(path, _) | Mark::Filled(path) => surface.draw_path(path),
            Mark::Line { at, style, text } => surface.draw_text(
                *at,
                style.weight(&self.typeface).font(),
                style.size(self.paper),
                text,
                false,
                TextDirection::Auto,
            ),
        }
    }
}

/// A circle of four cubic curves. The handles are (4/3)·tan(π/8) of the radius long, which leaves it round to a part in four
/// thousand (Riškus 2006, "Approximation of a cubic Bézier curve by circular arcs and vice versa", from memory).
fn push_circle(path: &mut PathBuilder, x: f32, y: f32, radius: f32) {
    let handle = radius * 4.0 / 3.0 * (std::f32::consts::PI / 8.0).tan();
    path.move_to(x + radius, y);
    path.cubic_to(
        x + radius,
        y + handle,
        x + handle,
        y + radius,
        x,
        y + radius,
    );
    path.cubic_to(
        x - handle,
        y + radius,
        x - radius,
        y + handle,
        x - radius,
        y,
    );
    path.cubic_to(
        x - radius,
        y - handle,
        x - handle,
        y - radius,
        x,
        y - radius,
    );
    path.cubic_to(
        x + handle,
        y - radius,
        x + radius,
        y - handle,
        x + radius,
        y,
    );
    path.close();
}

/// A rectangle by its left top corner; one without area is left out.
fn push_rect(path: &mut PathBuilder, x: f32, y: f32, width: f32, height: f32) {
    if let Some(rect) = Rect::from_xywh(x, y, width, height) {
        path.push_rect(rect);
    }
}
