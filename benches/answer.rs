//! The answer on the phone, as fast as a caller notices: the demo shop with its sixty live jobs in a throwaway
//! PostgreSQL, a call for the scarce block, and 1,000 simulated futures of every option.
//!
//! `cargo bench --bench answer` prints, for each part, the median and the 95th percentile, and the ratio of the whole
//! page to a page of the same shop that answers nothing, measured in the same run and in turn with it.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::disallowed_methods,
    clippy::too_many_lines,
    reason = "a benchmark fails by panicking, looks at the clock and is read from top to bottom"
)]

use borewright::app::Actor;
use borewright::app::answer_enquiry::Simulator;
use borewright::app::catalogue::Catalogue;
use borewright::app::drawn_plans::DrawnPlans;
use borewright::app::planner::{Ended, Settings, replan};
use borewright::app::question::Question;
use borewright::db::cluster::Cluster;
use borewright::db::enquiries::{self, EnquiryDetails};
use borewright::db::{Scope, ShopTx, castings, migrate, shops};
use borewright::db::{decisions, floor, plans};
use borewright::planning::floor::Progress;
use borewright::web::server::{Application, Config};
use chrono::Utc;
use std::time::{Duration, Instant};
use uuid::Uuid;

const ROUNDS: usize = 300;
const REPLANS: usize = 20;
const PAGES: usize = 30;
const WARM_UP: usize = 20;
const FUTURES: u32 = 1_000;

/// All that the shop knows about a call.
async fn question_of(tx: &mut ShopTx, call: Uuid) -> Question {
    let catalogue = Catalogue::read(tx).await.unwrap();
    let enquiry = enquiries::get(tx, call).await.unwrap();
    let question = Question::read(tx, &catalogue, &enquiry, None, Utc::now()).await;
    question.unwrap().unwrap()
}

/// Puts a job first or lets it take its turn again, and waits for a plan of the floor as it then is.
async fn time_to_a_usable_plan(pool: &sqlx::PgPool, scope: Scope, round: usize) -> Duration {
    let mut tx = ShopTx::begin(pool, scope).await.unwrap();
    let (floor, _) = floor::read(&mut tx, Utc::now()).await.unwrap();
    let job = floor.jobs[round / 2].id;
    if round.is_multiple_of(2) {
        decisions::put_first(&mut tx, job).await.unwrap();
    } else {
        decisions::not_first(&mut tx, job).await.unwrap();
    }
    tx.commit().await.unwrap();
    let start = Instant::now();
    let run = {
        let pool = pool.clone();
        tokio::spawn(async move { replan(&pool, scope.shop_id, Settings::default()).await })
    };
    loop {
        let mut tx = ShopTx::begin(pool, scope).await.unwrap();
        let age = plans::age(&mut tx, Utc::now()).await.unwrap();
        if age.plan_version == Some(age.floor_version) {
            let taken = start.elapsed();
            plans::cancel_run(&mut tx).await.unwrap();
            tx.commit().await.unwrap();
            run.await.unwrap().unwrap();
            return taken;
        }
        drop(tx);
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
}

#[tokio::main]
async fn main() {
    let cluster = tokio::task::spawn_blocking(|| Cluster::throwaway(None))
        .await
        .unwrap()
        .unwrap();
    let owner = cluster.socket().owner_options("borewright");
    migrate::create_database(&owner).await.unwrap();
    migrate::migrate(&owner).await.unwrap();
    let service = cluster.socket().service_options("borewright");
    let pool = migrate::service_pool(service, 10).await.unwrap();
    let now = Utc::now();
    let demo = borewright::demo::run(&pool, now).await.unwrap();
    let shop_id = shops::find(&pool, &demo.short_name).await.unwrap().unwrap();
    let scope = Scope {
        shop_id,
        person_id: None,
    };

    let mut tx = ShopTx::begin(&pool, scope).await.unwrap();
    let names = castings::variant_names(&mut tx).await.unwrap();
    let marine = names
        .iter()
        .find(|v| v.name == "Tarn 4/90 marine")
        .unwrap()
        .id;
    let said = EnquiryDetails {
        caller: "A benchmark".to_owned(),
        wanted_variant_id: Some(marine),
        ..EnquiryDetails::default()
    };
    let (call, _) = enquiries::create(&mut tx, &said).await.unwrap();
    tx.commit().await.unwrap();

    let actor = Actor::program(pool.clone(), shop_id);
    // The plan there would be: a usable one, made better for five seconds.
    let planner = Settings::default();
    let ended = replan(&pool, shop_id, planner).await.unwrap();
    assert_eq!(ended, Ended::Improved);
    let mut usable = vec![];
    for round in 0..REPLANS {
        usable.push(time_to_a_usable_plan(&pool, scope, round).await);
    }
    let mut cold = vec![];
    for _ in 0..REPLANS {
        let start = Instant::now();
        let mut tx = ShopTx::begin(&pool, scope).await.unwrap();
        let question = question_of(&mut tx, call).await;
        drop(tx);
        let fresh = Simulator::new(FUTURES);
        fresh.answer(&actor, question).await.unwrap().unwrap();
        cold.push(start.elapsed());
    }
    println!("\nPlanning: demo shop, {REPLANS} rounds");
    println!("{:<52} {:>9} {:>9}", "", "p50", "p95");
    row("from a change to a usable plan that is kept", &mut usable);
    row("the first answer after it, plan's futures drawn", &mut cold);

    let plans = DrawnPlans::default();
    let (mut read, mut worked, mut whole) = (vec![], vec![], vec![]);
    for round in 0..WARM_UP + ROUNDS {
        let start = Instant::now();
        let mut tx = ShopTx::begin(&pool, scope).await.unwrap();
        let question = question_of(&mut tx, call).await;
        drop(tx);
        let dates = plans.dates(&actor, question.age(), now, FUTURES);
        let dates = dates.await.unwrap();
        let loaded = start.elapsed();
        let answer = question.answer(&*dates, FUTURES).unwrap();
        let done = start.elapsed();
        assert!(answer.options.len() >= 3);
        if round >= WARM_UP {
            read.push(loaded);
            worked.push(done - loaded);
            whole.push(done);
        }
    }
    println!(
        "\nThe answer on the phone: demo shop, {FUTURES} futures of each option, {ROUNDS} rounds"
    );
    println!("{:<52} {:>9} {:>9}", "", "p50", "p95");
    row("reading all the shop knows from PostgreSQL", &mut read);
    row("simulating and comparing the options", &mut worked);
    row("both: the answer", &mut whole);

    let config = Config {
        bind: "127.0.0.1:0".to_owned(),
        ..Config::default()
    };
    let bench_pool = pool.clone();
    let application = Application::build(pool, &config).unwrap();
    let address = format!("http://127.0.0.1:{}", application.port());
    tokio::spawn(application.run_until(std::future::pending()));
    let client = reqwest::Client::builder()
        .cookie_store(true)
        .build()
        .unwrap();
    let office = &demo
        .sign_ins
        .iter()
        .find(|s| s.sign_in == "ines")
        .unwrap()
        .sign_in;
    let form = [
        ("sign_in", office.as_str()),
        ("password", demo.password.as_str()),
    ];
    let body = form_urlencoded::Serializer::new(String::new())
        .extend_pairs(form)
        .finish();
    let signed = client
        .post(format!("{address}/sign-in"))
        .header("content-type", "application/x-www-form-urlencoded")
        .body(body)
        .send()
        .await
        .unwrap();
    assert!(signed.status().is_success(), "{}", signed.status());

    let page = format!("{address}/enquiries/{call}");
    let plain = format!("{address}/market");
    let (mut answering, mut reference, mut ratios) = (vec![], vec![], vec![]);
    for round in 0..WARM_UP + ROUNDS {
        let (a, b) = (fetch(&client, &page).await, fetch(&client, &plain).await);
        if round >= WARM_UP {
            answering.push(a);
            reference.push(b);
            ratios.push(a.as_secs_f64() / b.as_secs_f64());
        }
    }
    row(
        "the enquiry's page with its answer, over HTTP",
        &mut answering,
    );
    row(
        "reference: the market's page, in turn with it",
        &mut reference,
    );
    let (floor, _) = {
        let mut tx = ShopTx::begin(&bench_pool, scope).await.unwrap();
        floor::read(&mut tx, Utc::now()).await.unwrap()
    };
    let waiting = floor
        .jobs
        .iter()
        .flat_map(|job| &job.operations)
        .find(|o| o.progress == Progress::Queued && o.outside_days.is_none())
        .unwrap()
        .id;
    for (what, path) in [
        ("the week, over HTTP", "/week".to_owned()),
        ("twelve weeks", "/week?days=84".to_owned()),
        ("late or at risk", "/week/risk".to_owned()),
        ("setups together", "/week/combine".to_owned()),
        (
            "what if a job is put first",
            format!("/week/preview?kind=first&operation={waiting}"),
        ),
    ] {
        let url = format!("{address}{path}");
        let mut times = vec![];
        for _ in 0..PAGES {
            times.push(fetch(&client, &url).await);
        }
        row(what, &mut times);
    }
    ratios.sort_by(f64::total_cmp);
    println!(
        "{:<52} {:>8.1}×",
        "ratio of the two, median of pairs",
        ratios[ratios.len() / 2]
    );
}

async fn fetch(client: &reqwest::Client, url: &str) -> Duration {
    let start = Instant::now();
    let response = client.get(url).send().await.unwrap();
    assert!(response.status().is_success(), "{}", response.status());
    response.bytes().await.unwrap();
    start.elapsed()
}

fn row(what: &str, times: &mut [Duration]) {
    times.sort_unstable();
    let at = |percent: usize| {
        times[(times.len() * percent / 100).min(times.len() - 1)].as_secs_f64() * 1e3
    };
    println!("{what:<52} {:>6.1} ms {:>6.1} ms", at(50), at(95));
}
