//! A shop is a shard: its rows lie together by `shop_id`, and no statement needs two shops at once (`docs/sharding.md`).
//! Read from the catalogue of a database and from the plans of every statement that the program was compiled with.

use crate::support::TestDatabase;
use serde_json::Value;
use sqlx::{AssertSqlSafe, PgConnection, Row, query_as, query_scalar, raw_sql};
use std::path::{Path, PathBuf};

/// Tables that belong to no shop, and why that is right on several databases too.
const OF_NO_SHOP: [(&str, &str); 2] = [
    (
        "shop_directory",
        "leads from a short name to a shop: small, and the same everywhere",
    ),
    (
        "_sqlx_migrations",
        "says which migrations a database has run",
    ),
];

fn is_of_no_shop(table: &str) -> bool {
    OF_NO_SHOP.iter().any(|(name, _)| *name == table)
}

#[tokio::test]
async fn every_key_index_and_reference_begins_with_the_shop() {
    let db = TestDatabase::new().await;
    let mut owner = db.owner().await;
    let indexes: Vec<(String, String, Option<String>)> = query_as(
        "select c.relname::text, i.indexrelid::regclass::text, a.attname::text
         from pg_index i join pg_class c on c.oid = i.indrelid and c.relnamespace = 'public'::regnamespace
         left join pg_attribute a on a.attrelid = i.indrelid and a.attnum = i.indkey[0]",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    let wrong: Vec<_> = (indexes.iter())
        .filter(|(table, _, first)| !is_of_no_shop(table) && first.as_deref() != Some("shop_id"))
        .collect();
    assert!(
        wrong.is_empty(),
        "these do not begin with shop_id: {wrong:#?}"
    );
    assert!(indexes.len() > 150, "only {} were found", indexes.len());

    let references: Vec<(String, String, String, String)> = query_as(
        "select c.conrelid::regclass::text, c.conname::text, a.attname::text, b.attname::text
         from pg_constraint c
         join pg_attribute a on a.attrelid = c.conrelid and a.attnum = c.conkey[1]
         join pg_attribute b on b.attrelid = c.confrelid and b.attnum = c.confkey[1]
         where c.contype = 'f' and c.connamespace = 'public'::regnamespace",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    let wrong: Vec<_> = (references.iter())
        .filter(|(_, _, from, to)| from != "shop_id" || to != "shop_id")
        .collect();
    assert!(
        wrong.is_empty(),
        "these do not begin with shop_id: {wrong:#?}"
    );
    assert!(
        references.len() > 100,
        "only {} were found",
        references.len()
    );

    let without: Vec<String> = query_scalar(
        "select relname::text from pg_class c where relnamespace = 'public'::regnamespace and relkind in ('r', 'p')
         and not exists (select from pg_attribute where attrelid = c.oid and attname = 'shop_id' and not attisdropped)",
    )
    .fetch_all(&mut owner)
    .await
    .unwrap();
    assert!(without.iter().all(|t| is_of_no_shop(t)), "{without:?}");
}

/// A statement with the number of its parameters.
struct Statement {
    text: String,
    parameters: usize,
}

/// Every statement of the program, as `make sqlx` wrote them down.
fn statements() -> Vec<Statement> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(".sqlx");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    let read = |file: &PathBuf| -> Statement {
        let read: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
        let left = read["describe"]["parameters"]["Left"].as_array();
        Statement {
            text: read["query"].as_str().unwrap().to_owned(),
            parameters: left.map_or(0, Vec::len),
        }
    };
    files.iter().map(read).collect()
}

/// How the database carries a statement out without knowing its parameters. As its owner, so that what the policies would
/// add does not hide what the statement itself leaves out; and by nested loops, so that each table is asked for by the
/// condition that joins it.
async fn plan(owner: &mut PgConnection, statement: &Statement) -> Value {
    let arguments = match statement.parameters {
        0 => String::new(),
        many => format!("({})", vec!["null"; many].join(", ")),
    };
    let text = &statement.text;
    raw_sql(AssertSqlSafe(format!("prepare checked as {text}")))
        .execute(&mut *owner)
        .await
        .unwrap_or_else(|why| panic!("{why}: {text}"));
    let explain = format!("explain (format json, verbose, costs off) execute checked{arguments}");
    let plan = raw_sql(AssertSqlSafe(explain))
        .fetch_one(&mut *owner)
        .await
        .unwrap_or_else(|why| panic!("{why}: {text}"))
        .get(0);
    raw_sql("deallocate checked").execute(owner).await.unwrap();
    plan
}

/// Tables of shops that a plan reads without saying of which shop. A condition on `shop_id` says so; so does a subquery
/// that is made once and hashed, when what is looked up in it has the shop in it.
fn read_of_any_shop(node: &Value, in_subquery: bool, found: &mut Vec<String>, scans: &mut usize) {
    let in_subquery = in_subquery || node["Parent Relationship"] == "SubPlan";
    let parts = node["Plans"].as_array().map_or(&[][..], Vec::as_slice);
    let is_ours = node["Schema"] == "public" && node["Node Type"] != "ModifyTable";
    if let Some(table) = node["Relation Name"].as_str().filter(|_| is_ours) {
        *scans += 1;
        let conditions = ["Index Cond", "Recheck Cond", "Filter"]
            .map(|kind| node[kind].as_str().unwrap_or_default())
            .join(" ");
        let named = conditions.contains("shop_id = ");
        // A bitmap says its condition one node below.
        let below = (parts.iter()).any(|part| {
            part["Index Cond"]
                .as_str()
                .is_some_and(|c| c.contains("shop_id = "))
        });
        let shop = format!("{}.shop_id", node["Alias"].as_str().unwrap_or_default());
        let hashed = in_subquery
            && (node["Output"].as_array())
                .is_some_and(|columns| columns.iter().any(|column| *column == *shop));
        if !(named || below || hashed || is_of_no_shop(table)) {
            found.push(table.to_owned());
        }
    }
    for part in parts {
        read_of_any_shop(part, in_subquery, found, scans);
    }
}

#[tokio::test]
async fn no_statement_needs_two_shops_at_once() {
    let db = TestDatabase::new().await;
    let mut owner = db.owner().await;
    raw_sql(
        "set plan_cache_mode = force_generic_plan; set enable_seqscan = off; set enable_hashjoin = off;
         set enable_mergejoin = off; set enable_material = off; set enable_memoize = off",
    )
    .execute(&mut owner)
    .await
    .unwrap();
    let mut wrong = Vec::new();
    let mut scans = 0;
    let all = statements();
    // What has no plan reads no table.
    for statement in all.iter().filter(|s| !s.text.starts_with("set ")) {
        let plan = plan(&mut owner, statement).await;
        let mut found = Vec::new();
        read_of_any_shop(&plan[0]["Plan"], false, &mut found, &mut scans);
        if !found.is_empty() {
            wrong.push((found, &statement.text));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(all.len() > 400 && scans > 600, "{} {scans}", all.len());

    for (text, tables) in [
        ("select name from person where id = $1", vec!["person"]),
        (
            "select p.name from booking b join person p on p.id = b.person_id where b.shop_id = $1",
            vec!["person"],
        ),
        (
            "select p.name from booking b join person p on p.shop_id = b.shop_id and p.id = b.person_id
             where b.shop_id = $1",
            vec![],
        ),
    ] {
        let statement = Statement {
            text: text.to_owned(),
            parameters: 1,
        };
        let plan = plan(&mut owner, &statement).await;
        let mut found = Vec::new();
        read_of_any_shop(&plan[0]["Plan"], false, &mut found, &mut scans);
        assert_eq!(found, tables, "{text}");
    }
}

/// Every source file below a folder.
fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// What in a source would not hold where each transaction may have another connection: a statement asked of the pool, and
/// a setting of the session.
fn beyond_a_transaction(source: &str) -> Vec<String> {
    let packed: String = source.split_whitespace().collect();
    let mut wrong = Vec::new();
    for method in [
        ".fetch_one(",
        ".fetch_optional(",
        ".fetch_all(",
        ".fetch(",
        ".execute(",
    ] {
        for (_, rest) in packed
            .match_indices(method)
            .map(|(at, _)| packed.split_at(at))
        {
            let to = rest.find(')').unwrap_or(rest.len());
            let call = rest.get(..to).unwrap_or(rest);
            if call.contains("pool") {
                wrong.push(call.to_owned());
            }
        }
    }
    for (at, _) in packed.match_indices("set_config(") {
        let rest = packed.get(at..).unwrap_or_default();
        let call = rest.split_once(')').map_or(rest, |(call, _)| call);
        if !call.ends_with(",true") {
            wrong.push(call.to_owned());
        }
    }
    wrong
}

#[test]
fn nothing_is_asked_or_set_outside_a_transaction() {
    assert_eq!(
        beyond_a_transaction("q(x)\n .fetch_all(&mut *tx).await"),
        [""; 0]
    );
    assert_eq!(
        beyond_a_transaction("q(x)\n .fetch_all(&self.pool)").len(),
        1
    );
    assert_eq!(beyond_a_transaction("set_config('a', $1, true)"), [""; 0]);
    assert_eq!(beyond_a_transaction("set_config('a', $1, false)").len(), 1);
    let mut files = Vec::new();
    sources(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
        &mut files,
    );
    let mut wrong = Vec::new();
    for file in &files {
        let source = std::fs::read_to_string(file).unwrap();
        wrong.extend((beyond_a_transaction(&source).into_iter()).map(|call| (file, call)));
    }
    assert!(files.len() > 300, "{}", files.len());
    assert!(wrong.is_empty(), "{wrong:#?}");
}
