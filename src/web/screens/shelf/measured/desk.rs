//! Who measures and where: signed in at a desk, or signed on at a bench device. The pages are the same.

use crate::app::{Actor, bench_overview};
use crate::db::{DbError, ShopTx, settings};
use crate::units::LengthUnit;
use crate::web::shell::device::AtBench;
use crate::web::ui::{Page, Section, SignedIn, WebError, csrf_field};
use chrono::{NaiveDate, Utc};
use chrono_tz::Tz;
use maud::{Markup, html};
use uuid::Uuid;

/// Who measures, and what their pages need.
pub(super) struct Desk {
    pub(super) actor: Actor,
    pub(super) unit: LengthUnit,
    pub(super) zone: Tz,
    pub(super) today: NaiveDate,
    /// What every form carries.
    pub(super) field: Markup,
    /// Signed in with a password; else at the bench.
    who: Option<SignedIn>,
}

impl Desk {
    /// Somebody who is signed in.
    pub(super) fn signed_in(who: &SignedIn) -> Self {
        Self {
            actor: who.actor(),
            unit: who.shop.length_unit,
            zone: who.shop.time_zone,
            today: who.today(),
            field: csrf_field(who),
            who: Some(who.clone()),
        }
    }

    /// Whoever is signed on at a bench device; `None` where nobody is.
    ///
    /// # Errors
    /// What the store says.
    pub(super) async fn at_bench(at: &AtBench) -> Result<Option<Self>, WebError> {
        let on = bench_overview::signed_on(&at.actor(None), at.device.id, Utc::now()).await?;
        let Some(on) = on else { return Ok(None) };
        let actor = at.actor(Some(on.person_id));
        let settings = settings::get(&mut actor.begin().await?).await?;
        Ok(Some(Self {
            actor,
            unit: settings.length_unit,
            zone: at.zone,
            today: at.today(),
            field: html! {},
            who: None,
        }))
    }

    /// A transaction of the shop.
    ///
    /// # Errors
    /// [`DbError::Database`].
    pub(super) async fn begin(&self) -> Result<ShopTx, DbError> {
        self.actor.begin().await
    }

    /// The page of a casting, where there is one: a bench device has none.
    pub(super) fn casting_path(&self, id: Uuid) -> Option<String> {
        self.who.as_ref().map(|_| super::path(id))
    }

    /// Where a casting is measured and its records are.
    pub(super) fn records_path(&self, id: Uuid) -> String {
        match self.who {
            Some(_) => super::path(id),
            None => format!("/bench/castings/{id}"),
        }
    }

    /// A link to a job; the bench shows its number alone.
    pub(super) fn job(&self, id: Uuid, number: i64) -> Markup {
        html! { @if self.who.is_some() { a href={ "/jobs/" (id) } { "job " (number) } } @else { "job " (number) } }
    }

    /// Where the way back leads, and what it is called.
    pub(super) fn back(&self, id: Uuid, number: i64) -> Markup {
        match self.casting_path(id) {
            Some(path) => super::back(&path, &format!("Casting {number}")),
            None => super::back(&self.records_path(id), &format!("Casting {number}")),
        }
    }

    /// A page.
    pub(super) fn page(&self, title: impl Into<String>) -> Page {
        match &self.who {
            Some(who) => Page::new(who, title).nav(Section::Castings),
            None => Page::open(title),
        }
    }
}
