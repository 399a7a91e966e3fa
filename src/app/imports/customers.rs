//! Customers from a table.

use super::{Cells, Column, Fault, Kind, Sheet};
use crate::db::customers::{self, Contact, Customer};
use crate::db::{DbError, ShopTx, imports};
use uuid::Uuid;

pub(super) struct Customers;

impl Sheet for Customers {
    const KIND: Kind = Kind::Customers;
    const COLUMNS: &'static [Column] = &[
        Column::new("email", &["mail"], 200),
        Column::new("phone", &["phone", "tel", "mobile"], 60),
        Column::new(
            "address",
            &["address", "street", "town", "postcode", "zip"],
            500,
        ),
        Column::new("terms", &["terms", "payment"], 200),
        Column::new("note", &["note", "remark", "comment"], 2000),
        Column::new("contact", &["contact", "person"], 120),
        Column::new("name", &["name", "customer", "company", "firm"], 120),
    ];
    type Row = Customer;
    type Around = ();

    async fn around(_: &mut ShopTx) -> Result<(), DbError> {
        Ok(())
    }

    fn read(cells: &Cells<'_>, (): &()) -> Result<Customer, Fault> {
        let name = cells.must("name")?;
        if name.trim_matches([' ', '.', ',', ';']).is_empty() {
            return Err(Fault::Missing("name"));
        }
        let contact = |name: &&str| Contact {
            name: name.split_whitespace().collect::<Vec<_>>().join(" "),
            ..Contact::default()
        };
        let contacts = cells.of.get("contact").map_or(&[][..], Vec::as_slice);
        Ok(Customer {
            id: Uuid::now_v7(),
            version: 1,
            name,
            phone: cells.joined("phone", ", "),
            email: cells.joined("email", ", "),
            address: cells.joined("address", "\n"),
            terms: cells.joined("terms", ", "),
            note: cells.joined("note", "\n"),
            contacts: contacts.iter().map(contact).collect(),
            ..Customer::default()
        })
    }

    fn key(row: &Customer) -> Option<String> {
        Some(row.name.to_lowercase())
    }

    async fn known(tx: &mut ShopTx, rows: &[Customer]) -> Result<Vec<bool>, DbError> {
        let names: Vec<String> = rows.iter().map(|row| row.name.clone()).collect();
        imports::known_customers(tx, &names).await
    }

    async fn insert(tx: &mut ShopTx, rows: Vec<Customer>) -> Result<Vec<Uuid>, DbError> {
        for customer in &rows {
            customers::insert(tx, customer).await?;
        }
        Ok(rows.iter().map(|customer| customer.id).collect())
    }
}
