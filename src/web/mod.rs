//! The screens, the page shell, sign-in, and everything a browser or a machine meets.
//!
//! # Adding a screen
//!
//! 1. Make a folder (or file) `src/web/screens/<screen>/` named by its first path segment, a plural noun where there are many
//!    (`/castings`, `/castings/{id}`, `/castings/{id}/edit`). Handler and view live together, one file per page.
//! 2. Give it `pub fn routes(cfg: &mut web::ServiceConfig)` and add one line to [`screens::routes`], in alphabetical order.
//!    Nothing is open: [`shell::gate`] sends whoever is not signed in to `/sign-in` before any handler runs.
//! 3. A handler takes [`ui::SignedIn`] (who, which shop, its currency, zone and length unit) and returns [`ui::Answer`]:
//!
//! ```ignore
//! async fn show(who: SignedIn, id: web::Path<Uuid>) -> Answer {
//!     let mut tx = who.begin().await?;             // a transaction of this shop and person
//!     let person = people::get(&mut tx, *id).await?; // DbError becomes a page with words, or a problem document
//!     Ok(view(&who, &PersonForm::from(&person), &FormErrors::default()).into())
//! }
//!
//! async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<PersonForm>) -> Answer {
//!     who.require(Role::Owner)?;
//!     match form.parse(&who) {
//!         Err(errors) => Ok(view(&who, &form, &errors).invalid().into()), // 422, what was typed kept
//!         Ok(person) => {
//!             let mut tx = who.begin().await?;
//!             people::update(&mut tx, &person).await?;
//!             tx.commit().await?;
//!             Ok(Reply::see_other("/shop/people").flash("Saved"))
//!         }
//!     }
//! }
//! ```
//!
//! 4. The page: `Page::new(&who, "People").nav(Section::Shop).body(html! { … })`. See [`ui::page`].
//! 5. The form: a struct of `String`s (`#[derive(Default, Deserialize)] #[serde(default)]`), so what was typed is kept;
//!    a `parse` that collects every complaint in [`ui::forms::FormErrors`]; fields drawn by [`ui::forms::Field`]; and
//!    `(csrf_field(&who))` inside. [`ui::forms::CheckedForm`] refuses a body without the session's token.
//! 6. A duplicate is a complaint beside its field: `errors.absorb(error)?`. A stale edit is
//!    [`ui::stale::stale_notice`] above the form, with `.status(CONFLICT)`.
//! 7. Looks: no `style` attribute or element and no inline script (the content security policy forbids them); classes
//!    are in `static/css/`, with a file of its own for what one screen needs (listed in [`shell::assets`]). A form that should answer
//!    as it is typed: `static/live.js`.

pub mod api;
pub mod screens;
pub mod server;
pub mod shell;
pub mod ui;

use actix_web::web;

/// Every route.
pub fn routes(cfg: &mut web::ServiceConfig) {
    api::routes(cfg);
    screens::routes(cfg);
    shell::assets::routes(cfg);
    shell::health::routes(cfg);
    shell::metrics::routes(cfg);
}
