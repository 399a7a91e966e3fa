//! A shop with twenty-five years behind it, under load: the demo shop, and beside its own year 100,000 finished jobs with their
//! enquiries, quotes and castings, and 600,000 bookings, served by the program itself as it is installed.
//!
//! `cargo bench --bench load` prints, for the pages that are open all day, how long they take at 200 requests a second
//! (counted from the moment at which each was due, so that waiting in line counts), for the answer and the week how long they
//! take with one caller and with ten at once who ask for different days, how the list of jobs and a job compare with bare
//! handlers of the same queries, and how much memory the service holds afterwards. `-- --seconds 3600` keeps the steady rate up
//! for an hour.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    clippy::too_many_lines,
    reason = "a benchmark fails by panicking, looks at the clock and is read from top to bottom"
)]

mod service;

use actix_web::{App, HttpResponse, HttpServer, web};
use borewright::db::job_list::{self, Filter, Sort};
use borewright::db::lists::Part;
use borewright::db::{Scope, ShopTx, jobs, migrate, shops};
use borewright::jobs::JobState;
use futures_util::future::join_all;
use service::Service;
use sqlx::{PgPool, query_scalar, raw_sql};
use std::time::{Duration, Instant};
use uuid::Uuid;

const SHOP: &str = "harrow-quay";
const PASSWORD: &str = "harrow-quay-demo";
const RATE: u64 = 200;
const SECONDS: u64 = 40;
const PAIRS: usize = 200;
const ANSWERS: usize = 60;
const SIGN_INS: usize = 300;

/// Whatever was finished long ago, with keys of its own beside those of the demo.
const FILL: &str = "
create function pg_temp.k(kind int, n bigint) returns uuid language sql immutable as
    $$ select ('f000000' || kind || '-0000-7000-8000-' || lpad(to_hex(n), 12, '0'))::uuid $$;
create temporary table s as select shop_id as shop from shop limit 1;
create temporary table v as
    select id, row_number() over (order by id) - 1 as nth, count(*) over () as all from variant where shop_id = (select shop from s);
create temporary table p as select id from person where shop_id = (select shop from s) order by name limit 1;
create temporary table o as
    select planned, (row_number() over (order by id) - 1)::int as step from
        (select id, planned from job_operation where shop_id = (select shop from s) and state = 'done' order by id limit 3) x;
set session_replication_role = replica;
insert into enquiry (shop_id, id, number, caller, contact, wanted_variant_id, brings_note, note, state)
    select s.shop, pg_temp.k(1, n), 1000000 + n, 'Caller ' || n % 4000, '', v.id, '', '', case when n % 3 = 0 then 'won' else 'closed' end
    from s, generate_series(1, 100000) n join v on v.nth = n % v.all;
insert into quote (shop_id, id, number, enquiry_id, option_kind, title, valid_until, currency, net, tax, gross, line_count,
                   state, decided_at, lost_why)
    select s.shop, pg_temp.k(2, n), 1000000 + n, pg_temp.k(1, n), 'convert', 'Convert a block, no. ' || n, current_date - 30, 'GBP',
           100 + n % 900, 20, 120 + n % 900, 1, case when n % 3 = 0 then 'won' else 'lost' end, now() - n * interval '1 hour',
           case when n % 3 <> 0 then 'price' end
    from s, generate_series(1, 100000) n;
insert into quote_line (shop_id, quote_id, position, label, how, amount)
    select s.shop, pg_temp.k(2, n), l, 'Work', '', 20 from s, generate_series(1, 100000) n, generate_series(1, 3) l;
insert into job (shop_id, id, number, title, customer, state, due_on)
    select s.shop, pg_temp.k(3, n), 1000000 + n, 'Block no. ' || n, 'Caller ' || n % 4000, 'done', current_date - (n / 12)::int - 40
    from s, generate_series(1, 100000) n;
insert into job_operation (shop_id, id, job_id, number, planned, state)
    select s.shop, pg_temp.k(4, n * 3 + o.step), pg_temp.k(3, n), (o.step + 1) * 10,
           jsonb_set(o.planned, '{number}', to_jsonb((o.step + 1) * 10)), 'done'
    from s, generate_series(1, 100000) n, o;
insert into booking (shop_id, id, kind, operation_id, person_id, entered_by, at, device_at, received_at)
    select s.shop, pg_temp.k(5, n), case when n % 2 = 0 then 'run' else 'done' end, pg_temp.k(4, 3 + n / 2), p.id, p.id, t, t, t
    from s, p, (select n, now() - interval '400 days' - (600000 - n) * interval '15 minutes' as t from generate_series(0, 599999) n) x;
insert into casting (shop_id, id, number, variant_id, ownership, cost, currency, condition, state, job_id)
    select s.shop, pg_temp.k(6, n), 1000000 + n, v.id, 'shop', 100, 'GBP', '', 'used', pg_temp.k(3, n)
    from s, generate_series(1, 100000) n join v on v.nth = n % v.all;
set session_replication_role = origin;
analyze;
";

/// Resident memory of a process, MB.
fn memory(id: u32) -> f64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    let kilobytes = line
        .and_then(|line| line.split_whitespace().nth(1))
        .unwrap();
    kilobytes.parse::<f64>().unwrap() / 1024.0
}

async fn sign_in(address: &str, name: &str) -> reqwest::Client {
    let client = reqwest::Client::builder()
        .cookie_store(true)
        .build()
        .unwrap();
    let body = form_urlencoded::Serializer::new(String::new())
        .extend_pairs([("sign_in", name), ("password", PASSWORD)])
        .finish();
    let answer = client
        .post(format!("{address}/sign-in"))
        .header("content-type", "application/x-www-form-urlencoded")
        .body(body)
        .send()
        .await
        .unwrap();
    assert!(answer.status().is_success(), "{}", answer.status());
    client
}

async fn fetch(client: &reqwest::Client, url: &str) -> (Duration, usize) {
    let start = Instant::now();
    let answer = client.get(url).send().await.unwrap();
    assert!(answer.status().is_success(), "{url}: {}", answer.status());
    let size = answer.bytes().await.unwrap().len();
    (start.elapsed(), size)
}

fn at(times: &mut [Duration], percent: usize) -> f64 {
    times.sort_unstable();
    times[(times.len() * percent / 100).min(times.len() - 1)].as_secs_f64() * 1e3
}

fn row(what: &str, times: &mut [Duration]) {
    let (p50, p95, p99) = (at(times, 50), at(times, 95), at(times, 99));
    println!("{what:<46} {p50:>8.1} {p95:>8.1} {p99:>8.1}");
}

/// Pages at a steady rate, each counted from the moment at which it was due.
async fn steady(client: &reqwest::Client, urls: &[(&str, Vec<String>)], seconds: u64) {
    let start = Instant::now();
    let mut running = Vec::new();
    for n in 0..RATE * seconds {
        let due = start + Duration::from_micros(n * 1_000_000 / RATE);
        tokio::time::sleep_until(due.into()).await;
        let which = usize::try_from(n).unwrap();
        let (_, of) = &urls[which % urls.len()];
        let url = of[which / urls.len() % of.len()].clone();
        let client = client.clone();
        running.push(tokio::spawn(async move {
            fetch(&client, &url).await;
            due.elapsed()
        }));
    }
    let times: Vec<Duration> = join_all(running)
        .await
        .into_iter()
        .map(Result::unwrap)
        .collect();
    for (which, (name, _)) in urls.iter().enumerate() {
        let mut own: Vec<Duration> = times
            .iter()
            .skip(which)
            .step_by(urls.len())
            .copied()
            .collect();
        row(name, &mut own);
    }
    row("all of them", &mut times.clone());
}

/// What a page's queries cost with nothing around them.
async fn bare(pool: PgPool, scope: Scope, zone: String) -> String {
    let server = HttpServer::new(move || {
        let (pool, zone) = (pool.clone(), zone.clone());
        let of_list = pool.clone();
        App::new()
            .route(
                "/jobs",
                web::get().to(move || {
                    let (pool, zone) = (of_list.clone(), zone.clone());
                    async move {
                        let mut tx = ShopTx::begin(&pool, scope).await.unwrap();
                        let filter = Filter {
                            states: vec![JobState::Open],
                            ..Filter::default()
                        };
                        let part = Part {
                            descending: true,
                            skip: 0,
                            rows: 50,
                        };
                        let found =
                            job_list::list(&mut tx, &filter, Sort::Number, part, &zone).await;
                        HttpResponse::Ok().body(format!("{:?}", found.unwrap()))
                    }
                }),
            )
            .route(
                "/jobs/{id}",
                web::get().to(move |id: web::Path<Uuid>| {
                    let pool = pool.clone();
                    async move {
                        let mut tx = ShopTx::begin(&pool, scope).await.unwrap();
                        let job = jobs::get(&mut tx, *id).await.unwrap();
                        let operations = jobs::operations(&mut tx, *id).await.unwrap();
                        HttpResponse::Ok().body(format!("{job:?} {operations:?}"))
                    }
                }),
            )
    })
    .workers(2)
    .bind("127.0.0.1:0")
    .unwrap();
    let address = format!("http://{}", server.addrs()[0]);
    tokio::spawn(server.run());
    address
}

#[tokio::main]
async fn main() {
    let mut words = std::env::args().skip_while(|word| word != "--seconds");
    let seconds = words
        .nth(1)
        .map_or(SECONDS, |seconds| seconds.parse().unwrap());
    let service = Service::demo(&[]).await;
    let address = service.address.clone();
    let socket = service.server();
    let mut owner = service.owner().await;
    raw_sql(FILL).execute(&mut owner).await.unwrap();
    let bookings: i64 = query_scalar("select count(*) from booking")
        .fetch_one(&mut owner)
        .await
        .unwrap();
    let finished: i64 = query_scalar("select count(*) from job where state = 'done'")
        .fetch_one(&mut owner)
        .await
        .unwrap();
    println!("{finished} finished jobs, {bookings} bookings; times in ms\n");

    let client = sign_in(&address, "ines").await;
    let page = |path: &str| format!("{address}{path}");
    let old = |n: u64| {
        Uuid::from_u128((0xf000_0003_u128 << 96) | 0x7000_8000_0000_0000_0000 | u128::from(n))
    };
    let some: Vec<String> = (1..=100)
        .map(|n| page(&format!("/jobs/{}", old(n * 997))))
        .collect();
    let urls = [
        ("jobs", vec![page("/jobs"), page("/jobs?view=done")]),
        ("a finished job", some.clone()),
        ("quotes", vec![page("/quotes"), page("/quotes?view=all")]),
        ("castings", vec![page("/castings")]),
        (
            "shelf",
            vec![page("/castings/shelf"), page("/castings/shelf?view=all")],
        ),
        ("stock", vec![page("/stock")]),
        ("enquiries", vec![page("/enquiries")]),
    ];
    for url in urls.iter().flat_map(|(_, urls)| urls) {
        fetch(&client, url).await;
    }
    let before = memory(service.id());
    println!(
        "{:<46} {:>8} {:>8} {:>8}",
        format!("{RATE} requests a second, {seconds} s"),
        "p50",
        "p95",
        "p99"
    );
    steady(&client, &urls, seconds).await;
    let after = memory(service.id());

    let pool = migrate::service_pool(socket.service_options("borewright"), 10)
        .await
        .unwrap();
    let shop_id = shops::find(&pool, SHOP).await.unwrap().unwrap();
    let scope = Scope {
        shop_id,
        person_id: None,
    };
    let reference = bare(pool, scope, "Europe/London".to_owned()).await;
    println!(
        "\n{:<46} {:>8} {:>8} {:>8}",
        "in turn with bare handlers of the queries", "p50", "p95", "p99"
    );
    for (name, path) in [
        ("jobs", "/jobs".to_owned()),
        ("a finished job", format!("/jobs/{}", old(997))),
    ] {
        let (mut ours, mut theirs) = (Vec::new(), Vec::new());
        for _ in 0..PAIRS {
            ours.push(fetch(&client, &page(&path)).await.0);
            theirs.push(fetch(&client, &format!("{reference}{path}")).await.0);
        }
        row(name, &mut ours);
        row(&format!("{name}, bare"), &mut theirs);
        println!(
            "{:<46} {:>8.1}",
            format!("{name}: ratio of the medians"),
            at(&mut ours, 50) / at(&mut theirs, 50)
        );
    }

    // Calls that differ in the day they need it by: an answer is kept for a minute for whoever asks the same.
    let wanted: Uuid =
        query_scalar("select id from variant where name = 'Tarn 4/90 marine' limit 1")
            .fetch_one(&mut owner)
            .await
            .unwrap();
    let mut calls = Vec::new();
    for days in 0..ANSWERS * 3 {
        let by = chrono::Utc::now().date_naive() + chrono::Days::new(10 + days as u64);
        let made = client
            .post(page("/api/v1/enquiries"))
            .header("content-type", "application/json")
            .body(format!(
                "{{\"caller\": \"A benchmark\", \"wanted_variant_id\": \"{wanted}\", \"wanted_by\": \"{by}\"}}"
            ))
            .send()
            .await
            .unwrap();
        assert_eq!(made.status(), 201);
        let location = made.headers()["location"].to_str().unwrap();
        calls.push(page(&location.replace("/api/v1", "")));
    }
    let (alone, together) = calls.split_at(ANSWERS);
    // The plan's futures are drawn for the first.
    fetch(&client, &alone[0]).await;
    println!(
        "\n{:<46} {:>8} {:>8} {:>8}",
        "one after the other", "p50", "p95", "p99"
    );
    let again = vec![alone[ANSWERS - 1].clone(); ANSWERS];
    let (week, today) = (vec![page("/week"); ANSWERS], vec![page("/"); ANSWERS]);
    for (name, urls) in [
        ("the answer", alone),
        ("the answer, asked again", &again),
        ("the week", &week),
        ("today", &today),
    ] {
        let mut times = Vec::new();
        for url in urls {
            times.push(fetch(&client, url).await.0);
        }
        row(name, &mut times);
    }
    let mut times = Vec::new();
    for ten in together.chunks(10) {
        let ten = ten.iter().map(|url| fetch(&client, url));
        times.extend(join_all(ten).await.into_iter().map(|(time, _)| time));
    }
    row("the answer, ten callers at once", &mut times);
    let worked = memory(service.id());
    for round in 0..SIGN_INS {
        let name = ["edda", "ines"][round % 2];
        sign_in(&address, name).await;
    }
    println!(
        "\nresident memory: {before:.0} MB before, {after:.0} MB after the pages, {worked:.0} MB after the answers, {:.0} MB after \
         {SIGN_INS} sign-ins",
        memory(service.id())
    );
}
