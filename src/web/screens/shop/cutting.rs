//! Cutting data: speeds and feeds by work material and tool. Guide figures, each with its source.

use super::standards::Nothing;
use crate::castings::Metal;
use crate::db::cutting::{self, CuttingLine, WorkMaterial};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::estimating::cutting_data::{STATUS, starting_points};
use crate::estimating::{Process, ToolData};
use crate::units::{Code, Length, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use uuid::Uuid;

const PATH: &str = "/shop/cutting";

/// `/shop/cutting`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list))
        .route("/shop/cutting/start", web::post().to(start));
    record::routes::<WorkMaterial>(cfg);
    record::routes::<CuttingLine>(cfg);
}

async fn list(who: SignedIn) -> Answer {
    let mut tx = who.begin().await?;
    let materials = cutting::materials(&mut tx).await?;
    let mut tables = Vec::with_capacity(materials.len());
    for material in materials {
        let lines = cutting::lines(&mut tx, material.id).await?;
        tables.push((material, lines));
    }
    let may = who.may(Role::Owner);
    let body = html! {
        div.bar {
            h1 { "Cutting data" }
            @if may {
                a.button href="/shop/cutting/new" data-key="n" data-key-label="Add a material" { "Add a material" }
            }
        }
        p.notice.warn { "Guide figures only: follow the tool maker’s data, then what the machine and the job will bear." }
        @if tables.is_empty() {
            section.notice {
                h2 { "No cutting data yet" }
                p { "Without it no cutting time is calculated, and the owner’s figures are used." }
                @if may {
                    form method="post" action="/shop/cutting/start" {
                        (csrf_field(&who))
                        button type="submit" { "Load guide figures" }
                    }
                }
            }
        }
        @for (material, lines) in &tables { (table(&who, material, lines)) }
    };
    Ok(Page::new(&who, "Cutting data")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn table(who: &SignedIn, material: &WorkMaterial, lines: &[CuttingLine]) -> Markup {
    let path = format!("/shop/cutting/{}", material.id);
    let unit = who.shop.length_unit;
    html! {
        section.material {
            div.bar {
                h2 { a href=(path) { (material.name) } @if material.usual { " " span.tag { "usual" } } }
                @if who.may(Role::Owner) { a.button.quiet href={ (path) "/lines" } { "Add a line" } }
            }
            p.muted { "Top speed of the machine " (material.top_speed.normalize()) " rev/min." }
            @if lines.is_empty() { p { "No lines yet." } } @else {
                table.cells {
                    thead { tr {
                        th scope="col" { "Tool" } th scope="col" { "Diameter" } th.number scope="col" { "Speed" }
                        th.number scope="col" { "Feed" } th scope="col" { "Source" }
                    } }
                    tbody {
                        @for line in lines {
                            tr {
                                th scope="row" {
                                    a href={ (path) "/lines/" (line.id) } { (line.data.process) ", " (line.data.tool) }
                                }
                                td data-label="Diameter" { (sizes(&line.data, unit)) }
                                td.number data-label="Speed" { (line.data.speed.normalize()) " m/min" }
                                td.number data-label="Feed" { (feed(&line.data)) }
                                td.source data-label="Source" { (line.data.source) " " span.tag { (STATUS) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn sizes(data: &ToolData, unit: LengthUnit) -> String {
    match (data.smallest, data.largest) {
        (None, None) => "any".to_owned(),
        (Some(above), None) => format!("above {}", above.show(unit)),
        (None, Some(to)) => format!("up to {}", to.show(unit)),
        (Some(above), Some(to)) => format!("above {} to {}", above.show(unit), to.show(unit)),
    }
}

fn feed(data: &ToolData) -> String {
    match data.process {
        Process::Tap => "its pitch".to_owned(),
        Process::Mill => format!("{} mm a tooth, {} teeth", data.feed.normalize(), data.teeth),
        _ => format!("{} mm/rev", data.feed.normalize()),
    }
}

async fn start(who: SignedIn, _: CheckedForm<Nothing>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    cutting::start(&mut tx, &starting_points()).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/cutting").flash("The guide figures are loaded."))
}

impl Record for WorkMaterial {
    type Around = ();
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Machinist;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "work_material";
    const PATHS: Paths = Paths {
        new: "/shop/cutting/new",
        add: "/shop/cutting",
        edit: "/shop/cutting/{id}",
        delete: "",
        copy: "",
    };
    const API: Api = Api::of(
        "work_material",
        "/api/v1/work-materials",
        "/api/v1/work-materials/{id}",
    );
    const EMPTY: &'static [&'static str] = &["top_speed"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(cutting::material(tx, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        Ok(cutting::materials(tx).await?)
    }

    async fn around(
        _: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(())
    }

    fn blank((): &(), _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            name: String::new(),
            top_speed: Decimal::from(1_000),
            usual: false,
            metal: None,
            version: 1,
        }
    }

    fn fields((): &(), who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Material", 80, at!(name));
        let speeds = Decimal::ONE..=Decimal::from(100_000);
        f.decimal(
            "top_speed",
            "Top speed of the machine",
            speeds,
            at!(top_speed),
        )
        .unit("rev/min");
        f.tick(
            "usual",
            "Usual material: castings are made of it",
            at!(usual),
        );
        let metals = Metal::ALL.iter();
        let metals = metals.map(|m| Choice::new(m.code(), m.word())).collect();
        f.value(
            Field::select("metal", "For castings of", "", metals).optional(),
            at!(metal),
            |metal: &Option<Metal>| metal.map_or("", |m| m.code()).to_owned(),
            |errors, name, raw| errors.optional(raw, |e| e.choice(name, raw, Metal::from_code)),
        )
        .hint("Patterns of this metal are cut with these data; no other material may be for it");
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        cutting::insert_material(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        cutting::update_material(tx, self).await
    }

    fn words(&self, (): &(), new: bool) -> Words {
        Words::of(new, "Add a material", &self.name, PATH)
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let verb = if done == Done::Added {
            "added"
        } else {
            "saved"
        };
        (PATH.to_owned(), format!("{} is {verb}.", self.name))
    }
}

impl Record for CuttingLine {
    type Around = WorkMaterial;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Machinist;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "cutting_data";
    const PATHS: Paths = Paths {
        new: "/shop/cutting/{parent}/lines",
        add: "/shop/cutting/{parent}/lines",
        edit: "/shop/cutting/{parent}/lines/{id}",
        delete: "/shop/cutting/{parent}/lines/{id}/delete",
        copy: "",
    };
    const API: Api = Api::of(
        "cutting_line",
        "/api/v1/work-materials/{parent}/lines",
        "/api/v1/work-materials/{parent}/lines/{id}",
    );
    const EMPTY: &'static [&'static str] = &["process", "speed", "feed"];

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(cutting::line(tx, at.parent, at.id).await?)
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Vec<Self>, WebError> {
        Ok(cutting::lines(tx, at.parent).await?)
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        at: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(cutting::material(tx, at.parent).await?)
    }

    fn blank(material: &WorkMaterial, _: &SignedIn, _: &At) -> Self {
        let margin = Length::from_mm(Decimal::from(3));
        Self {
            id: Uuid::now_v7(),
            work_material_id: material.id,
            data: ToolData {
                process: Process::Drill,
                tool: String::new(),
                smallest: None,
                largest: None,
                speed: Decimal::ZERO,
                feed: Decimal::ZERO,
                teeth: 1,
                approach: margin,
                overrun: margin,
                source: String::new(),
            },
            version: 1,
        }
    }

    fn fields(_: &WorkMaterial, who: &SignedIn, _: bool) -> Fields<Self> {
        let unit = who.shop.length_unit;
        let above = |most: i64| Decimal::new(1, 4)..=Decimal::from(most);
        let processes = Process::ALL.iter().map(|p| Choice::new(p.code(), p.word()));
        let process = Field::select("process", "Process", "", processes.collect());
        let mut f = Fields::<Self>::new(who);
        f.code::<Process, _>(process, at!(data.process));
        f.text("tool", "Tool", 80, at!(data.tool))
            .hint("As the cuts of the standard times name it");
        let diameter = move |errors: &mut FormErrors, name: &str, raw: &str| {
            let length = errors.length(name, raw, unit)?;
            above_nothing(name, length, errors)
        };
        let show = move |length: &Length| length.entry(unit);
        let smallest = Field::length("smallest", "Above diameter", "", unit);
        f.value(smallest, at!(data.smallest), show, diameter);
        let largest = Field::length("largest", "Up to diameter", "", unit);
        f.value(largest, at!(data.largest), show, diameter);
        f.decimal("speed", "Cutting speed", above(2_000), at!(data.speed))
            .unit("m/min");
        f.decimal("feed", "Feed", above(50), at!(data.feed))
            .unit("mm")
            .hint("Per revolution; for milling, per tooth. A tap feeds at its pitch");
        f.int("teeth", "Teeth", 1..=200, at!(data.teeth))
            .hint("For milling; 1 otherwise");
        f.length("approach", "Approach", at!(data.approach));
        f.length("overrun", "Overrun", at!(data.overrun));
        f.text("source", "Source", 400, at!(data.source))
            .wide()
            .hint(
                "Where the figures come from: the tool maker’s page, a handbook, your own trials",
            );
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    fn check(&mut self, _: &WorkMaterial, _: &SignedIn, errors: &mut FormErrors) {
        let data = &self.data;
        let most = Length::from_mm(Decimal::from(500));
        for (field, length) in [("approach", data.approach), ("overrun", data.overrun)] {
            if length < Length::ZERO || length > most {
                errors.add(field, "Enter a length from 0 to 500 mm");
            }
        }
        if let (Some(above), Some(to)) = (data.smallest, data.largest)
            && above >= to
        {
            errors.add("largest", "Enter a diameter larger than the smallest");
        }
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        cutting::insert_line(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        cutting::update_line(tx, self).await
    }

    async fn delete(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        cutting::delete_line(tx, self.work_material_id, self.id, self.version).await
    }

    fn words(&self, material: &WorkMaterial, new: bool) -> Words {
        let add = format!("Add a line for {}", material.name);
        let name = format!("{}, {}", self.data.process, self.data.tool);
        Words::of(new, &add, &name, PATH).deletes("Delete")
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let verb = match done {
            Done::Added => "added",
            Done::Saved => "saved",
            Done::Deleted => "deleted",
        };
        (PATH.to_owned(), format!("The line is {verb}."))
    }

    fn lead(sheet: &Sheet<Self>) -> Markup {
        html! {
            @if sheet.stored.is_some() { p { span.tag { (STATUS) } " Follow the tool maker’s data first." } }
        }
    }
}

fn above_nothing(field: &str, length: Length, errors: &mut FormErrors) -> Option<Length> {
    if length > Length::ZERO {
        return Some(length);
    }
    errors.add(field, "Enter a diameter above 0");
    None
}
