//! The walls between shops, for every table there is.

use crate::support::TestDatabase;
use sqlx::{AssertSqlSafe, PgConnection, Row, query, query_scalar};
use uuid::Uuid;

/// Tables that belong to no shop: the directory that leads to one, and the migrations' own bookkeeping.
const GLOBAL: [&str; 2] = ["shop_directory", "_sqlx_migrations"];

async fn tables(owner: &mut PgConnection) -> Vec<String> {
    query_scalar(
        "select relname::text from pg_class where relnamespace = 'public'::regnamespace and relkind in ('r', 'p')
         order by relname",
    )
    .fetch_all(owner)
    .await
    .unwrap()
}

#[tokio::test]
async fn every_table_has_its_shop_first_in_its_key_and_its_rows_behind_a_forced_policy() {
    let db = TestDatabase::new().await;
    let mut owner = db.owner().await;
    let mut looked_at = 0;
    for table in tables(&mut owner).await {
        if GLOBAL.contains(&table.as_str()) {
            continue;
        }
        looked_at += 1;
        let row = query(
            "select relrowsecurity and relforcerowsecurity as forced,
                    (select count(*) from pg_policy where polrelid = c.oid) as policies,
                    (select pg_get_expr(polqual, polrelid) || ' / ' || pg_get_expr(polwithcheck, polrelid)
                     from pg_policy where polrelid = c.oid limit 1) as policy,
                    (select attname::text from pg_index i join pg_attribute a
                        on a.attrelid = i.indrelid and a.attnum = i.indkey[0]
                     where i.indrelid = c.oid and i.indisprimary) as first_key
             from pg_class c where c.oid = $1::regclass",
        )
        .bind(&table)
        .fetch_one(&mut owner)
        .await
        .unwrap();
        assert_eq!(
            row.get::<Option<String>, _>("first_key").as_deref(),
            Some("shop_id"),
            "the primary key of {table} must begin with shop_id"
        );
        assert!(
            row.get::<bool, _>("forced"),
            "{table} must have row-level security enabled and forced: call make_tenant"
        );
        assert_eq!(
            row.get::<i64, _>("policies"),
            1,
            "{table} must have one policy: a second one would widen what is seen"
        );
        assert_eq!(
            row.get::<Option<String>, _>("policy").as_deref(),
            Some("(shop_id = current_shop()) / (shop_id = current_shop())"),
            "the policy of {table} must be the tenant policy"
        );
    }
    assert!(looked_at >= 6, "only {looked_at} tables were found");
}

#[tokio::test]
async fn every_foreign_key_between_tenant_tables_includes_the_shop() {
    let db = TestDatabase::new().await;
    let mut owner = db.owner().await;
    let without: Vec<String> = query_scalar(
        "select conrelid::regclass || ': ' || conname from pg_constraint c
         where contype = 'f' and connamespace = 'public'::regnamespace and not exists (
             select from pg_attribute a
             where a.attrelid = c.conrelid and a.attnum = any (c.conkey) and a.attname = 'shop_id')",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert_eq!(without, Vec::<String>::new());
}

#[tokio::test]
async fn the_service_role_owns_nothing_and_cannot_lift_the_walls() {
    let db = TestDatabase::new().await;
    let mut owner = db.owner().await;
    let owned: i64 = query_scalar(
        "select count(*) from pg_shdepend where refobjid = 'borewright_service'::regrole and deptype = 'o'",
    )
    .fetch_one(&mut owner)
    .await
    .unwrap();
    assert_eq!(owned, 0);
    for table in tables(&mut owner).await {
        if GLOBAL.contains(&table.as_str()) {
            continue;
        }
        let lifted = query(AssertSqlSafe(format!(
            "alter table {table} disable row level security"
        )))
        .execute(&db.pool)
        .await;
        assert!(lifted.is_err(), "the service could open {table}");
    }
    let made = query("create table mine (id int)").execute(&db.pool).await;
    assert!(made.is_err(), "the service could make a table of its own");
}

/// One row in every tenant table would need every column's rules; a copy of another shop's row does not. So shop A is
/// given rows by the owner's hand in every table, whatever their columns say, and shop B then tries to reach them.
async fn fill_every_table(owner: &mut PgConnection, shop: Uuid) {
    query("set session_replication_role = replica")
        .execute(&mut *owner)
        .await
        .unwrap();
    for table in tables(owner).await {
        if GLOBAL.contains(&table.as_str()) {
            continue;
        }
        let columns = query(
            "select quote_ident(attname) as name, format_type(atttypid, atttypmod) as type from pg_attribute
             where attrelid = $1::regclass and attnum > 0 and not attisdropped and attnotnull
               and not atthasdef and attidentity = '' and attname <> 'shop_id'",
        )
        .bind(&table)
        .fetch_all(&mut *owner)
        .await
        .unwrap();
        let checks: Vec<String> = query_scalar(
            "select quote_ident(conname) from pg_constraint where conrelid = $1::regclass and contype = 'c'",
        )
        .bind(&table)
        .fetch_all(&mut *owner)
        .await
        .unwrap();
        for check in checks {
            query(AssertSqlSafe(format!(
                "alter table {table} drop constraint {check}"
            )))
            .execute(&mut *owner)
            .await
            .unwrap();
        }
        let mut names = vec!["shop_id".to_owned()];
        let mut values = vec![format!("'{shop}'")];
        for column in columns {
            let kind: String = column.get("type");
            names.push(column.get("name"));
            values.push(match kind.as_str() {
                "uuid" => "gen_random_uuid()".to_owned(),
                "date" => "current_date".to_owned(),
                "jsonb" => "'{}'".to_owned(),
                "boolean" => "true".to_owned(),
                "bytea" => "'\\x00'".to_owned(),
                k if k.starts_with("timestamp") => "now()".to_owned(),
                k if k.ends_with("[]") => "'{}'".to_owned(),
                k if k.starts_with("time") => "'08:00'".to_owned(),
                _ => "'1'".to_owned(),
            });
        }
        query(AssertSqlSafe(format!(
            "insert into {table} ({}) values ({})",
            names.join(", "),
            values.join(", ")
        )))
        .execute(&mut *owner)
        .await
        .unwrap_or_else(|error| panic!("{table}: {error}"));
    }
}

#[tokio::test]
async fn a_shop_sees_and_changes_none_of_another_shops_rows_in_any_table() {
    let db = TestDatabase::new().await;
    let a = db.shop("shop-a").await;
    let b = db.shop("shop-b").await;
    let mut owner = db.owner().await;
    // Shop A's own row stands in the way of the one made up for it.
    query("delete from shop where shop_id = $1")
        .bind(a.id)
        .execute(&mut owner)
        .await
        .unwrap();
    // That was counted as a change.
    query("delete from floor_state where shop_id = $1")
        .bind(a.id)
        .execute(&mut owner)
        .await
        .unwrap();
    fill_every_table(&mut owner, a.id).await;
    let count = |table: &str| {
        AssertSqlSafe(format!(
            "select count(*) from {table} where shop_id = '{}'",
            a.id
        ))
    };

    for table in tables(&mut owner).await {
        if GLOBAL.contains(&table.as_str()) {
            continue;
        }
        let there: i64 = query_scalar(count(&table))
            .fetch_one(&mut owner)
            .await
            .unwrap();
        assert!(there > 0, "{table} was not filled");

        let mut own = a.begin().await;
        let seen: i64 = query_scalar(count(&table))
            .fetch_one(own.conn())
            .await
            .unwrap();
        assert_eq!(seen, there, "shop A must see its own rows of {table}");
        drop(own);

        // With no shop set there are no rows at all.
        let seen: i64 = query_scalar(AssertSqlSafe(format!("select count(*) from {table}")))
            .fetch_one(&db.pool)
            .await
            .unwrap();
        assert_eq!(seen, 0, "{table} shows rows to nobody in particular");

        let mut other = b.begin().await;
        let seen: i64 = query_scalar(count(&table))
            .fetch_one(other.conn())
            .await
            .unwrap();
        assert_eq!(seen, 0, "shop B sees rows of shop A in {table}");
        drop(other);
        for change in [
            "update {t} set shop_id = shop_id where shop_id = '{a}'",
            "delete from {t} where shop_id = '{a}'",
        ] {
            let mut other = b.begin().await;
            let change = change
                .replace("{t}", &table)
                .replace("{a}", &a.id.to_string());
            // Refused altogether where the service may not change such rows; elsewhere it finds none.
            if let Ok(done) = query(AssertSqlSafe(change)).execute(other.conn()).await {
                assert_eq!(done.rows_affected(), 0, "shop B changed {table}");
            }
        }
        let mut other = b.begin().await;
        let forged = query(AssertSqlSafe(format!(
            "insert into {table} (shop_id) values ('{}')",
            a.id
        )))
        .execute(other.conn())
        .await
        .unwrap_err();
        // insufficient_privilege: PostgreSQL asks the policy before it looks for missing values.
        let code = forged.as_database_error().and_then(|e| e.code());
        assert_eq!(code.as_deref(), Some("42501"), "{table}: {forged}");
    }
}
