//! `/castings/patterns/{id}/sizes`: the sizes and limits of a pattern, that what is measured on its castings is held against.

use super::pattern_path;
use super::sizes_fields::{cam, crank, ra_field, rear, sizes_field, torques};
use crate::castings::Pattern;
use crate::castings::measured::{Liner, Sizes};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, castings, measured_records as db};
use crate::units::text::capitalised;
use crate::units::{Code, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use maud::{Markup, html};
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<Sizes>(cfg);
}

/// Where the sizes of a pattern are.
pub(in crate::web) fn sizes_path(pattern_id: Uuid) -> String {
    format!("{}/sizes", pattern_path(pattern_id))
}

impl Record for Sizes {
    type Around = Pattern;
    const NAV: Section = Section::Castings;
    const READ: Role = Role::Machinist;
    const WRITE: Role = Role::Office;
    const PATHS: Paths = Paths {
        new: "",
        add: "",
        edit: "/castings/patterns/{id}/sizes",
        delete: "",
        copy: "",
    };
    const API: Api = Api::single("sizes", "/api/v1/patterns/{id}/sizes");

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        castings::pattern(tx, at.id).await?;
        Ok(db::sizes(tx, at.id).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(castings::pattern(tx, at.id).await?)
    }

    fn blank(pattern: &Pattern, _: &SignedIn, _: &At) -> Self {
        Self {
            pattern_id: pattern.id,
            ..Self::default()
        }
    }

    fn fields(_: &Pattern, who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        let unit = who.shop.length_unit;
        bores(&mut f, unit);
        finished_bores(&mut f, unit);
        f.heading("Main bearing housings");
        f.length("main_smallest", "Smallest housing", at!(mains.smallest))
            .hint("Cap on, bolts at their torque");
        f.length("main_largest", "Largest housing", at!(mains.largest));
        f.length("main_taper", "Most taper of a housing", at!(mains.taper));
        f.length(
            "main_ovality",
            "Most ovality of a housing",
            at!(mains.ovality),
        );
        f.length(
            "main_step",
            "Most from one housing to the next",
            at!(mains.step),
        )
        .hint("Off the line");
        f.length("main_line", "Most over the whole line", at!(mains.line))
            .hint("Straightness");
        f.length("main_faced", "Most faced off a cap", at!(mains.faced))
            .hint("In all, since it was new");
        f.length(
            "main_register_least",
            "Least tight fit of a cap in its register",
            at!(mains.register_least),
        )
        .hint("Width of the cap less that of the register; below 0 where it may be loose");
        f.length(
            "main_register_most",
            "Most tight fit of a cap in its register",
            at!(mains.register_most),
        );
        f.length(
            "main_thrust_least",
            "Least width over the thrust faces",
            at!(mains.thrust_least),
        );
        f.length(
            "main_thrust_most",
            "Most width over the thrust faces",
            at!(mains.thrust_most),
        );
        torques(&mut f);
        deck(&mut f, unit);
        crank(&mut f, unit);
        cam(&mut f, unit);
        rear(&mut f, unit);
        f.heading("Source");
        f.note("source", "Where the figures come from", 200, at!(source))
            .wide()
            .hint("The maker’s data with its page, or the shop’s own practice");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.pattern_id
    }

    fn check(&mut self, _: &Pattern, _: &SignedIn, errors: &mut FormErrors) {
        for fault in self.faults() {
            if errors.get(fault.field()).is_none() {
                errors.add(fault.field(), fault);
            }
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::set_sizes(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        db::set_sizes(tx, self).await
    }

    fn words(&self, pattern: &Pattern, _: bool) -> Words {
        let words = Words::of(false, "", "the sizes", &pattern_path(pattern.id));
        Words {
            title: format!("Sizes and limits: {}", pattern.name),
            ..words.back(&pattern.name)
        }
    }

    fn lead(_: &Sheet<Self>) -> Markup {
        html! {
            p.lead { "What is measured on a casting of this pattern, and on the crankshaft that goes with it, is held against these. A field left empty is not judged." }
            p.small { "Take them from the engine maker’s data. A record keeps the limits it was made with." }
        }
    }

    fn done(&self, _: Done, _: &Sheet<Self>) -> (String, String) {
        (pattern_path(self.pattern_id), "Sizes saved.".to_owned())
    }
}

fn bores(f: &mut Fields<Sizes>, unit: LengthUnit) {
    f.heading("Cylinders");
    f.length(
        "bore_smallest",
        "Smallest standard bore",
        at!(bores.smallest),
    )
    .hint("Finished, new")
    .focus();
    f.length("bore_largest", "Largest standard bore", at!(bores.largest));
    f.length("bore_wear", "Most wear of a bore", at!(bores.wear))
        .hint("Over the smallest, before it is bored");
    f.length("bore_taper", "Most taper of a bore", at!(bores.taper));
    f.length("bore_ovality", "Most ovality of a bore", at!(bores.ovality));
    let field = ("oversizes", "Piston oversizes");
    sizes_field(f, field, at!(bores.oversizes), unit)
        .hint("Over standard, separated by commas: 0.5, 1");
    f.length(
        "bore_clean_up",
        "Allowance to clean up",
        at!(bores.clean_up),
    )
    .hint("On the diameter, beyond the largest reading, for boring and honing");
    f.length("bore_wall", "Thinnest wall", at!(bores.wall))
        .hint("Left after boring");
    f.length(
        "piston_least",
        "Least piston clearance",
        at!(bores.piston_least),
    )
    .hint("Bore over piston, at the skirt where the piston’s maker measures it");
    f.length(
        "piston_most",
        "Most piston clearance",
        at!(bores.piston_most),
    );
}

fn finished_bores(f: &mut Fields<Sizes>, unit: LengthUnit) {
    let field = ("bore_finish_least", "Smoothest honed surface, Ra");
    ra_field(f, field, at!(bores.finish_least), unit)
        .hint("By the ring maker’s data; a smoother one holds no oil");
    let field = ("bore_finish_most", "Roughest honed surface, Ra");
    ra_field(f, field, at!(bores.finish_most), unit);
    f.length("bore_square", "Most out of square", at!(bores.square))
        .hint("A bore with the main line, over the length of the bore");
    f.tick(
        "torque_plate",
        "Hone and measure with a torque plate",
        at!(bores.torque_plate),
    );
    let liners = Liner::ALL
        .iter()
        .map(|one| Choice::new(one.code(), capitalised(one.word())));
    let bored = Choice::new("", "None: bored in the block");
    let choices = std::iter::once(bored).chain(liners).collect();
    f.code::<Liner, _>(
        Field::select("liner", "Liners", "", choices),
        at!(bores.liner),
    );
    f.length(
        "liner_lowest",
        "Lowest liner above the deck",
        at!(bores.liner_lowest),
    )
    .hint("Clamped as the head clamps it; with a minus below the deck");
    f.length(
        "liner_highest",
        "Highest liner above the deck",
        at!(bores.liner_highest),
    );
    f.length(
        "liner_step",
        "Most difference of the liners",
        at!(bores.liner_step),
    )
    .hint("Round one, and from one to the next");
}

fn deck(f: &mut Fields<Sizes>, unit: LengthUnit) {
    f.heading("Deck and pistons");
    f.length("deck_least", "Least deck height", at!(deck.least))
        .hint("Above the centre of the main line");
    f.length("deck_along", "Most difference along", at!(deck.along));
    f.length("deck_across", "Most difference across", at!(deck.across));
    f.length(
        "flat_step",
        "Most out of flat in a length",
        at!(deck.flat_step),
    );
    f.length("flat_length", "That length", at!(deck.flat_length));
    f.length("flat", "Most out of flat, whole deck", at!(deck.flat));
    f.length("deck_clean_up", "Allowance to face", at!(deck.clean_up))
        .hint("Below the lowest place");
    f.length(
        "piston_lowest",
        "Lowest piston height",
        at!(deck.piston_lowest),
    )
    .hint("Above the deck; with a minus below it");
    f.length(
        "piston_highest",
        "Highest piston height",
        at!(deck.piston_highest),
    );
    f.length("gasket", "Head gasket, pressed", at!(deck.gasket));
    f.length(
        "clearance",
        "Least clearance of a piston",
        at!(deck.clearance),
    )
    .hint("To a flat head, with the gasket pressed");
    let field = ("deck_finish_least", "Smoothest faced surface, Ra");
    ra_field(f, field, at!(deck.finish_least), unit)
        .hint("Only where the gasket’s maker asks for one");
    let field = ("deck_finish_most", "Roughest faced surface, Ra");
    ra_field(f, field, at!(deck.finish_most), unit);
}
