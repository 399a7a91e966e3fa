//! The form of a need.

use super::{amount, kind_words};
use crate::db::castings_on_shelf::{self, Casting, ShelfState};
use crate::db::jobs::{self, JobOperation};
use crate::db::needs::{Arrival, Behind, Need, NeedDetails, NeedKind};
use crate::db::stock::{self, Item};
use crate::db::tools::{self, Tool};
use crate::db::{DbError, ShopTx};
use crate::units::Code;
use crate::web::ui::forms::Choice;
use crate::web::ui::stale::Changed;
use crate::web::ui::{Field, FormErrors};
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// What can stand in the form's lists.
pub(in crate::web) struct Lists {
    operations: Vec<JobOperation>,
    castings: Vec<Casting>,
    items: Vec<Item>,
    tools: Vec<Tool>,
}

impl Lists {
    pub(in crate::web) async fn read(tx: &mut ShopTx, job_id: Uuid) -> Result<Self, DbError> {
        let here = [ShelfState::OnShelf, ShelfState::Reserved];
        let mut castings = castings_on_shelf::list(tx, &here, None).await?;
        castings.retain(|c| c.state == ShelfState::OnShelf || c.job_id == Some(job_id));
        Ok(Self {
            operations: jobs::operations(tx, job_id).await?,
            castings,
            items: stock::items(tx, false).await?,
            tools: tools::list(tx, false).await?,
        })
    }

    fn operations(&self) -> Vec<Choice> {
        self.operations
            .iter()
            .map(|o| Choice::new(o.id, format!("{} {}", o.planned.number, o.planned.title)))
            .collect()
    }

    /// What can stand behind a need, each under a word for its kind and its key.
    fn behind(&self) -> Vec<Choice> {
        let castings = self.castings.iter().map(|casting| {
            let words = &casting.details.condition;
            let label = format!("Casting {} from the shelf: {words}", casting.number);
            Choice::new(code(Behind::Casting(casting.id)), label)
        });
        let items = self.items.iter().map(|item| {
            let on_hand = amount(item.on_hand, &item.details.unit);
            let label = format!("Stock: {}, {on_hand} on hand", item.details.name);
            Choice::new(code(Behind::Item(item.id)), label)
        });
        let tools = self.tools.iter().map(|tool| {
            let label = format!("Tooling: {}", tool.details.name);
            Choice::new(code(Behind::Tool(tool.id)), label)
        });
        castings.chain(items).chain(tools).collect()
    }
}

/// What a form sends for what stands behind a need.
fn code(behind: Behind) -> String {
    match behind {
        Behind::Itself => String::new(),
        Behind::Casting(id) => format!("casting:{id}"),
        Behind::Item(id) => format!("item:{id}"),
        Behind::Tool(id) => format!("tool:{id}"),
    }
}

fn behind(text: &str) -> Option<Behind> {
    if text.is_empty() {
        return Some(Behind::Itself);
    }
    let (kind, id) = text.split_once(':')?;
    let id = id.parse().ok()?;
    match kind {
        "casting" => Some(Behind::Casting(id)),
        "item" => Some(Behind::Item(id)),
        "tool" => Some(Behind::Tool(id)),
        _ => None,
    }
}

fn arrival_words(arrival: Arrival) -> &'static str {
    match arrival {
        Arrival::Wanted => "Not ordered",
        Arrival::Ordered => "On order",
        Arrival::Here => "Received",
    }
}

/// Something a job needs, as typed. `behind` names what it is drawn from by kind and key: `casting:…`, `item:…`, `tool:…`.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(default)]
pub(in crate::web) struct NeedForm {
    pub(super) kind: String,
    pub(super) what: String,
    pub(super) quantity: String,
    pub(super) unit: String,
    pub(super) operation: String,
    pub(super) behind: String,
    pub(super) arrival: String,
    pub(super) expected_on: String,
    #[schema(ignore)]
    pub(super) version: String,
}

impl NeedForm {
    pub(super) fn blank() -> Self {
        Self {
            quantity: "1".to_owned(),
            unit: "each".to_owned(),
            arrival: Arrival::Wanted.code().to_owned(),
            ..Self::default()
        }
    }

    pub(super) fn of(need: &Need) -> Self {
        let details = &need.details;
        let text = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
        Self {
            kind: details.kind.code().to_owned(),
            what: details.what.clone(),
            quantity: details.quantity.to_string(),
            unit: details.unit.clone(),
            operation: text(details.operation_id),
            behind: code(details.behind),
            arrival: details.arrival.code().to_owned(),
            expected_on: details
                .expected_on
                .map(|day| day.to_string())
                .unwrap_or_default(),
            version: need.version.to_string(),
        }
    }

    pub(in crate::web) fn read(
        &self,
        lists: &Lists,
        errors: &mut FormErrors,
    ) -> Option<NeedDetails> {
        let kind = errors.choice("kind", &self.kind, NeedKind::from_code);
        let what = errors.required_text("what", &self.what, 120);
        let least = Decimal::new(1, 3);
        let quantity = errors.decimal("quantity", &self.quantity, least..=Decimal::from(100_000));
        let unit = errors.required_text("unit", &self.unit, 20);
        let operation_id = errors.optional(&self.operation, |errors| {
            let id = errors.row("operation", &self.operation)?;
            let known = lists.operations.iter().any(|o| o.id == id);
            if !known {
                errors.add("operation", "Choose an operation of this job");
            }
            known.then_some(id)
        });
        let behind = errors.choice("behind", &self.behind, behind);
        let arrival = errors.choice("arrival", &self.arrival, Arrival::from_code);
        let expected_on = errors.optional(&self.expected_on, |errors| {
            let day = errors.date("expected_on", &self.expected_on)?;
            if arrival != Some(Arrival::Ordered) {
                errors.add(
                    "expected_on",
                    "Choose “on order”, or clear the expected date",
                );
                return None;
            }
            Some(day)
        });
        let fits = match behind? {
            Behind::Itself => true,
            Behind::Casting(_) => kind == Some(NeedKind::Donor),
            Behind::Item(_) => matches!(kind, Some(NeedKind::Part | NeedKind::Material)),
            Behind::Tool(_) => kind == Some(NeedKind::Tool),
        };
        if !fits {
            errors.add(
                "behind",
                "Choose a source of the same kind: a casting, stock for a part or material, or tooling",
            );
            return None;
        }
        // What stands behind it says how it stands.
        let itself = behind? == Behind::Itself;
        Some(NeedDetails {
            operation_id: operation_id?,
            kind: kind?,
            what: what?,
            quantity: quantity?,
            unit: unit?,
            behind: behind?,
            arrival: if itself { arrival? } else { Arrival::Wanted },
            expected_on: expected_on?.filter(|_| itself),
        })
    }

    /// Both values of whatever differs.
    pub(super) fn differs_from(&self, typed: &Self, lists: &Lists) -> Vec<Changed> {
        let label = |choices: Vec<Choice>, value: &str| {
            choices
                .into_iter()
                .find(|choice| choice.value == value)
                .map_or_else(|| "none".to_owned(), |choice| choice.label)
        };
        let kind = |code: &str| NeedKind::from_code(code).map_or("", kind_words);
        let arrival = |code: &str| Arrival::from_code(code).map_or("", arrival_words);
        let operation = |form: &Self| label(lists.operations(), &form.operation);
        let behind = |form: &Self| label(lists.behind(), &form.behind);
        [
            Changed::if_differs("Kind", kind(&self.kind), kind(&typed.kind)),
            Changed::if_differs("What", &self.what, typed.what.trim()),
            Changed::if_differs("Quantity", &self.quantity, typed.quantity.trim()),
            Changed::if_differs("Unit", &self.unit, typed.unit.trim()),
            Changed::if_differs("Needed for operation", &operation(self), &operation(typed)),
            Changed::if_differs("From", &behind(self), &behind(typed)),
            Changed::if_differs("Status", arrival(&self.arrival), arrival(&typed.arrival)),
            Changed::if_differs("Expected", &self.expected_on, typed.expected_on.trim()),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    pub(super) fn fields(&self, lists: &Lists, errors: &FormErrors) -> Markup {
        let kinds = NeedKind::ALL
            .iter()
            .map(|kind| Choice::new(kind.code(), kind_words(*kind)))
            .collect();
        let arrivals = Arrival::ALL
            .iter()
            .map(|arrival| Choice::new(arrival.code(), arrival_words(*arrival)))
            .collect();
        html! {
            (Field::text("what", "What", &self.what).errors(errors))
            (Field::select("kind", "Kind", &self.kind, kinds).errors(errors))
            (Field::decimal("quantity", "Quantity", &self.quantity).errors(errors))
            (Field::text("unit", "Unit", &self.unit).hint("each, set, kg, m …").errors(errors))
            (Field::select("operation", "Needed for operation", &self.operation, lists.operations()).optional()
                .hint("Leave blank if the job cannot start without it").errors(errors))
            (Field::select("behind", "From", &self.behind, lists.behind()).optional()
                .hint("A casting, stock item or tool has its own status; the fields below count only without one").errors(errors))
            (Field::radios("arrival", "Status", &self.arrival, arrivals).errors(errors))
            (Field::date("expected_on", "Expected", &self.expected_on).optional()
                .hint("The work is planned from this date. Without a date it cannot be planned").errors(errors))
        }
    }
}
