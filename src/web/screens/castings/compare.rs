//! `/castings/compare`: what it takes to turn a donor variant into the wanted one.

use super::compare_view;
use crate::castings::{Conversion, Pattern, RemedyRule, Variant, same_engine};
use crate::db::castings::VariantName;
use crate::db::related_patterns::{self, Which};
use crate::db::{DbError, ShopTx, castings as db, remedy_rules};
use crate::enquiry::RelatedPattern;
use crate::web::ui::forms::Choice;
use crate::web::ui::{Answer, Field, FormErrors, Page, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/castings/compare", web::get().to(compare));
}

/// The two variants as an address names them; either may be empty.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Pair {
    pub donor: String,
    pub wanted: String,
}

/// Two variants of one pattern, or of two that are related, with everything between them.
pub(in crate::web) struct Compared {
    /// The wanted one's.
    pub pattern: Pattern,
    pub donor: Variant,
    pub wanted: Variant,
    pub conversion: Conversion,
    pub across: Option<Across>,
}

/// What lies between a donor of a related pattern and the wanted one.
pub(in crate::web) struct Across {
    pub relation: RelatedPattern,
    /// The donor's own pattern.
    pub pattern: Pattern,
    /// The donor under the labels of the wanted pattern, where it has them.
    pub drawn: Variant,
}

impl Pair {
    /// Both keys, with a complaint beside each field that holds none.
    pub fn keys(&self, errors: &mut FormErrors) -> Option<(Uuid, Uuid)> {
        let donor = errors.row("donor", &self.donor);
        let wanted = errors.row("wanted", &self.wanted);
        donor.zip(wanted)
    }
}

/// Loads both and finds the remedies; `None` after a complaint beside its field.
///
/// # Errors
/// From the store, but for variants that are not there: those are a complaint.
pub(in crate::web) async fn load(
    tx: &mut ShopTx,
    (donor, wanted): (Uuid, Uuid),
    errors: &mut FormErrors,
) -> Result<Option<Compared>, WebError> {
    let donor = found(db::variant(tx, donor).await, "donor", errors)?;
    let wanted = found(db::variant(tx, wanted).await, "wanted", errors)?;
    let Some((donor, wanted)) = donor.zip(wanted) else {
        return Ok(None);
    };
    let pattern = db::pattern(tx, wanted.pattern_id).await?;
    let rules = remedy_rules::list(tx).await?;
    let across = across(tx, &donor, &pattern).await?;
    let planned = match &across {
        None => plan(&pattern, &donor, &wanted, &rules),
        Some(across) => same_engine(&across.pattern, &pattern)
            .map_err(|why| why.to_string())
            .and_then(|()| {
                let places = &across.relation.places;
                let seen = places.pattern(&across.pattern, &pattern);
                plan(&seen, &places.variant(&donor, &pattern), &wanted, &rules)
            }),
    };
    match planned {
        Ok(conversion) => Ok(Some(Compared {
            pattern,
            donor,
            wanted,
            conversion,
            across,
        })),
        Err(why) => {
            errors.add("donor", why);
            Ok(None)
        }
    }
}

fn plan(
    pattern: &Pattern,
    donor: &Variant,
    wanted: &Variant,
    rules: &[RemedyRule],
) -> Result<Conversion, String> {
    Conversion::plan(pattern, donor, wanted, rules).map_err(|why| why.to_string())
}

/// What lies between a donor of another pattern and the wanted one; `None` where they are of one pattern, or not related.
async fn across(
    tx: &mut ShopTx,
    donor: &Variant,
    wanted: &Pattern,
) -> Result<Option<Across>, DbError> {
    let which = Which {
        wanted: Some(wanted.id),
        donor: Some(donor.pattern_id),
    };
    let Some(relation) = related_patterns::list(tx, which).await?.into_iter().next() else {
        return Ok(None);
    };
    Ok(Some(Across {
        drawn: relation.places.relabelled(donor),
        pattern: db::pattern(tx, donor.pattern_id).await?,
        relation,
    }))
}

fn found(
    variant: Result<Variant, DbError>,
    field: &str,
    errors: &mut FormErrors,
) -> Result<Option<Variant>, DbError> {
    match variant {
        Err(DbError::NotFound(_)) => {
            errors.add(field, "There is no such variant any more; choose another");
            Ok(None)
        }
        other => other.map(Some),
    }
}

async fn compare(who: SignedIn, pair: web::Query<Pair>) -> Answer {
    let mut tx = who.begin().await?;
    let variants = db::variant_names(&mut tx).await?;
    let mut errors = FormErrors::default();
    let asked = !(pair.donor.is_empty() || pair.wanted.is_empty());
    let compared = match pair.keys(&mut errors).filter(|_| asked) {
        Some(keys) => load(&mut tx, keys, &mut errors).await?,
        None => None,
    };
    tx.commit().await?;
    if !asked {
        // Half a choice is the beginning of one, not a mistake.
        errors = FormErrors::default();
    }
    let title = compared.as_ref().map_or_else(
        || "Compare two variants".to_owned(),
        |c| format!("{} to {}", c.donor.name, c.wanted.name),
    );
    let page = Page::new(&who, title).nav(Section::Castings).body(html! {
        (super::back("/castings", "All castings"))
        h1 {
            @match &compared {
                Some(c) => { (c.donor.name) " " span.muted { "to" } " " (c.wanted.name) }
                None => "Compare two variants",
            }
        }
        (errors.summary())
        section.card.screen-only aria-label="Which two" { (pair_form(&variants, &pair, &errors)) }
        @if let Some(compared) = &compared { (compare_view::view(compared, who.shop.length_unit)) }
    });
    Ok(if errors.is_empty() {
        page.into()
    } else {
        page.invalid().into()
    })
}

/// The choice of donor and wanted.
pub(super) fn pair_form(variants: &[VariantName], pair: &Pair, errors: &FormErrors) -> Markup {
    let choices = || -> Vec<Choice> {
        variants
            .iter()
            .map(|variant| Choice::new(variant.id, &variant.name))
            .collect()
    };
    html! {
        form.grid method="get" action="/castings/compare" {
            (Field::select("donor", "Donor, as it is", &pair.donor, choices()).errors(errors))
            (Field::select("wanted", "Wanted, as it must be", &pair.wanted, choices()).errors(errors))
            div.actions {
                button type="submit" { "Compare" }
                @if !(pair.donor.is_empty() || pair.wanted.is_empty()) {
                    a.button.quiet href={ "/castings/compare?donor=" (pair.wanted) "&wanted=" (pair.donor) } { "The other way round" }
                }
            }
        }
    }
}
