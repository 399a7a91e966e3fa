//! A pattern and its variants as one table: a row for each spot, and a column for each variant that says whether it is
//! machined there.

use super::column::Column;
use super::{Said, SaidDepth, SaidError, face, said};
use crate::castings::fault::Fault;
use crate::castings::pattern::NoMetal;
use crate::castings::{Boss, Face, Feature, Outline, Place, Point};
use crate::units::{Length, LengthError, LengthUnit};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashMap, HashSet};

/// The most rows of one table.
pub const MOST_ROWS: usize = 400;

/// What a face is drawn larger than the furthest hole measured on it, mm: the outline is a first one, to be corrected.
const ROUND_THE_HOLES_MM: i64 = 20;

/// What is wrong with a row.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RowFault {
    /// A line that does not read.
    #[error(transparent)]
    Said(#[from] SaidError),
    /// A length that does not read.
    #[error(transparent)]
    Length(#[from] LengthError),
    /// No face.
    #[error("say which face: deck, sump, front, rear, left, right or crankcase")]
    NoFace,
    /// A face nobody knows.
    #[error("“{0}” is no face: deck, sump, front, rear, left, right or crankcase")]
    UnknownFace(String),
    /// Neither a size nor a thread.
    #[error("say what size it is, or which thread")]
    NoSize,
    /// A fit alone does not say what is fitted.
    #[error("say what it is: dowel, bore, register, hole, counterbore or spotface")]
    NoKind,
    /// Nothing said of the depth.
    #[error("say how deep it is, or “through”")]
    NoDepth,
    /// One of two distances.
    #[error("enter both distances, or neither")]
    HalfAPosition,
    /// A count that is none.
    #[error("“{0}” is not a count")]
    NotACount(String),
    /// Two rows of one spot.
    #[error("the same spot as in row {0}")]
    Twice(usize),
    /// The metal is said to be less than what is machined in it.
    #[error(transparent)]
    Metal(#[from] NoMetal),
    /// A feature that cannot be.
    #[error(transparent)]
    Feature(#[from] Fault),
}

/// What comes of a table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Draft {
    /// Its headings.
    pub headings: Vec<String>,
    /// What each column holds.
    pub columns: Vec<Column>,
    /// Where there is metal: at every spot, as much as the deepest and widest thing machined there shows, unless the table
    /// says.
    pub bosses: Vec<Boss>,
    /// Faces with a measured position on them, drawn just large enough for it.
    pub outlines: Vec<Outline>,
    /// The variants by name, with what is machined in each.
    pub variants: Vec<(String, Vec<Feature>)>,
    /// What is wrong, by the number of the row, the heading being 1.
    pub faults: Vec<(usize, RowFault)>,
    /// Whether there are more rows than are taken at once.
    pub too_many: bool,
}

impl Draft {
    /// Whether it can be taken in as it is.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
            && !self.too_many
            && !self.variants.is_empty()
            && !self.bosses.is_empty()
    }
}

/// A row as read: its spot, what is machined in each variant, and what its metal takes.
struct Spot {
    row: usize,
    place: Place,
    boss: Boss,
    of_variants: Vec<Option<Feature>>,
}

/// Reads a table. `columns` says what its columns hold; where it does not, the headings are guessed at. A spot without a
/// label gets a number on its face. Bare figures are in `unit`.
#[must_use]
pub fn draft(rows: Vec<Vec<String>>, columns: &[Column], unit: LengthUnit) -> Draft {
    let mut rows = rows.into_iter();
    let headings = rows.next().unwrap_or_default();
    let guessed = headings.iter().enumerate();
    let columns: Vec<Column> = guessed
        .map(|(at, heading)| columns.get(at).copied().unwrap_or(Column::guess(heading)))
        .collect();
    let named = headings.iter().zip(&columns);
    let names: Vec<String> = named
        .filter(|(_, column)| **column == Column::Variant)
        .map(|(name, _)| name.clone())
        .collect();
    let mut draft = Draft {
        variants: names.into_iter().map(|name| (name, Vec::new())).collect(),
        headings,
        columns,
        ..Draft::default()
    };
    let lines: Vec<(usize, Cells)> = (2..)
        .zip(rows)
        .map(|(row, cells)| (row, Cells::of(&draft.columns, cells)))
        .collect();
    draft.too_many = lines.len() > MOST_ROWS;
    let mut labels = Labels::default();
    let mut read = Vec::new();
    for (row, cells) in lines.into_iter().take(MOST_ROWS) {
        match cells.said(unit) {
            Ok(line) => {
                labels.taken(&line);
                read.push((row, cells, line));
            }
            Err(fault) => draft.faults.push((row, fault)),
        }
    }
    let mut spots = Vec::new();
    for (row, cells, line) in read {
        let place = labels.place(&line);
        match cells.spot(row, place, &line, unit) {
            Ok(spot) => spots.push(spot),
            Err(fault) => draft.faults.push((row, fault)),
        }
    }
    draft.fill(spots);
    draft.faults.sort_by_key(|(row, _)| *row);
    draft
}

impl Draft {
    fn fill(&mut self, spots: Vec<Spot>) {
        let mut first: HashMap<Place, usize> = HashMap::new();
        let mut furthest: BTreeMap<Face, Point> = BTreeMap::new();
        for spot in &spots {
            if let Some(row) = first.get(&spot.place) {
                self.faults.push((spot.row, RowFault::Twice(*row)));
            } else {
                first.insert(spot.place.clone(), spot.row);
            }
            for point in spot.of_variants.iter().flatten().filter_map(|f| f.at) {
                let far = furthest.entry(spot.place.face).or_insert(point);
                *far = Point {
                    x: far.x.max(point.x),
                    y: far.y.max(point.y),
                };
            }
        }
        let round = |length: Length| {
            let ten = Decimal::TEN;
            let tens = ((length.mm() + Decimal::from(ROUND_THE_HOLES_MM)) / ten).ceil();
            Length::from_mm(tens * ten)
        };
        let outlines = furthest.into_iter().map(|(face, far)| Outline {
            face,
            width: round(far.x),
            height: round(far.y),
        });
        self.outlines = outlines.collect();
        for spot in spots {
            let outline = self.outlines.iter().find(|o| o.face == spot.place.face);
            let features = spot.of_variants.iter().flatten();
            let faults: Vec<RowFault> = features
                .flat_map(|feature| {
                    let fault = feature.faults(outline).into_iter().next();
                    let metal = spot.boss.takes(feature).err();
                    fault
                        .map(RowFault::from)
                        .into_iter()
                        .chain(metal.map(RowFault::from))
                })
                .take(1)
                .collect();
            self.faults
                .extend(faults.into_iter().map(|fault| (spot.row, fault)));
            for ((_, all), feature) in self.variants.iter_mut().zip(spot.of_variants) {
                all.extend(feature);
            }
            self.bosses.push(spot.boss);
        }
        self.bosses.sort_by(|a, b| a.place.cmp(&b.place));
        for (_, features) in &mut self.variants {
            features.sort_by(|a, b| a.place.cmp(&b.place));
        }
    }
}

/// The labels of a face that are taken, and the next number.
#[derive(Default)]
struct Labels {
    taken: HashSet<(Face, String)>,
    next: HashMap<Face, u32>,
}

impl Labels {
    fn taken(&mut self, line: &Line) {
        if let Some(label) = &line.label {
            self.taken.insert((line.face, label.clone()));
        }
    }

    fn place(&mut self, line: &Line) -> Place {
        if let Some(label) = &line.label {
            return Place::new(line.face, label.clone());
        }
        let next = self.next.entry(line.face).or_insert(1);
        loop {
            let label = next.to_string();
            *next += 1;
            if self.taken.insert((line.face, label.clone())) {
                return Place::new(line.face, label);
            }
        }
    }
}

/// What a row says of its spot before it has a label.
struct Line {
    face: Face,
    label: Option<String>,
    said: Said,
}

/// The cells of a row by what they hold; those of the variants in their order.
struct Cells {
    of: HashMap<Column, String>,
    variants: Vec<String>,
}

impl Cells {
    fn of(columns: &[Column], cells: Vec<String>) -> Self {
        let mut of: HashMap<Column, String> = HashMap::new();
        let mut variants = Vec::new();
        let padded = cells.into_iter().chain(std::iter::repeat_with(String::new));
        for (column, cell) in columns.iter().zip(padded) {
            match column {
                Column::Variant => variants.push(cell),
                Column::Ignore => {}
                _ if cell.is_empty() => {}
                _ => {
                    let joined = of.entry(*column).or_default();
                    if !joined.is_empty() {
                        joined.push(' ');
                    }
                    joined.push_str(&cell);
                }
            }
        }
        Self { of, variants }
    }

    fn get(&self, column: Column) -> &str {
        self.of.get(&column).map_or("", String::as_str)
    }

    fn length(&self, column: Column, unit: LengthUnit) -> Result<Option<Length>, LengthError> {
        match self.get(column) {
            "" => Ok(None),
            text => Length::parse(text, unit).map(Some),
        }
    }

    /// The row read as a line, with its columns in the order one would say them.
    fn said(&self, unit: LengthUnit) -> Result<Line, RowFault> {
        let what = [Column::Feature, Column::Size, Column::Fit].map(|column| self.get(column));
        let mut words: String = what.join(" ").trim().to_owned();
        let depth = self.get(Column::Depth);
        match depth.to_lowercase().as_str() {
            "" => {}
            "through" | "thru" => words.push_str(" through"),
            "deep" => return Err(LengthError::Missing.into()),
            _ => words.push_str(&format!(
                " x {} deep",
                depth.trim_end_matches("deep").trim()
            )),
        }
        let mut said = said(&words, unit)?;
        let count = self.get(Column::Count);
        if !count.is_empty() {
            let bare = count
                .trim_end_matches(['x', 'X'])
                .trim_end_matches("off")
                .trim();
            let count = bare
                .parse()
                .map_err(|_| RowFault::NotACount(count.to_owned()))?;
            said.count = Some(count);
        }
        let face = match self.get(Column::Face) {
            "" => said.face.ok_or(RowFault::NoFace)?,
            text => face(text).ok_or_else(|| RowFault::UnknownFace(text.to_owned()))?,
        };
        let label = match self.get(Column::Label) {
            "" => said.label.clone(),
            label => Some(label.to_owned()),
        };
        Ok(Line { face, label, said })
    }

    fn spot(
        &self,
        row: usize,
        place: Place,
        line: &Line,
        unit: LengthUnit,
    ) -> Result<Spot, RowFault> {
        let at = match (
            self.length(Column::Across, unit)?,
            self.length(Column::Up, unit)?,
        ) {
            (Some(x), Some(y)) => Some(Point { x, y }),
            (None, None) => None,
            _ => return Err(RowFault::HalfAPosition),
        };
        let of_row = |said: &Said| -> Result<Feature, RowFault> {
            Ok(Feature {
                place: place.clone(),
                kind: said.kind.ok_or(RowFault::NoKind)?,
                at,
                size: said.size.ok_or(RowFault::NoSize)?,
                depth: match said.depth {
                    SaidDepth::Deep(depth) => Some(depth),
                    SaidDepth::Through => None,
                    SaidDepth::NotSaid => return Err(RowFault::NoDepth),
                },
                thread: said.thread.clone(),
                fit: said.fit,
                count: said.count.unwrap_or(1),
                note: self.get(Column::Note).to_owned(),
            })
        };
        if line.said.size.is_none() && self.variants.iter().all(|cell| is_no(cell) || is_yes(cell))
        {
            return Err(RowFault::NoSize);
        }
        let mut of_variants = Vec::new();
        for cell in &self.variants {
            of_variants.push(match cell {
                cell if is_no(cell) => None,
                cell if is_yes(cell) => Some(of_row(&line.said)?),
                cell => Some(of_row(&instead(&line.said, said(cell, unit)?))?),
            });
        }
        let mut seen: Vec<Feature> = of_variants.iter().flatten().cloned().collect();
        if seen.is_empty() {
            // A spot that no variant uses shows what the metal takes.
            seen.push(of_row(&line.said)?);
        }
        let deepest = self.get(Column::DeepestMetal);
        let mut boss = Boss {
            largest: seen.iter().map(|f| f.size).max().ok_or(RowFault::NoSize)?,
            through: seen.iter().any(|f| f.depth.is_none()),
            deepest: None,
            place,
        };
        if !boss.through {
            boss.deepest = seen
                .iter()
                .filter_map(|f| Some(f.depths(None)?.bottom()))
                .max();
        }
        if let Some(largest) = self.length(Column::LargestMetal, unit)? {
            boss.largest = largest;
        }
        match deepest.to_lowercase().as_str() {
            "" => {}
            "through" | "thru" => (boss.deepest, boss.through) = (None, true),
            _ => (boss.deepest, boss.through) = (Some(Length::parse(deepest, unit)?), false),
        }
        Ok(Spot {
            row,
            place: boss.place.clone(),
            boss,
            of_variants,
        })
    }
}

/// What a variant's own cell says, and the rest from the row.
fn instead(row: &Said, own: Said) -> Said {
    let resized = own.size.is_some();
    let kind = match own.kind {
        // A bare diameter says nothing of the kind.
        Some(crate::castings::FeatureKind::PlainHole)
            if own.thread.is_none() && row.thread.is_none() =>
        {
            row.kind.or(own.kind)
        }
        kind => kind.or(row.kind),
    };
    Said {
        face: row.face,
        label: row.label.clone(),
        count: own.count.or(row.count),
        kind,
        size: own.size.or(row.size),
        thread: if resized {
            own.thread
        } else {
            row.thread.clone()
        },
        fit: own.fit.or(row.fit.filter(|_| !resized)),
        depth: match own.depth {
            SaidDepth::NotSaid => row.depth,
            depth => depth,
        },
    }
}

/// Whether a cell says that it is not machined.
fn is_no(cell: &str) -> bool {
    matches!(
        cell.trim().to_lowercase().as_str(),
        "" | "-" | "–" | "no" | "n" | "0" | "none"
    )
}

/// Whether a cell says that it is machined as the row says.
fn is_yes(cell: &str) -> bool {
    matches!(
        cell.trim().to_lowercase().as_str(),
        "x" | "yes" | "y" | "1" | "✓" | "✔" | "same"
    )
}

#[cfg(test)]
mod tests;
