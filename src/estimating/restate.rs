//! A route that was drawn up earlier, at the standard times of today.
//!
//! A quote keeps its route as it was given, and so does a job. To say what a revised standard would have done to a past
//! quote, or whether past hours agree with today's standard, its operations are restated: the same steps, each at today's
//! time. A flat time takes the place of the old one. A time that was calculated from the feature stays the calculation it
//! was, multiplied by today's percentage instead of the one of then: the cutting data of the day are the route's own.

use super::element::{Element, TimeSource};
use super::route::{Operation, Route, Step};
use crate::units::Minutes;
use rust_decimal::Decimal;

impl Step {
    /// Minutes each at the element's standard of today.
    fn each_at(&self, element: &Element) -> Minutes {
        if let Some(revised) = element.revised {
            return revised;
        }
        match (self.source, element.recipe.is_some()) {
            (TimeSource::Calculated, true) if self.calculated_percent > Decimal::ZERO => {
                self.each * (element.calculated_percent / self.calculated_percent)
            }
            // It is calculated now, and what of cannot be told from the step.
            (TimeSource::Revised, true) => self.each,
            _ => element.owner_figure,
        }
    }
}

fn find<'a>(elements: &'a [Element], step: &Step) -> Option<&'a Element> {
    elements.iter().find(|e| e.code == step.code)
}

impl Operation {
    /// The step that needs the longest setup, which is the operation's; none where no step of today's elements needs one.
    /// By the setups of the day when the step has them, else by those of today.
    #[must_use]
    pub fn setup_step(&self, elements: &[Element]) -> Option<&Step> {
        let needs = |step: &&Step| {
            let known = find(elements, step).map(|e| e.setup);
            step.setup.or(known).unwrap_or(Minutes::ZERO)
        };
        let longest = self.steps.iter().max_by_key(needs)?;
        (needs(&longest) > Minutes::ZERO).then_some(longest)
    }

    /// The operation at today's standard times. Steps of elements that the shop has no more stay as they are.
    #[must_use]
    pub fn restated(&self, elements: &[Element]) -> Self {
        let mut new = self.clone();
        let mut attended = Decimal::ZERO;
        for step in &mut new.steps {
            let mut share = self.attended_share;
            if let Some(element) = find(elements, step) {
                step.each = step.each_at(element);
                step.spread = element.spread;
                step.calculated_percent = element.calculated_percent;
                share = element.attended_share;
            }
            attended += step.run().0 * share;
        }
        new.run = new.steps.iter().map(Step::run).sum();
        if new.steps.is_empty() {
            new.run = self.run;
        } else if new.run > Minutes::ZERO {
            new.attended_share = (attended / new.run.0).round_dp(6);
        }
        if let Some(step) = self.setup_step(elements)
            && let Some(element) = find(elements, step)
        {
            new.setup_spread = element.spread;
            // A face that was on the table already had a part of its setup behind it; that part stays saved.
            if let Some(whole) = step.setup.filter(|m| *m > Minutes::ZERO) {
                new.setup = self.setup * (element.setup.0 / whole.0);
            }
            for step in &mut new.steps {
                step.setup = find(elements, step).map(|e| e.setup).or(step.setup);
            }
        }
        new
    }
}

impl Route {
    /// The route at today's standard times.
    #[must_use]
    pub fn restated(&self, elements: &[Element]) -> Self {
        Self {
            operations: self
                .operations
                .iter()
                .map(|o| o.restated(elements))
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{route_of, standards, typical};
    use super::*;
    use rust_decimal::dec;

    /// A route restated at the standards it was made with is the route; revised standards change what they are of and nothing
    /// else, and a calculated time is multiplied and not replaced.
    #[test]
    fn a_restated_route_is_the_route_of_todays_standards() {
        let mut elements = standards();
        let route = route_of(&typical());
        assert_eq!(route.restated(&elements), route);
        let machining = |route: &Route| -> Vec<(String, Minutes)> {
            let operations = route.operations.iter();
            let steps = operations.flat_map(|o| o.steps.iter().map(|s| (s.code.clone(), s.each)));
            steps.collect()
        };
        let flat = elements.iter().position(|e| e.recipe.is_none()).unwrap();
        let calculated = route.operations.iter().flat_map(|o| &o.steps);
        let calculated = calculated
            .clone()
            .find(|s| s.source == TimeSource::Calculated)
            .unwrap()
            .code
            .clone();
        let calculated = elements.iter().position(|e| e.code == calculated).unwrap();
        elements[flat].revised = Some(Minutes(dec!(77)));
        elements[calculated].calculated_percent = dec!(150);
        let restated = route.restated(&elements);
        for ((code, before), (_, after)) in machining(&route).into_iter().zip(machining(&restated))
        {
            let expected = if code == elements[flat].code {
                Minutes(dec!(77))
            } else if code == elements[calculated].code {
                before * dec!(1.5)
            } else {
                before
            };
            assert_eq!(after, expected, "{code}");
        }
        // And a longer setup is longer in the operation it is the setup of.
        let operation = route
            .operations
            .iter()
            .find(|o| o.setup > Minutes::ZERO)
            .unwrap();
        let code = operation.setup_step(&elements).unwrap().code.clone();
        let element = elements.iter_mut().find(|e| e.code == code).unwrap();
        element.setup = element.setup * dec!(2);
        assert_eq!(
            operation.restated(&elements).setup,
            operation.setup * dec!(2)
        );
    }
}
