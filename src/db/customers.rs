//! Customers: who they are, the people there, what they own; lists of them, and finding one by name or number.

use super::lists::Part;
use super::read::money;
use super::rows::changed;
use super::{DbError, ShopTx, like};
use crate::units::{Code, Money};
use chrono::{DateTime, Utc};
use serde::Serialize;
use strum::{EnumString, IntoStaticStr, VariantArray};
use uuid::Uuid;

/// A person one speaks to at a customer's.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Contact {
    /// Name.
    pub name: String,
    /// What they do there.
    pub role: String,
    /// Telephone.
    pub phone: String,
    /// Email.
    pub email: String,
}

/// Something a customer owns that the shop works on: a boat, an engine, a machine.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Owned {
    /// What it is: "Workboat Solan".
    pub what: String,
    /// Its engine.
    pub engine: String,
    /// Its serial number or mark.
    pub serial: String,
    /// Anything else.
    pub note: String,
}

/// A customer.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Customer {
    /// Key.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Telephone.
    pub phone: String,
    /// Email.
    pub email: String,
    /// Postal address, in lines.
    pub address: String,
    /// Terms of payment, in words.
    pub terms: String,
    /// Anything else.
    pub note: String,
    /// The people there.
    pub contacts: Vec<Contact>,
    /// What they own.
    pub machines: Vec<Owned>,
    /// The customer that this one was merged into.
    pub merged_into: Option<Uuid>,
    /// When it was entered.
    pub created_at: DateTime<Utc>,
    /// Counts edits.
    pub version: i32,
}

/// One customer.
///
/// # Errors
/// [`DbError::NotFound`], [`DbError::Database`].
pub async fn get(tx: &mut ShopTx, id: Uuid) -> Result<Customer, DbError> {
    let row = sqlx::query!(
        "select id, name, phone, email, address, terms, note, merged_into, created_at, version
         from customer where shop_id = $1 and id = $2",
        tx.shop_id(),
        id,
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or(DbError::NotFound("this customer"))?;
    let contacts = sqlx::query_as!(
        Contact,
        "select name, role, phone, email from customer_contact where shop_id = $1 and customer_id = $2 order by position",
        tx.shop_id(),
        id,
    )
    .fetch_all(tx.conn())
    .await?;
    let machines = sqlx::query_as!(
        Owned,
        "select what, engine, serial, note from customer_machine where shop_id = $1 and customer_id = $2 order by position",
        tx.shop_id(),
        id,
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(Customer {
        id: row.id,
        name: row.name,
        phone: row.phone,
        email: row.email,
        address: row.address,
        terms: row.terms,
        note: row.note,
        contacts,
        machines,
        merged_into: row.merged_into,
        created_at: row.created_at,
        version: row.version,
    })
}

/// Enters a customer under its key. Calls, jobs and castings that name it and belong to nobody are then its own.
///
/// # Errors
/// [`DbError::Duplicate`] when another customer goes by that name, [`DbError::Database`].
pub async fn insert(tx: &mut ShopTx, customer: &Customer) -> Result<(), DbError> {
    sqlx::query!(
        "insert into customer (shop_id, id, name, phone, email, address, terms, note)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.shop_id(),
        customer.id,
        customer.name,
        customer.phone,
        customer.email,
        customer.address,
        customer.terms,
        customer.note,
    )
    .execute(tx.conn())
    .await?;
    take_name(tx, customer.id, &customer.name).await?;
    write_contacts(tx, customer).await?;
    write_machines(tx, customer).await
}

/// Changes a customer; `customer.version` is the version the editor saw. An earlier name stays one it goes by.
///
/// # Errors
/// [`DbError::Duplicate`] when another customer goes by that name, [`DbError::Stale`], [`DbError::NotFound`],
/// [`DbError::Database`].
pub async fn update(tx: &mut ShopTx, customer: &Customer) -> Result<(), DbError> {
    let stored = get(tx, customer.id).await?;
    let done = sqlx::query!(
        "update customer set name = $4, phone = $5, email = $6, address = $7, terms = $8, note = $9, version = version + 1
         where shop_id = $1 and id = $2 and version = $3",
        tx.shop_id(),
        customer.id,
        customer.version,
        customer.name,
        customer.phone,
        customer.email,
        customer.address,
        customer.terms,
        customer.note,
    )
    .execute(tx.conn())
    .await?;
    changed(done, "this customer", get(tx, customer.id)).await?;
    if stored.name != customer.name {
        take_name(tx, customer.id, &customer.name).await?;
    }
    if stored.contacts != customer.contacts {
        sqlx::query!(
            "delete from customer_contact where shop_id = $1 and customer_id = $2",
            tx.shop_id(),
            customer.id,
        )
        .execute(tx.conn())
        .await?;
        write_contacts(tx, customer).await?;
    }
    if stored.machines != customer.machines {
        sqlx::query!(
            "delete from customer_machine where shop_id = $1 and customer_id = $2",
            tx.shop_id(),
            customer.id,
        )
        .execute(tx.conn())
        .await?;
        write_machines(tx, customer).await?;
    }
    Ok(())
}

/// Makes a name one that a customer goes by, and whatever bears it and belongs to nobody its own.
async fn take_name(tx: &mut ShopTx, id: Uuid, name: &str) -> Result<(), DbError> {
    sqlx::query!(
        "insert into customer_name as n (shop_id, key, name, customer_id) values ($1, name_key($2), $2, $3)
         on conflict (shop_id, key) do update set name = excluded.name where n.customer_id = $3",
        tx.shop_id(),
        name,
        id,
    )
    .execute(tx.conn())
    .await?;
    let whose = sqlx::query_scalar!(
        "select customer_id from customer_name where shop_id = $1 and key = name_key($2)",
        tx.shop_id(),
        name,
    )
    .fetch_one(tx.conn())
    .await?;
    if whose != id {
        return Err(DbError::Duplicate(super::Unique::CustomerName));
    }
    sqlx::query!(
        r#"select link_customers(name_key($1)) as "linked?: ()""#,
        name
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(())
}

async fn write_contacts(tx: &mut ShopTx, customer: &Customer) -> Result<(), DbError> {
    for (position, contact) in (0..).zip(&customer.contacts) {
        sqlx::query!(
            "insert into customer_contact (shop_id, id, customer_id, position, name, role, phone, email)
             values ($1, $2, $3, $4, $5, $6, $7, $8)",
            tx.shop_id(),
            Uuid::now_v7(),
            customer.id,
            position,
            contact.name,
            contact.role,
            contact.phone,
            contact.email,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

async fn write_machines(tx: &mut ShopTx, customer: &Customer) -> Result<(), DbError> {
    for (position, owned) in (0..).zip(&customer.machines) {
        sqlx::query!(
            "insert into customer_machine (shop_id, id, customer_id, position, what, engine, serial, note)
             values ($1, $2, $3, $4, $5, $6, $7, $8)",
            tx.shop_id(),
            Uuid::now_v7(),
            customer.id,
            position,
            owned.what,
            owned.engine,
            owned.serial,
            owned.note,
        )
        .execute(tx.conn())
        .await?;
    }
    Ok(())
}

/// What a list of customers shows of one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Key.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Telephone.
    pub phone: String,
    /// Email.
    pub email: String,
    /// Calls in all.
    pub calls: i64,
    /// The last call.
    pub last_call: Option<DateTime<Utc>>,
    /// Quotes that are not decided.
    pub open_quotes: i64,
    /// Jobs that are not closed.
    pub open_jobs: i64,
    /// Quotes that were won, before tax.
    pub won: Money,
}

/// What a list of customers is ordered by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Order {
    /// By name.
    #[default]
    Name,
    /// By the last call.
    LastCall,
    /// By open jobs.
    OpenJobs,
    /// By what was won.
    Won,
}

/// Which customers a list shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum Only {
    /// All of them.
    #[default]
    All,
    /// Those with a quote that is not decided.
    OpenQuotes,
    /// Those with a job that is not closed.
    OpenJobs,
}

/// What is asked of a list of customers.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Asked {
    /// Words of a name, a telephone number or an email; empty for all.
    pub words: String,
    /// Which.
    pub only: Only,
    /// In which order.
    pub order: Order,
    /// The last or largest first.
    pub descending: bool,
}

/// Words as a part of a telephone number, without the leading noughts that another country's callers leave out; `None` where
/// they are not one.
pub(super) fn digits(words: &str) -> Option<String> {
    let is_number = |c: char| c.is_ascii_digit() || "+-()/. ".contains(c);
    let digits: String = words.chars().filter(char::is_ascii_digit).collect();
    let digits = digits.trim_start_matches('0');
    (words.chars().all(is_number) && digits.len() >= 3).then(|| format!("%{digits}%"))
}

/// A page of customers, and how many there are in all.
///
/// # Errors
/// [`DbError::Corrupt`], [`DbError::Database`].
pub async fn list(
    tx: &mut ShopTx,
    asked: &Asked,
    part: Part,
) -> Result<(Vec<Listed>, i64), DbError> {
    let rows = sqlx::query!(
        r#"with one as (
               select c.id, c.name, c.phone, c.email,
                      (select count(*) from enquiry e where e.shop_id = $1 and e.customer_id = c.id) as calls,
                      (select max(e.created_at) from enquiry e where e.shop_id = $1 and e.customer_id = c.id) as last_call,
                      (select count(*) from enquiry e join quote q on q.shop_id = $1 and q.enquiry_id = e.id
                       where e.shop_id = $1 and e.customer_id = c.id and q.state = 'sent') as open_quotes,
                      (select count(*) from job j where j.shop_id = $1 and j.customer_id = c.id
                       and j.state not in ('done', 'cancelled')) as open_jobs,
                      (select coalesce(sum(q.net), 0) from enquiry e join quote q on q.shop_id = $1 and q.enquiry_id = e.id
                       where e.shop_id = $1 and e.customer_id = c.id and q.state = 'won') as won
               from customer c
               where c.shop_id = $1 and c.merged_into is null
                     and ($2 = '%' or c.name ilike $2 or c.email ilike $2 or phone_key(c.phone) like $3
                          or exists (select from customer_name n where n.shop_id = $1 and n.customer_id = c.id and n.name ilike $2)
                          or exists (select from customer_contact p where p.shop_id = $1 and p.customer_id = c.id
                                     and (p.name ilike $2 or p.email ilike $2 or phone_key(p.phone) like $3)))
           )
           select one.id, one.name, one.phone, one.email, calls as "calls!", last_call, open_quotes as "open_quotes!",
                  open_jobs as "open_jobs!", won as "won!", count(*) over () as "in_all!", s.currency
           from one join shop s on s.shop_id = $1
           where ($4 = 'all' or $4 = 'open_quotes' and open_quotes > 0 or $4 = 'open_jobs' and open_jobs > 0)
           order by case when $5 = 'last_call' and $6 then last_call end desc nulls last,
                    case when $5 = 'last_call' and not $6 then last_call end nulls last,
                    case when $5 = 'open_jobs' and $6 then open_jobs end desc,
                    case when $5 = 'open_jobs' and not $6 then open_jobs end,
                    case when $5 = 'won' and $6 then won end desc,
                    case when $5 = 'won' and not $6 then won end,
                    case when $5 = 'name' and $6 then lower(one.name) end desc,
                    lower(one.name), one.id
           limit $7 offset $8"#,
        tx.shop_id(),
        like::in_order(&asked.words),
        digits(&asked.words),
        asked.only.code(),
        asked.order.code(),
        asked.descending,
        part.rows,
        part.skip,
    )
    .fetch_all(tx.conn())
    .await?;
    let in_all = rows.first().map_or(0, |row| row.in_all);
    let listed = rows.into_iter().map(|row| {
        Ok(Listed {
            id: row.id,
            name: row.name,
            phone: row.phone,
            email: row.email,
            calls: row.calls,
            last_call: row.last_call,
            open_quotes: row.open_quotes,
            open_jobs: row.open_jobs,
            won: money("won", row.won, &row.currency)?,
        })
    });
    Ok((listed.collect::<Result<_, DbError>>()?, in_all))
}

/// A customer as it is offered while a name or number is typed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Found {
    /// Key.
    pub id: Uuid,
    /// Name.
    pub name: String,
    /// Telephone.
    pub phone: String,
    /// Email.
    pub email: String,
    /// The person there whose name or number was typed; empty when it is the customer's own.
    pub contact: String,
}

/// Customers whose name, telephone or email, or that of somebody there, has what was typed in it: names that begin so first.
///
/// # Errors
/// [`DbError::Database`].
pub async fn find(tx: &mut ShopTx, typed: &str, limit: u32) -> Result<Vec<Found>, DbError> {
    let pattern = like::in_order(typed);
    if pattern == "%" {
        return Ok(Vec::new());
    }
    Ok(sqlx::query_as!(
        Found,
        r#"select c.id, c.name, coalesce(nullif(p.phone, ''), c.phone) as "phone!", coalesce(nullif(p.email, ''), c.email) as "email!",
                  coalesce(p.name, '') as "contact!"
           from customer c
           left join lateral (select p.name, p.phone, p.email from customer_contact p
                              where p.shop_id = $1 and p.customer_id = c.id
                                    and (p.name ilike $2 or p.email ilike $2 or phone_key(p.phone) like $3)
                              order by p.position limit 1) p on true
           where c.shop_id = $1 and c.merged_into is null
                 and (c.name ilike $2 or c.email ilike $2 or phone_key(c.phone) like $3 or p.name is not null
                      or exists (select from customer_name n where n.shop_id = $1 and n.customer_id = c.id and n.name ilike $2))
           order by (c.name ilike substr($2, 2)) desc, lower(c.name) limit $4"#,
        tx.shop_id(),
        pattern,
        digits(typed),
        i64::from(limit),
    )
    .fetch_all(tx.conn())
    .await?)
}

/// The customer who goes by a name, if one does.
///
/// # Errors
/// [`DbError::Database`].
pub async fn named(tx: &mut ShopTx, name: &str) -> Result<Option<Uuid>, DbError> {
    Ok(sqlx::query_scalar!(
        "select customer_id from customer_name where shop_id = $1 and key = name_key($2)",
        tx.shop_id(),
        name,
    )
    .fetch_optional(tx.conn())
    .await?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_looked_for_as_a_number() {
        assert_eq!(digits("+44 (0)1304 55").as_deref(), Some("%440130455%"));
        assert_eq!(digits("01304 55").as_deref(), Some("%130455%"));
        assert_eq!(digits("Tarn 4/90"), None);
        assert_eq!(digits("00"), None);
    }
}
