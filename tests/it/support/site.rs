//! The whole application on a port of its own, with a shop and people in it, and visitors who come over HTTP.

use super::{TestDatabase, TestShop};
use borewright::app::password;
use borewright::app::set_up_shop::SetUpCode;
use borewright::db::people::{self, NewPerson, Role};
use borewright::web::server::{Application, Config};
use reqwest::header::HeaderMap;
use reqwest::{Client, RequestBuilder, Response, redirect};
use sqlx::PgPool;
use std::time::Duration;
use uuid::Uuid;

/// The password of everyone in a test shop.
pub const PASSWORD: &str = "cast iron and cutting oil";

/// A running site. It stops when the test ends.
pub struct TestSite {
    /// Its database.
    pub database: TestDatabase,
    /// The one shop in it.
    pub shop: TestShop,
    /// `http://127.0.0.1:<port>`.
    pub address: String,
}

impl TestSite {
    /// One shop; its owner is Edda Marsh, who signs in as `edda`.
    pub async fn new() -> Self {
        Self::with(Config::default()).await
    }

    /// The demo shop, as `demo` makes it; Una Flint signs in as `owner`, Fenn Alder as `office` and Bram Tully as
    /// `machinist`, all with [`PASSWORD`].
    pub async fn demo() -> Self {
        let (database, shop) = TestDatabase::demo().await;
        let site = Self::start(database, shop, Config::default());
        site.person("Una Flint", "owner", Role::Owner).await;
        site.person("Fenn Alder", "office", Role::Office).await;
        site.person("Bram Tully", "machinist", Role::Machinist)
            .await;
        site
    }

    /// The same, with settings of the test's own.
    pub async fn with(config: Config) -> Self {
        let database = TestDatabase::new().await;
        let shop = database.shop("harrow-quay").await;
        let site = Self::start(database, shop, config);
        site.person("Edda Marsh", "edda", Role::Owner).await;
        site
    }

    /// A database without a shop; [`Self::shop`] is none that is there.
    pub async fn empty(set_up_code: SetUpCode) -> Self {
        Self::empty_with(Config {
            set_up_code,
            ..Config::default()
        })
        .await
    }

    /// The same, with settings of the test's own.
    pub async fn empty_with(config: Config) -> Self {
        let database = TestDatabase::new().await;
        let shop = TestShop::of_nobody(&database);
        Self::start(database, shop, config)
    }

    fn start(database: TestDatabase, shop: TestShop, config: Config) -> Self {
        let config = Config {
            bind: "127.0.0.1:0".to_owned(),
            // Programs built for tests are slow at drawing.
            futures: config.futures.min(200),
            ..config
        };
        let application = Application::build(database.pool.clone(), &config).unwrap();
        let address = format!("http://127.0.0.1:{}", application.port());
        tokio::spawn(application.run_until(std::future::pending()));
        Self {
            database,
            shop,
            address,
        }
    }

    /// Adds a person whose password is [`PASSWORD`].
    pub async fn person(&self, name: &str, sign_in: &str, role: Role) -> Uuid {
        add_person(&self.shop, name, sign_in, role).await
    }

    /// A site on a database of another kind, with one shop whose owner signs in as `edda`; its address.
    pub async fn of_shop(pool: &PgPool, short_name: &str) -> String {
        let shop = TestShop::made_in(pool, short_name).await;
        add_person(&shop, "Edda Marsh", "edda", Role::Owner).await;
        Self::on(pool)
    }

    /// The service on a database as it is; its address.
    pub fn on(pool: &PgPool) -> String {
        let config = Config {
            bind: "127.0.0.1:0".to_owned(),
            futures: 200,
            ..Config::default()
        };
        let application = Application::build(pool.clone(), &config).unwrap();
        let address = format!("http://127.0.0.1:{}", application.port());
        tokio::spawn(application.run_until(std::future::pending()));
        address
    }

    /// Someone who has not signed in.
    pub fn stranger(&self) -> Visitor {
        Visitor::at(&self.address)
    }

    /// A person who has signed in by this name.
    pub async fn signed_in(&self, sign_in: &str) -> Visitor {
        Visitor::signed_in_at(&self.address, sign_in).await
    }

    /// The owner, signed in.
    pub async fn owner(&self) -> Visitor {
        self.signed_in("edda").await
    }
}

async fn add_person(shop: &TestShop, name: &str, sign_in: &str, role: Role) -> Uuid {
    let person = NewPerson {
        name: name.to_owned(),
        sign_in: sign_in.to_owned(),
        role,
        skills: Vec::new(),
        password_hash: password::hash(PASSWORD).unwrap(),
    };
    let mut tx = shop.begin().await;
    let id = people::insert(&mut tx, &person).await.unwrap();
    tx.commit().await.unwrap();
    id
}

/// A browser without a window: keeps cookies, follows nothing by itself.
pub struct Visitor {
    client: Client,
    /// Of the site.
    pub address: String,
    /// The token its forms carry.
    pub csrf: String,
}

impl Visitor {
    /// Someone who comes to an address and has not signed in.
    pub fn at(address: &str) -> Self {
        Self {
            client: Client::builder()
                .cookie_store(true)
                // Less than the service keeps an idle connection: one that it closes just then would be used again.
                .pool_idle_timeout(Duration::from_secs(2))
                .redirect(redirect::Policy::none())
                .build()
                .unwrap(),
            address: address.to_owned(),
            csrf: String::new(),
        }
    }

    /// A person who has signed in there by this name, with [`PASSWORD`].
    pub async fn signed_in_at(address: &str, sign_in: &str) -> Self {
        Self::signed_in_with(address, sign_in, PASSWORD).await
    }

    /// The same with another password.
    pub async fn signed_in_with(address: &str, sign_in: &str, password: &str) -> Self {
        let mut visitor = Self::at(address);
        let answer = visitor.try_sign_in(sign_in, password).await;
        assert_eq!(answer.status(), 303, "{}", answer.text().await.unwrap());
        let page = visitor.get("/password").await.text().await.unwrap();
        visitor.csrf = between(&page, r#"name="csrf" value=""#, "\"").to_owned();
        visitor
    }

    /// Sends the sign-in form.
    pub async fn try_sign_in(&self, sign_in: &str, password: &str) -> Response {
        self.post_bare("/sign-in", &[("sign_in", sign_in), ("password", password)])
            .await
    }

    /// A request of any kind, to be filled in.
    pub fn request(&self, method: &str, path: &str) -> RequestBuilder {
        let method = method.parse().unwrap();
        self.client
            .request(method, format!("{}{path}", self.address))
    }

    /// Asks for a page.
    pub async fn get(&self, path: &str) -> Response {
        self.request("GET", path).send().await.unwrap()
    }

    /// Sends a form with the session's token.
    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Response {
        let mut fields = fields.to_vec();
        fields.push(("csrf", &self.csrf));
        self.post_bare(path, &fields).await
    }

    /// Sends a form as it is.
    pub async fn post_bare(&self, path: &str, fields: &[(&str, &str)]) -> Response {
        self.request("POST", path)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(encoded(fields))
            .send()
            .await
            .unwrap()
    }
}

/// A form body.
pub fn encoded(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new())
        .extend_pairs(fields)
        .finish()
}

/// The part of a text between two marks.
pub fn between<'a>(text: &'a str, before: &str, after: &str) -> &'a str {
    let (_, rest) = text
        .split_once(before)
        .unwrap_or_else(|| panic!("no {before} in {text}"));
    rest.split_once(after)
        .unwrap_or_else(|| panic!("no {after} after {before} in {text}"))
        .0
}

/// A header's text; empty when there is none.
pub fn header<'a>(headers: &'a HeaderMap, name: &str) -> &'a str {
    headers
        .get(name)
        .map_or("", |value| value.to_str().unwrap())
}
