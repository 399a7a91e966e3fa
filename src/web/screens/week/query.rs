//! What the address of the week says: the days shown, what is looked at, and what is to be previewed.

use super::keys::Keys;
use super::sheet::Stretch;
use crate::app::current_plan::CurrentPlan;
use crate::planning::changes::{CannotChange, Entered, EntryError, PlanChange, Subject};
use crate::planning::floor::{Floor, Resource};
use crate::web::ui::FormErrors;
use chrono::NaiveDate;
use uuid::Uuid;

/// Fields and their values, as sent. Which fields a form has is for the kind of change to say.
#[derive(Debug, Clone, Default)]
pub struct WeekQuery(Vec<(String, String)>);

impl WeekQuery {
    /// As sent in an address.
    pub fn new(pairs: Vec<(String, String)>) -> Self {
        Self(pairs)
    }

    /// The days shown, and a change to be applied.
    pub fn of_change(from: &str, days: &str, change: &str) -> Self {
        let pair = |name: &str, value: &str| (name.to_owned(), value.to_owned());
        Self(vec![
            pair("from", from),
            pair("days", days),
            pair("change", change),
        ])
    }

    /// With the whole key of the operation that was asked for by its short one, as `op` or in place of the whole one.
    #[must_use]
    pub fn with_keys_of(mut self, floor: &Floor) -> Self {
        let asked = self
            .0
            .iter_mut()
            .find(|(name, _)| name == "operation" || name == "op");
        if let Some((name, value)) = asked {
            "operation".clone_into(name);
            if value.parse::<Uuid>().is_err()
                && let Some(id) = Keys::of(floor).find(value)
            {
                *value = id.to_string();
            }
        }
        self
    }

    /// The value of a field; empty when it was not sent.
    pub fn get(&self, field: &str) -> &str {
        let found = self.0.iter().find(|(name, _)| name == field);
        found.map_or("", |(_, value)| value)
    }

    /// The days to show: a week from today when nothing is said.
    pub fn stretch(&self, errors: &mut FormErrors, today: NaiveDate) -> Stretch {
        let from = self.get("from");
        let from = errors
            .optional(from, |errors| errors.date("from", from))
            .flatten()
            .unwrap_or(today);
        let days = self
            .get("days")
            .parse()
            .ok()
            .filter(|days| Stretch::DAYS.contains(days))
            .unwrap_or(7);
        Stretch { from, days }
    }

    /// The operation looked at.
    pub fn operation(&self) -> Option<Uuid> {
        self.get("operation").parse().ok()
    }

    /// The form that was sent.
    pub fn form(&self) -> &str {
        self.get("kind")
    }

    /// Whether anything is looked at, be it there or not.
    pub fn looks_at_something(&self) -> bool {
        ["operation", "machine", "person"]
            .iter()
            .any(|field| !self.get(field).is_empty())
    }

    /// What is looked at, if it is on the floor.
    pub fn subject<'a>(&self, plan: &'a CurrentPlan) -> Option<Subject<'a>> {
        let (floor, timetable) = (&plan.floor, &plan.timetable);
        let key = |field| self.get(field).parse().ok();
        let of = |whose| Subject::of(floor, timetable, whose);
        self.operation()
            .and_then(|id| Subject::operation(floor, timetable, id))
            .or_else(|| key("machine").and_then(|id| of(Resource::Machine(id))))
            .or_else(|| key("person").and_then(|id| of(Resource::Person(id))))
    }

    /// Reads what is to be previewed: a whole change, or the form of an offer. Complaints go under the ids of the
    /// fields they are about.
    pub fn change(&self, errors: &mut FormErrors, plan: &CurrentPlan) -> Option<PlanChange> {
        let change = self.get("change");
        if !change.is_empty() {
            return errors.parsed("change", change, PlanChange::parse);
        }
        let mut entered = Entered::new(&plan.floor, &plan.timetable, &self.0);
        let read = PlanChange::read(self.form(), &mut entered);
        for complaint in entered.complaints() {
            let message =
                complaint_words(complaint.field, self.get(complaint.field), &complaint.why);
            errors.add(&self.field_id(complaint.field), message);
        }
        if read.is_none() && entered.complaints().is_empty() {
            errors.add("change", "This is no longer on the floor");
        }
        read
    }

    /// Adds why a change cannot be made, beside the field it is about where the form has one.
    pub fn refuse(&self, errors: &mut FormErrors, plan: &CurrentPlan, cannot: CannotChange) {
        let offers = self
            .subject(plan)
            .map(|subject| PlanChange::offers(&subject));
        let has_field = offers
            .unwrap_or_default()
            .iter()
            .filter(|offer| offer.code == self.form())
            .flat_map(|offer| &offer.fields)
            .any(|field| field.name == cannot.field);
        if has_field {
            errors.add(&self.field_id(cannot.field), cannot.why);
        } else {
            errors.add("change", cannot.why);
        }
    }

    /// The id of a field of the form that was sent: there are forms of several kinds on one page.
    fn field_id(&self, field: &str) -> String {
        field_id(self.form(), field)
    }
}

/// The id of a field in the form of an offer.
pub fn field_id(form: &str, field: &str) -> String {
    format!("{form}-{field}")
}

/// What every form says about an entry that does not read.
fn complaint_words(field: &str, raw: &str, why: &EntryError) -> String {
    let mut errors = FormErrors::default();
    match why {
        EntryError::Date => drop(errors.date(field, raw)),
        EntryError::Time => drop(errors.time(field, raw)),
        EntryError::Choice => drop(errors.row(field, raw)),
        EntryError::Text(longest) => drop(errors.required_text(field, raw, *longest)),
        EntryError::Refused(why) => errors.add(field, why),
    }
    errors.get(field).unwrap_or("This does not read").to_owned()
}
