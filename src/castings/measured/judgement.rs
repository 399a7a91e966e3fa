//! What readings say against limits: within them, outside, or not to be said yet.

use crate::castings::words::words;
use crate::units::Length;
use rust_decimal::Decimal;
use std::fmt;
use strum::{EnumString, IntoStaticStr, VariantArray};

/// What is held against a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Quantity {
    /// A reading that was to be taken.
    Reading,
    /// The smallest size of a bore.
    Smallest,
    /// The largest size of a bore.
    Largest,
    /// How far a bore is over its size when new.
    Wear,
    /// Difference of the sizes along a bore.
    Taper,
    /// Difference of the two sizes at one height.
    Ovality,
    /// The thinnest wall after boring.
    Wall,
    /// From one housing to the next, off the line.
    Step,
    /// What was faced off the joint of a cap.
    CapFaced,
    /// How tight a cap sits in its register.
    Register,
    /// Straightness of the whole main line.
    Straightness,
    /// The lowest height of a deck above the main line.
    Height,
    /// Difference of the heights along a deck.
    Along,
    /// Difference of the heights across a deck.
    Across,
    /// Flatness within a stated length.
    FlatStep,
    /// Flatness over the whole face.
    Flat,
    /// How far a piston stands above the deck.
    Protrusion,
    /// Between piston and head, with the gasket pressed.
    Clearance,
    /// Roughness of a surface, Ra.
    Finish,
    /// How far a bore is out of square with the main line, over its length.
    Square,
    /// How far a liner stands above the deck.
    Liner,
    /// Difference of the heights of the liners, round one and from one to the next.
    LinerStep,
    /// The torque plate that the bores are to be measured with.
    TorquePlate,
    /// The whole swing of an indicator when the shaft is turned.
    RunOut,
    /// Width of the thrust bearing's faces.
    Thrust,
    /// The whole swing of an indicator on the face that a gearbox is bolted to.
    FaceRunOut,
    /// The whole swing of an indicator in the bore that a gearbox is centred in.
    BoreRunOut,
}

words!(Quantity {
    Reading = "a reading";
    Smallest = "smallest size";
    Largest = "largest size";
    Wear = "wear";
    Taper = "taper";
    Ovality = "ovality";
    Wall = "wall";
    Step = "step between neighbours";
    CapFaced = "faced off the cap";
    Register = "tightness of the cap in its register";
    Straightness = "straightness of the line";
    Height = "height above the main line";
    Along = "difference along the deck";
    Across = "difference across the deck";
    FlatStep = "flatness within the stated length";
    Flat = "flatness over the whole deck";
    Protrusion = "piston height";
    Clearance = "piston clearance";
    Finish = "surface finish Ra";
    Square = "out of square with the main line";
    Liner = "liner above the deck";
    LinerStep = "difference of the liners";
    TorquePlate = "torque plate";
    RunOut = "run-out";
    Thrust = "width of the thrust faces";
    FaceRunOut = "run-out of the face";
    BoreRunOut = "run-out of the bore";
});

/// The piece a number counts.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray,
)]
#[strum(serialize_all = "snake_case")]
pub enum Part {
    /// None: it is said of the whole.
    #[default]
    Whole,
    /// A cylinder bore.
    Bore,
    /// A main bearing housing or a main journal.
    Main,
    /// A cylinder with its piston.
    Cylinder,
    /// A big-end pin.
    Pin,
    /// A bore of the cam tunnel.
    Tunnel,
    /// A cam bush.
    Bush,
    /// A lifter bore.
    Lifter,
    /// The hole of a dowel.
    DowelHole,
    /// A dowel.
    Dowel,
}

words!(Part {
    Whole = "whole";
    Bore = "bore";
    Main = "main";
    Cylinder = "cylinder";
    Pin = "pin";
    Tunnel = "cam tunnel";
    Bush = "cam bush";
    Lifter = "lifter bore";
    DowelHole = "dowel hole";
    Dowel = "dowel";
});

/// Something outside its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outside {
    /// What.
    pub what: Quantity,
    /// The piece that `number` counts.
    pub part: Part,
    /// Which of them, counted from one; `None` for the whole.
    pub number: Option<usize>,
    /// What was found.
    pub found: Length,
    /// The limit it is beyond.
    pub limit: Length,
}

/// As it is noted: "bore 2: wear 0.28 mm, limit 0.15 mm"; the piece stands before where there is one. Roughness is in
/// micrometres.
impl fmt::Display for Outside {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(number) = self.number {
            write!(f, "{} {number}: ", self.part)?;
        }
        if self.what == Quantity::Finish {
            let um = |length: Length| (length.mm() * Decimal::ONE_THOUSAND).normalize();
            let (found, limit) = (um(self.found), um(self.limit));
            return write!(f, "{} {found} µm, limit {limit} µm", self.what);
        }
        write!(f, "{} {}, limit {}", self.what, self.found, self.limit)
    }
}

/// A verdict in one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Verdict {
    /// Everything was measured, everything has a limit and is within it.
    Within,
    /// Something is outside.
    Outside,
    /// Nothing is outside, but a reading or a limit is missing.
    Open,
}

/// What a record says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Judgement {
    /// What is outside, in the order of the table.
    pub outside: Vec<Outside>,
    /// What has no limit, or was not measured everywhere; each once.
    pub missing: Vec<Quantity>,
}

impl Judgement {
    /// In one word.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        match (self.outside.is_empty(), self.missing.is_empty()) {
            (false, _) => Verdict::Outside,
            (true, true) => Verdict::Within,
            (true, false) => Verdict::Open,
        }
    }

    pub(super) fn lacks(&mut self, what: Quantity) {
        if !self.missing.contains(&what) {
            self.missing.push(what);
        }
    }

    /// Holds a value against the most it may be.
    pub(super) fn at_most(
        &mut self,
        what: Quantity,
        number: Option<usize>,
        found: Option<Length>,
        limit: Option<Length>,
    ) {
        self.hold(what, number, found, limit, |found, limit| found > limit);
    }

    /// Holds a value against the least it must be.
    pub(super) fn at_least(
        &mut self,
        what: Quantity,
        number: Option<usize>,
        found: Option<Length>,
        limit: Option<Length>,
    ) {
        self.hold(what, number, found, limit, |found, limit| found < limit);
    }

    /// Holds a value against what limits there are, where it is asked for: it is missing where a limit is set and it was not
    /// measured, and its limit is where it was measured and none is set.
    pub(super) fn if_asked(
        &mut self,
        what: Quantity,
        number: Option<usize>,
        found: Option<Length>,
        (least, most): (Option<Length>, Option<Length>),
    ) {
        if least.is_some() {
            self.at_least(what, number, found, least);
        }
        if most.is_some() || least.is_none() && found.is_some() {
            self.at_most(what, number, found, most);
        }
    }

    /// Says which piece the numbers count.
    #[must_use]
    pub(super) fn of(mut self, part: Part) -> Self {
        let numbered = self.outside.iter_mut().filter(|one| one.number.is_some());
        numbered.for_each(|one| one.part = part);
        self
    }

    fn hold(
        &mut self,
        what: Quantity,
        number: Option<usize>,
        found: Option<Length>,
        limit: Option<Length>,
        is_outside: impl FnOnce(Length, Length) -> bool,
    ) {
        match (found, limit) {
            (None, _) => self.lacks(Quantity::Reading),
            (Some(_), None) => self.lacks(what),
            (Some(found), Some(limit)) => {
                if is_outside(found, limit) {
                    self.outside.push(Outside {
                        what,
                        part: Part::Whole,
                        number,
                        found,
                        limit,
                    });
                }
            }
        }
    }

    pub(super) fn add(&mut self, other: Self) {
        self.outside.extend(other.outside);
        for what in other.missing {
            self.lacks(what);
        }
    }
}
