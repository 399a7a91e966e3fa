//! A feature as people write it in one line, and whole castings as a table of such lines.

mod column;
mod table;

pub use column::Column;
pub use table::{Draft, MOST_ROWS, RowFault, draft};

use super::feature::{Face, FeatureKind};
use crate::units::{Code, Fit, FitError, Length, LengthError, LengthUnit, Thread, ThreadError};

/// How deep a feature was said to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SaidDepth {
    /// So deep.
    Deep(Length),
    /// Through.
    Through,
    /// Nothing was said; that is never taken for through.
    NotSaid,
}

/// What one line says of a feature; `None` where it says nothing of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// The face.
    pub face: Option<Face>,
    /// The label of the spot, where one follows the face.
    pub label: Option<String>,
    /// How many alike.
    pub count: Option<u32>,
    /// What it is.
    pub kind: Option<FeatureKind>,
    /// Its diameter; that of its thread where it has one.
    pub size: Option<Length>,
    /// Its thread.
    pub thread: Option<Thread>,
    /// Its fit.
    pub fit: Option<Fit>,
    /// Its depth.
    pub depth: SaidDepth,
}

/// Why a line is not understood.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SaidError {
    /// A thread that does not read.
    #[error(transparent)]
    Thread(#[from] ThreadError),
    /// A second figure after a thread may be its pitch or its depth.
    #[error("“{0}”: is the last figure a depth? Write “deep” after it")]
    PitchOrDepth(String),
    /// A length that does not read.
    #[error(transparent)]
    Length(#[from] LengthError),
    /// A fit that does not read.
    #[error(transparent)]
    Fit(#[from] FitError),
}

/// The words for a face, the longer ones first.
const FACES: [(&str, Face); 17] = [
    ("crankcase", Face::Crankcase),
    ("flywheel end", Face::Rear),
    ("timing end", Face::Front),
    ("bottom face", Face::Sump),
    ("front face", Face::Front),
    ("right side", Face::Right),
    ("left side", Face::Left),
    ("sump face", Face::Sump),
    ("rear face", Face::Rear),
    ("top face", Face::Deck),
    ("front", Face::Front),
    ("right", Face::Right),
    ("deck", Face::Deck),
    ("left", Face::Left),
    ("rear", Face::Rear),
    ("sump", Face::Sump),
    ("top", Face::Deck),
];

/// The words for a kind, the longer ones first.
const KINDS: [(&str, FeatureKind); 18] = [
    ("core plug bore", FeatureKind::CorePlugBore),
    ("clearance hole", FeatureKind::PlainHole),
    ("drilled hole", FeatureKind::PlainHole),
    ("counterbore", FeatureKind::Counterbore),
    ("tapped hole", FeatureKind::TappedHole),
    ("plain hole", FeatureKind::PlainHole),
    ("dowel hole", FeatureKind::DowelHole),
    ("spot face", FeatureKind::Spotface),
    ("core plug", FeatureKind::CorePlugBore),
    ("seal seat", FeatureKind::SealSeat),
    ("spotface", FeatureKind::Spotface),
    ("register", FeatureKind::Register),
    ("drilled", FeatureKind::PlainHole),
    ("tapped", FeatureKind::TappedHole),
    ("dowel", FeatureKind::DowelHole),
    ("plain", FeatureKind::PlainHole),
    ("bore", FeatureKind::Bore),
    ("hole", FeatureKind::PlainHole),
];

const NUMBERS: [&str; 12] = [
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve",
];

/// A face by its word.
///
/// ```
/// use borewright::castings::{Face, entry::face};
/// assert_eq!(face("Rear face"), Some(Face::Rear));
/// assert_eq!(face("flywheel end"), Some(Face::Rear));
/// assert_eq!(face("inside"), None);
/// ```
#[must_use]
pub fn face(text: &str) -> Option<Face> {
    let text = text.trim().to_ascii_lowercase();
    let known = FACES.iter().find(|(word, _)| *word == text);
    known
        .map(|(_, face)| *face)
        .or_else(|| Face::from_code(&text))
}

/// Reads a line like `rear face, four of M10×22 deep`, `dowel 12 H7 × 15 deep` or `8.5 through`. Bare figures are in `unit`.
///
/// ```
/// use borewright::castings::{Face, FeatureKind, entry::{SaidDepth, said}};
/// use borewright::units::LengthUnit;
///
/// let bolts = said("rear face, four of M10×22 deep", LengthUnit::Mm)?;
/// assert_eq!((bolts.face, bolts.count), (Some(Face::Rear), Some(4)));
/// assert_eq!(bolts.thread.map(|thread| thread.to_string()), Some("M10x1.5".to_owned()));
/// assert_eq!(bolts.depth, SaidDepth::Deep("22".parse()?));
/// let dowel = said("dowel 12 H7 x 15 deep", LengthUnit::Mm)?;
/// assert_eq!(dowel.kind, Some(FeatureKind::DowelHole));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`SaidError`], naming what was not understood.
pub fn said(text: &str, unit: LengthUnit) -> Result<Said, SaidError> {
    let text = text.replace('×', "x").replace(['⌀', 'Ø', 'ø'], " ");
    let (face, label, rest) = leading_place(&text);
    let (depth, rest) = depth(rest, unit)?;
    let (kind, rest) = kind(&rest);
    let (count, rest) = count(&rest);
    let rest = rest.trim_matches([' ', ',', ':', ';']);
    let mut said = Said {
        face,
        label,
        count,
        kind,
        size: None,
        thread: None,
        fit: None,
        depth,
    };
    if rest.is_empty() {
        return Ok(said);
    }
    if is_thread(rest) {
        let thread: Thread = rest.parse().map_err(|why| match why {
            ThreadError::SillyPitch(_) | ThreadError::BadPart { .. }
                if rest.contains(['x', 'X']) =>
            {
                SaidError::PitchOrDepth(rest.to_owned())
            }
            why => why.into(),
        })?;
        said.size = Some(thread.major_diameter());
        said.thread = Some(thread);
        // "Hole" with a thread is a tapped one.
        said.kind = match said.kind {
            None | Some(FeatureKind::PlainHole) => Some(FeatureKind::TappedHole),
            kind => kind,
        };
        return Ok(said);
    }
    let size = match rest.rsplit_once(' ') {
        Some((size, last)) if looks_like_fit(last) => {
            said.fit = Some(last.parse()?);
            size
        }
        _ => rest,
    };
    said.size = Some(Length::parse(size.trim_end_matches([' ', ',']), unit)?);
    if said.kind.is_none() && said.fit.is_none() {
        said.kind = Some(FeatureKind::PlainHole);
    }
    Ok(said)
}

/// The face a line begins with, a label right after it, and the rest.
fn leading_place(text: &str) -> (Option<Face>, Option<String>, &str) {
    let text = text.trim_start();
    let lower = text.to_ascii_lowercase();
    let found = FACES.iter().find(|(word, _)| {
        let rest = lower.strip_prefix(word);
        rest.is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
    });
    let Some((word, face)) = found else {
        return (None, None, text);
    };
    let after_face = text.get(word.len()..).unwrap_or_default();
    match after_face.split_once([',', ':']) {
        Some((label, rest)) => match label.trim() {
            "" => (Some(*face), None, rest),
            label if label.contains(' ') || is_metric(label) => (Some(*face), None, after_face),
            label => (Some(*face), Some(label.to_owned()), rest),
        },
        None => (Some(*face), None, after_face),
    }
}

/// Takes the depth out of a line: `22 deep`, `depth 22`, `through`.
fn depth(text: &str, unit: LengthUnit) -> Result<(SaidDepth, String), SaidError> {
    let lower = text.to_ascii_lowercase();
    for word in ["right through", "through", "thru"] {
        if let Some(at) = lower.find(word) {
            let before = text.get(..at).unwrap_or_default().trim_end();
            let before = before.strip_suffix([',', 'x', 'X']).unwrap_or(before);
            let after = text.get(at + word.len()..).unwrap_or_default();
            return Ok((SaidDepth::Through, format!("{before} {after}")));
        }
    }
    if let Some(at) = lower.find("depth") {
        let figure = text.get(at + "depth".len()..).unwrap_or_default();
        let rest = text.get(..at).unwrap_or_default();
        return Ok((
            SaidDepth::Deep(Length::parse(figure, unit)?),
            rest.to_owned(),
        ));
    }
    let Some(at) = lower.find("deep") else {
        return Ok((SaidDepth::NotSaid, text.to_owned()));
    };
    let before = text.get(..at).unwrap_or_default().trim_end();
    let after = text.get(at + "deep".len()..).unwrap_or_default();
    let mut from = last_length(before);
    let head = before.get(..from).unwrap_or_default();
    // The 7 of "H7" is no depth.
    if head.ends_with(|c: char| c.is_ascii_alphabetic() && !matches!(c, 'x' | 'X')) {
        from = before.len();
    }
    let figure = before.get(from..).unwrap_or_default();
    let rest = before.get(..from).unwrap_or_default().trim_end();
    let rest = rest.strip_suffix(['x', 'X', ',']).unwrap_or(rest);
    Ok((
        SaidDepth::Deep(Length::parse(figure, unit)?),
        format!("{rest} {after}"),
    ))
}

/// Where the length begins with which a text ends: `22`, `22 mm`, `7/8 in`, `1 3/8 in`.
fn last_length(text: &str) -> usize {
    let is_figure = |c: char| c.is_ascii_digit() || matches!(c, '.' | '/');
    let units = ["mm", "inches", "inch", "in", "thou", "\"", "”", "″"];
    let bare = units.iter().find_map(|unit| text.strip_suffix(unit));
    let bare = bare.unwrap_or(text).trim_end();
    let figure = bare.trim_end_matches(is_figure);
    // A whole number before a fraction belongs to it.
    let fraction = bare.get(figure.len()..).is_some_and(|f| f.contains('/'));
    let whole = figure.trim_end();
    if fraction && whole.len() < figure.len() && whole.ends_with(|c: char| c.is_ascii_digit()) {
        return whole.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    }
    figure.len()
}

/// Takes the kind out of a line.
fn kind(text: &str) -> (Option<FeatureKind>, String) {
    let lower = text.to_ascii_lowercase();
    let found = KINDS
        .iter()
        .find_map(|(word, kind)| Some((lower.split_once(word)?, *kind)));
    let Some(((before, after), kind)) = found else {
        return (None, text.to_owned());
    };
    // Of several, with the s of the plural.
    let before = text.get(..before.len()).unwrap_or_default();
    let after = text.get(text.len() - after.len()..).unwrap_or_default();
    let after = match after.strip_prefix('s') {
        Some(rest) if !rest.starts_with(char::is_alphanumeric) => rest,
        _ => after,
    };
    (Some(kind), format!("{before} {after}"))
}

/// Takes the count from the head of a line: `four of`, `4 off`, `4x`, `4 x`.
fn count(text: &str) -> (Option<u32>, String) {
    let text = text.trim_start_matches([' ', ',', ':']);
    let lower = text.to_ascii_lowercase();
    let word = NUMBERS.iter().zip(1..).find(|(word, _)| {
        let rest = lower.strip_prefix(*word);
        rest.is_some_and(|rest| rest.starts_with(' '))
    });
    let (count, length) = match word {
        Some((word, count)) => (count, word.len()),
        None => {
            let length = lower.len() - lower.trim_start_matches(|c: char| c.is_ascii_digit()).len();
            match lower.get(..length).map(str::parse) {
                Some(Ok(count)) => (count, length),
                _ => return (None, text.to_owned()),
            }
        }
    };
    let rest = text.get(length..).unwrap_or_default().trim_start();
    let of = ["of ", "off ", "no. ", "x "];
    let lower = rest.to_ascii_lowercase();
    if let Some(of) = of.iter().find(|of| lower.starts_with(**of)) {
        return (
            Some(count),
            rest.get(of.len()..).unwrap_or_default().to_owned(),
        );
    }
    // "4xM10", but not the "12x" of a size.
    let before_thread = rest.strip_prefix(['x', 'X']).filter(|rest| is_thread(rest));
    match (before_thread, word) {
        (Some(rest), _) => (Some(count), rest.to_owned()),
        (None, Some(_)) => (Some(count), rest.to_owned()),
        (None, None) if is_thread(rest) && rest.starts_with(['M', 'm', 'G', 'g']) => {
            (Some(count), rest.to_owned())
        }
        (None, None) => (None, text.to_owned()),
    }
}

/// Whether it is a metric thread rather than the label of a spot: `M10`, but not `R7`.
fn is_metric(text: &str) -> bool {
    text.starts_with(['M', 'm']) && text.parse::<Thread>().is_ok()
}

/// Whether it is written as a thread, well or badly.
fn is_thread(text: &str) -> bool {
    let upper = text.trim().to_ascii_uppercase();
    let then_digit = |prefix: char| {
        let rest = upper.strip_prefix(prefix);
        rest.is_some_and(|rest| rest.trim_start().starts_with(|c: char| c.is_ascii_digit()))
    };
    let series = ["UN", "BSP", "BSW", "BSF", "WHIT", "NPT"];
    then_digit('M')
        || then_digit('G')
        || then_digit('R')
        || series.iter().any(|s| upper.contains(s))
}

/// One or two letters and one or two digits, as `H7`.
fn looks_like_fit(text: &str) -> bool {
    let digits = text.trim_start_matches(|c: char| c.is_ascii_alphabetic());
    let letters = text.len() - digits.len();
    (1..=2).contains(&letters)
        && (1..=2).contains(&digits.len())
        && digits.chars().all(|c| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str) -> Said {
        said(text, LengthUnit::Mm).unwrap()
    }

    fn mm(text: &str) -> Length {
        text.parse().unwrap()
    }

    #[test]
    fn lines_read_as_people_write_them() {
        let deep = |figure: &str| SaidDepth::Deep(mm(figure));
        for text in [
            "rear face, four of M10x22 deep",
            "Rear, 4 off M10 × 22 deep",
            "rear: 4xM10 x 22mm deep",
            "rear face four of tapped holes M10, depth 22",
        ] {
            let said = read(text);
            assert_eq!(said.face, Some(Face::Rear), "{text}");
            assert_eq!(said.count, Some(4), "{text}");
            assert_eq!(
                said.thread.map(|t| t.to_string()).as_deref(),
                Some("M10x1.5"),
                "{text}"
            );
            assert_eq!(
                (said.kind, said.size),
                (Some(FeatureKind::TappedHole), Some(mm("10"))),
                "{text}"
            );
            assert_eq!(said.depth, deep("22"), "{text}");
        }
        let labelled = read("sump S3, M12x1.75 x 28 deep");
        assert_eq!(
            (labelled.face, labelled.label.as_deref()),
            (Some(Face::Sump), Some("S3"))
        );
        assert_eq!(labelled.thread.unwrap().to_string(), "M12x1.75");
        let dowel = read("dowel 12 H7 x 15 deep");
        assert_eq!(
            (dowel.kind, dowel.size),
            (Some(FeatureKind::DowelHole), Some(mm("12")))
        );
        assert_eq!(
            (dowel.fit.unwrap().to_string().as_str(), dowel.depth),
            ("H7", deep("15"))
        );
        let plain = read("8.5 through");
        assert_eq!(
            (plain.kind, plain.size),
            (Some(FeatureKind::PlainHole), Some(mm("8.5")))
        );
        assert_eq!((plain.depth, plain.count), (SaidDepth::Through, None));
        let inch = read("left side, plain hole 1 3/8 in x 1 1/2 in deep");
        assert_eq!((inch.size, inch.depth), (Some(mm("34.925")), deep("38.1")));
        let pipe = read("G 1/4 through");
        assert_eq!(pipe.kind, Some(FeatureKind::TappedHole));
        let two = read("two 1/2-13 UNC x 1 in deep");
        assert_eq!((two.count, two.depth), (Some(2), deep("25.4")));
        let bore = read("crankcase, five bores 68 H6 through");
        assert_eq!((bore.count, bore.kind), (Some(5), Some(FeatureKind::Bore)));
        assert_eq!(
            read("M8").depth,
            SaidDepth::NotSaid,
            "never silently through"
        );
        assert_eq!(
            read("45 H7").kind,
            None,
            "a fit alone does not say what it is"
        );
    }

    #[test]
    fn what_could_mean_two_things_is_asked() {
        let error = |text: &str| said(text, LengthUnit::Mm).unwrap_err().to_string();
        assert!(error("M10x22").contains("Write “deep” after it"));
        assert!(error("M10x1.5x22").contains("Write “deep” after it"));
        assert!(error("twelve").contains("twelve"));
        assert!(error("12 H44 through").contains("44"));
        assert!(error("12 Y7").contains('Y'));
        assert!(
            said("12 H7 deep", LengthUnit::Mm).is_err(),
            "the 7 is no depth"
        );
    }

    proptest! {
        /// Whatever is typed, it reads or says why not.
        #[test]
        fn nothing_typed_breaks_it(text in "[a-zA-Z0-9×⌀ .,/\"xX:é-]{0,40}") {
            let _ = said(&text, LengthUnit::Mm).map_err(|why| why.to_string());
        }

        /// What is written out in this way reads back.
        #[test]
        fn a_written_feature_reads_back(count in 1..60u32, size in 2..200u32, depth in 1..300u32, kind in 0..4usize) {
            let kinds = [FeatureKind::PlainHole, FeatureKind::Bore, FeatureKind::Register, FeatureKind::Counterbore];
            let text = format!("rear face, {count} of {} {size} x {depth} deep", kinds[kind]);
            let said = read(&text);
            prop_assert_eq!(said.count, Some(count));
            prop_assert_eq!(said.kind, Some(kinds[kind]));
            prop_assert_eq!(said.size, Some(mm(&size.to_string())));
            prop_assert_eq!(said.depth, SaidDepth::Deep(mm(&depth.to_string())));
        }
    }
}
