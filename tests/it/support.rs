//! What every integration test starts from: one throwaway PostgreSQL per test process, a fresh migrated database per
//! test, and a shop in it.

use borewright::castings::{Face, Pattern, Variant};
use borewright::estimating::{Operation, element::Stage};
pub mod browser;
pub mod crawl;
pub mod requests;
pub mod site;

use borewright::db::cluster::{Cluster, is_root};
use borewright::db::shops::{self, NewShop};
use borewright::db::{self, Scope, ShopTx, migrate};
use borewright::units::{Currency, Minutes};
use rust_decimal::Decimal;
use sqlx::postgres::PgConnectOptions;
use sqlx::{ConnectOptions, PgConnection, PgPool};
use std::fs::{Permissions, set_permissions};
use std::os::unix::fs::PermissionsExt;
use std::path::PathBuf;
use tokio::sync::OnceCell;
use uuid::Uuid;

const TEMPLATE: &str = "borewright_template";
const DEMO_TEMPLATE: &str = "borewright_demo_template";

/// The key of the shop in the demo's template.
static DEMO_SHOP: OnceCell<Uuid> = OnceCell::const_new();

/// Never dropped; when the test process ends its pipe closes, and the server stops and removes its data.
static CLUSTER: OnceCell<Cluster> = OnceCell::const_new();

async fn cluster() -> &'static Cluster {
    CLUSTER
        .get_or_init(|| async {
            let cluster = tokio::task::spawn_blocking(|| Cluster::throwaway(None))
                .await
                .unwrap()
                .unwrap_or_else(|error| panic!("{error}"));
            let owner = cluster.socket().owner_options(TEMPLATE);
            migrate::create_database(&owner).await.unwrap();
            migrate::migrate(&owner).await.unwrap();
            cluster
        })
        .await
}

/// A directory for a permanent cluster, which the database's own user can reach when the tests run as root.
pub fn private_directory() -> (tempfile::TempDir, PathBuf) {
    let outer = tempfile::Builder::new()
        .prefix("borewright-it-")
        .tempdir()
        .unwrap();
    if is_root() {
        set_permissions(outer.path(), Permissions::from_mode(0o755)).unwrap();
    }
    let inner = outer.path().join("data");
    (outer, inner)
}

/// A migrated database of the test's own.
pub struct TestDatabase {
    /// As the service connects: row-level security binds it.
    pub pool: PgPool,
    owner: PgConnectOptions,
    cleared_by: PgConnectOptions,
}

/// A test's database goes with the test: those of some hundred tests together filled a disk, and the server stopped for
/// every test that was left.
impl Drop for TestDatabase {
    fn drop(&mut self) {
        let by = self.cleared_by.clone();
        let name = self.owner.get_database().unwrap_or_default().to_owned();
        // A thread of its own: the test's runtime cannot be waited for from within.
        let cleared = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()?;
            runtime.block_on(async {
                let mut conn = by.connect().await?;
                let drop = format!("drop database if exists {name} with (force)");
                sqlx::raw_sql(sqlx::AssertSqlSafe(drop))
                    .execute(&mut conn)
                    .await?;
                Ok::<(), sqlx::Error>(())
            })
        });
        match cleared.join() {
            Ok(Ok(())) => {}
            // A test that has failed has its own reason to tell.
            other => eprintln!("a test's database was left behind: {other:?}"),
        }
    }
}

impl TestDatabase {
    /// A copy of the migrated template.
    pub async fn new() -> Self {
        Self::copy_of(TEMPLATE).await
    }

    /// A copy of a database with the demo shop, made today and once in a test process: it takes some seconds.
    pub async fn demo() -> (Self, TestShop) {
        let shop_id = *DEMO_SHOP
            .get_or_init(|| async {
                let database = Self::named(DEMO_TEMPLATE, TEMPLATE).await;
                let pool = &database.pool;
                let demo = borewright::demo::run(pool, chrono::Utc::now())
                    .await
                    .unwrap();
                let found = shops::find(pool, &demo.short_name).await.unwrap();
                // Nobody may be connected to what is copied.
                pool.close().await;
                database.leave_to_the_cluster();
                found.unwrap()
            })
            .await;
        let database = Self::copy_of(DEMO_TEMPLATE).await;
        let shop = TestShop {
            id: shop_id,
            pool: database.pool.clone(),
        };
        (database, shop)
    }

    /// A database with nothing in it, seen by its owner: for migrations one by one.
    pub async fn without_schema() -> PgConnection {
        let database = Self::copy_of("template0").await;
        let owner = database.owner().await;
        database.leave_to_the_cluster();
        owner
    }

    /// How the owner connects to a database with nothing in it.
    pub async fn without_schema_options() -> PgConnectOptions {
        let database = Self::copy_of("template0").await;
        database.pool.close().await;
        let options = database.owner_options();
        database.leave_to_the_cluster();
        options
    }

    async fn copy_of(template: &str) -> Self {
        let name = format!("test_{}", Uuid::new_v4().simple());
        Self::named(&name, template).await
    }

    async fn named(name: &str, template: &str) -> Self {
        let cluster = cluster().await;
        let mut conn = cluster
            .socket()
            .owner_options("postgres")
            .connect()
            .await
            .unwrap();
        sqlx::raw_sql(sqlx::AssertSqlSafe(format!(
            "create database {name} template {template}"
        )))
        .execute(&mut conn)
        .await
        .unwrap();
        let pool = migrate::service_pool(cluster.socket().service_options(name), 8)
            .await
            .unwrap();
        Self {
            pool,
            owner: cluster.socket().owner_options(name),
            cleared_by: cluster.socket().owner_options("postgres"),
        }
    }

    /// Keeps it for as long as the cluster is there, however soon this value goes.
    fn leave_to_the_cluster(self) {
        std::mem::forget(self);
    }

    /// How the owner connects, whom row-level security does not bind.
    pub fn owner_options(&self) -> PgConnectOptions {
        self.owner.clone()
    }

    /// A connection that sees everything, for looking behind the service's back.
    pub async fn owner(&self) -> PgConnection {
        self.owner.connect().await.unwrap()
    }

    /// A shop of this database with a name of its own.
    pub async fn shop(&self, short_name: &str) -> TestShop {
        TestShop::made_in(&self.pool, short_name).await
    }
}

/// A shop to work in.
pub struct TestShop {
    /// Key.
    pub id: Uuid,
    pool: PgPool,
}

impl TestShop {
    /// The shop of this key.
    pub fn at(pool: &PgPool, id: Uuid) -> Self {
        Self {
            id,
            pool: pool.clone(),
        }
    }

    /// A new shop with a name of its own.
    pub async fn made_in(pool: &PgPool, short_name: &str) -> Self {
        let shop = NewShop {
            name: format!("Test shop {short_name}"),
            short_name: short_name.to_owned(),
            currency: Currency::from_code("GBP").unwrap(),
            time_zone: chrono_tz::Europe::London,
            length_unit: "mm".to_owned(),
            overhead_percent: Decimal::from(15),
            margin_percent: Decimal::from(20),
            tax_percent: Decimal::from(20),
            tax_name: "VAT".to_owned(),
            confidence_percent: 80,
            quote_valid_days: 30,
        };
        let id = shops::create(pool, &shop).await.unwrap();
        Self {
            id,
            pool: pool.clone(),
        }
    }

    /// The key of a shop that is not there.
    pub fn of_nobody(database: &TestDatabase) -> Self {
        Self {
            id: Uuid::nil(),
            pool: database.pool.clone(),
        }
    }

    /// A transaction of this shop, by the program itself.
    pub async fn begin(&self) -> ShopTx {
        self.begin_as(None).await
    }

    /// A transaction of this shop on a person's behalf.
    pub async fn begin_as(&self, person_id: Option<Uuid>) -> ShopTx {
        ShopTx::begin(
            &self.pool,
            Scope {
                shop_id: self.id,
                person_id,
            },
        )
        .await
        .unwrap()
    }
}

impl TestShop {
    /// A bare pattern with one variant of it; gives the variant's key.
    pub async fn variant(&self, name: &str) -> Uuid {
        let pattern = Pattern {
            id: Uuid::now_v7(),
            name: format!("Pattern of {name}"),
            cylinders: 4,
            mains: 5,
            outlines: Vec::new(),
            bosses: Vec::new(),
            marks: String::new(),
            metal: borewright::castings::Metal::default(),
            weight_kg: None,
            sizes: borewright::castings::measured::Sizes::default(),
            version: 1,
        };
        let variant = Variant {
            id: Uuid::now_v7(),
            pattern_id: pattern.id,
            name: name.to_owned(),
            gearbox_under: false,
            features: Vec::new(),
            note: String::new(),
            version: 1,
        };
        let mut tx = self.begin().await;
        db::castings::insert_pattern(&mut tx, &pattern)
            .await
            .unwrap();
        db::castings::insert_variant(&mut tx, &variant)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        variant.id
    }
}

/// A planned operation of so many minutes on a kind of machine.
pub fn operation(number: u32, machine_kind: &str, setup: i64, run: i64) -> Operation {
    Operation {
        number,
        title: format!("{machine_kind} work"),
        stage: Stage::Hole,
        machine_kind: machine_kind.to_owned(),
        skill: "milling".to_owned(),
        face: Some(Face::Rear),
        setup_key: format!("{machine_kind}/rear"),
        setup: Minutes(Decimal::from(setup)),
        setup_spread: borewright::units::Spread::NONE,
        run: Minutes(Decimal::from(run)),
        attended_share: Decimal::ONE,
        steps: Vec::new(),
        after: Vec::new(),
        checks: Vec::new(),
        cautions: vec!["Guards closed; keep clear of the rotating cutter.".to_owned()],
        materials: Vec::new(),
        tools: Vec::new(),
        can_fail: false,
        outside: None,
        makes: None,
    }
}
