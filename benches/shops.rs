//! Two hundred shops changed at once: how long until each has a plan that it can use, and how many are improved after a minute.
//!
//! `cargo bench --bench shops` copies the demo shop, asks for a plan of every copy at one moment and prints when the first, the
//! middle and the last of them could be used, beside one shop that is changed alone.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a benchmark fails by panicking and looks at the clock"
)]

mod service;

use service::Service;
use sqlx::{AssertSqlSafe, PgConnection, query_as, query_scalar, raw_sql};
use std::time::{Duration, Instant};

const SHOPS: i64 = 200;
/// From when on it is counted how many are improved.
const LATER: Duration = Duration::from_secs(60);

/// The demo shop again and again, with the same keys under other shops. What is unique in all shops together, as tokens are,
/// plans do not rest on.
const COPY: &str = "
create temporary table copies as select gen_random_uuid() as shop, n from generate_series(2, 200) n;
set session_replication_role = replica;
do $$
declare
    demo uuid := (select shop_id from shop limit 1);
    t record;
begin
    for t in
        select c.table_name, string_agg(quote_ident(c.column_name), ', ') as names,
               string_agg(case when c.column_name in ('short_name', 'sign_in') then 't.' || c.column_name || ' || ''-'' || c.n'
                               else 't.' || quote_ident(c.column_name) end, ', ') as given
        from information_schema.columns c
        join information_schema.tables i using (table_schema, table_name)
        where c.table_schema = 'public' and i.table_type = 'BASE TABLE' and c.is_generated = 'NEVER' and c.is_identity = 'NO' and c.column_name <> 'shop_id'
              and exists (select from information_schema.columns k
                          where k.table_schema = 'public' and k.table_name = c.table_name and k.column_name = 'shop_id')
              and c.table_name not in ('history', 'plan_run')
        group by c.table_name
    loop
        begin
            execute format('insert into %I (shop_id, %s) select c.shop, %s from %I t, copies c where t.shop_id = %L',
                           t.table_name, t.names, replace(t.given, 'c.n', 'c.n::text'), t.table_name, demo);
        exception when unique_violation then
            null;
        end;
    end loop;
end
$$;
set session_replication_role = origin;
analyze;
";

/// When plans of shops were made since: how many, and the seconds at which the first, the middle and the last was.
async fn usable(owner: &mut PgConnection, since: &str) -> (i64, [f64; 3]) {
    let (count, seconds): (i64, Vec<f64>) = query_as(
        "select count(*), coalesce(array_agg(extract(epoch from first_at - $1::timestamptz)::float8 order by first_at), '{}')
         from pg_temp.first_plans",
    )
    .bind(since)
    .fetch_one(owner)
    .await
    .unwrap();
    let of = |at: usize| seconds.get(at).copied().unwrap_or(f64::NAN);
    let last = seconds.len().saturating_sub(1);
    (count, [of(0), of(last / 2), of(last)])
}

/// Asks for a plan of these shops and waits until each has one; prints when.
async fn measure(owner: &mut PgConnection, what: &str, shops: &str) {
    raw_sql("drop table if exists pg_temp.first_plans; create temporary table first_plans (shop uuid primary key, first_at timestamptz)")
        .execute(&mut *owner)
        .await
        .unwrap();
    let asked: i64 = query_scalar(AssertSqlSafe(format!("select count(*) from ({shops}) s")))
        .fetch_one(&mut *owner)
        .await
        .unwrap();
    let since: String = query_scalar("select now()::text")
        .fetch_one(&mut *owner)
        .await
        .unwrap();
    raw_sql(AssertSqlSafe(format!(
        "select ask_for_a_plan(shop_id) from ({shops}) s"
    )))
    .execute(&mut *owner)
    .await
    .unwrap();
    let began = Instant::now();
    loop {
        sqlx::query(AssertSqlSafe(format!(
            "insert into pg_temp.first_plans select p.shop_id, p.made_at from plan p join ({shops}) s using (shop_id)
             where p.made_at > $1::timestamptz on conflict do nothing"
        )))
        .bind(&since)
        .execute(&mut *owner)
        .await
        .unwrap();
        let (count, [first, middle, last]) = usable(owner, &since).await;
        if count == asked {
            println!("{what:<24} {count:>6} {first:>8.2} {middle:>8.2} {last:>8.2}");
            return;
        }
        assert!(
            began.elapsed() < Duration::from_secs(1_800),
            "{count} of {asked} have a plan"
        );
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
}

#[tokio::main]
async fn main() {
    let service = Service::demo(&["--planners", "2"]).await;
    let mut owner = service.owner().await;
    // The demo's own first plan and its improvement.
    tokio::time::sleep(Duration::from_secs(10)).await;
    raw_sql(COPY).execute(&mut owner).await.unwrap();
    let shops: i64 = query_scalar("select count(*) from shop")
        .fetch_one(&mut owner)
        .await
        .unwrap();
    assert_eq!(shops, SHOPS);

    println!(
        "{:<24} {:>6} {:>8} {:>8} {:>8}",
        "usable plans, seconds", "shops", "first", "middle", "last"
    );
    let one = "select shop_id from shop order by shop_id limit 1";
    measure(&mut owner, "one shop changed alone", one).await;
    tokio::time::sleep(Duration::from_secs(10)).await;
    let began = Instant::now();
    measure(
        &mut owner,
        "all changed at once",
        "select shop_id from shop",
    )
    .await;
    tokio::time::sleep(LATER.saturating_sub(began.elapsed())).await;
    let improved: i64 = query_scalar(
        "select count(*) from plan where improved and made_at > now() - $1 * interval '1 second'",
    )
    .bind(LATER.as_secs_f64())
    .fetch_one(&mut owner)
    .await
    .unwrap();
    println!(
        "\n{improved} of {shops} improved after {} s",
        LATER.as_secs()
    );
}
