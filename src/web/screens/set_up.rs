//! The first page of an empty database: the shop and its owner. It is open to whoever sits at the machine itself, or has the
//! code from the log of the service, and never again once a shop stands.

use crate::app::AppError;
use crate::app::set_up_shop::{FirstShop, set_up_shop, shop_stands, short_name};
use crate::app::sign_in::{self, Browser, SignIn, SignedIn};
use crate::app::{Refusal, password};
use crate::db::refusal::Refusal as Stored;
use crate::db::shops::NewShop;
use crate::estimating::{Policy, Recalibration};
use crate::units::Currency;
use crate::web::shell::body::OpenForm;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::forms::{Choice, Field, FormErrors};
use crate::web::ui::page::{Answer, Page, Reply};
use actix_web::http::header::{HOST, LOCATION};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::Utc;
use maud::{Markup, html};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::net::IpAddr;

/// Where it is.
pub const PATH: &str = "/set-up";

/// `/set-up`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(show))
            .route(web::post().to(save)),
    );
}

#[derive(Clone, Deserialize)]
#[serde(default)]
struct SetUpForm {
    code: String,
    name: String,
    currency: String,
    length_unit: String,
    time_zone: String,
    overhead_percent: String,
    margin_percent: String,
    tax_name: String,
    tax_percent: String,
    owner: String,
    sign_in: String,
    password: String,
}

impl Default for SetUpForm {
    /// Overhead and margin to start from: common practice, no source.
    fn default() -> Self {
        let text = str::to_owned;
        Self {
            code: String::new(),
            name: String::new(),
            currency: String::new(),
            length_unit: text("mm"),
            time_zone: String::new(),
            overhead_percent: text("15"),
            margin_percent: text("20"),
            tax_name: text("Tax"),
            tax_percent: String::new(),
            owner: String::new(),
            sign_in: String::new(),
            password: String::new(),
        }
    }
}

impl std::fmt::Debug for SetUpForm {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SetUpForm")
            .field("name", &self.name)
            .finish_non_exhaustive()
    }
}

impl SetUpForm {
    fn read(&self, errors: &mut FormErrors) -> Option<FirstShop> {
        let name = errors.required_text("name", &self.name, 80);
        let currency = errors.parsed("currency", &self.currency, |code| {
            Currency::from_code(&code.to_uppercase())
        });
        let time_zone = errors.parsed("time_zone", &self.time_zone, |text| {
            text.parse::<chrono_tz::Tz>()
                .map_err(|_| "Choose a time zone from the list, like Europe/London")
        });
        let length_unit = errors.choice("length_unit", &self.length_unit, |unit| {
            ["mm", "inch"].contains(&unit).then(|| unit.to_owned())
        });
        let mut percent = |field, raw: &str| {
            errors.percent(field, raw, Decimal::NEGATIVE_ONE..=Decimal::ONE_THOUSAND)
        };
        let overhead = percent("overhead_percent", &self.overhead_percent);
        let margin = percent("margin_percent", &self.margin_percent);
        let tax = percent("tax_percent", &self.tax_percent);
        let tax_name = errors.required_text("tax_name", &self.tax_name, 40);
        let owner = errors.required_text("owner", &self.owner, 80);
        let sign_in = errors.required_text("sign_in", &self.sign_in, 80);
        if let Err(why) = password::acceptable(&self.password) {
            errors.add("password", why);
        }
        let policy = Policy {
            overhead_percent: overhead?,
            margin_percent: margin?,
            tax_percent: tax?,
            confidence_percent: 80,
            costs: Recalibration::none(),
        };
        for (field, message) in policy.faults() {
            errors.add(field, message);
        }
        let shop = NewShop {
            short_name: short_name(name.as_deref()?),
            name: name?,
            currency: currency?,
            time_zone: time_zone?,
            length_unit: length_unit?,
            overhead_percent: policy.overhead_percent,
            margin_percent: policy.margin_percent,
            tax_percent: policy.tax_percent,
            tax_name: tax_name?,
            confidence_percent: 80,
            quote_valid_days: 30,
        };
        let first = FirstShop {
            shop,
            owner: owner?,
            sign_in: sign_in?,
            password: self.password.clone(),
        };
        errors.is_empty().then_some(first)
    }
}

/// Headers by which a proxy says that it passes a request on.
const FORWARDED: [&str; 6] = [
    "forwarded",
    "via",
    "x-forwarded-for",
    "x-forwarded-host",
    "x-forwarded-proto",
    "x-real-ip",
];

/// Whether a request comes from a browser at this machine: from a loopback address, through no proxy, and under a name of
/// this machine, so that no page of another name that was made to point here can send it (DNS rebinding).
fn is_local(req: &HttpRequest, site: &Site) -> bool {
    let peer = req.peer_addr().is_some_and(|peer| peer.ip().is_loopback());
    let direct = FORWARDED
        .iter()
        .all(|name| !req.headers().contains_key(*name));
    let host = req.headers().get(HOST).and_then(|host| host.to_str().ok());
    peer && direct && site.proxies.is_empty() && host.is_some_and(names_this_machine)
}

/// Whether a host, perhaps with a port, is `localhost` or a loopback address.
fn names_this_machine(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name.eq_ignore_ascii_case("localhost")
        || name
            .parse()
            .is_ok_and(|address: IpAddr| address.is_loopback())
}

async fn show(req: HttpRequest, site: web::Data<Site>) -> Answer {
    if shop_stands(&site.pool).await? {
        return Ok(Reply::see_other("/sign-in"));
    }
    let local = is_local(&req, &site);
    Ok(view(&SetUpForm::default(), local, &FormErrors::default()).into())
}

async fn save(req: HttpRequest, site: web::Data<Site>, form: OpenForm<SetUpForm>) -> Answer {
    let OpenForm(form) = form;
    if shop_stands(&site.pool).await? {
        return Ok(Reply::see_other("/sign-in"));
    }
    let local = is_local(&req, &site);
    let mut errors = FormErrors::default();
    if !local && !site.set_up_code.opens(&form.code) {
        errors.add(
            "code",
            "Enter the code that the service printed when it started",
        );
        return Ok(view(&form, local, &errors).invalid().into());
    }
    let Some(first) = form.read(&mut errors) else {
        return Ok(view(&form, local, &errors).invalid().into());
    };
    let shop_id = match set_up_shop(&site.pool, &site.hashing, &first).await {
        Ok(shop_id) => shop_id,
        Err(AppError::Refused(Refusal::Stored(Stored::ShopStands))) => {
            return Ok(Reply::see_other("/sign-in"));
        }
        Err(error) => return Err(error.into()),
    };
    let asked = SignIn {
        shop_id,
        name: &first.sign_in,
        password: &first.password,
        browser: Browser {
            address: &session::address(&req, &site),
            name: &session::browser(&req),
            known: None,
        },
        earlier: None,
    };
    let mut response = HttpResponse::SeeOther();
    match sign_in::sign_in(&site.pool, &site.hashing, asked, Utc::now()).await? {
        SignedIn::Begun(begun) => response
            .insert_header((LOCATION, "/"))
            .cookie(session::cookie(&begun.session, site.secure_cookies))
            .cookie(session::known(&begun.known, site.secure_cookies)),
        _ => response.insert_header((LOCATION, "/sign-in")),
    };
    Ok(response.finish().into())
}

fn view(form: &SetUpForm, local: bool, errors: &FormErrors) -> Page {
    const TITLE: &str = "Set up your shop";
    let body = html! {
        h1 { (TITLE) }
        p.lead { "The shop, how it prices, and its owner. Everything but the currency can be changed later." }
        (errors.summary())
        form.grid method="post" action=(PATH) novalidate {
            @if !local {
                (Field::text("code", "Set-up code", &form.code).wide().autofocus(errors.is_empty())
                    .hint("The service printed it when it started. At the machine it runs on, no code is needed.").errors(errors))
            }
            (the_shop(form, local, errors))
            h2 { "Prices" }
            (Field::decimal("overhead_percent", "Overhead", &form.overhead_percent).unit("% of cost")
                .hint("What the shop spends that no machine’s or person’s hour carries. 15 is a starting point").errors(errors))
            (Field::decimal("margin_percent", "Margin", &form.margin_percent).unit("% of price")
                .hint("A share of the selling price, not a mark-up on cost. 20 is a starting point").errors(errors))
            (Field::text("tax_name", "Name of the tax", &form.tax_name).errors(errors))
            (Field::decimal("tax_percent", "Tax", &form.tax_percent).unit("%")
                .hint("Your own tax rules set it. Enter 0 if you charge none").errors(errors))
            h2 { "The owner" }
            (Field::text("owner", "Name", &form.owner).autocomplete("name").errors(errors))
            (Field::text("sign_in", "Sign-in name", &form.sign_in).autocomplete("username")
                .hint("Capitals do not matter").errors(errors))
            (Field::password("password", "Password").autocomplete("new-password")
                .hint("At least 10 characters").errors(errors))
            div.actions { button type="submit" { "Set up the shop" } }
        }
    };
    Page::open(TITLE).body(body)
}

fn the_shop(form: &SetUpForm, local: bool, errors: &FormErrors) -> Markup {
    let units = vec![
        Choice::new("mm", "Millimetres"),
        Choice::new("inch", "Inches"),
    ];
    html! {
        h2 { "The shop" }
        (Field::text("name", "Name of the shop", &form.name).id("name").autofocus(local && errors.is_empty())
            .autocomplete("organization").errors(errors))
        (Field::text("currency", "Currency", &form.currency)
            .hint("ISO 4217 code, for example GBP or EUR. It cannot be changed later").errors(errors))
        (Field::text("time_zone", "Time zone", &form.time_zone).suggestions("zones")
            .hint("For example Europe/London").errors(errors))
        (Field::radios("length_unit", "Lengths in", &form.length_unit, units).errors(errors))
        datalist #zones { @for zone in chrono_tz::TZ_VARIANTS { option value=(zone.name()) {} } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_this_machine_are_local() {
        for host in [
            "localhost",
            "LOCALHOST:8080",
            "127.0.0.1:80",
            "127.9.0.1",
            "[::1]:8080",
            "[::1]",
        ] {
            assert!(names_this_machine(host), "{host}");
        }
        for host in [
            "",
            "localhost.evil.example",
            "evil.example:8080",
            "192.168.0.4:80",
            "[fe80::1]:80",
            "10.0.0.1",
        ] {
            assert!(!names_this_machine(host), "{host}");
        }
    }
}
