//! Work picked from the shop's standard times for a part that no pattern describes: a crankshaft to grind, a head to face,
//! bearings to press in.

use super::cutting_data::CuttingData;
use super::element::{Basis, Element};
use super::made::MadePart;
use super::order::OrderOfWork;
use super::route::Route;
use super::routing::RouteError;
use crate::units::text::uncapitalised;
use serde::Serialize;

/// The most that one line is done in one job.
const MOST: u32 = 10_000;

/// Work picked from the standard times.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct WorkList {
    /// What is worked on, e.g. "Ousel twin crankshaft"; may be empty.
    pub part: String,
    /// Element codes, each with how many times: holes, or parts where an element is once a job, per main or per cylinder.
    pub lines: Vec<(String, u32)>,
    /// Cylinders of the part, for work that is timed per cylinder.
    pub cylinders: Option<u32>,
    /// Main bearings of the part, for work that is timed per main.
    pub mains: Option<u32>,
}

/// Why a list makes no route.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WorkListError {
    /// Nothing is picked.
    #[error("no work is picked")]
    Empty,
    /// Work timed per cylinder, and nobody said how many the part has; the name of the work.
    #[error("“{0}” is timed per cylinder")]
    Cylinders(String),
    /// Work timed per main bearing, and nobody said how many the part has; the name of the work.
    #[error("“{0}” is timed per main bearing")]
    Mains(String),
    /// More than anybody does in one job, or none at all; the name of the work.
    #[error("“{0}” is done 1 to {MOST} times in a job")]
    Count(String),
    /// No route can be made of it.
    #[error(transparent)]
    Route(#[from] RouteError),
}

impl WorkList {
    /// Whether some of its work is timed per what `basis` says.
    #[must_use]
    pub fn has(&self, basis: Basis, elements: &[Element]) -> bool {
        self.picked(elements)
            .any(|(element, _)| element.basis == basis)
    }

    /// Each piece of work once, with how many times it is done in all.
    ///
    /// # Errors
    /// [`WorkListError`].
    pub fn times<'a>(
        &self,
        elements: &'a [Element],
    ) -> Result<Vec<(&'a Element, u32)>, WorkListError> {
        let mut times: Vec<(&Element, u32)> = Vec::new();
        for (code, count) in &self.lines {
            let element = elements.iter().find(|e| e.code == *code);
            let element = element.ok_or_else(|| RouteError::UnknownElement {
                asked_by: "the list of work".to_owned(),
                code: code.clone(),
            })?;
            let name = || element.name.clone();
            let each = match element.basis {
                Basis::Once | Basis::PerFeature => 1,
                Basis::PerCylinder => self
                    .cylinders
                    .ok_or_else(|| WorkListError::Cylinders(name()))?,
                Basis::PerMain => self.mains.ok_or_else(|| WorkListError::Mains(name()))?,
            };
            let had = times.iter().position(|(e, _)| e.code == *code);
            let so_far = had.and_then(|at| times.get(at)).map_or(0, |(_, n)| *n);
            let all = count
                .checked_mul(each)
                .and_then(|n| n.checked_add(so_far))
                .filter(|n| (1..=MOST).contains(n))
                .ok_or_else(|| WorkListError::Count(name()))?;
            match had.and_then(|at| times.get_mut(at)) {
                Some(line) => line.1 = all,
                None => times.push((element, all)),
            }
        }
        if times.is_empty() {
            return Err(WorkListError::Empty);
        }
        Ok(times)
    }

    /// Its route, in the shop's order of work.
    ///
    /// # Errors
    /// [`WorkListError`].
    pub fn route(
        &self,
        elements: &[Element],
        (data, order): (&CuttingData, &OrderOfWork),
    ) -> Result<Route, WorkListError> {
        let codes: Vec<(String, u32)> = self
            .times(elements)?
            .into_iter()
            .map(|(element, count)| (element.code.clone(), count))
            .collect();
        let part = self.part.trim();
        let on_table = if part.is_empty() {
            // Of a part without a name only the same work is sure to want the same setup.
            let codes: Vec<&str> = codes.iter().map(|(code, _)| code.as_str()).collect();
            codes.join(" + ")
        } else {
            part.to_owned()
        };
        Ok(Route::for_part(&on_table, &codes, elements, (data, order))?)
    }

    /// Its route, with the making of the parts that it needs and the shelf does not have free; see [`Route::with_made`].
    ///
    /// # Errors
    /// [`WorkListError`].
    pub fn route_with(
        &self,
        made: &[MadePart],
        elements: &[Element],
        rules: (&CuttingData, &OrderOfWork),
    ) -> Result<Route, WorkListError> {
        let route = self.route(elements, rules)?;
        Ok(route.with_made(made, elements, rules)?)
    }

    /// The work in a line: "Grind crankshaft journal × 5, face the deck".
    #[must_use]
    pub fn summary(&self, elements: &[Element]) -> String {
        const NAMED: usize = 3;
        let Ok(times) = self.times(elements) else {
            let names: Vec<String> = self
                .picked(elements)
                .take(NAMED)
                .map(|(element, _)| element.name.clone())
                .collect();
            return in_a_line(names);
        };
        let named: Vec<String> = times
            .iter()
            .take(NAMED)
            .map(|(element, count)| match count {
                1 => element.name.clone(),
                count => format!("{} × {count}", element.name),
            })
            .collect();
        let more = times.len().saturating_sub(NAMED);
        match more {
            0 => in_a_line(named),
            more => format!("{} and {more} more", in_a_line(named)),
        }
    }

    fn picked<'a>(&self, elements: &'a [Element]) -> impl Iterator<Item = (&'a Element, u32)> {
        self.lines.iter().filter_map(|(code, count)| {
            let element = elements.iter().find(|e| e.code == *code)?;
            Some((element, *count))
        })
    }
}

/// Names one after another, all but the first without their capital.
fn in_a_line(names: Vec<String>) -> String {
    names
        .into_iter()
        .enumerate()
        .map(|(at, name)| if at == 0 { name } else { uncapitalised(&name) })
        .collect::<Vec<_>>()
        .join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::{cutting_data, starting};
    use crate::units::{Currency, Minutes};
    use proptest::prelude::*;
    use rust_decimal::Decimal;
    use uuid::Uuid;

    fn elements() -> Vec<Element> {
        starting::elements(Currency::from_code("GBP").unwrap(), Uuid::nil).unwrap()
    }

    fn list(lines: &[(&str, u32)]) -> WorkList {
        WorkList {
            part: "Ousel twin crankshaft".to_owned(),
            lines: lines.iter().map(|(c, n)| ((*c).to_owned(), *n)).collect(),
            ..WorkList::default()
        }
    }

    fn minutes(list: &WorkList) -> Minutes {
        let data = cutting_data::starting_points().remove(0);
        let route = list
            .route(&elements(), (&data, &OrderOfWork::default()))
            .unwrap();
        route.operations.iter().map(|o| o.run).sum()
    }

    /// A crankshaft with three mains, both faces of a block, worked out by hand from the standard times.
    #[test]
    fn work_per_main_is_done_at_each_and_nothing_stands_in_it_unasked() {
        let elements = elements();
        let each = |code: &str| {
            let element = elements.iter().find(|e| e.code == code).unwrap();
            element.owner_figure.0
        };
        let picked = WorkList {
            mains: Some(3),
            ..list(&[("CRANK-GRIND", 1), ("DECK-FACE", 2)])
        };
        assert_eq!(
            minutes(&picked).0,
            each("CRANK-GRIND") * Decimal::from(3) + each("DECK-FACE") * Decimal::from(2)
        );
        let data = cutting_data::starting_points().remove(0);
        let route = picked
            .route(&elements, (&data, &OrderOfWork::default()))
            .unwrap();
        assert_eq!(route.operations.len(), 2);
        assert!(
            route
                .operations
                .iter()
                .all(|o| o.setup_key.ends_with("/ Ousel twin crankshaft")),
        );
        assert_eq!(
            picked.summary(&elements),
            "Grind crankshaft journal × 3, face the deck × 2"
        );
    }

    #[test]
    fn what_is_missing_is_asked_for() {
        let elements = elements();
        let of = |list: &WorkList| list.times(&elements).unwrap_err();
        assert_eq!(of(&list(&[])), WorkListError::Empty);
        let grind = list(&[("CRANK-GRIND", 1)]);
        assert!(matches!(of(&grind), WorkListError::Mains(_)));
        let hone = list(&[("HONE-CYLINDER", 1)]);
        assert!(matches!(of(&hone), WorkListError::Cylinders(_)));
        assert!(matches!(of(&list(&[("GONE", 1)])), WorkListError::Route(_)));
        assert!(matches!(
            of(&list(&[("DECK-FACE", u32::MAX)])),
            WorkListError::Count(_)
        ));
        assert!(matches!(
            of(&list(&[("DECK-FACE", 0)])),
            WorkListError::Count(_)
        ));
    }

    #[test]
    fn parts_without_a_name_share_a_setup_only_for_the_same_work() {
        let data = cutting_data::starting_points().remove(0);
        let key = |lines: &[(&str, u32)]| {
            let nameless = WorkList {
                part: " ".to_owned(),
                ..list(lines)
            };
            let route = nameless
                .route(&elements(), (&data, &OrderOfWork::default()))
                .unwrap();
            route.operations[0].setup_key.clone()
        };
        assert_eq!(key(&[("DECK-FACE", 1)]), key(&[("DECK-FACE", 2)]));
        assert_ne!(
            key(&[("DECK-FACE", 1)]),
            key(&[("DECK-FACE", 1), ("SPOTFACE", 1)])
        );
    }

    proptest! {
        /// Said in one line or in several, the work takes as long.
        #[test]
        fn how_the_list_is_split_does_not_matter(a in 1_u32..50, b in 1_u32..50, mains in 1_u32..12) {
            let whole = WorkList { mains: Some(mains), ..list(&[("CRANK-GRIND", a + b), ("SPOTFACE", a + b)]) };
            let split = WorkList {
                mains: Some(mains),
                ..list(&[("CRANK-GRIND", a), ("SPOTFACE", b), ("CRANK-GRIND", b), ("SPOTFACE", a)])
            };
            prop_assert_eq!(minutes(&whole), minutes(&split));
        }
    }
}
