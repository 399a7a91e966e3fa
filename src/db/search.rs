//! Search: from the words that are typed to the rows that have them, within a shop. See the migration for how words are kept.

use super::read::word;
use super::{DbError, ShopTx};
use crate::units::Code;
use serde::Serialize;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// What can be found.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    EnumString,
    IntoStaticStr,
    VariantArray,
)]
#[strum(serialize_all = "snake_case")]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A job.
    Job,
    /// A quote.
    Quote,
    /// A call.
    Enquiry,
    /// A customer.
    Customer,
    /// A casting.
    Casting,
    /// A pattern.
    Pattern,
    /// A variant.
    Variant,
    /// An item of stock.
    Item,
    /// Tooling.
    Tool,
}

/// A row that has what was looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Of which kind.
    pub kind: Kind,
    /// Its key.
    pub id: Uuid,
    /// Its number; 0 where there are none.
    pub number: i64,
}

/// Words of the shop that stand for a word that was typed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Terms {
    /// The shop's words.
    pub words: Vec<String>,
    /// Whether they are only spelt like it.
    pub near: bool,
}

/// The most words of the shop that one typed word stands for.
const TERMS: i64 = 60;
/// The most rows of a kind that are looked at for each of them, the newest.
const ROWS: i64 = 2000;

/// The shop's words that begin with a word or its English stem; if there are none, those that have it in them; if there are
/// none, those whose trigrams are like its own.
///
/// # Errors
/// [`DbError::Database`].
pub async fn terms(tx: &mut ShopTx, typed: &str) -> Result<Terms, DbError> {
    let rows = sqlx::query!(
        r#"with stem as materialized (
               select coalesce((select min(lexeme) from unnest(ts_lexize('english_stem', $2)) as lexeme
                                where length(lexeme) >= 4 and $2 ~ '^[a-z]+$'), $2) as word
           ), begins as materialized (
               select distinct t.word, length(t.word) from (select word from stem union select $2) as typed, search_term t
               where t.shop_id = $1 and t.word >= typed.word collate "C" and t.word < (typed.word || chr(1114111)) collate "C"
               order by length(t.word), t.word limit $3
           ), has as materialized (
               select t.word from search_term t
               where t.shop_id = $1 and not exists (select from begins) and length($2) >= 3
                     and t.word like '%' || $2 || '%' order by length(t.word), t.word limit $3
           ), near as materialized (
               select t.word from search_term t
               where t.shop_id = $1 and not exists (select from begins) and not exists (select from has)
                     and length($2) >= 4 and length(t.word) between length($2) - 2 and length($2) + 2
                     and similarity(t.word, $2) >= 0.3
               order by similarity(t.word, $2) desc, t.word limit 5
           )
           select word as "word!", false as "near!" from begins
           union all select word, false from has
           union all select word, true from near"#,
        tx.shop_id(),
        typed,
        TERMS,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(Terms {
        near: rows.first().is_some_and(|row| row.near),
        words: rows.into_iter().map(|row| row.word).collect(),
    })
}

/// How many rows have one of these words, up to `most`.
///
/// # Errors
/// [`DbError::Database`].
pub async fn count(tx: &mut ShopTx, terms: &[String], most: i64) -> Result<i64, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select count(*) as "count!" from (
               select from search_word where shop_id = $1 and word = any ($2) limit $3) as found"#,
        tx.shop_id(),
        terms,
        most,
    )
    .fetch_one(tx.conn())
    .await?)
}

/// The newest rows of these kinds that have one of these words.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn rows(tx: &mut ShopTx, kinds: &[Kind], terms: &[String]) -> Result<Vec<Row>, DbError> {
    let kinds: Vec<String> = kinds.iter().map(|kind| kind.code().to_owned()).collect();
    sqlx::query!(
        r#"select found.kind as "kind!", found.row_id as "row_id!", max(found.number) as "number!"
           from unnest($2::text[]) as k (kind), unnest($3::text[]) as t (word),
                lateral (select w.kind, w.row_id, w.number from search_word w
                         where w.shop_id = $1 and w.word = t.word collate "C" and w.kind = k.kind
                         order by w.number desc limit $4) as found
           group by found.kind, found.row_id"#,
        tx.shop_id(),
        &kinds,
        terms,
        ROWS,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(Row {
            kind: word("kind of what is found", &row.kind)?,
            id: row.row_id,
            number: row.number,
        })
    })
    .collect()
}

/// Which of these rows have one of these words too.
///
/// # Errors
/// [`DbError::Database`].
pub async fn narrow(tx: &mut ShopTx, ids: &[Uuid], terms: &[String]) -> Result<Vec<Uuid>, DbError> {
    Ok(sqlx::query_scalar!(
        r#"select distinct row_id from search_word where shop_id = $1 and row_id = any ($2) and word = any ($3)"#,
        tx.shop_id(),
        ids,
        terms,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The rows with this number on them.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn numbered(tx: &mut ShopTx, number: i64) -> Result<Vec<Row>, DbError> {
    sqlx::query!(
        r#"select 'job' as "kind!", id as "id!" from job where shop_id = $1 and number = $2
           union all select 'quote', id from quote where shop_id = $1 and number = $2
           union all select 'enquiry', id from enquiry where shop_id = $1 and number = $2
           union all select 'casting', id from casting where shop_id = $1 and number = $2"#,
        tx.shop_id(),
        number,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(Row {
            kind: word("kind of what is found", &row.kind)?,
            id: row.id,
            number,
        })
    })
    .collect()
}

/// Something found, as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Hit {
    /// What it is.
    pub kind: Kind,
    /// Its key.
    pub id: Uuid,
    /// Its number, where it has one.
    pub number: Option<i64>,
    /// What it is called.
    pub name: String,
    /// Whose it is, or what it is of; empty where nothing more is known.
    pub more: String,
    /// Whether it is over and done: a job closed, a quote decided, a casting gone.
    pub over: bool,
}

/// These rows as they are shown: what is not over first, then the newest. A row that is gone is left out.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn hits(tx: &mut ShopTx, ids: &[Uuid], limit: i64) -> Result<Vec<Hit>, DbError> {
    sqlx::query!(
        r#"select kind as "kind!", id as "id!", number, name as "name!", more as "more!", over as "over!" from (
           select 'job' as kind, id, number, title as name, customer as more, state in ('done', 'cancelled') as over
               from job where shop_id = $1 and id = any ($2)
           union all
           select 'quote', q.id, q.number, q.title, e.caller, q.state <> 'sent'
               from quote q join enquiry e on e.shop_id = $1 and e.id = q.enquiry_id where q.shop_id = $1 and q.id = any ($2)
           union all
           select 'enquiry', e.id, e.number, e.caller, coalesce(v.name, w.part, ''), e.state in ('closed', 'won')
               from enquiry e left join variant v on v.shop_id = $1 and v.id = e.wanted_variant_id
               left join quick_work w on w.shop_id = $1 and w.id = e.id
               where e.shop_id = $1 and e.id = any ($2)
           union all
           select 'customer', id, null, name, concat_ws(', ', nullif(phone, ''), nullif(email, '')), false
               from customer where shop_id = $1 and id = any ($2) and merged_into is null
           union all
           select 'casting', c.id, c.number, v.name,
                  concat_ws(', ', (select string_agg(m.text, ', ' order by m.id) from casting_mark m
                                   where m.shop_id = $1 and m.casting_id = c.id), nullif(c.owner, '')),
                  c.state in ('used', 'scrapped', 'returned')
               from casting c join variant v on v.shop_id = $1 and v.id = c.variant_id where c.shop_id = $1 and c.id = any ($2)
           union all
           select 'pattern', id, null, name, marks, false from pattern where shop_id = $1 and id = any ($2)
           union all
           select 'variant', v.id, null, v.name, p.name, false
               from variant v join pattern p on p.shop_id = $1 and p.id = v.pattern_id where v.shop_id = $1 and v.id = any ($2)
           union all
           select 'item', id, null, name, concat_ws(' ', trim_scale(on_hand), unit, 'on hand'), not active
               from stock_item where shop_id = $1 and id = any ($2)
           union all
           select 'tool', id, null, name, kept_at, not active from tool where shop_id = $1 and id = any ($2)
           ) as found order by over, number desc nulls last, lower(name) limit $3"#,
        tx.shop_id(),
        ids,
        limit,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(Hit {
            kind: word("kind of what is found", &row.kind)?,
            id: row.id,
            number: row.number,
            name: row.name,
            more: row.more,
            over: row.over,
        })
    })
    .collect()
}
