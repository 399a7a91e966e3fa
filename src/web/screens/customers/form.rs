//! A customer's details: new, and changed.

use super::path;
use crate::db::customers::{self, Contact, Customer, Owned};
use crate::db::people::Role;
use crate::db::{DbError, ShopTx};
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Row, Sheet, Words, at};
use crate::web::ui::{Field, FormErrors, Section, SignedIn, WebError};
use actix_web::web;
use uuid::Uuid;

pub(super) fn routes(cfg: &mut web::ServiceConfig) {
    record::routes::<Customer>(cfg);
}

impl Record for Customer {
    type Around = ();
    const NAV: Section = Section::Enquiries;
    const READ: Role = Role::Office;
    const WRITE: Role = Role::Office;
    const TABLE: &'static str = "customer";
    const PATHS: Paths = Paths {
        new: "/customers/new",
        add: "/customers",
        edit: "/customers/{id}/edit",
        delete: "",
        copy: "",
    };
    const API: Api =
        Api::of("customer", "/api/v1/customers", "/api/v1/customers/{id}").listed_elsewhere();

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(customers::get(tx, at.id).await?)
    }

    async fn around(
        _: &mut ShopTx,
        _: &SignedIn,
        _: &At,
        _: Option<&Self>,
    ) -> Result<Self::Around, WebError> {
        Ok(())
    }

    fn blank((): &(), _: &SignedIn, _: &At) -> Self {
        Self {
            id: Uuid::now_v7(),
            version: 1,
            ..Self::default()
        }
    }

    fn fields((): &(), who: &SignedIn, _: bool) -> Fields<Self> {
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", 120, at!(name))
            .focus()
            .hint("A firm or a person. Two of one name are told apart by a place: Hale (Dunmore)");
        let phone = Field::telephone("phone", "Phone", "").optional();
        f.value(phone, at!(phone), String::clone, |errors, name, raw| {
            errors.text(name, raw, 60)
        });
        f.note("email", "Email", 200, at!(email));
        f.area("address", "Address", 3, 500, at!(address));
        f.note("terms", "Terms of payment", 200, at!(terms))
            .hint("For example: 30 days, half with the order");
        f.area("note", "Notes", 2, 2000, at!(note))
            .hint("Shown while a call is taken: credit stop, asks for Wyn, collects on Fridays");
        f.group(record::rows(
            (
                "People there",
                "contact",
                "Whom you speak to. Clear a row to remove it.",
            ),
            vec![
                Field::text("contact_name", "Name", ""),
                Field::text("contact_role", "What they do", ""),
                Field::telephone("contact_phone", "Phone", ""),
                Field::text("contact_email", "Email", ""),
            ],
            |customer: &Self| {
                let contacts = customer.contacts.iter().cloned();
                contacts
                    .map(|c| vec![c.name, c.role, c.phone, c.email])
                    .collect()
            },
            read_contacts,
        ));
        f.group(record::rows(
            (
                "Boats, engines and machines",
                "machine",
                "What they own that you work on. Clear a row to remove it.",
            ),
            vec![
                Field::text("machine_what", "Boat, vehicle or machine", ""),
                Field::text("machine_engine", "Engine", ""),
                Field::text("machine_serial", "Serial number or mark", ""),
                Field::text("machine_note", "Note", ""),
            ],
            |customer: &Self| {
                let machines = customer.machines.iter().cloned();
                machines
                    .map(|m| vec![m.what, m.engine, m.serial, m.note])
                    .collect()
            },
            read_machines,
        ));
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.version
    }

    fn key(&self) -> Uuid {
        self.id
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        customers::insert(tx, self).await
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        customers::update(tx, self).await
    }

    fn is_there(&self) -> bool {
        self.merged_into.is_none()
    }

    fn words(&self, (): &(), new: bool) -> Words {
        let cancel = if new {
            "/customers".to_owned()
        } else {
            path(self.id)
        };
        let back = if new { "Customers" } else { self.name.as_str() };
        Words::of(new, "New customer", &self.name, &cancel).back(back)
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => format!("{} is added.", self.name),
            _ => "Saved.".to_owned(),
        };
        (path(self.id), words)
    }
}

fn read_contacts(customer: &mut Customer, rows: &[Row], errors: &mut FormErrors) {
    let mut read = Vec::new();
    for row in rows {
        let mut text = |column: usize, name: &str, longest| {
            errors.text(&row.id(name), row.get(column), longest)
        };
        let texts = (
            text(0, "contact_name", 120),
            text(1, "contact_role", 120),
            text(2, "contact_phone", 60),
            text(3, "contact_email", 200),
        );
        let (Some(name), Some(role), Some(phone), Some(email)) = texts else {
            continue;
        };
        if name.is_empty() {
            errors.add(&row.id("contact_name"), "Enter the name of the person");
            continue;
        }
        read.push(Contact {
            name,
            role,
            phone,
            email,
        });
    }
    customer.contacts = read;
}

fn read_machines(customer: &mut Customer, rows: &[Row], errors: &mut FormErrors) {
    let mut read = Vec::new();
    for row in rows {
        let mut text = |column: usize, name: &str, longest| {
            errors.text(&row.id(name), row.get(column), longest)
        };
        let texts = (
            text(0, "machine_what", 200),
            text(1, "machine_engine", 200),
            text(2, "machine_serial", 120),
            text(3, "machine_note", 500),
        );
        let (Some(what), Some(engine), Some(serial), Some(note)) = texts else {
            continue;
        };
        if what.is_empty() && engine.is_empty() {
            errors.add(
                &row.id("machine_what"),
                "Enter the boat, vehicle or machine, or its engine",
            );
            continue;
        }
        read.push(Owned {
            what,
            engine,
            serial,
            note,
        });
    }
    customer.machines = read;
}
