//! The fields of a record, each declared once: its label and control, how its value is shown, read and compared.

use super::group::{Group, Shape};
use super::typed::Typed;
use crate::units::{Code, Currency, Length, LengthUnit, Minutes, Money};
use crate::web::ui::stale::Changed;
use crate::web::ui::{Field, FormErrors, SignedIn};
use chrono::{NaiveDate, NaiveTime};
use maud::{Markup, Render, html};
use rust_decimal::Decimal;
use std::ops::RangeInclusive;

/// Where a value is kept in a record.
pub(in crate::web) struct Lens<R, T> {
    pub(in crate::web) get: fn(&R) -> &T,
    pub(in crate::web) at: fn(&mut R) -> &mut T,
}

/// The [`Lens`] of a path of fields: `at!(worksheet.capital)`.
macro_rules! at {
    ($($path:tt)+) => {
        $crate::web::ui::record::Lens { get: |record| &record.$($path)+, at: |record| &mut record.$($path)+ }
    };
}
pub(in crate::web) use at;

/// A value that must be there, or one that may be left out: `V` or `Option<V>`.
pub(in crate::web) trait Maybe<V>: Sized {
    /// Whether the field may stay empty.
    const OPTIONAL: bool;
    /// The value, if there is one.
    fn value(&self) -> Option<&V>;
    /// From what was read: `None` where nothing was typed.
    fn from_value(value: Option<V>) -> Option<Self>;
}

impl<V> Maybe<V> for V {
    const OPTIONAL: bool = false;
    fn value(&self) -> Option<&V> {
        Some(self)
    }
    fn from_value(value: Option<V>) -> Option<Self> {
        value
    }
}

impl<V> Maybe<V> for Option<V> {
    const OPTIONAL: bool = true;
    fn value(&self) -> Option<&V> {
        self.as_ref()
    }
    fn from_value(value: Option<V>) -> Option<Self> {
        Some(value)
    }
}

/// Reads text into the record, or notes complaints.
type ReadText<R> = dyn Fn(&mut R, &str, &mut FormErrors);

/// One field: how it is drawn, and what passes between the record and the text.
pub(in crate::web) struct Input<R> {
    field: Field,
    focus: bool,
    show: Box<dyn Fn(&R) -> String>,
    read: Box<ReadText<R>>,
}

enum Part<R> {
    Heading(String),
    Between(Markup),
    Input(Box<Input<R>>),
    Group(Group<R>),
}

/// The fields of a record, in the order of its form.
pub(in crate::web) struct Fields<R> {
    parts: Vec<Part<R>>,
    currency: Currency,
    unit: LengthUnit,
}

impl<R: Clone + 'static> Fields<R> {
    /// None yet; amounts and lengths are those of the person's shop.
    pub(in crate::web) fn new(who: &SignedIn) -> Self {
        Self {
            parts: Vec::new(),
            currency: who.shop.currency,
            unit: who.shop.length_unit,
        }
    }

    /// A heading over the fields up to the next one, or up to a [`Group`] with a heading of its own.
    pub(in crate::web) fn heading(&mut self, words: &str) {
        self.parts.push(Part::Heading(words.to_owned()));
    }

    /// Anything that is no field.
    pub(in crate::web) fn between(&mut self, markup: Markup) {
        self.parts.push(Part::Between(markup));
    }

    /// Words offered under the control that names this list.
    pub(in crate::web) fn datalist<'a>(
        &mut self,
        id: &str,
        words: impl IntoIterator<Item = &'a String>,
    ) {
        self.between(html! { datalist id=(id) { @for word in words { option value=(word) {} } } });
    }

    /// Fields that belong together.
    pub(in crate::web) fn group(&mut self, group: Group<R>) {
        self.parts.push(Part::Group(group));
    }

    /// A field of any kind.
    pub(in crate::web) fn input(
        &mut self,
        field: Field,
        show: impl Fn(&R) -> String + 'static,
        read: impl Fn(&mut R, &str, &mut FormErrors) + 'static,
    ) -> &mut Self {
        self.parts.push(Part::Input(Box::new(Input {
            field,
            focus: false,
            show: Box::new(show),
            read: Box::new(read),
        })));
        self
    }

    fn last(&mut self, change: impl FnOnce(&mut Input<R>)) -> &mut Self {
        if let Some(Part::Input(input)) = self.parts.last_mut() {
            change(input);
        }
        self
    }

    /// Draws the last field otherwise.
    pub(in crate::web) fn with(&mut self, change: impl FnOnce(Field) -> Field) -> &mut Self {
        self.last(|input| input.field = change(input.field.clone()))
    }

    /// A hint under the last field.
    pub(in crate::web) fn hint(&mut self, hint: &str) -> &mut Self {
        self.with(|field| field.hint(hint))
    }

    /// The last field takes the whole row.
    pub(in crate::web) fn wide(&mut self) -> &mut Self {
        self.with(Field::wide)
    }

    /// A unit beside the last field.
    pub(in crate::web) fn unit(&mut self, unit: &str) -> &mut Self {
        self.with(|field| field.unit(unit))
    }

    /// The last field has the keyboard when the page opens without complaints.
    pub(in crate::web) fn focus(&mut self) -> &mut Self {
        self.last(|input| input.focus = true)
    }

    /// A field whose text is read by `parse`, and which may stay empty where its value may be left out.
    pub(in crate::web) fn value<V: 'static, T: Maybe<V> + 'static>(
        &mut self,
        field: Field,
        lens: Lens<R, T>,
        show: impl Fn(&V) -> String + 'static,
        parse: impl Fn(&mut FormErrors, &str, &str) -> Option<V> + 'static,
    ) -> &mut Self {
        let name = field.name().to_owned();
        let field = if T::OPTIONAL { field.optional() } else { field };
        self.input(
            field,
            move |record| (lens.get)(record).value().map(&show).unwrap_or_default(),
            move |record, raw, errors| {
                let read = if T::OPTIONAL {
                    errors.optional(raw, |errors| parse(errors, &name, raw))
                } else {
                    parse(errors, &name, raw).map(Some)
                };
                if let Some(value) = read.and_then(T::from_value) {
                    *(lens.at)(record) = value;
                }
            },
        )
    }

    /// A line of text of at most `longest` characters that must be there.
    pub(in crate::web) fn text(
        &mut self,
        name: &str,
        label: &str,
        longest: usize,
        lens: Lens<R, String>,
    ) -> &mut Self {
        let field = Field::text(name, label, "");
        self.value(field, lens, String::clone, move |errors, name, raw| {
            errors.required_text(name, raw, longest)
        })
    }

    /// A line of text that may be empty.
    pub(in crate::web) fn note(
        &mut self,
        name: &str,
        label: &str,
        longest: usize,
        lens: Lens<R, String>,
    ) -> &mut Self {
        self.words(Field::text(name, label, ""), longest, lens)
    }

    /// Several lines of text that may be empty.
    pub(in crate::web) fn area(
        &mut self,
        name: &str,
        label: &str,
        rows: u8,
        longest: usize,
        lens: Lens<R, String>,
    ) -> &mut Self {
        self.words(Field::textarea(name, label, "", rows), longest, lens)
    }

    fn words(&mut self, field: Field, longest: usize, lens: Lens<R, String>) -> &mut Self {
        let field = field.optional();
        self.value(field, lens, String::clone, move |errors, name, raw| {
            errors.text(name, raw, longest)
        })
    }

    /// An amount in the shop's currency.
    pub(in crate::web) fn money<T: Maybe<Money> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let currency = self.currency;
        let field = Field::money(name, label, "", currency);
        self.value(
            field,
            lens,
            |money| amount(*money),
            move |errors, name, raw| errors.money(name, raw, currency),
        )
    }

    /// A decimal number within bounds.
    pub(in crate::web) fn decimal<T: Maybe<Decimal> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        bounds: RangeInclusive<Decimal>,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let field = Field::decimal(name, label, "");
        self.value(
            field,
            lens,
            |number| number.normalize().to_string(),
            move |errors, name, raw| errors.percent(name, raw, bounds.clone()),
        )
    }

    /// A whole number within bounds.
    pub(in crate::web) fn int<T: Maybe<u32> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        bounds: RangeInclusive<i64>,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let field = Field::int(name, label, "");
        self.value(field, lens, u32::to_string, move |errors, name, raw| {
            u32::try_from(errors.int(name, raw, bounds.clone())?).ok()
        })
    }

    /// A length; a bare number is in the shop's unit.
    pub(in crate::web) fn length<T: Maybe<Length> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let unit = self.unit;
        let field = Field::length(name, label, "", unit);
        self.value(
            field,
            lens,
            move |length| length.entry(unit),
            move |errors, name, raw| errors.length(name, raw, unit),
        )
    }

    /// A working time.
    pub(in crate::web) fn minutes<T: Maybe<Minutes> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let show = |minutes: &Minutes| minutes.0.normalize().to_string();
        self.value(
            Field::minutes(name, label, ""),
            lens,
            show,
            FormErrors::minutes,
        )
    }

    /// A calendar day.
    pub(in crate::web) fn date<T: Maybe<NaiveDate> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let field = Field::date(name, label, "");
        self.value(field, lens, NaiveDate::to_string, FormErrors::date)
    }

    /// A time of day.
    pub(in crate::web) fn time<T: Maybe<NaiveTime> + 'static>(
        &mut self,
        name: &str,
        label: &str,
        lens: Lens<R, T>,
    ) -> &mut Self {
        let show = |time: &NaiveTime| time.format("%H:%M").to_string();
        self.value(Field::time(name, label, ""), lens, show, FormErrors::time)
    }

    /// One of a fixed set, sent under the code `show` gives and found again by `find`.
    pub(in crate::web) fn choice<V: 'static, T: Maybe<V> + 'static>(
        &mut self,
        field: Field,
        lens: Lens<R, T>,
        show: impl Fn(&V) -> String + 'static,
        find: impl Fn(&str) -> Option<V> + 'static,
    ) -> &mut Self {
        self.value(field, lens, show, move |errors, name, raw| {
            errors.choice(name, raw, &find)
        })
    }

    /// One of an enumeration, sent under its code.
    pub(in crate::web) fn code<V: Code + 'static, T: Maybe<V> + 'static>(
        &mut self,
        field: Field,
        lens: Lens<R, T>,
    ) -> &mut Self {
        self.choice(field, lens, |one: &V| one.code().to_owned(), V::from_code)
    }

    /// Yes or no.
    pub(in crate::web) fn tick(
        &mut self,
        name: &str,
        label: &str,
        lens: Lens<R, bool>,
    ) -> &mut Self {
        self.input(
            Field::checkbox(name, label, false),
            move |record| if *(lens.get)(record) { "yes" } else { "" }.to_owned(),
            move |record, raw, _| *(lens.at)(record) = raw == "yes",
        )
    }

    /// How the values stand in JSON, in the order of the form.
    pub(super) fn shapes(&self) -> Vec<Shape> {
        let shapes = self.parts.iter().flat_map(|part| match part {
            Part::Heading(_) | Part::Between(_) => Vec::new(),
            Part::Input(input) => vec![Shape::One(input.field.clone())],
            Part::Group(group) => group.shapes.clone(),
        });
        shapes.collect()
    }

    /// A record as its form holds it.
    pub(super) fn typed(&self, record: &R) -> Typed {
        let mut typed = Typed::default();
        for part in &self.parts {
            match part {
                Part::Input(input) => typed.set(input.field.name(), (input.show)(record)),
                Part::Group(group) => (group.write)(record, &mut typed),
                Part::Heading(_) | Part::Between(_) => {}
            }
        }
        typed
    }

    /// Reads a form into a record; what does not read is left as it was and complained about.
    pub(in crate::web) fn read(&self, record: &mut R, typed: &Typed, errors: &mut FormErrors) {
        for part in &self.parts {
            match part {
                Part::Input(input) => {
                    let name = input.field.name();
                    errors.label(name, input.field.label());
                    if typed.all(name).len() > 1 {
                        errors.add(name, "Enter one value, not several");
                    } else {
                        (input.read)(record, typed.get(name), errors);
                    }
                }
                Part::Group(group) => (group.read)(record, typed, errors),
                Part::Heading(_) | Part::Between(_) => {}
            }
        }
    }

    /// The fields as drawn.
    pub(in crate::web) fn draw(&self, typed: &Typed, errors: &FormErrors) -> Markup {
        let headed = |part: &Part<R>| match part {
            Part::Heading(_) => true,
            Part::Group(group) => group.headed,
            Part::Between(_) | Part::Input(_) => false,
        };
        let starts = |one: &Part<R>, next: &Part<R>| {
            headed(next) || matches!(one, Part::Group(group) if group.headed)
        };
        let draw = |part: &Part<R>| match part {
            Part::Heading(words) => html! { legend { h2 { (words) } } },
            Part::Between(markup) => markup.clone(),
            Part::Input(input) => {
                let field = input.field.clone().filled(typed.get(input.field.name()));
                let focus = input.focus && errors.is_empty();
                field.errors(errors).autofocus(focus).render()
            }
            Part::Group(group) => (group.draw)(typed, errors),
        };
        html! {
            @for section in self.parts.chunk_by(|one, next| !starts(one, next)) {
                @if matches!(section.first(), Some(Part::Heading(_))) {
                    fieldset.part.wide { @for part in section { (draw(part)) } }
                } @else {
                    @for part in section { (draw(part)) }
                }
            }
        }
    }

    /// Both values of whatever differs between the stored record and a form, written alike: 1 in and 25.4 mm are no
    /// difference.
    pub(super) fn differences(&self, stored: &R, typed: &Typed) -> Vec<Changed> {
        let now = self.typed(stored);
        let changed = self.parts.iter().filter_map(|part| match part {
            Part::Heading(_) | Part::Between(_) => None,
            Part::Input(input) => {
                let raw = typed.get(input.field.name());
                let (mut wanted, mut ignored) = (stored.clone(), FormErrors::default());
                (input.read)(&mut wanted, raw, &mut ignored);
                let wanted = if ignored.is_empty() {
                    (input.show)(&wanted)
                } else {
                    raw.trim().to_owned()
                };
                let show = |value: &str| input.field.spelt(value);
                let stored = now.get(input.field.name());
                Changed::if_differs(input.field.label(), &show(stored), &show(&wanted))
            }
            Part::Group(group) => {
                Changed::if_differs(group.label, &(group.tell)(&now), &(group.tell)(typed))
            }
        });
        changed.collect()
    }
}

/// An amount as it is typed: with the digits its currency has, or more where it has more.
pub(in crate::web) fn amount(money: Money) -> String {
    let digits = money.currency().minor_digits();
    let mut exact = money.amount().normalize();
    if exact.scale() < digits {
        exact.rescale(digits);
    }
    exact.to_string()
}
