//! A sheet of paper, written from the top down.
//!
//! The text is set in Helvetica, one of the fonts every PDF reader has (ISO 32000-1, 9.6.2.2, from memory), so nothing
//! is embedded and a card is a few kilobytes. Those fonts know the characters of Windows-1252; any other is written as a
//! question mark.

use super::qr::Code;
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str};

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
}

/// Points in a millimetre: an inch is 72 points.
const MM: f32 = 72.0 / 25.4;

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

    fn font(self) -> Name<'static> {
        match self {
            Self::Title | Self::Heading => Name(b"Bold"),
            Self::Text | Self::Small => Name(b"Plain"),
        }
    }
}

/// Height of a trial sheet, in points: more than anything that belongs together.
const ENDLESS: f32 = 100_000.0;

/// A sheet while it is being set.
pub(super) struct Sheet {
    paper: Paper,
    pages: Vec<Content>,
    page: Content,
    y: f32,
    /// Kept free at the right, for a QR code, down to this height.
    beside: Option<(f32, f32)>,
}

impl Sheet {
    pub(super) fn new(paper: Paper) -> Self {
        Self {
            paper,
            pages: Vec::new(),
            page: Content::new(),
            y: paper.size().1 - paper.margin(),
            beside: None,
        }
    }

    /// Sets what belongs together, on the next page when this one has no room for all of it. What is longer than a page
    /// begins here and goes on there.
    pub(super) fn together(
        &mut self,
        set: impl Fn(&mut Self) -> Result<(), SheetError>,
    ) -> Result<(), SheetError> {
        let mut trial = Self {
            y: ENDLESS,
            ..Self::new(self.paper)
        };
        set(&mut trial)?;
        let height = ENDLESS - trial.y;
        let margin = self.paper.margin();
        if self.y - height < margin && height <= self.paper.size().1 - 2.0 * margin {
            self.turn();
        }
        set(self)
    }

    fn turn(&mut self) {
        self.pages
            .push(std::mem::replace(&mut self.page, Content::new()));
        self.y = self.paper.size().1 - self.paper.margin();
        self.beside = None;
    }

    pub(super) fn gap(&mut self, lines: f32) {
        self.y -= lines * self.paper.text() * 1.35;
    }

    /// A line across the page.
    pub(super) fn rule(&mut self) {
        let (margin, width) = (self.paper.margin(), self.paper.size().0);
        self.below_code();
        self.gap(0.4);
        self.page.set_line_width(0.5);
        self.page.move_to(margin, self.y);
        self.page.line_to(width - margin, self.y);
        self.page.stroke();
        self.gap(0.9);
    }

    /// Goes below a code that stands at the right.
    pub(super) fn below_code(&mut self) {
        if let Some((_, down_to)) = self.beside.take() {
            self.y = self.y.min(down_to);
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
            if self.y - leading < margin {
                self.turn();
            }
            if self.beside.is_some_and(|(_, down_to)| self.y <= down_to) {
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
                if !line.is_empty() && width(&longer, style) * size > room {
                    break;
                }
                line = longer;
                words.next();
            }
            self.y -= leading;
            self.page.begin_text();
            self.page.set_font(style.font(), size);
            self.page.next_line(x, self.y);
            self.page.show(Str(&encoded(&line)));
            self.page.end_text();
        }
    }

    /// A box to tick, and what it is for.
    pub(super) fn tick(&mut self, text: &str) {
        if self.y - self.paper.text() * 1.35 < self.paper.margin() {
            self.turn();
        }
        let size = self.paper.text() * 0.9;
        let x = self.paper.margin() + 2.0 * MM;
        self.page.set_line_width(0.7);
        self.page
            .rect(x, self.y - self.paper.text() * 1.2, size, size);
        self.page.stroke();
        self.paragraph(Style::Text, 8.0, text);
    }

    /// A QR code of so many millimetres at the right of what follows, its quiet zone included.
    pub(super) fn code(&mut self, address: &str, side_mm: f32) -> Result<(), SheetError> {
        let code = Code::of(address)?;
        let side = side_mm * MM;
        if self.y - side < self.paper.margin() {
            self.turn();
        }
        let (left, top) = (self.paper.size().0 - self.paper.margin() - side, self.y);
        let module = side / code.with_quiet_zone();
        for (column, row) in code.dark() {
            self.page.rect(
                left + column * module,
                top - (row + 1.0) * module,
                module,
                module,
            );
        }
        self.page.fill_nonzero();
        self.beside = Some((side + 2.0 * MM, top - side));
        Ok(())
    }

    /// The document, with its number on every page.
    pub(super) fn finish(mut self, title: &str) -> Vec<u8> {
        self.turn();
        let (width, height) = self.paper.size();
        let mut pdf = Pdf::new();
        let mut next = 0;
        let mut id = || {
            next += 1;
            Ref::new(next)
        };
        let (catalog, tree, plain, bold, info) = (id(), id(), id(), id(), id());
        let pages: Vec<(Ref, Ref, Content)> = self
            .pages
            .into_iter()
            .map(|content| (id(), id(), content))
            .collect();
        pdf.catalog(catalog).pages(tree);
        pdf.document_info(info).title(pdf_writer::TextStr(title));
        let count = i32::try_from(pages.len()).unwrap_or(i32::MAX);
        pdf.pages(tree)
            .kids(pages.iter().map(|(page, ..)| *page))
            .count(count);
        for (font, name) in [(plain, "Helvetica"), (bold, "Helvetica-Bold")] {
            pdf.type1_font(font)
                .base_font(Name(name.as_bytes()))
                .encoding_predefined(Name(b"WinAnsiEncoding"));
        }
        for (number, (page, content, mut drawn)) in (1..).zip(pages) {
            let small = Style::Small.size(self.paper);
            drawn.begin_text();
            drawn.set_font(Name(b"Plain"), small);
            drawn.next_line(self.paper.margin(), self.paper.margin() * 0.5);
            drawn.show(Str(&encoded(&format!("{title}, page {number} of {count}"))));
            drawn.end_text();
            let mut written = pdf.page(page);
            written
                .media_box(Rect::new(0.0, 0.0, width, height))
                .parent(tree)
                .contents(content);
            written
                .resources()
                .fonts()
                .pair(Name(b"Plain"), plain)
                .pair(Name(b"Bold"), bold);
            written.finish();
            pdf.stream(content, &drawn.finish());
        }
        pdf.finish()
    }
}

/// Advance widths of Helvetica for the characters from space to tilde, in thousandths of the size (Adobe's font metrics
/// of the core fonts, from memory). They serve to break lines; a reader sets the text by its own.
const WIDTHS: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// The width of a text set one point high; bold is taken a tenth wider.
fn width(text: &str, style: Style) -> f32 {
    let thousandths: f32 = text
        .chars()
        .map(|c| {
            let at = usize::try_from(u32::from(c))
                .ok()
                .and_then(|c| c.checked_sub(32));
            f32::from(at.and_then(|at| WIDTHS.get(at)).copied().unwrap_or(600))
        })
        .sum();
    let wider = match style {
        Style::Title | Style::Heading => 1.1,
        Style::Text | Style::Small => 1.0,
    };
    thousandths * wider / 1000.0
}

/// A text in Windows-1252.
fn encoded(text: &str) -> Vec<u8> {
    text.chars()
        .map(|c| match c {
            '\u{20}'..='\u{7e}' | '\u{a0}'..='\u{ff}' => u8::try_from(u32::from(c)).unwrap_or(b'?'),
            '€' => 0x80,
            '…' => 0x85,
            '‘' => 0x91,
            '’' => 0x92,
            '“' => 0x93,
            '”' => 0x94,
            '•' => 0x95,
            '–' => 0x96,
            '—' => 0x97,
            '−' | '‐' => b'-',
            'μ' => 0xb5,
            '⌀' => 0xd8,
            _ => b'?',
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_in_the_readers_own_alphabet() {
        assert_eq!(encoded("ø12 H7 – 25 µm"), b"\xf812 H7 \x96 25 \xb5m");
        assert_eq!(encoded("Ω"), b"?");
        // H 722, e 556, l 222, v 500, e 556, t 278, i 222, c 500, a 556.
        let wide = width("Helvetica", Style::Text);
        assert!((wide - 4.112).abs() < 0.001, "{wide}");
    }
}
