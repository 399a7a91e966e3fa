//! Devices at the bench and the PINs people sign on with there, for the owner.

use crate::app::AppError;
use crate::app::credentials::{self, PinFault, check_pin};
use crate::app::register_device::{register_device, revoke_device, unlock_device};
use crate::db::devices::{self, Device};
use crate::db::people::{self, Person, Role};
use crate::db::{DbError, ShopTx, machines};
use crate::estimating::Machine;
use crate::web::shell::device;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    show,
};
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

const PATH: &str = "/shop/devices";

/// The longest name of a device.
const LONGEST_NAME: usize = 60;

/// `/shop/devices`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource(PATH)
            .route(web::get().to(list))
            .route(web::post().to(register)),
    )
    .route("/shop/devices/pins/{person}", web::post().to(set_pin))
    .route("/shop/devices/{id}/revoke", web::post().to(revoke))
    .route("/shop/devices/{id}/unlock", web::post().to(unlock));
    record::routes::<Device>(cfg);
}

/// A device is registered on the device itself; afterwards it can be given another name or another usual machine.
impl Record for Device {
    /// Machines it may stand at.
    type Around = Vec<Machine>;
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Owner;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "device";
    const PATHS: Paths = Paths {
        new: "",
        add: "",
        edit: "/shop/devices/{id}/edit",
        delete: "",
        copy: "",
    };
    const AROUND_EACH: bool = true;

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        let known = devices::list(tx).await?.into_iter();
        known
            .filter(|device| device.revoked_at.is_none())
            .find(|device| device.id == at.id)
            .ok_or(WebError::NotFound("this device"))
    }

    async fn around(
        tx: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        stored: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        let mut machines = machines::machines(tx).await?;
        let usual = stored.and_then(|device| device.machine_id);
        machines.retain(|machine| machine.active || Some(machine.id) == usual);
        Ok(machines)
    }

    fn blank(_: &Self::Around, _: &SignedIn, at: &At) -> Self {
        Self {
            id: at.id,
            name: String::new(),
            machine_id: None,
            registered_at: DateTime::UNIX_EPOCH,
            last_seen_at: DateTime::UNIX_EPOCH,
            locked_at: None,
            revoked_at: None,
            version: 1,
        }
    }

    fn fields(machines: &Self::Around, who: &SignedIn, _: bool) -> Fields<Self> {
        let known: Vec<Uuid> = machines.iter().map(|machine| machine.id).collect();
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", LONGEST_NAME, at!(name)).focus();
        f.choice(
            Field::select("machine", "Usual machine", "", machine_choices(machines)),
            at!(machine_id),
            Uuid::to_string,
            move |text| text.parse().ok().filter(|id| known.contains(id)),
        );
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, _: &mut ShopTx) -> Result<(), DbError> {
        Err(DbError::NotFound("this device"))
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        devices::update(tx, self).await
    }

    fn words(&self, _: &Self::Around, new: bool) -> Words {
        Words::of(new, "", &self.name, PATH)
    }

    fn done(&self, _: Done, _: &Sheet<Self>) -> (String, String) {
        (PATH.to_owned(), format!("Saved: {}.", self.name))
    }
}

fn machine_choices(machines: &[Machine]) -> Vec<Choice> {
    machines
        .iter()
        .map(|machine| Choice::new(machine.id, &machine.name))
        .collect()
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
    let name = errors.required_text("name", &form.name, LONGEST_NAME);
    let machine = errors.optional(&form.machine, |errors| errors.row("machine", &form.machine));
    if let (Some(name), Some(machine)) = (name, machine) {
        let session = session::token_of(&req, &site);
        let (actor, now) = (who.actor(), Utc::now());
        match register_device(&actor, &name, machine, session.as_ref(), now).await {
            Ok(token) => {
                let response = HttpResponse::SeeOther()
                    .insert_header((LOCATION, "/bench"))
                    .cookie(device::cookie(&token, site.secure_cookies))
                    .cookie(session::forgotten(&site))
                    .finish();
                return Ok(response.into());
            }
            Err(AppError::Db(error)) => errors.absorb(error)?,
            Err(error) => return Err(error.into()),
        }
    }
    Ok(page(&who, &form, None, &errors).await?.invalid().into())
}

async fn revoke(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    revoke_device(&who.actor(), *id, Utc::now()).await?;
    Ok(Reply::see_other(PATH).flash("The device is removed."))
}

async fn unlock(who: SignedIn, id: web::Path<Uuid>, _form: CheckedForm<Nothing>) -> Answer {
    unlock_device(&who.actor(), *id).await?;
    Ok(Reply::see_other(PATH).flash("Unlocked"))
}

async fn set_pin(
    who: SignedIn,
    site: web::Data<Site>,
    id: web::Path<Uuid>,
    form: CheckedForm<PinForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let pin = form.pin.trim();
    if let Err(why) = check_pin(pin) {
        let mut errors = FormErrors::default();
        let words = match why {
            PinFault::Digits => "Enter four to eight digits",
            PinFault::TooEasy => {
                "Enter a PIN that is harder to guess: not all the same digit, not counting up or down"
            }
        };
        errors.add(&format!("pin-{id}"), words);
        let page = page(&who, &DeviceForm::default(), Some(*id), &errors).await?;
        return Ok(page.invalid().into());
    }
    let person = credentials::set_pin(&who.actor(), &site.hashing, *id, pin, Utc::now()).await?;
    Ok(Reply::see_other(PATH).flash(format!("{} has a new PIN", person.name)))
}

async fn page(
    who: &SignedIn,
    form: &DeviceForm,
    wrong_pin: Option<Uuid>,
    errors: &FormErrors,
) -> Result<Page, WebError> {
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
    let choices = machine_choices(&machines);
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
    since: Option<DateTime<Utc>>,
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
                            a href={ (PATH) "/" (device.id) "/edit" } { "Edit" span.visually-hidden { ": " (device.name) } }
                            @if device.locked_at.is_some() { (button(device, "unlock", "Unlock")) }
                            (button(device, "revoke", "Remove"))
                        }
                    }
                }
            } }
        }
    }
}
