//! What is wrong with the sizes of a pattern, each beside the field it is in.

use super::Sizes;
use crate::units::Length;
use rust_decimal::Decimal;

/// What is wrong with sizes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SizeFault {
    /// Not more than nought.
    #[error("Enter more than 0")]
    NotPositive(&'static str),
    /// A largest below its smallest.
    #[error("Enter at least the smallest")]
    Crossed(&'static str),
    /// Oversizes that do not grow.
    #[error("Enter sizes of more than 0, from small to large, each once")]
    Steps(&'static str),
    /// Torques that do not grow.
    #[error("Enter torques of more than 0, from small to large")]
    Stages(&'static str),
    /// A tolerance class of a shaft for a hole, or of a hole for a shaft, or one the standard has no limits for at this size.
    #[error("{0}")]
    Fit(&'static str, &'static str),
    /// Neither one size for all cam bearings nor one for each.
    #[error("Enter one size for all, or one for each of the cam bearings")]
    NotEach(&'static str),
    /// Flatness within a length that is not given.
    #[error("Enter the length that the limit holds for")]
    NoLength,
}

impl SizeFault {
    /// The field of the form it is beside.
    #[must_use]
    pub fn field(self) -> &'static str {
        match self {
            Self::NotPositive(field)
            | Self::Crossed(field)
            | Self::Steps(field)
            | Self::NotEach(field)
            | Self::Stages(field)
            | Self::Fit(_, field) => field,
            Self::NoLength => "flat_length",
        }
    }
}

impl Sizes {
    /// What is wrong with them, in the order of the form.
    #[must_use]
    pub fn faults(&self) -> Vec<SizeFault> {
        let (bores, deck, crank, cam) = (&self.bores, &self.deck, &self.crank, &self.cam);
        let not_positive = |(field, value): &(&'static str, Option<Length>)| {
            let wrong = value.is_some_and(|value| value <= Length::ZERO);
            wrong.then_some(SizeFault::NotPositive(field))
        };
        let mut faults: Vec<SizeFault> = (self.of_cylinders().iter())
            .chain(&self.of_block())
            .chain(&self.of_crank())
            .chain(&self.of_cam())
            .filter_map(not_positive)
            .collect();
        faults.extend(self.crossed());
        let steps = [
            ("oversizes", &bores.oversizes),
            ("crank_undersizes", &crank.mains.undersizes),
            ("pin_undersizes", &crank.pins.undersizes),
            ("rear_offsets", &self.rear.offsets),
        ];
        for (field, all) in steps {
            let from_nought = std::iter::once(&Length::ZERO).chain(all);
            if from_nought.zip(all).any(|(one, next)| next <= one) {
                faults.push(SizeFault::Steps(field));
            }
        }
        if deck.flat_step.is_some() && deck.flat_length.is_none() {
            faults.push(SizeFault::NoLength);
        }
        faults.extend(self.of_rear());
        for (field, all) in [("tunnel", &cam.tunnel), ("bush", &cam.bush)] {
            if all.iter().any(|size| *size <= Length::ZERO) {
                faults.push(SizeFault::NotPositive(field));
            }
            let each = usize::try_from(cam.bearings.unwrap_or_default());
            if all.len() > 1 && each.ok() != Some(all.len()) {
                faults.push(SizeFault::NotEach(field));
            }
        }
        faults
    }

    /// A largest beside its smallest.
    fn crossed(&self) -> impl Iterator<Item = SizeFault> {
        let (bores, mains, deck) = (&self.bores, &self.mains, &self.deck);
        let (crank, cam) = (&self.crank, &self.cam);
        let pairs = [
            ("bore_largest", bores.smallest, bores.largest),
            ("piston_most", bores.piston_least, bores.piston_most),
            ("bore_finish_most", bores.finish_least, bores.finish_most),
            ("liner_highest", bores.liner_lowest, bores.liner_highest),
            ("main_largest", mains.smallest, mains.largest),
            (
                "main_register_most",
                mains.register_least,
                mains.register_most,
            ),
            ("main_thrust_most", mains.thrust_least, mains.thrust_most),
            ("piston_highest", deck.piston_lowest, deck.piston_highest),
            ("deck_finish_most", deck.finish_least, deck.finish_most),
            ("crank_largest", crank.mains.smallest, crank.mains.largest),
            ("pin_largest", crank.pins.smallest, crank.pins.largest),
            ("crank_thrust_most", crank.thrust_least, crank.thrust_most),
            ("lifter_largest", cam.lifter_smallest, cam.lifter_largest),
        ];
        pairs.into_iter().filter_map(|(field, low, high)| {
            let (low, high) = low.zip(high)?;
            (high < low).then_some(SizeFault::Crossed(field))
        })
    }

    /// Torques, and the classes of dowel and hole.
    fn of_rear(&self) -> Vec<SizeFault> {
        let (mains, rear) = (&self.mains, &self.rear);
        let mut faults = Vec::new();
        for (field, all) in [
            ("bolt_stages", &mains.bolt_stages),
            ("stud_stages", &mains.stud_stages),
        ] {
            let from_nought = std::iter::once(&Decimal::ZERO).chain(all);
            if from_nought.zip(all).any(|(one, next)| next <= one) {
                faults.push(SizeFault::Stages(field));
            }
        }
        let positive = [
            ("rear_face", rear.face_run_out),
            ("rear_bore", rear.bore_run_out),
            ("rear_dowel", rear.dowel),
        ];
        let wrong = positive
            .iter()
            .filter(|(_, value)| value.is_some_and(|value| value <= Length::ZERO));
        faults.extend(wrong.map(|(field, _)| SizeFault::NotPositive(field)));
        let classes = [
            (
                "rear_hole_fit",
                rear.hole_fit,
                true,
                "Enter the class of a hole, for example H7",
            ),
            (
                "rear_pin_fit",
                rear.pin_fit,
                false,
                "Enter the class of a shaft, for example m6",
            ),
        ];
        for (field, fit, hole, how) in classes {
            let Some(fit) = fit else { continue };
            let unknown = rear.dowel.is_some_and(|size| fit.limits(size).is_err());
            if fit.is_hole() != hole {
                faults.push(SizeFault::Fit(how, field));
            } else if unknown {
                let how = "The standard has no limits of this class at this size";
                faults.push(SizeFault::Fit(how, field));
            }
        }
        faults
    }

    fn of_cylinders(&self) -> [(&'static str, Option<Length>); 13] {
        let bores = &self.bores;
        [
            ("bore_smallest", bores.smallest),
            ("bore_largest", bores.largest),
            ("bore_wear", bores.wear),
            ("bore_taper", bores.taper),
            ("bore_ovality", bores.ovality),
            ("bore_clean_up", bores.clean_up),
            ("bore_wall", bores.wall),
            ("piston_least", bores.piston_least),
            ("piston_most", bores.piston_most),
            ("bore_finish_least", bores.finish_least),
            ("bore_finish_most", bores.finish_most),
            ("bore_square", bores.square),
            ("liner_step", bores.liner_step),
        ]
    }

    fn of_block(&self) -> [(&'static str, Option<Length>); 20] {
        let (mains, deck) = (&self.mains, &self.deck);
        [
            ("main_smallest", mains.smallest),
            ("main_largest", mains.largest),
            ("main_taper", mains.taper),
            ("main_ovality", mains.ovality),
            ("main_step", mains.step),
            ("main_line", mains.line),
            ("main_faced", mains.faced),
            ("main_thrust_least", mains.thrust_least),
            ("main_thrust_most", mains.thrust_most),
            ("deck_least", deck.least),
            ("deck_along", deck.along),
            ("deck_across", deck.across),
            ("flat_step", deck.flat_step),
            ("flat_length", deck.flat_length),
            ("flat", deck.flat),
            ("deck_clean_up", deck.clean_up),
            ("gasket", deck.gasket),
            ("clearance", deck.clearance),
            ("deck_finish_least", deck.finish_least),
            ("deck_finish_most", deck.finish_most),
        ]
    }

    fn of_crank(&self) -> [(&'static str, Option<Length>); 15] {
        let (mains, pins) = (&self.crank.mains, &self.crank.pins);
        [
            ("crank_smallest", mains.smallest),
            ("crank_largest", mains.largest),
            ("crank_wear", mains.wear),
            ("crank_taper", mains.taper),
            ("crank_ovality", mains.ovality),
            ("crank_clean_up", mains.clean_up),
            ("crank_run_out", self.crank.run_out),
            ("crank_thrust_least", self.crank.thrust_least),
            ("crank_thrust_most", self.crank.thrust_most),
            ("pin_smallest", pins.smallest),
            ("pin_largest", pins.largest),
            ("pin_wear", pins.wear),
            ("pin_taper", pins.taper),
            ("pin_ovality", pins.ovality),
            ("pin_clean_up", pins.clean_up),
        ]
    }

    fn of_cam(&self) -> [(&'static str, Option<Length>); 11] {
        let cam = &self.cam;
        [
            ("tunnel_tolerance", cam.tunnel_tolerance),
            ("bush_tolerance", cam.bush_tolerance),
            ("bush_wear", cam.bush_wear),
            ("cam_ovality", cam.ovality),
            ("cam_step", cam.step),
            ("cam_line", cam.line),
            ("lifter_smallest", cam.lifter_smallest),
            ("lifter_largest", cam.lifter_largest),
            ("lifter_wear", cam.lifter_wear),
            ("lifter_taper", cam.lifter_taper),
            ("lifter_ovality", cam.lifter_ovality),
        ]
    }
}
