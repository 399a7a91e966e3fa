//! Shops in several clusters: a shop moves from one to the other and back while people work in it, and nothing that was
//! acknowledged is lost or doubled. Two databases of one server stand for the clusters.

use crate::support::TestDatabase;
use crate::support::site::Visitor;
use borewright::db::clusters::Clusters;
use borewright::db::move_shop::{MoveError, move_shop};
use borewright::db::{DbError, Scope, ShopTx};
use borewright::web::server::{Application, Config};
use serde_json::{Value, json};
use sqlx::{Connection, PgConnection, query, query_scalar};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use uuid::Uuid;

const NORTH: &str = "north";

/// Calls with this in their note.
async fn calls(conn: &mut PgConnection, shop_id: Uuid) -> Vec<String> {
    query_scalar("select caller from enquiry where shop_id = $1 and note = 'moved' order by caller")
        .bind(shop_id)
        .fetch_all(conn)
        .await
        .unwrap()
}

/// Takes calls down one after another until told to stop, each sent again with the same key until it is acknowledged; those
/// that were.
async fn take_calls(visitor: Visitor, name: &str, stop: Arc<AtomicBool>) -> Vec<String> {
    let mut acknowledged = Vec::new();
    while !stop.load(Ordering::Relaxed) {
        let caller = format!("{name} {:05}", acknowledged.len());
        let call = json!({ "caller": caller, "note": "moved" });
        loop {
            let answer = visitor
                .request("POST", "/api/v1/enquiries")
                .header("idempotency-key", &caller)
                .json(&call)
                .send()
                .await
                .unwrap();
            match answer.status().as_u16() {
                201 => break,
                503 => tokio::time::sleep(Duration::from_millis(50)).await,
                other => panic!("{other}: {}", answer.text().await.unwrap()),
            }
        }
        acknowledged.push(caller);
    }
    acknowledged
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_shop_moves_to_another_cluster_and_back_while_people_work() {
    let (first, shop) = TestDatabase::demo().await;
    let north = TestDatabase::new().await;
    let config = Config {
        bind: "127.0.0.1:0".to_owned(),
        clusters: BTreeMap::from([(NORTH.to_owned(), north.pool.clone())]),
        ..Config::default()
    };
    let application = Application::build(first.pool.clone(), &config).unwrap();
    let address = format!("http://127.0.0.1:{}", application.port());
    tokio::spawn(application.run_until(std::future::pending()));
    let stop = Arc::<AtomicBool>::default();
    let mut working = Vec::new();
    for name in ["Ash", "Birch"] {
        let visitor = Visitor::signed_in_with(&address, "edda", "harrow-quay-demo").await;
        working.push(tokio::spawn(take_calls(visitor, name, stop.clone())));
    }
    let (from, to) = (first.owner_options(), north.owner_options());
    tokio::time::sleep(Duration::from_millis(300)).await;
    let moved = move_shop(&from, &to, "harrow-quay", NORTH).await.unwrap();
    assert_eq!(moved.shop_id, shop.id);
    assert!(moved.rows > 10_000, "{moved:?}");
    let again = move_shop(&from, &to, "harrow-quay", NORTH).await;
    assert!(matches!(again, Err(MoveError::Elsewhere(_))), "{again:?}");
    tokio::time::sleep(Duration::from_millis(1_500)).await;
    let (mut here, mut there) = (first.owner().await, north.owner().await);
    assert_eq!(calls(&mut here, shop.id).await, [""; 0]);
    let written_there = calls(&mut there, shop.id).await.len();
    // Where it was, the shop is refused, and as something that passes: the directory is asked again.
    let scope = Scope {
        shop_id: shop.id,
        person_id: None,
    };
    let refused = ShopTx::begin(&first.pool, scope).await.unwrap_err();
    assert!(refused.is_passing(), "{refused}");

    let back = move_shop(&to, &from, "harrow-quay", "first").await.unwrap();
    assert!(back.rows >= moved.rows, "{back:?}");
    tokio::time::sleep(Duration::from_millis(1_500)).await;
    stop.store(true, Ordering::Relaxed);
    let mut acknowledged = Vec::new();
    for one in working {
        acknowledged.extend(one.await.unwrap());
    }
    acknowledged.sort();
    assert_eq!(calls(&mut here, shop.id).await, acknowledged);
    assert_eq!(calls(&mut there, shop.id).await, [""; 0]);
    assert!(
        written_there < acknowledged.len(),
        "none came after the move back"
    );
    // What is numbered goes on after what came.
    let behind: i64 = query_scalar(
        "select count(*) from booking where sequence > (select last_value from booking_sequence_seq)",
    )
    .fetch_one(&mut here)
    .await
    .unwrap();
    assert_eq!(behind, 0);
    here.close().await.unwrap();
    there.close().await.unwrap();
}

#[tokio::test]
async fn an_interrupted_move_is_ended_by_the_same_verb() {
    let (first, north) = (TestDatabase::new().await, TestDatabase::new().await);
    let shop = first.shop("quay").await;
    let (from, to) = (first.owner_options(), north.owner_options());
    let missing = move_shop(&from, &to, "nobody", NORTH).await;
    assert!(matches!(missing, Err(MoveError::NoShop(_))), "{missing:?}");
    move_shop(&from, &to, "quay", NORTH).await.unwrap();
    // As if it had been interrupted before the copy was opened.
    let mut there = north.owner().await;
    query("update shop_directory set cluster = 'arriving'")
        .execute(&mut there)
        .await
        .unwrap();
    let clusters = Clusters::new(
        first.pool.clone(),
        BTreeMap::from([(NORTH.to_owned(), north.pool.clone())]),
    );
    let scope = Scope {
        shop_id: shop.id,
        person_id: None,
    };
    let pool = clusters.of_shop(shop.id).await.unwrap();
    let closed = ShopTx::begin(&pool, scope).await.unwrap_err();
    assert!(closed.is_passing(), "{closed}");
    let ended = move_shop(&from, &to, "quay", NORTH).await.unwrap();
    assert_eq!((ended.shop_id, ended.rows), (shop.id, 0));
    ShopTx::begin(&pool, scope).await.unwrap();
    // As if it had been interrupted before anything was removed where it was: the copy that was left is made anew.
    let mut here = first.owner().await;
    move_shop(&to, &from, "quay", "first").await.unwrap();
    query("update shop_directory set cluster = 'arriving'")
        .execute(&mut there)
        .await
        .unwrap();
    query("insert into shop select * from jsonb_populate_record(null::shop, $1)")
        .bind(
            query_scalar::<_, Value>("select row_to_json(s) from shop s")
                .fetch_one(&mut here)
                .await
                .unwrap(),
        )
        .execute(&mut there)
        .await
        .unwrap();
    let again = move_shop(&from, &to, "quay", NORTH).await.unwrap();
    assert!(again.rows > 0);
    // A process that was not told of the cluster says so, and does not take the shop for empty.
    let untold = Clusters::new(
        first.pool.clone(),
        BTreeMap::from([("south".to_owned(), north.pool.clone())]),
    );
    let refused = untold.of_shop(shop.id).await;
    assert!(
        matches!(refused, Err(DbError::Corrupt { .. })),
        "{refused:?}"
    );
}
