//! What a customer has to do with the shop: calls, quotes, jobs, castings and money; names that become customers, and
//! customers that turn out to be one.

use super::read::{money, word};
use super::{DbError, ShopTx, customers};
use crate::db::jobs::JobState;
use crate::enquiry::EnquiryState;
use crate::enquiry::quote::QuoteState;
use crate::stock::ShelfState;
use crate::units::Money;
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// The most rows of each kind that a customer's page shows.
pub const ROWS: i64 = 50;

/// A call of a customer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CallOf {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// What was wanted, as far as it is a variant.
    pub wanted: Option<String>,
    /// When.
    pub at: DateTime<Utc>,
    /// How far it has come.
    pub state: EnquiryState,
}

/// A quote to a customer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuoteOf {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// What was offered.
    pub title: String,
    /// Before tax.
    pub net: Money,
    /// The last day it holds.
    pub valid_until: NaiveDate,
    /// What became of it.
    pub state: QuoteState,
}

/// A job for a customer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobOf {
    /// Key.
    pub id: Uuid,
    /// Number.
    pub number: i64,
    /// What is done.
    pub title: String,
    /// The day the shop works to.
    pub due_on: NaiveDate,
    /// What is paid for it before tax, where a quote or an agreement says it.
    pub value: Option<Money>,
    /// How far it is.
    pub state: JobState,
}

/// A casting that is a customer's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CastingOf {
    /// Key.
    pub id: Uuid,
    /// The number on its tag.
    pub number: i64,
    /// Its variant.
    pub variant: String,
    /// Where it is.
    pub state: ShelfState,
}

/// Money of a customer, before tax.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MoneyOf {
    /// In quotes that are not decided.
    pub quoted: Money,
    /// In quotes that were won.
    pub won: Money,
    /// In jobs that are not closed.
    pub in_work: Money,
    /// Quotes that were won.
    pub quotes_won: i64,
    /// Quotes that were decided either way or ran out.
    pub quotes_decided: i64,
}

/// All that a customer has to do with the shop, the newest of each kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Links {
    /// Calls.
    pub calls: Vec<CallOf>,
    /// Quotes.
    pub quotes: Vec<QuoteOf>,
    /// Jobs.
    pub jobs: Vec<JobOf>,
    /// Castings.
    pub castings: Vec<CastingOf>,
    /// Money.
    pub money: MoneyOf,
}

/// Reads all that a customer has to do with the shop.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn links(tx: &mut ShopTx, id: Uuid) -> Result<Links, DbError> {
    Ok(Links {
        calls: calls(tx, id).await?,
        quotes: quotes(tx, id).await?,
        jobs: jobs(tx, id).await?,
        castings: castings(tx, id).await?,
        money: money_of(tx, id).await?,
    })
}

async fn calls(tx: &mut ShopTx, id: Uuid) -> Result<Vec<CallOf>, DbError> {
    sqlx::query!(
        r#"select e.id, e.number, e.created_at, e.state, v.name as "wanted?", nullif(w.part, '') as part
           from enquiry e
           left join variant v on v.shop_id = $1 and v.id = e.wanted_variant_id
           left join quick_work w on w.shop_id = $1 and w.id = e.id
           where e.shop_id = $1 and e.customer_id = $2 order by e.number desc limit $3"#,
        tx.shop_id(),
        id,
        ROWS,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(CallOf {
            id: row.id,
            number: row.number,
            wanted: row.wanted.or(row.part),
            at: row.created_at,
            state: word("state of an enquiry", &row.state)?,
        })
    })
    .collect()
}

async fn quotes(tx: &mut ShopTx, id: Uuid) -> Result<Vec<QuoteOf>, DbError> {
    sqlx::query!(
        "select q.id, q.number, q.title, q.net, q.currency, q.valid_until, q.state
         from enquiry e join quote q on q.shop_id = $1 and q.enquiry_id = e.id
         where e.shop_id = $1 and e.customer_id = $2 order by q.number desc limit $3",
        tx.shop_id(),
        id,
        ROWS,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(QuoteOf {
            id: row.id,
            number: row.number,
            title: row.title,
            net: money("net", row.net, &row.currency)?,
            valid_until: row.valid_until,
            state: word("state of a quote", &row.state)?,
        })
    })
    .collect()
}

async fn jobs(tx: &mut ShopTx, id: Uuid) -> Result<Vec<JobOf>, DbError> {
    sqlx::query!(
        r#"select j.id, j.number, j.title, j.due_on, j.state, coalesce(q.net, j.value) as value,
                  coalesce(q.currency, j.value_currency) as currency
           from job j left join quote q on q.shop_id = $1 and q.id = j.quote_id
           where j.shop_id = $1 and j.customer_id = $2 order by j.number desc limit $3"#,
        tx.shop_id(),
        id,
        ROWS,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        let value = match (row.value, row.currency) {
            (Some(value), Some(currency)) => Some(money("value of a job", value, &currency)?),
            _ => None,
        };
        Ok(JobOf {
            id: row.id,
            number: row.number,
            title: row.title,
            due_on: row.due_on,
            value,
            state: word("state of a job", &row.state)?,
        })
    })
    .collect()
}

async fn castings(tx: &mut ShopTx, id: Uuid) -> Result<Vec<CastingOf>, DbError> {
    sqlx::query!(
        "select c.id, c.number, c.state, v.name
         from casting c join variant v on v.shop_id = $1 and v.id = c.variant_id
         where c.shop_id = $1 and c.customer_id = $2 order by c.number desc limit $3",
        tx.shop_id(),
        id,
        ROWS,
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(|row| {
        Ok(CastingOf {
            id: row.id,
            number: row.number,
            variant: row.name,
            state: word("state of a casting", &row.state)?,
        })
    })
    .collect()
}

async fn money_of(tx: &mut ShopTx, id: Uuid) -> Result<MoneyOf, DbError> {
    let row = sqlx::query!(
        r#"with q as (
               select q.state, q.net from enquiry e join quote q on q.shop_id = $1 and q.enquiry_id = e.id
               where e.shop_id = $1 and e.customer_id = $2
           ), j as (
               select coalesce(q.net, j.value) as value
               from job j left join quote q on q.shop_id = $1 and q.id = j.quote_id
               where j.shop_id = $1 and j.customer_id = $2 and j.state not in ('done', 'cancelled')
           )
           select s.currency,
                  (select coalesce(sum(net) filter (where state = 'sent'), 0) from q) as "quoted!",
                  (select coalesce(sum(net) filter (where state = 'won'), 0) from q) as "won!",
                  (select count(*) filter (where state = 'won') from q) as "quotes_won!",
                  (select count(*) filter (where state <> 'sent') from q) as "quotes_decided!",
                  (select coalesce(sum(value), 0) from j) as "in_work!"
           from shop s where s.shop_id = $1"#,
        tx.shop_id(),
        id,
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(MoneyOf {
        quoted: money("quoted", row.quoted, &row.currency)?,
        won: money("won", row.won, &row.currency)?,
        in_work: money("in work", row.in_work, &row.currency)?,
        quotes_won: row.quotes_won,
        quotes_decided: row.quotes_decided,
    })
}

/// The customer of an enquiry, with the name as it is now.
///
/// # Errors
/// [`DbError::Database`].
pub async fn of_enquiry(tx: &mut ShopTx, id: Uuid) -> Result<Option<(Uuid, String)>, DbError> {
    let row = sqlx::query!(
        "select c.id, c.name from enquiry e join customer c on c.shop_id = $1 and c.id = e.customer_id
         where e.shop_id = $1 and e.id = $2",
        tx.shop_id(),
        id,
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| (row.id, row.name)))
}

/// The customer of a job.
///
/// # Errors
/// [`DbError::Database`].
pub async fn of_job(tx: &mut ShopTx, id: Uuid) -> Result<Option<Uuid>, DbError> {
    Ok(sqlx::query_scalar!(
        "select customer_id from job where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
    )
    .fetch_optional(tx.conn())
    .await?
    .flatten())
}

/// Makes a customer of a name with a telephone number or an email, unless one goes by it. `None` for no name.
///
/// # Errors
/// [`DbError::Database`].
pub async fn adopt(tx: &mut ShopTx, name: &str, contact: &str) -> Result<Option<Uuid>, DbError> {
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    if name.trim_matches([' ', '.', ',', ';']).is_empty() {
        return Ok(None);
    }
    // Two calls from one new caller that are quoted at once take turns: the second finds what the first has made.
    sqlx::query!(
        r#"select pg_advisory_xact_lock(hashtextextended($1 || name_key($2), 0)) as "locked?: ()""#,
        tx.shop_id().to_string(),
        name,
    )
    .fetch_one(tx.conn())
    .await?;
    if let Some(id) = customers::named(tx, &name).await? {
        return Ok(Some(id));
    }
    let is_email = contact.contains('@');
    let contact = |wanted: bool| {
        if wanted {
            contact.trim().to_owned()
        } else {
            String::new()
        }
    };
    let customer = customers::Customer {
        id: Uuid::now_v7(),
        name,
        phone: contact(!is_email),
        email: contact(is_email),
        ..customers::Customer::default()
    };
    customers::insert(tx, &customer).await?;
    Ok(Some(customer.id))
}

/// Makes customers of all names in calls, jobs and castings that belong to none; says how many.
///
/// # Errors
/// [`DbError::Database`].
pub async fn adopt_all(tx: &mut ShopTx) -> Result<i64, DbError> {
    Ok(
        sqlx::query_scalar!(r#"select adopt_customers() as "made!""#)
            .fetch_one(tx.conn())
            .await?,
    )
}

/// Two customers that were merged, and may be parted again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Merge {
    /// Key.
    pub id: Uuid,
    /// The customer that was merged into the other.
    pub gone_id: Uuid,
    /// Its name.
    pub name: String,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub person: Option<String>,
}

/// What was merged into a customer and is still, the last first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn merges(tx: &mut ShopTx, kept_id: Uuid) -> Result<Vec<Merge>, DbError> {
    Ok(sqlx::query_as!(
        Merge,
        r#"select m.id, m.gone_id, c.name, m.at, p.name as "person?"
           from customer_merge m
           join customer c on c.shop_id = $1 and c.id = m.gone_id
           left join person p on p.shop_id = $1 and p.id = m.person_id
           where m.shop_id = $1 and m.kept_id = $2 and m.undone_at is null order by m.at desc, m.id desc"#,
        tx.shop_id(),
        kept_id,
    )
    .fetch_all(tx.conn())
    .await?)
}

/// Merges a customer into another: what belongs to it goes to that one, and it is no more. `version` is the version of
/// the one that goes, as it was seen.
///
/// # Errors
/// [`DbError::Stale`] when somebody else changed or merged it, [`DbError::NotFound`], [`DbError::Database`].
pub async fn merge(
    tx: &mut ShopTx,
    gone_id: Uuid,
    version: i32,
    kept_id: Uuid,
) -> Result<(), DbError> {
    sqlx::query!(
        "select from customer where shop_id = $1 and id = any ($2) order by id for update",
        tx.shop_id(),
        &[gone_id, kept_id],
    )
    .fetch_all(tx.conn())
    .await?;
    let gone = customers::get(tx, gone_id).await?;
    let kept = customers::get(tx, kept_id).await?;
    if gone.version != version || gone.merged_into.is_some() {
        return Err(DbError::Stale("this customer"));
    }
    if kept.merged_into.is_some() || kept_id == gone_id {
        return Err(DbError::NotFound("this customer"));
    }
    // In one statement, because a casting and its job must agree at the end of each.
    sqlx::query!(
        "with e as (update enquiry set customer_id = $3 where shop_id = $1 and customer_id = $2 returning id),
              j as (update job set customer_id = $3 where shop_id = $1 and customer_id = $2 returning id),
              c as (update casting set customer_id = $3 where shop_id = $1 and customer_id = $2 returning id),
              p as (update customer_contact set customer_id = $3, position = position + 1000
                    where shop_id = $1 and customer_id = $2 returning id),
              m as (update customer_machine set customer_id = $3, position = position + 1000
                    where shop_id = $1 and customer_id = $2 returning id),
              n as (update customer_name set customer_id = $3 where shop_id = $1 and customer_id = $2 returning key)
         insert into customer_merge (shop_id, id, kept_id, gone_id, person_id, enquiries, jobs, castings, contacts,
                                     machines, names)
         values ($1, $4, $3, $2, $5, array(select id from e), array(select id from j), array(select id from c),
                 array(select id from p), array(select id from m), array(select key from n))",
        tx.shop_id(),
        gone_id,
        kept_id,
        Uuid::now_v7(),
        tx.person_id(),
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update customer set merged_into = $3, version = version + 1 where shop_id = $1 and id = $2",
        tx.shop_id(),
        gone_id,
        kept_id,
    )
    .execute(tx.conn())
    .await?;
    sqlx::query!(
        "update customer set version = version + 1 where shop_id = $1 and id = $2",
        tx.shop_id(),
        kept_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}

/// Parts two customers again: what was moved and is still there goes back. Returns the one that is back.
///
/// # Errors
/// [`DbError::NotFound`] when they were not merged or are parted already, [`DbError::Database`].
pub async fn part(tx: &mut ShopTx, kept_id: Uuid, merge_id: Uuid) -> Result<Uuid, DbError> {
    let gone_id = sqlx::query_scalar!(
        "update customer_merge set undone_at = now()
         where shop_id = $1 and id = $2 and kept_id = $3 and undone_at is null returning gone_id",
        tx.shop_id(),
        merge_id,
        kept_id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this merge"))?;
    sqlx::query!(
        "with m as (select * from customer_merge where shop_id = $1 and id = $2),
              e as (update enquiry set customer_id = $4 where shop_id = $1 and customer_id = $3
                    and id = any (array(select unnest(enquiries) from m))),
              j as (update job set customer_id = $4 where shop_id = $1 and customer_id = $3
                    and id = any (array(select unnest(jobs) from m))),
              c as (update casting set customer_id = $4 where shop_id = $1 and customer_id = $3
                    and id = any (array(select unnest(castings) from m))),
              p as (update customer_contact set customer_id = $4 where shop_id = $1 and customer_id = $3
                    and id = any (array(select unnest(contacts) from m))),
              o as (update customer_machine set customer_id = $4 where shop_id = $1 and customer_id = $3
                    and id = any (array(select unnest(machines) from m))),
              n as (update customer_name set customer_id = $4 where shop_id = $1 and customer_id = $3
                    and key = any (array(select unnest(names) from m)))
         update customer set version = version + 1, merged_into = case when id = $3 then merged_into end
         where shop_id = $1 and id in ($3, $4)",
        tx.shop_id(),
        merge_id,
        kept_id,
        gone_id,
    )
    .execute(tx.conn())
    .await?;
    Ok(gone_id)
}
