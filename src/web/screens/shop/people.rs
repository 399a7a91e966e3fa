//! The people of the shop, for its owner; and everyone's own password.

use crate::app::{credentials, password};
use crate::db::people::{self, NewPerson, Person, Role};
use crate::db::{DbError, ShopTx};
use crate::units::Code;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::record::{self, Api, At, Done, Fields, Paths, Record, Sheet, Words, at};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
    words,
};
use actix_web::{HttpRequest, web};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

const PATH: &str = "/shop/people";

/// `/shop/people` and `/password`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.route(PATH, web::get().to(list)).service(
        web::resource("/password")
            .route(web::get().to(own_password))
            .route(web::post().to(change_own_password)),
    );
    record::routes::<Staff>(cfg);
    cfg.route("/shop/people/{id}/password", web::post().to(reset_password));
}

/// A person, and the first password of a new one.
#[derive(Clone)]
pub(super) struct Staff {
    person: Person,
    password: String,
    password_hash: String,
}

impl Staff {
    fn of(person: Person) -> Self {
        Self {
            person,
            password: String::new(),
            password_hash: String::new(),
        }
    }
}

impl Record for Staff {
    type Around = ();
    const NAV: Section = Section::Shop;
    const READ: Role = Role::Owner;
    const WRITE: Role = Role::Owner;
    const TABLE: &'static str = "person";
    const PATHS: Paths = Paths {
        new: "/shop/people/new",
        add: "/shop/people",
        edit: "/shop/people/{id}",
        delete: "",
        copy: "",
    };
    const API: Api = Api::of("person", "/api/v1/people", "/api/v1/people/{id}");
    const IN_PERSON: bool = true;

    async fn load(tx: &mut ShopTx, _: &SignedIn, at: &At) -> Result<Self, WebError> {
        Ok(Self::of(people::get(tx, at.id).await?))
    }

    async fn list(tx: &mut ShopTx, _: &SignedIn, _: &At) -> Result<Vec<Self>, WebError> {
        let people = people::list(tx).await?;
        Ok(people.into_iter().map(Self::of).collect())
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
        Self::of(Person {
            id: Uuid::now_v7(),
            name: String::new(),
            sign_in: String::new(),
            role: Role::Machinist,
            skills: Vec::new(),
            active: true,
            version: 1,
        })
    }

    fn fields((): &(), who: &SignedIn, new: bool) -> Fields<Self> {
        let roles = Role::ALL.iter();
        let roles = roles.map(|role| Choice::new(role.code(), role_purpose(*role)));
        let role = Field::radios("role", "Role", "", roles.collect());
        let mut f = Fields::<Self>::new(who);
        f.text("name", "Name", 80, at!(person.name));
        f.text("sign_in", "Sign-in name", 80, at!(person.sign_in))
            .hint("Capitals do not matter");
        f.code::<Role, _>(role, at!(person.role)).wide();
        f.value(
            Field::text("skills", "Skills", "").optional(),
            at!(person.skills),
            |skills: &Vec<String>| skills.join(", "),
            |errors, name, raw| errors.text(name, raw, 500).map(|text| split_skills(&text)),
        )
        .wide()
        .hint("Separate them by commas, as operations name them: milling, line boring, inspection");
        if new {
            f.input(
                new_password_field("First password"),
                |_| String::new(),
                |staff: &mut Self, raw, errors| {
                    if let Some(password) = read_new_password(errors, raw) {
                        staff.password = password;
                    }
                },
            );
        } else {
            f.tick(
                "active",
                "Active: may sign in and be given work",
                at!(person.active),
            )
            .wide();
        }
        f
    }

    fn version(&mut self) -> &mut i32 {
        &mut self.person.version
    }

    fn key(&self) -> Uuid {
        self.person.id
    }

    async fn prepare(&mut self, req: &HttpRequest) -> Result<(), WebError> {
        let site = req
            .app_data::<web::Data<Site>>()
            .ok_or_else(|| WebError::Internal("the site is not configured".to_owned()))?;
        self.password_hash = site.hashing.hash(&self.password).await?;
        Ok(())
    }

    async fn insert(&mut self, tx: &mut ShopTx) -> Result<(), DbError> {
        let person = self.person.clone();
        let new = NewPerson {
            name: person.name,
            sign_in: person.sign_in,
            role: person.role,
            skills: person.skills,
            password_hash: self.password_hash.clone(),
        };
        self.person.id = people::insert(tx, &new).await?;
        Ok(())
    }

    async fn update(&self, tx: &mut ShopTx) -> Result<(), DbError> {
        people::update(tx, &self.person).await
    }

    fn refused(error: DbError, errors: &mut FormErrors) -> Result<(), DbError> {
        match error {
            DbError::InUse(by) => {
                errors.add("role", words::needed(&by));
                Ok(())
            }
            other => errors.absorb(other),
        }
    }

    fn words(&self, (): &(), new: bool) -> Words {
        Words::of(new, "Add a person", &self.person.name, PATH)
    }

    fn done(&self, done: Done, _: &Sheet<Self>) -> (String, String) {
        let words = match done {
            Done::Added => format!("{} can sign in now.", self.person.name),
            _ => format!("{} is saved.", self.person.name),
        };
        (PATH.to_owned(), words)
    }

    fn below(sheet: &Sheet<Self>) -> Markup {
        html! {
            @if let Some(staff) = &sheet.stored {
                section.card {
                    h2 { "Set a new password" }
                    p { "If they have forgotten theirs. It signs them out everywhere, at the bench too, and ends their calendar feeds." }
                    form.grid method="post" action={ (PATH) "/" (staff.person.id) "/password" } novalidate {
                        (csrf_field(&sheet.who))
                        (new_password_field("New password").errors(&sheet.errors))
                        div.actions { button.quiet type="submit" { "Set password" } }
                    }
                }
            }
        }
    }
}

/// Skills as typed, between commas: lower case, each once, in the order given.
fn split_skills(text: &str) -> Vec<String> {
    let mut skills: Vec<String> = Vec::new();
    for word in text.split([',', '\n']) {
        let skill = word.trim().to_lowercase();
        if !skill.is_empty() && !skills.contains(&skill) {
            skills.push(skill);
        }
    }
    skills
}

fn read_new_password(errors: &mut FormErrors, typed: &str) -> Option<String> {
    match password::acceptable(typed) {
        Ok(()) => Some(typed.to_owned()),
        Err(why) => {
            errors.add("password", why);
            None
        }
    }
}

fn role_name(role: Role) -> &'static str {
    match role {
        Role::Machinist => "Machinist",
        Role::Office => "Office",
        Role::Owner => "Owner",
    }
}

fn role_purpose(role: Role) -> &'static str {
    match role {
        Role::Machinist => "Machinist: sees the work and books it",
        Role::Office => "Office: enquiries, quotes, castings, sightings",
        Role::Owner => "Owner: all of it, and people, rates and settings",
    }
}

async fn list(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let people = people::list(&mut tx).await?;
    let body = html! {
        div.bar {
            h1 { "People" }
            a.button.quiet href="/shop/people/sessions" { "Who is signed in" }
            a.button href="/shop/people/new" data-key="n" data-key-label="Add a person" { "Add a person" }
        }
        table.cells {
            thead {
                tr { th scope="col" { "Name" } th scope="col" { "Sign-in name" } th scope="col" { "Role" } th scope="col" { "Skills" } th scope="col" { "Active" } }
            }
            tbody {
                @for person in &people {
                    tr {
                        th scope="row" { a href={ "/shop/people/" (person.id) } { (person.name) } }
                        td data-label="Sign-in name" { (person.sign_in) }
                        td data-label="Role" { (role_name(person.role)) }
                        td data-label="Skills" { @if person.skills.is_empty() { span.muted { "none" } } @else { (person.skills.join(", ")) } }
                        td data-label="Active" { @if person.active { "Yes" } @else { span.tag { "No" } } }
                    }
                }
            }
        }
    };
    Ok(Page::new(&who, "People")
        .nav(Section::Shop)
        .body(body)
        .into())
}

fn new_password_field(label: &str) -> Field {
    Field::password("password", label)
        .autocomplete("new-password")
        .hint(&format!(
            "At least {} characters; a few plain words are good",
            password::SHORTEST
        ))
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct PasswordForm {
    current: String,
    password: String,
}

async fn reset_password(
    who: SignedIn,
    site: web::Data<Site>,
    at: At,
    form: CheckedForm<PasswordForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let Some(password) = read_new_password(&mut errors, &form.password) else {
        let mut tx = who.begin().await?;
        let mut sheet = Sheet::<Staff>::stored(who, at, &mut tx).await?;
        sheet.errors = errors;
        return sheet.answer(&mut tx).await;
    };
    let person = credentials::reset_password(&who.actor(), &site.hashing, at.id, &password).await?;
    Ok(Reply::see_other("/shop/people").flash(format!("{} has a new password.", person.name)))
}

async fn own_password(who: SignedIn) -> Answer {
    Ok(own_password_page(&who, &FormErrors::default()).into())
}

async fn change_own_password(
    req: HttpRequest,
    who: SignedIn,
    site: web::Data<Site>,
    form: CheckedForm<PasswordForm>,
) -> Answer {
    let mut errors = FormErrors::default();
    let password = read_new_password(&mut errors, &form.password);
    let actor = who.actor();
    if !credentials::is_own_password(&actor, &site.hashing, &form.current).await? {
        errors.add("current", "Enter your current password");
    }
    let Some(password) = password.filter(|_| errors.is_empty()) else {
        return Ok(own_password_page(&who, &errors).invalid().into());
    };
    let keep = session::token_of(&req, &site);
    credentials::change_own_password(&actor, &site.hashing, &password, keep.as_ref()).await?;
    Ok(Reply::see_other("/password")
        .flash("Your password is changed, and you are signed out everywhere else."))
}

fn own_password_page(who: &SignedIn, errors: &FormErrors) -> Page {
    let body = html! {
        div.narrow {
            h1 { "Your password" }
            (errors.summary())
            form method="post" action="/password" novalidate {
                (csrf_field(who))
                (Field::password("current", "Current password").autocomplete("current-password").errors(errors))
                (new_password_field("New password").errors(errors))
                div.actions { button type="submit" { "Change" } }
            }
            @if who.may(Role::Owner) {
                p { a href="/second-factor" { "Second factor" } ": a code from your phone, asked for after your password" }
            }
        }
    };
    Page::new(who, "Your password").body(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn skills_are_lower_case_and_once() {
        assert_eq!(
            split_skills(" Milling, line boring,,milling\ninspection "),
            ["milling", "line boring", "inspection"]
        );
    }
}
