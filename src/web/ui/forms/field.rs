//! One field of a form: label, control, hint and complaint, tied together.

mod schema;

use super::FormErrors;
use crate::units::{Currency, LengthUnit};
use maud::{Markup, Render, html};

/// One choice of a select or a row of radio buttons.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub value: String,
    /// What is read.
    pub label: String,
}

impl Choice {
    /// A choice.
    pub fn new(value: impl ToString, label: impl ToString) -> Self {
        Self {
            value: value.to_string(),
            label: label.to_string(),
        }
    }
}

#[derive(Debug, Clone)]
enum Control {
    Input {
        kind: &'static str,
        mode: Option<&'static str>,
    },
    Textarea {
        rows: u8,
    },
    Select(Vec<Choice>),
    Radios(Vec<Choice>),
    Checkbox {
        checked: bool,
    },
}

/// A field, built up and then put into a page: `(Field::text("name", "Name", &form.name).errors(&errors))`.
///
/// Its id is its name. A field must be filled in unless it is [`optional`](Self::optional), which is written beside its
/// label. Everything typed is sent as text and comes back as it was typed.
#[derive(Debug, Clone)]
pub struct Field {
    name: String,
    id: String,
    label: String,
    value: String,
    control: Control,
    hint: Option<String>,
    error: Option<String>,
    unit: Option<String>,
    optional: bool,
    wide: bool,
    autofocus: bool,
    autocomplete: &'static str,
    list: Option<String>,
    key: Option<String>,
    lookup: Option<&'static str>,
}

impl Field {
    fn new(name: &str, label: &str, value: &str, control: Control) -> Self {
        Self {
            name: name.to_owned(),
            id: name.to_owned(),
            label: label.to_owned(),
            value: value.to_owned(),
            control,
            hint: None,
            error: None,
            unit: None,
            optional: false,
            wide: false,
            autofocus: false,
            autocomplete: "off",
            list: None,
            key: None,
            lookup: None,
        }
    }

    fn input(
        name: &str,
        label: &str,
        value: &str,
        kind: &'static str,
        mode: Option<&'static str>,
    ) -> Self {
        Self::new(name, label, value, Control::Input { kind, mode })
    }

    /// A line of text.
    #[must_use]
    pub fn text(name: &str, label: &str, value: &str) -> Self {
        Self::input(name, label, value, "text", None)
    }

    /// A password; never sent back.
    #[must_use]
    pub fn password(name: &str, label: &str) -> Self {
        Self::input(name, label, "", "password", None)
    }

    /// A telephone number.
    #[must_use]
    pub fn telephone(name: &str, label: &str, value: &str) -> Self {
        Self::input(name, label, value, "tel", None)
    }

    /// A number with a point; add its [`unit`](Self::unit).
    #[must_use]
    pub fn decimal(name: &str, label: &str, value: &str) -> Self {
        Self::input(name, label, value, "text", Some("decimal"))
    }

    /// A whole number.
    #[must_use]
    pub fn int(name: &str, label: &str, value: &str) -> Self {
        Self::input(name, label, value, "text", Some("numeric"))
    }

    /// An amount in the shop's currency.
    #[must_use]
    pub fn money(name: &str, label: &str, value: &str, currency: Currency) -> Self {
        Self::decimal(name, label, value).unit(currency.code())
    }

    /// A length; the shop's unit stands beside it. Fractions and thou are typed with their unit, so any keyboard is right.
    #[must_use]
    pub fn length(name: &str, label: &str, value: &str, unit: LengthUnit) -> Self {
        Self::text(name, label, value).unit(match unit {
            LengthUnit::Mm => "mm",
            LengthUnit::Inch => "in",
        })
    }

    /// A working time.
    #[must_use]
    pub fn minutes(name: &str, label: &str, value: &str) -> Self {
        Self::text(name, label, value).unit("min")
    }

    /// A calendar day, `2026-12-03`.
    #[must_use]
    pub fn date(name: &str, label: &str, value: &str) -> Self {
        Self::input(name, label, value, "date", None)
    }

    /// A time of day by the shop's clock, `08:00`.
    #[must_use]
    pub fn time(name: &str, label: &str, value: &str) -> Self {
        Self::input(name, label, value, "time", None)
    }

    /// Several lines of text.
    #[must_use]
    pub fn textarea(name: &str, label: &str, value: &str, rows: u8) -> Self {
        Self::new(name, label, value, Control::Textarea { rows }).wide()
    }

    /// One of a list. With nothing chosen yet, an empty first choice stands.
    #[must_use]
    pub fn select(name: &str, label: &str, value: &str, choices: Vec<Choice>) -> Self {
        Self::new(name, label, value, Control::Select(choices))
    }

    /// One of a few, all in sight.
    #[must_use]
    pub fn radios(name: &str, label: &str, value: &str, choices: Vec<Choice>) -> Self {
        Self::new(name, label, value, Control::Radios(choices))
    }

    /// Yes or no; sends `yes` when ticked and nothing otherwise.
    #[must_use]
    pub fn checkbox(name: &str, label: &str, checked: bool) -> Self {
        Self::new(name, label, "yes", Control::Checkbox { checked })
    }

    /// A row of a repeated field: a different value to send, and so an id of its own.
    #[must_use]
    pub fn value(mut self, value: &str) -> Self {
        value.clone_into(&mut self.value);
        self.id = format!("{}-{value}", self.name);
        self
    }

    /// An id other than the name, where a name stands twice in a page.
    #[must_use]
    pub fn id(mut self, id: &str) -> Self {
        id.clone_into(&mut self.id);
        self
    }

    /// The name it is sent under.
    pub(in crate::web) fn name(&self) -> &str {
        &self.name
    }

    /// What it is called.
    pub(in crate::web) fn label(&self) -> &str {
        &self.label
    }

    /// The same field with this text in it; a password is never sent back.
    #[must_use]
    pub(in crate::web) fn filled(mut self, text: &str) -> Self {
        match &mut self.control {
            Control::Checkbox { checked } => *checked = text == self.value,
            Control::Input {
                kind: "password", ..
            } => {}
            _ => text.clone_into(&mut self.value),
        }
        self
    }

    /// A value as a person reads it: the words of a choice, yes or no for a tick.
    pub(in crate::web) fn spelt(&self, value: &str) -> String {
        match &self.control {
            Control::Select(choices) | Control::Radios(choices) => choices
                .iter()
                .find(|choice| choice.value == value)
                .map_or(value, |choice| choice.label.as_str())
                .to_owned(),
            Control::Checkbox { .. } => if value == self.value { "Yes" } else { "No" }.to_owned(),
            Control::Input {
                kind: "password", ..
            } => String::new(),
            _ => value.to_owned(),
        }
    }

    /// A hint under the control.
    #[must_use]
    pub fn hint(mut self, hint: &str) -> Self {
        self.hint = Some(hint.to_owned());
        self
    }

    /// The complaint about this field, by its id or else its name, if there is one. Set an id of its own before.
    #[must_use]
    pub fn errors(mut self, errors: &FormErrors) -> Self {
        let found = errors.get(&self.id).or_else(|| errors.get(&self.name));
        self.error = found.map(ToOwned::to_owned);
        self
    }

    /// A unit beside the control.
    #[must_use]
    pub fn unit(mut self, unit: &str) -> Self {
        self.unit = Some(unit.to_owned());
        self
    }

    /// May stay empty.
    #[must_use]
    pub fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    /// Takes the whole row of the form's grid.
    #[must_use]
    pub fn wide(mut self) -> Self {
        self.wide = true;
        self
    }

    /// Whether it has the keyboard when the page opens. At most one in a page.
    #[must_use]
    pub fn autofocus(mut self, whether: bool) -> Self {
        self.autofocus = whether;
        self
    }

    /// The browser may fill it in: an autofill token of the HTML standard. Off otherwise.
    #[must_use]
    pub fn autocomplete(mut self, token: &'static str) -> Self {
        self.autocomplete = token;
        self
    }

    /// Suggests from the `datalist` with this id.
    #[must_use]
    pub fn suggestions(mut self, datalist: &str) -> Self {
        self.list = Some(datalist.to_owned());
        self
    }

    /// A key that brings the keyboard here; see `static/keys.js`.
    #[must_use]
    pub fn key(mut self, key: &str) -> Self {
        self.key = Some(key.to_owned());
        self
    }

    /// Offers customers as a name or number is typed (`lookup.js`); one that is chosen fills in how to reach them in the
    /// field `fills` too, where that is on the form.
    #[must_use]
    pub fn customers(mut self, fills: &'static str) -> Self {
        self.lookup = Some(fills);
        self
    }

    fn described_by(&self) -> Option<String> {
        let mut ids = Vec::new();
        if self.error.is_some() {
            ids.push(format!("{}-error", self.id));
        }
        if self.hint.is_some() {
            ids.push(format!("{}-hint", self.id));
        }
        if self.unit.is_some() {
            ids.push(format!("{}-unit", self.id));
        }
        (!ids.is_empty()).then(|| ids.join(" "))
    }

    fn notes(&self) -> Markup {
        html! {
            @if let Some(error) = &self.error {
                p.error id={ (self.id) "-error" } { span.sign aria-hidden="true" { "!" } " " (error) }
            }
            @if let Some(hint) = &self.hint {
                p.hint id={ (self.id) "-hint" } { (hint) }
            }
        }
    }

    fn optional_mark(&self) -> Markup {
        html! { @if self.optional { " " span.optional { "optional" } } }
    }

    fn class(&self, kind: &str) -> String {
        let mut class = format!("field {kind}");
        if self.wide {
            class.push_str(" wide");
        }
        if self.error.is_some() {
            class.push_str(" wrong");
        }
        class
    }

    fn control(&self) -> Markup {
        let described = self.described_by();
        let invalid = self.error.is_some().then_some("true");
        let required =
            (!self.optional && !matches!(self.control, Control::Checkbox { .. })).then_some("true");
        html! {
            @match &self.control {
                Control::Input { kind, mode } => {
                    input id=(self.id) name=(self.name) type=(kind) inputmode=[*mode] value=(self.value)
                        autocomplete=(self.autocomplete) list=[self.list.as_deref()] data-key=[self.key.as_deref()]
                        data-lookup=[self.lookup.map(|_| "/api/v1/customers")] data-fills=[self.lookup]
                        aria-describedby=[described] aria-invalid=[invalid] aria-required=[required]
                        autofocus[self.autofocus];
                }
                Control::Textarea { rows } => {
                    // A browser drops one line break after the tag, so one is given to drop.
                    textarea id=(self.id) name=(self.name) rows=(rows) data-key=[self.key.as_deref()]
                        aria-describedby=[described] aria-invalid=[invalid] aria-required=[required]
                        autofocus[self.autofocus] { "\n" (self.value) }
                }
                Control::Select(choices) => {
                    select id=(self.id) name=(self.name) data-key=[self.key.as_deref()]
                        aria-describedby=[described] aria-invalid=[invalid] aria-required=[required]
                        autofocus[self.autofocus] {
                        @if !choices.iter().any(|choice| choice.value == self.value) {
                            option value="" selected { @if self.optional { "none" } @else { "choose" } }
                        } @else if self.optional && !choices.iter().any(|choice| choice.value.is_empty()) {
                            option value="" { "none" }
                        }
                        @for choice in choices {
                            option value=(choice.value) selected[choice.value == self.value] { (choice.label) }
                        }
                    }
                }
                Control::Checkbox { checked } => {
                    input id=(self.id) name=(self.name) type="checkbox" value=(self.value) checked[*checked]
                        data-key=[self.key.as_deref()] aria-describedby=[described] aria-invalid=[invalid]
                        autofocus[self.autofocus];
                }
                Control::Radios(choices) => {
                    @for (index, choice) in choices.iter().enumerate() {
                        // The first carries the field's id, so that a complaint leads to it.
                        @let id = if index == 0 { self.id.clone() } else { format!("{}-{}", self.id, choice.value) };
                        label.pick for=(id) {
                            input id=(id) name=(self.name) type="radio" value=(choice.value)
                                checked[choice.value == self.value] aria-describedby=[described.as_deref()]
                                aria-invalid=[invalid] autofocus[self.autofocus && index == 0];
                            span { (choice.label) }
                        }
                    }
                }
            }
        }
    }
}

impl Render for Field {
    fn render(&self) -> Markup {
        match &self.control {
            Control::Checkbox { .. } => html! {
                div class=(self.class("tick")) {
                    label.pick for=(self.id) { (self.control()) span { (self.label) } }
                    (self.notes())
                }
            },
            Control::Radios(_) => html! {
                fieldset class=(self.class("radios")) {
                    legend { (self.label) (self.optional_mark()) }
                    div.picks { (self.control()) }
                    (self.notes())
                }
            },
            _ => html! {
                div class=(self.class("")) {
                    label for=(self.id) { (self.label) (self.optional_mark()) }
                    @if let Some(unit) = &self.unit {
                        div.with-unit {
                            (self.control())
                            span.unit id={ (self.id) "-unit" } { (unit) }
                        }
                    } @else {
                        (self.control())
                    }
                    (self.notes())
                }
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_field_is_tied_to_its_label_hint_unit_and_complaint_and_keeps_what_was_typed() {
        let mut errors = FormErrors::default();
        errors.add("bore", "“<4” is not a length");
        let html = Field::length("bore", "Bore", "<4", LengthUnit::Mm)
            .hint("As measured")
            .errors(&errors)
            .render()
            .into_string();
        assert!(html.contains(r#"<label for="bore">"#), "{html}");
        assert!(html.contains(r#"value="&lt;4""#), "{html}");
        assert!(
            html.contains(
                r#"aria-describedby="bore-error bore-hint bore-unit" aria-invalid="true""#
            ),
            "{html}"
        );
        for id in ["bore-error", "bore-hint", "bore-unit"] {
            assert!(html.contains(&format!(r#"id="{id}""#)), "{id}");
        }
    }

    #[test]
    fn a_select_never_chooses_by_itself() {
        let choices = vec![Choice::new("a", "A"), Choice::new("b", "B")];
        let html = Field::select("s", "S", "gone", choices.clone())
            .render()
            .into_string();
        assert!(
            html.contains(r#"<option value="" selected>choose</option>"#),
            "{html}"
        );
        let html = Field::select("s", "S", "b", choices).render().into_string();
        assert!(
            html.contains(r#"<option value="b" selected>"#) && !html.contains("choose"),
            "{html}"
        );
    }
}
