//! Devices at the bench and the PINs people sign on with there, for the owner.

use crate::db::devices::{self, Device};
use crate::db::machines;
use crate::db::people::{self, Person, Role};
use crate::estimating::Machine;
use crate::web::shell::device;
use crate::web::shell::session::{self, Token};
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, csrf_field, show,
};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::Utc;
use maud::{Markup, html};
use serde::Deserialize;
use std::collections::HashSet;
use uuid::Uuid;

/// `/shop/devices`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/devices")
            .route(web::get().to(list))
            .route(web::post().to(register)),
    )
    .route("/shop/devices/pins/{person}", web::post().to(set_pin))
    .route("/shop/devices/{id}/revoke", web::post().to(revoke))
    .route("/shop/devices/{id}/unlock", web::post().to(unlock));
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct DeviceForm {
    name: String,
    machine: String,
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct PinForm {
    pin: String,
}

#[derive(Debug, Deserialize)]
struct Nothing {}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let page = page(&who, &DeviceForm::default(), None, &FormErrors::default()).await?;
    Ok(page.into())
}

/// Makes this very browser a bench device. Whoever registers it is signed out here, so that no owner's session is left
/// lying at a machine.
async fn register(
    who: SignedIn,
    site: web::Data<Site>,
    req: HttpRequest,
    form: CheckedForm<DeviceForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let name = errors.required_text("name", &form.name, 60);
    let machine = errors.optional(&form.machine, |errors| errors.row("machine", &form.machine));
    if let (Some(name), Some(machine)) = (name, machine) {
        let token = Token::new(who.scope.shop_id)?;
        let mut tx = who.begin().await?;
        match devices::register(&mut tx, &name, machine, &token.hash(), Utc::now()).await {
            Ok(_) => {
                let gone = session::end_here(&mut tx, &req, &site).await?;
                tx.commit().await?;
                let response = HttpResponse::SeeOther()
                    .insert_header((LOCATION, "/bench"))
                    .cookie(device::cookie(&token, site.secure_cookies))
                    .cookie(gone)
                    .finish();
                return Ok(response.into());
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(page(&who, &form, None, &errors).await?.invalid().into())
}

async fn revoke(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    devices::revoke(&mut tx, *id, Utc::now()).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/devices").flash("The device is removed."))
}

async fn unlock(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    devices::unlock(&mut tx, *id).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/devices").flash("Unlocked"))
}

/// Whether a PIN may be used: four to eight digits, not all the same and not counting up or down.
fn acceptable(pin: &str) -> Result<(), &'static str> {
    let digits: Vec<i16> = pin
        .bytes()
        .map(|b| i16::from(b) - i16::from(b'0'))
        .collect();
    if !(4..=8).contains(&digits.len()) || digits.iter().any(|d| !(0..=9).contains(d)) {
        return Err("Enter four to eight digits");
    }
    let steps: HashSet<i16> = digits
        .iter()
        .zip(digits.iter().skip(1))
        .map(|(a, b)| b - a)
        .collect();
    let easy = [0, 1, -1].map(|step| HashSet::from([step]));
    if easy.contains(&steps) {
        return Err(
            "Enter a PIN that is harder to guess: not all the same digit, not counting up or down",
        );
    }
    Ok(())
}

async fn set_pin(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<PinForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let pin = form.pin.trim();
    if let Err(why) = acceptable(pin) {
        let mut errors = FormErrors::default();
        errors.add(&format!("pin-{id}"), why);
        let page = page(&who, &DeviceForm::default(), Some(*id), &errors).await?;
        return Ok(page.invalid().into());
    }
    let hash = session::hash(&site, pin).await?;
    let mut tx = who.begin().await?;
    let person = people::get(&mut tx, *id).await?;
    devices::set_pin(&mut tx, person.id, &hash, Utc::now()).await?;
    tx.commit().await?;
    Ok(Reply::see_other("/shop/devices").flash(format!("{} has a new PIN", person.name)))
}

async fn page(
    who: &SignedIn,
    form: &DeviceForm,
    wrong_pin: Option<Uuid>,
    errors: &FormErrors,
) -> Result<Page, crate::web::ui::WebError> {
    let mut tx = who.begin().await?;
    let devices = devices::list(&mut tx).await?;
    let mut machines = machines::machines(&mut tx).await?;
    machines.retain(|machine| machine.active);
    let mut everyone = Vec::new();
    for person in people::list(&mut tx).await? {
        if person.active {
            let since = devices::pin_set_at(&mut tx, person.id).await?;
            everyone.push((person, since));
        }
    }
    let choices = machines
        .iter()
        .map(|machine| Choice::new(machine.id, &machine.name))
        .collect();
    let body = html! {
        h1 { "Bench devices" }
        section.card {
            h2 { "PINs" }
            p { "A short number to sign on with at a registered device. It opens nothing else." }
            @for (person, since) in &everyone { (pin_form(who, person, *since, wrong_pin, errors)) }
        }
        section.card {
            h2 { "Registered devices" }
            @if devices.is_empty() { p { "None yet." } } @else { (table(who, &devices, &machines)) }
        }
        section.card {
            h2 { "Register this device" }
            p { "Do this on the tablet or phone itself. It then shows the bench to anyone with a PIN, and signs you out here." }
            @if wrong_pin.is_none() { (errors.summary()) }
            form.grid method="post" action="/shop/devices" novalidate {
                (csrf_field(who))
                (Field::text("name", "Name", &form.name).hint("For example Mill tablet").errors(errors))
                (Field::select("machine", "Usual machine", &form.machine, choices).optional().errors(errors))
                div.actions { button type="submit" { "Register this device" } }
            }
        }
    };
    Ok(Page::new(who, "Bench devices")
        .nav(Section::Shop)
        .body(body))
}

fn pin_form(
    who: &SignedIn,
    person: &Person,
    since: Option<chrono::DateTime<Utc>>,
    wrong: Option<Uuid>,
    errors: &FormErrors,
) -> Markup {
    let id = format!("pin-{}", person.id);
    let label = format!("{}’s PIN", person.name);
    let hint = match since {
        Some(at) => format!(
            "Set {}. A new one replaces it.",
            show::moment(at, who.shop.time_zone, who.today())
        ),
        None => "None yet: cannot sign on at the bench.".to_owned(),
    };
    let mut field = Field::password("pin", &label).id(&id).hint(&hint);
    if wrong == Some(person.id) {
        field = field.errors(errors);
    }
    html! {
        form.grid method="post" action={ "/shop/devices/pins/" (person.id) } novalidate {
            (csrf_field(who))
            (field)
            div.actions { button.quiet type="submit" { "Set " (person.name) "’s PIN" } }
        }
    }
}

fn table(who: &SignedIn, devices: &[Device], machines: &[Machine]) -> Markup {
    let zone = who.shop.time_zone;
    let machine = |id| machines.iter().find(|m| Some(m.id) == id);
    let button = |device: &Device, what: &str, words: &str| {
        html! {
            form method="post" action={ "/shop/devices/" (device.id) "/" (what) } {
                (csrf_field(who))
                button.quiet type="submit" { (words) span.visually-hidden { ": " (device.name) } }
            }
        }
    };
    html! {
        table.cells {
            thead { tr { th scope="col" { "Device" } th scope="col" { "Usual machine" } th scope="col" { "Last seen" } th scope="col" { "Status" } th scope="col" { "Change" } } }
            tbody { @for device in devices {
                tr {
                    th scope="row" { (device.name) }
                    td data-label="Usual machine" { (machine(device.machine_id).map_or("any", |m| m.name.as_str())) }
                    td data-label="Last seen" { (show::moment(device.last_seen_at, zone, who.today())) }
                    td data-label="Status" {
                        @match (device.revoked_at, device.locked_at) {
                            (Some(at), _) => { "removed " (show::moment(at, zone, who.today())) }
                            (None, Some(at)) => { "locked since " (show::moment(at, zone, who.today())) ": too many wrong PINs" }
                            (None, None) => "registered",
                        }
                    }
                    td data-label="Change" {
                        @if device.revoked_at.is_none() {
                            @if device.locked_at.is_some() { (button(device, "unlock", "Unlock")) }
                            (button(device, "revoke", "Remove"))
                        }
                    }
                }
            } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::acceptable;

    #[test]
    fn a_pin_is_short_but_not_the_first_guess() {
        for pin in ["4071", "90210", "1357", "11223344"] {
            assert_eq!(acceptable(pin), Ok(()), "{pin}");
        }
        for pin in [
            "",
            "123",
            "1111",
            "1234",
            "98765",
            "12a4",
            "123456789",
            "٤٠٧١",
        ] {
            assert!(acceptable(pin).is_err(), "{pin}");
        }
    }
}
