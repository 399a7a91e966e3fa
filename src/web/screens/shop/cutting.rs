//! Cutting data: speeds and feeds by work material and tool. Starting points, each with its source.

use super::standards::Nothing;
use crate::db::cutting::{self, CuttingLine, WorkMaterial};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx, history as changes};
use crate::estimating::cutting_data::{STATUS, starting_points};
use crate::estimating::{Process, ToolData};
use crate::units::{Code, Length, LengthUnit};
use crate::web::ui::forms::Choice;
use crate::web::ui::history;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::web;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use uuid::Uuid;

/// `/shop/cutting`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/cutting")
            .route(web::get().to(list))
            .route(web::post().to(add_material)),
    )
    .route("/shop/cutting/new", web::get().to(blank_material))
    .route("/shop/cutting/start", web::post().to(start))
    .service(
        web::resource("/shop/cutting/{material}")
            .route(web::get().to(edit_material))
            .route(web::post().to(save_material)),
    )
    .service(
        web::resource("/shop/cutting/{material}/lines")
            .route(web::get().to(blank_line))
            .route(web::post().to(add_line)),
    )
    .service(
        web::resource("/shop/cutting/{material}/lines/{id}")
            .route(web::get().to(edit_line))
            .route(web::post().to(save_line)),
    )
    .route(
        "/shop/cutting/{material}/lines/{id}/delete",
        web::post().to(delete_line),
    );
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
        p.notice.warn { "Every line is a " strong { (STATUS) } ". The tool maker's own data come first, then what the machine and the job will bear." }
        @if tables.is_empty() {
            section.notice {
                h2 { "No cutting data yet" }
                p { "Without them no time is calculated: the owner's figures stand instead." }
                @if may {
                    form method="post" action="/shop/cutting/start" {
                        (csrf_field(&who))
                        button type="submit" { "Start with the starting points" }
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
            p.muted { "On a machine that turns " (material.top_speed.normalize()) " rev/min at most." }
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
    Ok(Reply::see_other("/shop/cutting").flash("The starting points are in."))
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct MaterialForm {
    name: String,
    top_speed: String,
    usual: String,
    version: String,
}

impl MaterialForm {
    fn of(material: &WorkMaterial) -> Self {
        Self {
            name: material.name.clone(),
            top_speed: material.top_speed.normalize().to_string(),
            usual: if material.usual { "yes" } else { "" }.to_owned(),
            version: material.version.to_string(),
        }
    }

    fn read(&self, id: Uuid, errors: &mut FormErrors) -> Option<WorkMaterial> {
        let name = errors.required_text("name", &self.name, 80);
        let top = Decimal::ONE..=Decimal::from(100_000);
        let top_speed = errors.decimal("top_speed", &self.top_speed, top);
        Some(WorkMaterial {
            id,
            name: name?,
            top_speed: top_speed?,
            usual: self.usual == "yes",
            version: self.version.parse().unwrap_or_default(),
        })
    }
}

async fn blank_material(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    Ok(new_material(&who, &MaterialForm::default(), &FormErrors::default()).into())
}

async fn add_material(who: SignedIn, form: CheckedForm<MaterialForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    if let Some(material) = form.read(Uuid::now_v7(), &mut errors) {
        let mut tx = who.begin().await?;
        match cutting::insert_material(&mut tx, &material).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(Reply::see_other("/shop/cutting")
                    .flash(format!("{} is entered.", material.name)));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(new_material(&who, &form, &errors).invalid().into())
}

fn material_fields(form: &MaterialForm, errors: &FormErrors) -> Markup {
    html! {
        (Field::text("name", "Material", &form.name).errors(errors))
        (Field::decimal("top_speed", "Top speed of the machine", &form.top_speed).unit("rev/min").errors(errors))
        (Field::checkbox("usual", "The usual material: castings are of it", form.usual == "yes"))
    }
}

fn new_material(who: &SignedIn, form: &MaterialForm, errors: &FormErrors) -> Page {
    let body = html! {
        h1 { "Add a material" }
        (errors.summary())
        form.grid method="post" action="/shop/cutting" novalidate {
            (csrf_field(who))
            (material_fields(form, errors))
            div.actions { button type="submit" { "Add" } a.button.quiet href="/shop/cutting" { "Cancel" } }
        }
    };
    Page::new(who, "Add a material")
        .nav(Section::Shop)
        .body(body)
}

async fn edit_material(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    let mut tx = who.begin().await?;
    let stored = cutting::material(&mut tx, *id).await?;
    let form = MaterialForm::of(&stored);
    let none = (FormErrors::default(), html! {});
    let page = material_page(&who, &mut tx, &stored, &form, &none.0, &none.1).await?;
    Ok(page.into())
}

async fn save_material(
    who: SignedIn,
    id: web::Path<Uuid>,
    form: CheckedForm<MaterialForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let stored = cutting::material(&mut tx, *id).await?;
    if let Some(wanted) = form.read(stored.id, &mut errors) {
        match cutting::update_material(&mut tx, &wanted).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(
                    Reply::see_other("/shop/cutting").flash(format!("{} is saved.", wanted.name))
                );
            }
            Err(DbError::Stale(_)) => {
                // What was stood down for it is not to stay so.
                tx = who.begin().await?;
                let now = MaterialForm::of(&stored);
                let usual = |yes: &str| if yes == "yes" { "Yes" } else { "No" };
                let changed: Vec<Changed> = [
                    Changed::if_differs("Material", &now.name, &form.name),
                    Changed::if_differs("Top speed", &now.top_speed, &form.top_speed),
                    Changed::if_differs("Usual", usual(&now.usual), usual(&form.usual)),
                ]
                .into_iter()
                .flatten()
                .collect();
                let mine = MaterialForm {
                    version: now.version,
                    ..(*form).clone()
                };
                let notice = stale_notice(&stored.name, &changed);
                let page = material_page(&who, &mut tx, &stored, &mine, &errors, &notice).await?;
                return Ok(page.status(StatusCode::CONFLICT).into());
            }
            Err(error) => errors.absorb(error)?,
        }
        tx = who.begin().await?;
    }
    let page = material_page(&who, &mut tx, &stored, &form, &errors, &html! {}).await?;
    Ok(page.invalid().into())
}

async fn material_page(
    who: &SignedIn,
    tx: &mut ShopTx,
    stored: &WorkMaterial,
    form: &MaterialForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, DbError> {
    let may = who.may(Role::Owner);
    let past = changes::of_row(tx, "work_material", stored.id).await?;
    let body = html! {
        h1 { (stored.name) }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        form.grid method="post" action={ "/shop/cutting/" (stored.id) } novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            fieldset.plain.wide disabled[!may] {
                (material_fields(form, errors))
                @if may {
                    div.actions { button type="submit" { "Save" } a.button.quiet href="/shop/cutting" { "Cancel" } }
                }
            }
        }
        (history::section(who, &past))
    };
    Ok(Page::new(who, stored.name.clone())
        .nav(Section::Shop)
        .body(body))
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct LineForm {
    process: String,
    tool: String,
    smallest: String,
    largest: String,
    speed: String,
    feed: String,
    teeth: String,
    approach: String,
    overrun: String,
    source: String,
    version: String,
}

impl LineForm {
    fn of(line: &CuttingLine, unit: LengthUnit) -> Self {
        let data = &line.data;
        let size = |length: Option<Length>| length.map(|l| l.entry(unit)).unwrap_or_default();
        Self {
            process: data.process.code().to_owned(),
            tool: data.tool.clone(),
            smallest: size(data.smallest),
            largest: size(data.largest),
            speed: data.speed.normalize().to_string(),
            feed: data.feed.normalize().to_string(),
            teeth: data.teeth.to_string(),
            approach: data.approach.entry(unit),
            overrun: data.overrun.entry(unit),
            source: data.source.clone(),
            version: line.version.to_string(),
        }
    }

    fn read(
        &self,
        who: &SignedIn,
        id: Uuid,
        material: Uuid,
        errors: &mut FormErrors,
    ) -> Option<CuttingLine> {
        let unit = who.shop.length_unit;
        let process = errors.choice("process", &self.process, Process::from_code);
        let tool = errors.required_text("tool", &self.tool, 80);
        let mut size = |field, typed: &str| {
            errors.optional(typed, |errors| {
                let length = errors.length(field, typed, unit)?;
                above_nothing(field, length, errors)
            })
        };
        let smallest = size("smallest", &self.smallest);
        let largest = size("largest", &self.largest);
        let mut figure = |field, typed: &str, most| {
            errors.decimal(field, typed, Decimal::new(1, 4)..=Decimal::from(most))
        };
        let speed = figure("speed", &self.speed, 2_000);
        let feed = figure("feed", &self.feed, 50);
        let teeth = errors.int("teeth", &self.teeth, 1..=200);
        let approach = errors.length("approach", &self.approach, unit);
        let overrun = errors.length("overrun", &self.overrun, unit);
        for (field, length) in [("approach", approach), ("overrun", overrun)] {
            if length.is_some_and(|l| l < Length::ZERO || l > Length::from_mm(Decimal::from(500))) {
                errors.add(field, "From nothing to 500 mm");
            }
        }
        let source = errors.required_text("source", &self.source, 400);
        if let (Some(Some(above)), Some(Some(to))) = (smallest, largest)
            && above >= to
        {
            errors.add("largest", "The largest diameter must be above the smallest");
        }
        let line = CuttingLine {
            id,
            work_material_id: material,
            data: ToolData {
                process: process?,
                tool: tool?,
                smallest: smallest?,
                largest: largest?,
                speed: speed?,
                feed: feed?,
                teeth: u32::try_from(teeth?).ok()?,
                approach: approach?,
                overrun: overrun?,
                source: source?,
            },
            version: self.version.parse().unwrap_or_default(),
        };
        errors.is_empty().then_some(line)
    }
}

fn above_nothing(field: &str, length: Length, errors: &mut FormErrors) -> Option<Length> {
    if length > Length::ZERO {
        return Some(length);
    }
    errors.add(field, "A diameter is above nothing");
    None
}

fn line_fields(who: &SignedIn, form: &LineForm, errors: &FormErrors) -> Markup {
    let unit = who.shop.length_unit;
    let processes = Process::ALL.iter().map(|p| Choice::new(p.code(), p.word()));
    html! {
        (Field::select("process", "Process", &form.process, processes.collect()).errors(errors))
        (Field::text("tool", "Tool", &form.tool).hint("As the cuts of the standard times name it").errors(errors))
        (Field::length("smallest", "Above diameter", &form.smallest, unit).optional().errors(errors))
        (Field::length("largest", "Up to diameter", &form.largest, unit).optional().errors(errors))
        (Field::decimal("speed", "Cutting speed", &form.speed).unit("m/min").errors(errors))
        (Field::decimal("feed", "Feed", &form.feed).unit("mm")
            .hint("A revolution; for milling a tooth. A tap feeds at its pitch").errors(errors))
        (Field::int("teeth", "Teeth", &form.teeth).hint("For milling; 1 otherwise").errors(errors))
        (Field::length("approach", "Approach", &form.approach, unit).errors(errors))
        (Field::length("overrun", "Overrun", &form.overrun, unit).errors(errors))
        (Field::text("source", "Source", &form.source).wide()
            .hint("Whose figures these are: the tool maker's page, a handbook, your own trials").errors(errors))
    }
}

fn blank_form() -> LineForm {
    LineForm {
        teeth: "1".to_owned(),
        approach: "3 mm".to_owned(),
        overrun: "3 mm".to_owned(),
        ..LineForm::default()
    }
}

async fn blank_line(who: SignedIn, material: web::Path<Uuid>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let material = cutting::material(&mut tx, *material).await?;
    Ok(new_line(&who, &material, &blank_form(), &FormErrors::default()).into())
}

async fn add_line(who: SignedIn, material: web::Path<Uuid>, form: CheckedForm<LineForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let material = cutting::material(&mut tx, *material).await?;
    match form.read(&who, Uuid::now_v7(), material.id, &mut errors) {
        Some(line) => {
            cutting::insert_line(&mut tx, &line).await?;
            tx.commit().await?;
            Ok(Reply::see_other("/shop/cutting").flash("The line is entered."))
        }
        None => Ok(new_line(&who, &material, &form, &errors).invalid().into()),
    }
}

fn new_line(who: &SignedIn, material: &WorkMaterial, form: &LineForm, errors: &FormErrors) -> Page {
    let title = format!("Add a line for {}", material.name);
    let body = html! {
        h1 { (title) }
        (errors.summary())
        form.grid method="post" action={ "/shop/cutting/" (material.id) "/lines" } novalidate {
            (csrf_field(who))
            (line_fields(who, form, errors))
            div.actions { button type="submit" { "Add" } a.button.quiet href="/shop/cutting" { "Cancel" } }
        }
    };
    Page::new(who, title).nav(Section::Shop).body(body)
}

async fn edit_line(who: SignedIn, path: web::Path<(Uuid, Uuid)>) -> Answer {
    let mut tx = who.begin().await?;
    let (material, id) = *path;
    let stored = cutting::line(&mut tx, material, id).await?;
    let form = LineForm::of(&stored, who.shop.length_unit);
    let none = (FormErrors::default(), html! {});
    let page = line_page(&who, &mut tx, &stored, &form, &none.0, &none.1).await?;
    Ok(page.into())
}

async fn save_line(
    who: SignedIn,
    path: web::Path<(Uuid, Uuid)>,
    form: CheckedForm<LineForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let (material, id) = *path;
    let stored = cutting::line(&mut tx, material, id).await?;
    let Some(wanted) = form.read(&who, id, material, &mut errors) else {
        let page = line_page(&who, &mut tx, &stored, &form, &errors, &html! {}).await?;
        return Ok(page.invalid().into());
    };
    match cutting::update_line(&mut tx, &wanted).await {
        Ok(()) => {
            tx.commit().await?;
            Ok(Reply::see_other("/shop/cutting").flash("The line is saved."))
        }
        Err(DbError::Stale(_)) => {
            let now = LineForm::of(&stored, who.shop.length_unit);
            let notice = stale_notice(&stored.data.tool, &line_differences(&now, &form));
            let mine = LineForm {
                version: now.version,
                ..(*form).clone()
            };
            let page = line_page(&who, &mut tx, &stored, &mine, &errors, &notice).await?;
            Ok(page.status(StatusCode::CONFLICT).into())
        }
        Err(error) => Err(error.into()),
    }
}

fn line_differences(now: &LineForm, mine: &LineForm) -> Vec<Changed> {
    [
        Changed::if_differs("Process", &now.process, &mine.process),
        Changed::if_differs("Tool", &now.tool, &mine.tool),
        Changed::if_differs("Above diameter", &now.smallest, &mine.smallest),
        Changed::if_differs("Up to diameter", &now.largest, &mine.largest),
        Changed::if_differs("Cutting speed", &now.speed, &mine.speed),
        Changed::if_differs("Feed", &now.feed, &mine.feed),
        Changed::if_differs("Teeth", &now.teeth, &mine.teeth),
        Changed::if_differs("Approach", &now.approach, &mine.approach),
        Changed::if_differs("Overrun", &now.overrun, &mine.overrun),
        Changed::if_differs("Source", &now.source, &mine.source),
    ]
    .into_iter()
    .flatten()
    .collect()
}

async fn delete_line(
    who: SignedIn,
    path: web::Path<(Uuid, Uuid)>,
    _: CheckedForm<Nothing>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let (material, id) = *path;
    cutting::delete_line(&mut tx, material, id).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/cutting").flash("The line is deleted."))
}

async fn line_page(
    who: &SignedIn,
    tx: &mut ShopTx,
    stored: &CuttingLine,
    form: &LineForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Result<Page, DbError> {
    let may = who.may(Role::Owner);
    let path = format!(
        "/shop/cutting/{}/lines/{}",
        stored.work_material_id, stored.id
    );
    let past = changes::of_row(tx, "cutting_data", stored.id).await?;
    let title = format!("{}, {}", stored.data.process, stored.data.tool);
    let body = html! {
        h1 { (title) }
        p { span.tag { (STATUS) } " The tool maker's own data come first." }
        (notice)
        (errors.summary())
        @if !may { (super::read_only()) }
        form.grid method="post" action=(path) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            fieldset.plain.wide disabled[!may] {
                (line_fields(who, form, errors))
                @if may {
                    div.actions {
                        button type="submit" { "Save" }
                        a.button.quiet href="/shop/cutting" { "Cancel" }
                        button.quiet.danger type="submit" formaction={ (path) "/delete" } { "Delete" }
                    }
                }
            }
        }
        (history::section(who, &past))
    };
    Ok(Page::new(who, title).nav(Section::Shop).body(body))
}
