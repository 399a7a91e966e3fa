//! Every statement of the service in a shop with years behind it: none of those that pages are made of reads a large table
//! from end to end.

use crate::support::TestDatabase;
use serde_json::Value;
use sqlx::{AssertSqlSafe, PgConnection, query, query_scalar, raw_sql};

/// Tables that grow with every job.
const LARGE: [&str; 9] = [
    "booking",
    "casting",
    "check_result",
    "enquiry",
    "history",
    "job",
    "job_operation",
    "quote",
    "quote_line",
];

/// Parts of statements that read a period or a whole record because that is what is asked of them: review, learning, and
/// what both are kept by, which the owner asks for now and then; and the list of jobs, which is searched by any word and
/// counts what it finds, as other lists do when they are searched.
const ASKED_WHOLE: [&str; 8] = [
    "as newest, (select count(*) from job_operation",
    "as \"any!\"",
    "b.at >= $2",
    "from booking where shop_id = $1 and at >= $2",
    "q.created_at >= $2",
    "min(at) as \"at!\"",
    "count(*) as \"all!\" from job",
    "count(*) over () as \"all!\"",
];

const FILL: &str = "
create function pg_temp.k(kind int, n bigint) returns uuid language sql immutable as
    $$ select (lpad(to_hex(kind), 8, '0') || '-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid $$;
set session_replication_role = replica;
insert into variant (shop_id, id, pattern_id, name, gearbox_under, note)
    select pg_temp.k(0, 1), pg_temp.k(2, n), pg_temp.k(1, 1), 'Variant ' || n, false, '' from generate_series(1, 200) n;
insert into enquiry (shop_id, id, number, caller, contact, wanted_variant_id, brings_note, note, state)
    select pg_temp.k(0, 1), pg_temp.k(4, n), n, 'Caller', '', pg_temp.k(2, 1 + n % 200), '', '',
           case when n % 50 = 0 then 'open' when n % 3 = 0 then 'won' else 'closed' end from generate_series(1, 30000) n;
insert into quote (shop_id, id, number, enquiry_id, option_kind, title, valid_until, currency, net, tax, gross, line_count,
                   state, decided_at, lost_why)
    select pg_temp.k(0, 1), pg_temp.k(5, n), n, pg_temp.k(4, n), 'convert', 'Convert', current_date, 'GBP', 100, 20, 120, 1,
           case when n % 200 = 0 then 'sent' when n % 3 = 0 then 'won' else 'lost' end,
           case when n % 200 <> 0 then now() end, case when n % 200 <> 0 and n % 3 <> 0 then 'price' end
    from generate_series(1, 30000) n;
insert into quote_line (shop_id, quote_id, position, label, how, amount)
    select pg_temp.k(0, 1), pg_temp.k(5, n), p, 'Margin', '', 20 from generate_series(1, 30000) n, generate_series(1, 3) p;
insert into job (shop_id, id, number, quote_id, title, state, due_on)
    select pg_temp.k(0, 1), pg_temp.k(6, n), n, pg_temp.k(5, n), 'Job', case when n > 24940 then 'open' else 'done' end,
           current_date - ((25000 - n) / 30)::int from generate_series(1, 25000) n;
insert into job_operation (shop_id, id, job_id, number, planned, state)
    select pg_temp.k(0, 1), pg_temp.k(7, n * 3 + o), pg_temp.k(6, n), o * 10,
           jsonb_build_object('number', o * 10, 'machine_kind', 'mill', 'skill', 'milling', 'setup_key', 'a',
                              'setup', '30', 'run', '60'),
           case when n > 24940 then 'queued' else 'done' end from generate_series(1, 25000) n, generate_series(0, 2) o;
insert into booking (shop_id, id, kind, operation_id, person_id, entered_by, at, device_at, received_at)
    select pg_temp.k(0, 1), pg_temp.k(8, n), 'run', pg_temp.k(7, 3 + n / 2), pg_temp.k(3, 1), pg_temp.k(3, 1), t, t, t
    from (select n, now() - (150000 - n) * interval '3 minutes' as t from generate_series(1, 150000) n) x;
insert into check_result (shop_id, id, operation_id, place, what, limits, instrument, note, passed, person_id, entered_by, at,
                          device_at, received_at)
    select pg_temp.k(0, 1), pg_temp.k(13, n), pg_temp.k(7, 3 + n), 0, 'Bore', '', '', '', true, pg_temp.k(3, 1), pg_temp.k(3, 1),
           now(), now(), now() from generate_series(1, 60000) n;
insert into casting (shop_id, id, number, variant_id, ownership, cost, currency, condition, state, job_id)
    select pg_temp.k(0, 1), pg_temp.k(9, n), n, pg_temp.k(2, 1 + n % 200), 'shop', 100, 'GBP', '',
           case when n % 250 = 0 then 'on_shelf' else 'used' end, case when n % 250 <> 0 then pg_temp.k(6, n) end
    from generate_series(1, 25000) n;
insert into history (shop_id, table_name, row_id, action, after)
    select pg_temp.k(0, 1), case when n % 2 = 0 then 'job' else 'quote' end, pg_temp.k(6, n / 4), 'update', '{}'
    from generate_series(1, 100000) n;
set session_replication_role = origin;
analyze;
set plan_cache_mode = force_generic_plan;
select set_config('borewright.shop_id', pg_temp.k(0, 1)::text, false);
";

/// The name a type has in SQL, from the one in the offline data of the statements.
fn sql_type(name: &Value) -> String {
    let Some(name) = name.as_str() else {
        return "unknown".to_owned();
    };
    match name.strip_suffix("Array") {
        Some(of) => format!("{}[]", of.to_lowercase()),
        None => name.to_lowercase(),
    }
}

fn scanned(plan: &Value, found: &mut Vec<String>) {
    let table = plan["Relation Name"].as_str().unwrap_or_default();
    if plan["Node Type"] == "Seq Scan" && LARGE.contains(&table) {
        found.push(table.to_owned());
    }
    for part in plan["Plans"].as_array().into_iter().flatten() {
        scanned(part, found);
    }
}

async fn scans(conn: &mut PgConnection, number: usize, statement: &Value) -> Vec<String> {
    let sql = statement["query"].as_str().unwrap();
    let types: Vec<String> = statement["describe"]["parameters"]["Left"]
        .as_array()
        .map(|types| types.iter().map(sql_type).collect())
        .unwrap_or_default();
    let (given, nothing) = match types.len() {
        0 => (String::new(), String::new()),
        n => (
            format!("({})", types.join(", ")),
            format!("({})", vec!["null"; n].join(", ")),
        ),
    };
    let prepare = format!("prepare statement_{number}{given} as {sql}");
    raw_sql(AssertSqlSafe(prepare))
        .execute(&mut *conn)
        .await
        .unwrap();
    let explain = format!("explain (format json) execute statement_{number}{nothing}");
    let plan: Value = query_scalar(AssertSqlSafe(explain))
        .fetch_one(&mut *conn)
        .await
        .unwrap();
    let mut found = Vec::new();
    scanned(&plan[0]["Plan"], &mut found);
    found
}

#[tokio::test]
async fn no_statement_of_a_page_reads_a_large_table_from_end_to_end() {
    let db = TestDatabase::new().await;
    let mut conn = db.owner().await;
    raw_sql(FILL).execute(&mut conn).await.unwrap();
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/.sqlx");
    let mut statements = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read_to_string(entry.unwrap().path()).unwrap();
        let statement: Value = serde_json::from_str(&text).unwrap();
        statements.push(statement);
    }
    let mut wrong = Vec::new();
    let mut looked_at = 0;
    for (number, statement) in statements.iter().enumerate() {
        let sql = statement["query"].as_str().unwrap();
        let word = sql
            .split_whitespace()
            .next()
            .unwrap_or_default()
            .to_lowercase();
        if !["select", "insert", "update", "delete", "with"].contains(&word.as_str()) {
            continue;
        }
        looked_at += 1;
        let found = scans(&mut conn, number, statement).await;
        let one_line = sql.split_whitespace().collect::<Vec<_>>().join(" ");
        if !found.is_empty() && !ASKED_WHOLE.iter().any(|part| one_line.contains(part)) {
            wrong.push(format!("{found:?}: {sql}"));
        }
    }
    assert!(looked_at > 300, "{looked_at}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));

    // The test bites: without its indexes the shelf is read from end to end.
    query("drop index casting_state")
        .execute(&mut conn)
        .await
        .unwrap();
    query("drop index casting_number")
        .execute(&mut conn)
        .await
        .unwrap();
    let list = statements
        .iter()
        .find(|one| {
            one["query"]
                .as_str()
                .unwrap()
                .contains("select * from casting where")
        })
        .unwrap();
    assert_eq!(scans(&mut conn, statements.len(), list).await, ["casting"]);
}
