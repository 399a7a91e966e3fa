//! The whole history of one thing: every change with who and when, by pages and as a file.

use crate::db::history::{self as changes, Change};
use crate::db::lists::OnlyView;
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::units::Code;
use crate::web::screens::castings::back;
use crate::web::ui::history::{self as past, Kept};
use crate::web::ui::{Answer, List, ListQuery, Page, Section, SignedIn, WebError, csv};
use actix_web::web;
use maud::html;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// `/history` and all below it.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route("/history/{what}/{id}", web::get().to(page))
        .route("/history/{what}/{id}/changes.csv", web::get().to(file));
}

/// By what changes are sorted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
enum Sort {
    /// When they were made.
    #[default]
    Time,
}

type Asked = List<OnlyView, Sort>;

fn section_of(kept: Kept) -> Section {
    match kept {
        Kept::Casting => Section::Castings,
        Kept::Customer | Kept::Quote => Section::Enquiries,
        Kept::Job => Section::Jobs,
        Kept::StockItem | Kept::Tool => Section::Stock,
    }
}

/// What is asked for; a thing of no such kind is not found.
fn read(
    who: &SignedIn,
    path: &(String, Uuid),
    query: &ListQuery,
) -> Result<(Kept, Asked), WebError> {
    who.require(Role::Office)?;
    let kept = Kept::from_code(&path.0).ok_or(DbError::NotFound("this history"))?;
    Ok((kept, query.read(&kept.path(path.1), true)))
}

async fn load(
    tx: &mut ShopTx,
    kept: Kept,
    id: Uuid,
    part: crate::db::lists::Part,
) -> Result<(Vec<Change>, i64), WebError> {
    let (rows, all) = changes::list(tx, kept.code(), id, part).await?;
    if all == 0 {
        return Err(DbError::NotFound("this history").into());
    }
    Ok((rows, all))
}

async fn page(
    who: SignedIn,
    path: web::Path<(String, Uuid)>,
    query: web::Query<ListQuery>,
) -> Answer {
    let (kept, asked) = read(&who, &path, &query)?;
    let mut tx = who.begin().await?;
    let (rows, all) = load(&mut tx, kept, path.1, asked.part()).await?;
    let title = format!("History of the {}", kept.words());
    let table = asked.beside("/changes.csv");
    let body = html! {
        (back(&kept.page(path.1), "Back"))
        h1 { (title) }
        p { (asked.turned("Newest first", "Oldest first")) }
        section.card.history { (past::lines(&who, &rows)) }
        (asked.pages(all, "change", "changes", Some(&table)))
    };
    Ok(Page::new(&who, title)
        .nav(section_of(kept))
        .body(body)
        .into())
}

async fn file(
    who: SignedIn,
    path: web::Path<(String, Uuid)>,
    query: web::Query<ListQuery>,
) -> Answer {
    let (kept, asked) = read(&who, &path, &query)?;
    let mut tx = who.begin().await?;
    let (rows, _) = load(&mut tx, kept, path.1, asked.whole()).await?;
    let head = ["When", "Who", "What", "Field", "Before", "After"];
    let zone = who.shop.time_zone;
    let rows = rows.iter().flat_map(|change| {
        let when = change.at.with_timezone(&zone).format("%Y-%m-%d %H:%M:%S");
        let start = [
            when.to_string(),
            past::by(change).to_owned(),
            past::done(change).to_owned(),
        ];
        let fields = change.fields.iter().map(|field| {
            [
                field.field.clone(),
                field.before.clone().unwrap_or_default(),
                field.after.clone().unwrap_or_default(),
            ]
        });
        let mut fields: Vec<[String; 3]> = fields.collect();
        if fields.is_empty() {
            fields.push(Default::default());
        }
        fields
            .into_iter()
            .map(move |field| start.iter().cloned().chain(field).collect())
    });
    Ok(csv::download_under("history.csv", &head, rows).into())
}
