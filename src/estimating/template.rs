//! Everyday work under the name a caller uses for it: a list of the shop's standard times that a quote starts from.

use super::element::Element;
use super::work_list::WorkList;
use serde::Deserialize;
use uuid::Uuid;

/// The most lines of a template.
pub const MOST_LINES: usize = 40;

/// A list of work that is quoted again and again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkTemplate {
    /// Key.
    pub id: Uuid,
    /// What callers call it.
    pub name: String,
    /// The work. Cylinders and main bearings are left open where they are asked of the caller.
    pub list: WorkList,
    /// What to ask the caller, and what to look at first.
    pub ask: String,
    /// Counts edits.
    pub version: i32,
}

impl WorkTemplate {
    /// The codes that the shop has no standard time for, in order.
    #[must_use]
    pub fn unknown<'a>(&'a self, elements: &[Element]) -> Vec<&'a str> {
        let codes = self.list.lines.iter().map(|(code, _)| code.as_str());
        codes
            .filter(|code| !elements.iter().any(|element| element.code == *code))
            .collect()
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    template: Vec<Line>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    name: String,
    part: String,
    work: Vec<(String, u32)>,
    ask: String,
}

/// The templates a shop may start from; `new_id` makes their keys.
///
/// # Errors
/// A set that does not read, with where; the set is part of the program, so a test rules this out.
pub fn starting(mut new_id: impl FnMut() -> Uuid) -> Result<Vec<WorkTemplate>, toml::de::Error> {
    let file: File = toml::from_str(include_str!("starting_templates.toml"))?;
    let template = |line: Line| WorkTemplate {
        id: new_id(),
        name: line.name,
        list: WorkList {
            part: line.part,
            lines: line.work,
            cylinders: None,
            mains: None,
        },
        ask: line.ask,
        version: 1,
    };
    Ok(file.template.into_iter().map(template).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::estimating::order::OrderOfWork;
    use crate::estimating::{cutting_data, starting as elements};
    use crate::units::Currency;
    use std::collections::BTreeSet;

    /// Every template of the set makes a route of the set's own elements once it is said how many cylinders and mains.
    #[test]
    fn the_starting_templates_make_routes() {
        let elements = elements::elements(Currency::from_code("GBP").unwrap(), Uuid::nil).unwrap();
        let data = cutting_data::starting_points().remove(0);
        let set = starting(Uuid::nil).unwrap();
        let names: BTreeSet<&str> = set.iter().map(|one| one.name.as_str()).collect();
        assert_eq!(names.len(), set.len());
        for one in &set {
            assert_eq!(one.unknown(&elements), Vec::<&str>::new(), "{}", one.name);
            let list = WorkList {
                cylinders: Some(4),
                mains: Some(5),
                ..one.list.clone()
            };
            let route = list
                .route(&elements, (&data, &OrderOfWork::default()))
                .unwrap();
            assert!(route.operations.len() > 1, "{}", one.name);
        }
        assert_eq!(
            set[0].unknown(&elements[..1]),
            [
                "CRACK-TEST",
                "CRANK-GRIND",
                "CRANK-PIN-GRIND",
                "CRANK-POLISH"
            ]
        );
    }
}
