//! Donors by pattern: castings of the wanted pattern, and of those related to it. Seen from the wanted pattern they are
//! converted alike.

use super::related::{RelatedDonor, RelatedSupply};
use super::ways::NoWay;
use super::wish::{Knowledge, Supply, Wish};
use crate::castings::{Action, Conversion, Pattern, Variant, same_engine};
use crate::estimating::Route;
use crate::estimating::cutting_data::CuttingData;
use std::borrow::Cow;
use uuid::Uuid;

/// Castings of one pattern, as donors.
pub(super) struct Donors<'a> {
    /// Where they have metal, as the wanted pattern labels it.
    pattern: Cow<'a, Pattern>,
    cutting: &'a CuttingData,
    related: Option<&'a RelatedSupply>,
    /// Its variants.
    pub(super) supplies: &'a [Supply],
}

/// The work on a block, and what must be said of it.
#[derive(Default)]
pub(super) struct Prepared {
    pub(super) route: Route,
    pub(super) conversion: Option<Conversion>,
    pub(super) related: Option<RelatedDonor>,
    /// What must be asked before it is offered.
    to_ask: Vec<String>,
}

impl From<Route> for Prepared {
    fn from(route: Route) -> Self {
        Self {
            route,
            ..Self::default()
        }
    }
}

impl Prepared {
    /// What must be said of it: what to ask first, cautions, what is left as it is, and where the metal is still to be
    /// measured.
    pub(super) fn cautions(&self) -> Vec<String> {
        let remedies = self.conversion.iter().flat_map(|c| c.remedies.iter());
        let of_remedies = remedies
            .filter(|remedy| remedy.action == Action::Caution || remedy.measure_first)
            .filter(|remedy| !remedy.say.is_empty())
            .map(|remedy| format!("{}: {}", remedy.difference.subject().place, remedy.say));
        self.to_ask.iter().cloned().chain(of_remedies).collect()
    }
}

impl<'a> Donors<'a> {
    /// All that the shop knows of: those of the wanted pattern first.
    pub(super) fn all(knowledge: &'a Knowledge) -> Vec<Self> {
        let own = Self {
            pattern: Cow::Borrowed(&knowledge.pattern),
            cutting: &knowledge.cutting,
            related: None,
            supplies: &knowledge.supplies,
        };
        let related = knowledge.related.iter().map(|related| Self {
            pattern: Cow::Owned(
                related
                    .relation
                    .places
                    .pattern(&related.pattern, &knowledge.pattern),
            ),
            cutting: &related.cutting,
            related: Some(related),
            supplies: &related.supplies,
        });
        std::iter::once(own).chain(related).collect()
    }

    /// What is known about getting one of this variant, if it is of this pattern.
    pub(super) fn supply_of(&self, variant_id: Uuid) -> Option<&'a Supply> {
        self.supplies.iter().find(|s| s.variant.id == variant_id)
    }

    /// The donor as the wanted pattern sees it.
    fn seen(&self, donor: &'a Variant, knowledge: &Knowledge) -> Cow<'a, Variant> {
        match self.related {
            None => Cow::Borrowed(donor),
            Some(related) => Cow::Owned(related.relation.places.variant(donor, &knowledge.pattern)),
        }
    }

    /// The remedies and the route from this supply's variant to the wanted one, or why there are none.
    pub(super) fn convert(
        &self,
        wish: &Wish,
        knowledge: &Knowledge,
        supply: &'a Supply,
        besides: &[(String, u32)],
    ) -> Result<Prepared, NoWay> {
        if let Some(related) = self.related {
            same_engine(&related.pattern, &knowledge.pattern)
                .map_err(|why| NoWay::because(format!("{why}.")))?;
        }
        let donor = self.seen(&supply.variant, knowledge);
        let conversion = Conversion::plan(&self.pattern, &donor, &wish.wanted, &knowledge.rules)
            .map_err(NoWay::because)?;
        if !conversion.is_possible() {
            let reasons = conversion
                .impossible()
                .map(|remedy| format!("{}: {}", remedy.difference.subject().place, remedy.say))
                .collect();
            return Err(NoWay::Reasons(reasons));
        }
        let mut objections = wish.purpose.objections(&conversion);
        objections.extend(
            self.related
                .iter()
                .flat_map(|related| related.relation.objections(wish.purpose)),
        );
        if !objections.is_empty() {
            return Err(NoWay::Reasons(objections));
        }
        let also: Vec<_> = besides.iter().chain(&wish.also).cloned().collect();
        let rules = (self.cutting, &knowledge.order);
        let elements = &knowledge.elements;
        let mut route = Route::for_conversion(&conversion, &also, &self.pattern, elements, rules)
            .and_then(|route| {
                let rules = (&knowledge.cutting, &knowledge.order);
                route.with_made(&knowledge.made, elements, rules)
            })
            .map_err(NoWay::because)?;
        let related = self.related.map(|r| r.relation.as_donor(&r.pattern));
        if let Some(donor) = &related {
            donor.caution(&mut route, &knowledge.pattern);
        }
        Ok(Prepared {
            route,
            conversion: Some(conversion),
            related,
            to_ask: self
                .related
                .map(|r| r.relation.to_ask(wish.purpose))
                .unwrap_or_default(),
        })
    }
}
