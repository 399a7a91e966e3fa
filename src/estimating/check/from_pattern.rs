//! Limits that the pattern of a casting gives a check.

use super::{Check, CheckKind};
use crate::castings::measured::Sizes;
use crate::units::Length;
use rust_decimal::Decimal;

impl Check {
    /// Takes the limits that the pattern has, in millimetres, or micrometres for a roughness; where it has none, it is to be
    /// judged by the maker's, and the note says where they can be entered.
    pub(in crate::estimating) fn take_sizes(&mut self, sizes: &Sizes) {
        let (bores, mains, deck) = (&sizes.bores, &sizes.mains, &sizes.deck);
        let (lower, upper) = match self.kind {
            CheckKind::Housing => (mains.smallest, mains.largest),
            CheckKind::HousingOvality => (None, mains.ovality),
            CheckKind::PistonClearance => (bores.piston_least, bores.piston_most),
            CheckKind::BoreTaper => (None, bores.taper),
            CheckKind::BoreOvality => (None, bores.ovality),
            CheckKind::BoreFinish => (bores.finish_least, bores.finish_most),
            CheckKind::BoreSquare => (None, bores.square),
            CheckKind::LinerHeight => (bores.liner_lowest, bores.liner_highest),
            CheckKind::DeckFinish => (deck.finish_least, deck.finish_most),
            CheckKind::ThrustWidth => (mains.thrust_least, mains.thrust_most),
            CheckKind::YesNo
            | CheckKind::OneSided
            | CheckKind::TwoSided
            | CheckKind::Range
            | CheckKind::Fit
            | CheckKind::TorqueBolts
            | CheckKind::TorqueStuds => return,
        };
        // A surface may have a limit on one side alone.
        let rough = matches!(self.kind, CheckKind::BoreFinish | CheckKind::DeckFinish);
        let ranged = match self.kind {
            CheckKind::Housing
            | CheckKind::PistonClearance
            | CheckKind::LinerHeight
            | CheckKind::ThrustWidth => true,
            _ => rough && lower.is_some(),
        };
        if upper.is_none() || ranged && lower.is_none() {
            self.judged("to the maker’s limits; the pattern has no sizes yet");
            return;
        }
        self.kind = if ranged {
            CheckKind::Range
        } else {
            CheckKind::OneSided
        };
        let (factor, unit) = match rough {
            true => (Decimal::ONE_THOUSAND, "µm"),
            false => (Decimal::ONE, "mm"),
        };
        let figure = |length: Length| (length.mm() * factor).normalize();
        self.lower = lower.map(figure);
        self.upper = upper.map(figure);
        unit.clone_into(&mut self.unit);
    }

    /// The checks it is on a route: one for each stage of a torque, in N·m, itself otherwise. Within 4 %, which is what an
    /// indicating or setting torque tool may be off (ISO 6789-1:2017, from memory: ±4 % above 10 N·m for most types).
    pub(in crate::estimating) fn in_stages(mut self, sizes: &Sizes) -> Vec<Self> {
        let stages = match self.kind {
            CheckKind::TorqueBolts => &sizes.mains.bolt_stages,
            CheckKind::TorqueStuds => &sizes.mains.stud_stages,
            _ => return vec![self],
        };
        if stages.is_empty() {
            self.judged("in stages to the maker’s figure; the pattern has no torques yet");
            return vec![self];
        }
        let off = Decimal::new(4, 2);
        let count = stages.len();
        let each = (1..).zip(stages).map(|(number, torque)| Self {
            what: format!("{}, stage {number} of {count}", self.what),
            kind: CheckKind::TwoSided,
            nominal: Some(torque.normalize()),
            lower: Some((torque * (Decimal::ONE - off)).round_dp(1).normalize()),
            upper: Some((torque * (Decimal::ONE + off)).round_dp(1).normalize()),
            unit: "Nm".to_owned(),
            ..self.clone()
        });
        each.collect()
    }
}
