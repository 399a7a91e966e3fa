//! The verbs `shop` and `user`. Passwords are typed without echo or read from standard input, never given as arguments.

use super::database::Database;
use super::settings::DatabaseSettings;
use anyhow::{Context, anyhow, bail};
use borewright::app::password;
use borewright::db::move_shop::move_shop;
use borewright::db::people::{self, NewPerson, Role};
use borewright::db::shops::{self, NewShop};
use borewright::db::{Scope, ShopTx, second_factor};
use borewright::units::{Code, Currency};
use chrono_tz::Tz;
use clap::{Args, Subcommand};
use rust_decimal::Decimal;
use sqlx::PgPool;
use sqlx::postgres::PgConnectOptions;
use std::io::{BufRead, IsTerminal};

#[derive(Debug, Subcommand)]
pub(super) enum ShopVerb {
    /// Set a shop up. Add its owner next, with `user add --role owner`.
    Add(Box<AddShop>),
    /// List the shops by short name.
    List(DatabaseSettings),
    /// Move a shop to another cluster with everything of it, while people work, or back.
    Move(Box<MoveShop>),
}

#[derive(Debug, Args)]
pub(super) struct MoveShop {
    /// The cluster with the directory of shops, which needs the owner's connection.
    #[command(flatten)]
    database: DatabaseSettings,
    /// The shop's short name.
    #[arg(long)]
    short_name: String,
    /// The other cluster as NAME=URL, of its owner. Services know it by the same name (`serve --cluster`).
    #[arg(long, value_name = "NAME=URL", value_parser = super::settings::cluster)]
    to: (String, PgConnectOptions),
    /// Move it from the other cluster back to the one with the directory.
    #[arg(long)]
    back: bool,
}

/// What a cluster calls the one with the directory.
const FIRST: &str = "first";

fn move_to_cluster(asked: &MoveShop) -> anyhow::Result<()> {
    let database = Database::beside_service(&asked.database)?;
    let moved = super::runtime()
        .map_err(anyhow::Error::from)
        .and_then(|runtime| {
            let server = database.server().context(
                "moving needs DATABASE_URL, the owner's; SERVICE_DATABASE_URL alone is not enough",
            )?;
            let (first, (name, other)) = (server.options(), &asked.to);
            let (from, to, called) = if asked.back {
                (other, first, FIRST)
            } else {
                (first, other, name.as_str())
            };
            Ok(runtime.block_on(move_shop(from, to, &asked.short_name, called))?)
        });
    let closed = database.close();
    let moved = moved?;
    closed?;
    match moved.rows {
        0 => say!(
            "The move that was interrupted is ended: “{}” is open.",
            asked.short_name
        ),
        rows => say!("“{}” is moved, {rows} rows.", asked.short_name),
    }
    Ok(())
}

#[derive(Debug, Args)]
pub(super) struct AddShop {
    #[command(flatten)]
    database: DatabaseSettings,
    /// What people type to say which shop they sign in to: 2 to 40 small letters, digits and hyphens.
    #[arg(long)]
    short_name: String,
    /// Its name.
    #[arg(long)]
    name: String,
    /// Its money: an ISO 4217 code.
    #[arg(long, value_parser = |code: &str| Currency::from_code(code))]
    currency: Currency,
    /// Its clock: an IANA time zone such as Europe/London.
    #[arg(long)]
    time_zone: Tz,
    /// The length unit its screens show.
    #[arg(long, default_value = "mm", value_parser = ["mm", "inch"])]
    length_unit: String,
    /// Overhead on cost, per cent.
    #[arg(long, default_value = "0", value_parser = percent)]
    overhead: Decimal,
    /// Margin on the selling price before tax, per cent.
    #[arg(long, default_value = "0", value_parser = percent)]
    margin: Decimal,
    /// Tax, per cent: the rate your own tax rules set.
    #[arg(long, default_value = "0", value_parser = percent)]
    tax: Decimal,
    /// What the tax is called.
    #[arg(long, default_value = "Tax")]
    tax_name: String,
    /// The chance, per cent, with which a quoted price and day should hold.
    #[arg(long, default_value_t = 80, value_parser = clap::value_parser!(u8).range(50..=99))]
    confidence: u8,
    /// Days a quote holds.
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..=365))]
    quote_valid_days: u16,
}

fn percent(text: &str) -> Result<Decimal, String> {
    match text.parse::<Decimal>() {
        Ok(percent) if percent >= Decimal::ZERO && percent < Decimal::ONE_HUNDRED => Ok(percent),
        _ => Err("write a number from 0 up to 100".to_owned()),
    }
}

#[derive(Debug, Subcommand)]
pub(super) enum UserVerb {
    /// Add a person.
    Add(AddUser),
    /// List the people of a shop.
    List(OfShop),
    /// Set a person's password, end their sessions and turn their second factor off.
    Password(SetPassword),
}

#[derive(Debug, Args)]
pub(super) struct OfShop {
    #[command(flatten)]
    database: DatabaseSettings,
    /// The shop's short name; needed only where there are several shops.
    #[arg(long, value_name = "SHORT_NAME")]
    shop: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct AddUser {
    #[command(flatten)]
    of: OfShop,
    /// Name as spoken.
    #[arg(long)]
    name: String,
    /// Name typed at sign-in.
    #[arg(long)]
    sign_in: String,
    /// What they may do: owner, office or machinist.
    #[arg(long, value_parser = |code: &str| Role::from_code(code).ok_or("owner, office or machinist"))]
    role: Role,
    /// Skills in the shop's words, with commas between.
    #[arg(long, value_delimiter = ',')]
    skills: Vec<String>,
}

#[derive(Debug, Args)]
pub(super) struct SetPassword {
    #[command(flatten)]
    of: OfShop,
    /// Name typed at sign-in.
    #[arg(long)]
    sign_in: String,
}

/// The verb `shop`.
pub(super) fn shop(verb: ShopVerb) -> anyhow::Result<()> {
    match verb {
        ShopVerb::Add(add) => with_pool(&add.database, async |pool| {
            let shop = NewShop {
                name: add.name.clone(),
                short_name: add.short_name.clone(),
                currency: add.currency,
                time_zone: add.time_zone,
                length_unit: add.length_unit.clone(),
                overhead_percent: add.overhead,
                margin_percent: add.margin,
                tax_percent: add.tax,
                tax_name: add.tax_name.clone(),
                confidence_percent: add.confidence,
                quote_valid_days: add.quote_valid_days,
            };
            shops::create(&pool, &shop).await?;
            say!("{} is set up as “{}”.", shop.name, shop.short_name);
            Ok(())
        }),
        ShopVerb::Move(asked) => move_to_cluster(&asked),
        ShopVerb::List(database) => with_pool(&database, async |pool| {
            for (short_name, _) in shops::list(&pool).await? {
                say!("{short_name}");
            }
            Ok(())
        }),
    }
}

/// The verb `user`.
pub(super) fn user(verb: UserVerb) -> anyhow::Result<()> {
    match verb {
        UserVerb::Add(add) => {
            let password_hash = read_new_password()?;
            with_pool(&add.of.database, async |pool| {
                let mut tx = begin(&pool, add.of.shop.as_deref()).await?;
                let person = NewPerson {
                    name: add.name.clone(),
                    sign_in: add.sign_in.clone(),
                    role: add.role,
                    skills: add.skills.clone(),
                    password_hash,
                };
                people::insert(&mut tx, &person).await?;
                tx.commit().await?;
                say!("{} may sign in as “{}”.", person.name, person.sign_in);
                Ok(())
            })
        }
        UserVerb::List(of) => with_pool(&of.database, async |pool| {
            let mut tx = begin(&pool, of.shop.as_deref()).await?;
            for person in people::list(&mut tx).await? {
                let left = if person.active {
                    ""
                } else {
                    "\tmay not sign in"
                };
                say!(
                    "{}\t{}\t{}{left}",
                    person.sign_in,
                    person.role.code(),
                    person.name
                );
            }
            Ok(())
        }),
        UserVerb::Password(set) => {
            let password_hash = read_new_password()?;
            with_pool(&set.of.database, async |pool| {
                let mut tx = begin(&pool, set.of.shop.as_deref()).await?;
                let person = people::list(&mut tx)
                    .await?
                    .into_iter()
                    .find(|p| p.sign_in.to_lowercase() == set.sign_in.to_lowercase())
                    .ok_or_else(|| anyhow!("nobody here signs in as “{}”", set.sign_in))?;
                people::set_password(&mut tx, person.id, &password_hash, None).await?;
                second_factor::remove(&mut tx, person.id).await?;
                tx.commit().await?;
                say!("{} has a new password.", person.name);
                Ok(())
            })
        }
    }
}

/// Runs a verb's work on a migrated database, beside a running service or without one.
fn with_pool(
    settings: &DatabaseSettings,
    work: impl AsyncFnOnce(PgPool) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let database = Database::beside_service(settings)?;
    let done = super::runtime()?.block_on(async {
        database.migrate().await?;
        let pool = database.pool().await?;
        let done = work(pool.clone()).await;
        pool.close().await;
        done
    });
    let closed = database.close();
    done.and(closed)
}

/// A transaction of the shop named, or of the only one.
async fn begin(pool: &PgPool, short_name: Option<&str>) -> anyhow::Result<ShopTx> {
    let shop_id = if let Some(short_name) = short_name {
        shops::find(pool, short_name)
            .await?
            .ok_or_else(|| anyhow!("there is no shop “{short_name}”"))?
    } else {
        match shops::list(pool).await?.as_slice() {
            [(_, only)] => *only,
            [] => bail!("there is no shop yet; add one with `shop add`"),
            _ => bail!("there are several shops; say which with --shop"),
        }
    };
    let scope = Scope {
        shop_id,
        person_id: None,
    };
    Ok(ShopTx::begin(pool, scope).await?)
}

/// Reads a new password, twice where a person types it, and hashes it.
fn read_new_password() -> anyhow::Result<String> {
    let typed = if std::io::stdin().is_terminal() {
        let once = rpassword::prompt_password("New password: ").context("reading the password")?;
        let again = rpassword::prompt_password("Once more: ").context("reading the password")?;
        if once != again {
            bail!("the two are not the same");
        }
        once
    } else {
        let mut line = String::new();
        std::io::stdin()
            .lock()
            .read_line(&mut line)
            .context("reading the password from standard input")?;
        line.trim_end_matches(['\r', '\n']).to_owned()
    };
    password::acceptable(&typed).map_err(|why| anyhow!("this password is refused: {why}"))?;
    Ok(password::hash(&typed)?)
}
