//! Recording a sighting, correcting it, saying what became of it.

use super::path;
use crate::castings::Variant;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings, sightings};
use crate::sourcing::{Fate, Sighting};
use crate::units::{Code, Currency};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, At, Done, Fields, Paths, Record, Sheet, Typed, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError, csrf_field};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

pub fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<SightingSheet>(cfg);
}

/// A sighting with its price as typed: an amount, and the currency it is in.
#[derive(Debug, Clone)]
struct SightingSheet {
    sighting: Sighting,
    asked: String,
    currency: Currency,
}

impl SightingSheet {
    fn new(variant_id: Uuid, who: &SignedIn) -> Self {
        Self {
            sighting: Sighting {
                id: Uuid::now_v7(),
                variant_id,
                seen_on: who.today(),
                place: String::new(),
                asked: None,
                condition: String::new(),
                acceptable: true,
                fate: Fate::Open,
                version: 1,
            },
            asked: String::new(),
            currency: who.shop.currency,
        }
    }

    fn fields(who: &SignedIn) -> Fields<Self> {
        let shop = who.shop.currency;
        let fates = Fate::ALL.iter();
        let fates = fates.map(|fate| Choice::new(fate.code(), fate.words()));
        let fate = Field::select("fate", "What became of it", "", fates.collect());
        let usable = vec![
            Choice::new("yes", "Yes, had one been needed"),
            Choice::new("no", "No"),
        ];
        let usable = Field::radios("acceptable", "Usable at that price?", "", usable);
        let mut f = Fields::<Self>::new(who);
        f.date("seen_on", "Day it was seen", at!(sighting.seen_on));
        f.text("place", "Place", 200, at!(sighting.place))
            .hint("Who offers it, or where it was advertised");
        f.input(
            Field::decimal("asked", "Asking price", "").optional(),
            |sheet| sheet.asked.clone(),
            |sheet: &mut Self, raw, _| sheet.asked = plain(raw),
        )
        .hint("Leave empty if no price was named");
        f.value(
            Field::text("currency", "Currency", ""),
            at!(currency),
            |currency| currency.code().to_owned(),
            move |errors, name, raw| match raw.trim() {
                "" => Some(shop),
                _ => errors.parsed(name, raw, Currency::from_code),
            },
        )
        .hint("ISO 4217 code, for example GBP or EUR");
        f.area("condition", "Condition", 2, 1000, at!(sighting.condition));
        let yes_no = |word: &str| match word {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        };
        let word = |yes: &bool| if *yes { "yes" } else { "no" }.to_owned();
        f.choice(usable, at!(sighting.acceptable), word, yes_no);
        f.code::<Fate, _>(fate, at!(sighting.fate));
        f
    }

    fn check_price(&mut self, who: &SignedIn, errors: &mut FormErrors) {
        if self.sighting.seen_on > who.today() {
            errors.add("seen_on", "Enter today or an earlier day");
        }
        if errors.get("currency").is_some() {
            return;
        }
        let asked = errors.optional(&self.asked, |errors| {
            errors.money("asked", &self.asked, self.currency)
        });
        self.sighting.asked = asked.flatten();
        if self
            .sighting
            .asked
            .is_some_and(|asked| asked.amount().is_zero())
        {
            errors.add("asked", "Enter an amount above 0, or leave it empty");
        }
    }
}

/// A number without zeros at its end; anything else as it was typed.
fn plain(raw: &str) -> String {
    let text = raw.trim();
    Decimal::from_str_exact(text)
        .map_or_else(|_| text.to_owned(), |number| number.normalize().to_string())
}

/// Reads a sighting of a variant as the form is read, so that the JSON interface complains alike.
pub fn read(
    who: &SignedIn,
    variant_id: Uuid,
    typed: &Typed,
    errors: &mut FormErrors,
) -> Option<Sighting> {
    let mut sheet = SightingSheet::new(variant_id, who);
    SightingSheet::fields(who).read(&mut sheet, typed, errors);
    sheet.check_price(who, errors);
    errors.is_empty().then_some(sheet.sighting)
}

impl Record for SightingSheet {
    type Around = Variant;
    const NAV: Section = Section::Market;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const AROUND_EACH: bool = true;
    const PATHS: Paths = Paths {
        new: "/market/{parent}/new",
        add: "/market/{parent}",
        edit: "/market/sightings/{id}",
        delete: "/market/sightings/{id}/remove",
        copy: "",
    };

    async fn load(tx: &mut ShopTx, who: &SignedIn, at: &At) -> Result<Self, WebError> {
        let sighting = sightings::get(tx, at.id).await?;
        let asked = sighting.asked;
        Ok(Self {
            asked: asked
                .map(|asked| asked.amount().normalize().to_string())
                .unwrap_or_default(),
            currency: asked.map_or(who.shop.currency, |asked| asked.currency()),
            sighting,
        })
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        stored: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let variant_id = stored.map_or(at.parent, |sheet| sheet.sighting.variant_id);
        Ok(castings::variant(tx, variant_id).await?)
    }

    fn blank(variant: &Variant, who: &SignedIn, _: &At) -> Self {
        Self::new(variant.id, who)
    }

    fn fields(_: &Variant, who: &SignedIn, _: bool) -> Fields<Self> {
        Self::fields(who)
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.sighting.version
    }

    fn check(&mut self, _: &Variant, who: &SignedIn, errors: &mut FormErrors) {
        self.check_price(who, errors);
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        sightings::insert(tx, &self.sighting).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        sightings::update(tx, &self.sighting).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        sightings::delete(tx, self.sighting.id, self.sighting.version).await
    }

    fn words(&self, variant: &Variant, new: bool) -> Words {
        let add = format!("Seen for sale: {}", variant.name);
        Words {
            title: if new {
                add
            } else {
                format!("Sighting of {}", variant.name)
            },
            save: if new { "Record" } else { "Save" },
            ..Words::of(new, "", "the sighting", &path(variant.id))
        }
    }

    fn done(&self, done: Done, sheet: &Sheet<Self>) -> (String, String) {
        let verb = match done {
            Done::Added => "recorded",
            Done::Saved => "saved",
            Done::Deleted => "deleted",
        };
        (path(sheet.around.id), format!("The sighting is {verb}."))
    }

    fn below(sheet: &Sheet<Self>) -> Markup {
        html! {
            @if let Some(stored) = &sheet.stored {
                details {
                    summary { "Entered by mistake?" }
                    p { "Deleting it changes the forecast. If it was sold or you passed on it, do not delete it: say so above." }
                    form method="post" action={ "/market/sightings/" (stored.sighting.id) "/remove" } {
                        (csrf_field(&sheet.who))
                        input type="hidden" name="version" value=(sheet.typed.get("version"));
                        button.danger type="submit" { "Delete sighting" }
                    }
                }
            }
        }
    }
}
