//! Reading thread designations.

use super::{Class, Pitch, Series, Size, Thread, ThreadError, pipe, tables};
use rust_decimal::Decimal;
use std::str::FromStr;

impl Thread {
    /// The same thread, brought back by a wire insert; `None` where none is known for it.
    fn with_insert(self) -> Option<Self> {
        let known = matches!(self.series, Series::Metric | Series::Unc | Series::Unf);
        (known && !self.insert).then_some(Self {
            insert: true,
            ..self
        })
    }
}

impl FromStr for Thread {
    type Err = ThreadError;

    fn from_str(text: &str) -> Result<Self, ThreadError> {
        let typed = text.trim();
        let reader = Reader { typed };
        if typed.is_empty() || typed.len() > 40 || !typed.chars().all(is_thread_character) {
            return Err(reader.not_understood());
        }
        if let Some(inner) = without_insert(typed) {
            let thread: Thread = inner.parse()?;
            return thread
                .with_insert()
                .ok_or_else(|| ThreadError::NoInsert(typed.to_owned()));
        }
        let upper = typed.to_ascii_uppercase();
        let followed_by_size = |prefix: char| {
            upper
                .strip_prefix(prefix)
                .is_some_and(|rest| rest.trim_start().starts_with(|c: char| c.is_ascii_digit()))
        };
        if followed_by_size('M') {
            return reader.metric(typed.get(1..).unwrap_or_default());
        }
        for (name, series) in [("RC", Series::Rc), ("RP", Series::Rp)] {
            if let Some(size) = upper.strip_prefix(name) {
                return reader.inch(series, size, "");
            }
        }
        if followed_by_size('R') {
            return Err(ThreadError::Outside(typed.to_owned()));
        }
        if ["NPTF", "NPTR", "NPS"]
            .iter()
            .any(|other| upper.contains(other))
        {
            return Err(ThreadError::OtherPipe(typed.to_owned()));
        }
        if followed_by_size('G') {
            let rest = typed.get(1..).unwrap_or_default().trim();
            let (size, class) = match rest.strip_suffix(['A', 'a', 'B', 'b']) {
                Some(size) => (
                    size,
                    rest.get(size.len()..)
                        .unwrap_or_default()
                        .to_ascii_uppercase(),
                ),
                None => (rest, String::new()),
            };
            return reader.inch(Series::G, size, &class);
        }
        // The longer names first: UNC is found before UN.
        for (name, series) in [
            ("UNEF", Series::Unef),
            ("UNC", Series::Unc),
            ("UNF", Series::Unf),
            ("UNS", Series::Uns),
            ("UN", Series::Un),
            ("NPT", Series::Npt),
            ("BSPT", Series::Rc),
            ("BSPP", Series::G),
            ("BSP", Series::G),
            ("BSW", Series::Bsw),
            ("WHITWORTH", Series::Bsw),
            ("WHIT", Series::Bsw),
            ("BSF", Series::Bsf),
        ] {
            if let Some(at) = upper.find(name) {
                let size = typed.get(..at).unwrap_or_default();
                let class = typed.get(at + name.len()..).unwrap_or_default().trim();
                let class = class.strip_prefix('-').unwrap_or(class).trim();
                return reader.inch(series, size, &class.to_ascii_uppercase());
            }
        }
        Err(reader.not_understood())
    }
}

/// What a thread is called without the word that says it is tapped for a wire insert: `M10 insert`, `M10 STI` (screw
/// thread insert), `EG M10` (DIN 8140). `None` where it is not.
fn without_insert(typed: &str) -> Option<&str> {
    let upper = typed.to_ascii_uppercase();
    let behind = ["INSERT", "STI"]
        .iter()
        .find_map(|word| upper.strip_suffix(word))
        .and_then(|rest| typed.get(..rest.len()));
    let before = upper
        .strip_prefix("EG ")
        .and_then(|rest| typed.get(typed.len() - rest.len()..));
    behind.or(before).map(str::trim)
}

fn is_thread_character(c: char) -> bool {
    c.is_ascii_alphanumeric() || " .-/#\"×".contains(c)
}

struct Reader<'a> {
    typed: &'a str,
}

impl Reader<'_> {
    fn not_understood(&self) -> ThreadError {
        ThreadError::NotUnderstood(self.typed.to_owned())
    }

    fn bad(&self, part: &str, expected: &'static str) -> ThreadError {
        ThreadError::BadPart {
            text: self.typed.to_owned(),
            part: part.trim().to_owned(),
            expected,
        }
    }

    /// `10`, `10x1.5`, `10 × 1 - 6H`: what follows the M.
    fn metric(&self, rest: &str) -> Result<Thread, ThreadError> {
        let (dimensions, class) = rest.split_once('-').unwrap_or((rest, ""));
        let class = class.trim();
        let read_class = match rest.contains('-') {
            true if !is_metric_class(class) => None,
            _ => Class::new(class),
        };
        let read_class =
            read_class.ok_or_else(|| self.bad(class, "a tolerance class such as 6H or 6g"))?;
        let (diameter, pitch) = match dimensions.split_once(['x', 'X', '×']) {
            Some((diameter, pitch)) => (diameter, Some(pitch)),
            None => (dimensions, None),
        };
        let nominal = plain_decimal(diameter)
            .filter(|d| *d >= Decimal::ONE && *d <= Decimal::from(300))
            .ok_or_else(|| self.bad(diameter, "a diameter from 1 to 300 mm"))?;
        let pitch = match pitch {
            Some(pitch) => plain_decimal(pitch)
                .filter(|p| !p.is_zero())
                .ok_or_else(|| self.bad(pitch, "a pitch in millimetres"))?,
            None => tables::metric_coarse(nominal).ok_or_else(|| ThreadError::NoStandardPitch {
                series: Series::Metric.name(),
                size: format!("M{}", nominal.normalize()),
            })?,
        };
        // ISO 261 runs from 0.2 to 8 mm, and no thread cuts away more than half the diameter.
        if pitch < Decimal::new(2, 1)
            || pitch > Decimal::from(8)
            || pitch * Decimal::from(3) > nominal
        {
            return Err(ThreadError::SillyPitch(pitch.normalize()));
        }
        Ok(Thread {
            series: Series::Metric,
            size: Size::Mm(nominal.normalize()),
            pitch: Pitch::Mm(pitch.normalize()),
            class: read_class,
            insert: false,
        })
    }

    /// `1/2-13`, `1/2`, `#10-32`, `1-1/8-7`: what stands before the series.
    fn inch(&self, series: Series, text: &str, class: &str) -> Result<Thread, ThreadError> {
        let class = self.inch_class(series, class)?;
        let text = text.replace('"', " ");
        let (numbered, text) = match text.trim().strip_prefix('#') {
            Some(rest) => (true, rest.to_owned()),
            None => (false, text),
        };
        let mut parts = text.split([' ', '-']).filter(|part| !part.is_empty());
        let first = parts.next().ok_or_else(|| self.not_understood())?;
        let mut second = parts.next();
        let mut thirty_seconds = self.thirty_seconds(first)?;
        if let Some(fraction) = second.filter(|part| part.contains('/') && !first.contains('/')) {
            thirty_seconds += self.thirty_seconds(fraction)?;
            second = parts.next();
        }
        if let Some(extra) = parts.next() {
            return Err(self.bad(extra, "part of a thread designation"));
        }
        let tpi = second
            .map(|part| {
                plain_decimal(part)
                    .filter(|tpi| *tpi >= Decimal::TWO && *tpi <= Decimal::from(100))
                    .ok_or_else(|| self.bad(part, "a number of threads per inch"))
            })
            .transpose()?;
        let size = size_in_series(series, numbered, thirty_seconds, tpi);
        let standard = match size {
            None => None,
            Some(Size::Number(n)) => match series {
                Series::Unc => tables::find(&tables::UNC_NUMBERED, n),
                _ => tables::find(&tables::UNF_NUMBERED, n),
            }
            .map(Decimal::from),
            Some(_) => standard_tpi(series, thirty_seconds),
        };
        let fixed_series = !matches!(series, Series::Unef | Series::Un | Series::Uns);
        let written = if numbered {
            format!("#{first}")
        } else {
            Size::ThirtySeconds(thirty_seconds).to_string()
        };
        let (Some(size), true) = (size, standard.is_some() || !fixed_series) else {
            return Err(ThreadError::NoSuchSize {
                series: series.name(),
                size: written,
            });
        };
        let tpi = match (standard.filter(|_| fixed_series), tpi) {
            (Some(standard), Some(typed)) if typed != standard => {
                return Err(ThreadError::OtherPitch {
                    series: series.name(),
                    size: written,
                    standard: standard.normalize(),
                    typed: typed.normalize(),
                });
            }
            (Some(standard), _) => standard,
            (None, Some(typed)) => typed,
            (None, None) => {
                return Err(ThreadError::NoStandardPitch {
                    series: series.name(),
                    size: written,
                });
            }
        };
        let thread = Thread {
            series,
            size,
            pitch: Pitch::PerInch(tpi.normalize()),
            class,
            insert: false,
        };
        if thread.pitch_mm() * Decimal::from(3) > thread.major_diameter().mm() {
            return Err(ThreadError::SillyPitch(thread.pitch().mm()));
        }
        Ok(thread)
    }

    fn inch_class(&self, series: Series, class: &str) -> Result<Class, ThreadError> {
        let known = match series {
            Series::G => matches!(class, "" | "A" | "B"),
            Series::Bsw | Series::Bsf | Series::Rc | Series::Rp | Series::Npt => class.is_empty(),
            _ => matches!(class, "" | "1A" | "2A" | "3A" | "1B" | "2B" | "3B"),
        };
        Class::new(class)
            .filter(|_| known)
            .ok_or_else(|| self.bad(class, "a tolerance class of that series"))
    }

    /// A whole number or a fraction of inches, in thirty-seconds; up to 6 in, and the numbered sizes up to 12.
    fn thirty_seconds(&self, part: &str) -> Result<u32, ThreadError> {
        let bad = || {
            self.bad(
                part,
                "a size in inches and fractions down to 1/32, or a numbered size",
            )
        };
        let number = |digits: &str| -> Result<u32, ThreadError> {
            digits
                .parse::<u32>()
                .ok()
                .filter(|n| *n < 1000)
                .ok_or_else(bad)
        };
        let (above, below) = match part.split_once('/') {
            Some((above, below)) => (number(above)?, number(below)?),
            None => (number(part)?, 1),
        };
        if below == 0 || 32 % below != 0 {
            return Err(bad());
        }
        let thirty_seconds = above * (32 / below);
        if thirty_seconds > 12 * 32 {
            return Err(bad());
        }
        Ok(thirty_seconds)
    }
}

/// Threads per inch of a standard size, for the series that fix them.
fn standard_tpi(series: Series, thirty_seconds: u32) -> Option<Decimal> {
    let doubled = match series {
        Series::Unc => tables::find(&tables::UNC, thirty_seconds),
        Series::Unf => tables::find(&tables::UNF, thirty_seconds),
        Series::Bsw => tables::find(&tables::BSW, thirty_seconds),
        Series::Bsf => tables::find(&tables::BSF, thirty_seconds),
        Series::G => tables::G
            .iter()
            .find(|row| row.0 == thirty_seconds)
            .map(|row| row.1 * 2),
        Series::Npt => pipe::npt(thirty_seconds).map(|row| row.threads_doubled),
        Series::Rc | Series::Rp => pipe::iso7(thirty_seconds).and_then(|_| {
            let row = tables::G.iter().find(|row| row.0 == thirty_seconds);
            row.map(|row| row.1 * 2)
        }),
        _ => None,
    };
    doubled.map(|tpi| Decimal::from(tpi) / Decimal::TWO)
}

/// A whole number without `#` may be inches or a numbered Unified size: `1-8 UNC` is one inch, `1-64 UNC` and `10-32 UNF`
/// are numbered. What the series lists decides, inches first.
fn size_in_series(
    series: Series,
    numbered: bool,
    thirty_seconds: u32,
    tpi: Option<Decimal>,
) -> Option<Size> {
    let inches = Size::ThirtySeconds(thirty_seconds);
    let number = thirty_seconds
        .is_multiple_of(32)
        .then_some(thirty_seconds / 32)
        .filter(|n| *n <= 12)
        .map(Size::Number);
    let unified = matches!(
        series,
        Series::Unc | Series::Unf | Series::Unef | Series::Un | Series::Uns
    );
    if numbered {
        return number.filter(|_| unified);
    }
    if !unified {
        return (thirty_seconds > 0).then_some(inches);
    }
    let listed = standard_tpi(series, thirty_seconds);
    if listed.is_some() && (tpi.is_none() || tpi == listed) {
        return Some(inches);
    }
    let table: &[(u32, u32)] = match series {
        Series::Unc => &tables::UNC_NUMBERED,
        _ => &tables::UNF_NUMBERED,
    };
    let as_number = number.filter(|size| match size {
        Size::Number(n) => {
            tables::find(table, *n).is_some_and(|t| tpi.is_none_or(|tpi| tpi == Decimal::from(t)))
        }
        _ => false,
    });
    as_number.or((thirty_seconds > 0).then_some(inches))
}

/// A plain positive decimal of at most three places before and four after the point.
fn plain_decimal(text: &str) -> Option<Decimal> {
    let text = text.trim();
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || whole.len() > 3 || fraction.len() > 4 {
        return None;
    }
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    format!("0{whole}.{fraction}0").parse().ok()
}

/// `6H`, `6g`, `5g6g`: one or two grades with their position letters (ISO 965-1).
fn is_metric_class(class: &str) -> bool {
    let bytes = class.as_bytes();
    matches!(bytes.len(), 2 | 4)
        && bytes
            .chunks(2)
            .all(|pair| matches!(pair, [b'3'..=b'9', letter] if b"efghEFGH".contains(letter)))
}
