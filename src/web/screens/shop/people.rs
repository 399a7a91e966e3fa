//! The people of the shop, for its owner; and everyone's own password.

use crate::app::password;
use crate::db::DbError;
use crate::db::people::{self, NewPerson, Person, Role};
use crate::units::Code;
use crate::web::shell::session;
use crate::web::shell::site::Site;
use crate::web::ui::forms::Choice;
use crate::web::ui::stale::{Changed, stale_notice};
use crate::web::ui::{
    Answer, CheckedForm, Field, FormErrors, Page, Reply, Section, SignedIn, WebError, csrf_field,
};
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, web};
use maud::{Markup, html};
use serde::Deserialize;
use uuid::Uuid;

/// `/shop/people` and `/password`.
pub fn routes(cfg: &mut web::ServiceConfig) {
    cfg.service(
        web::resource("/shop/people")
            .route(web::get().to(list))
            .route(web::post().to(add)),
    )
    .route("/shop/people/new", web::get().to(blank))
    .service(
        web::resource("/shop/people/{id}")
            .route(web::get().to(edit))
            .route(web::post().to(save)),
    )
    .route("/shop/people/{id}/password", web::post().to(reset_password))
    .service(
        web::resource("/password")
            .route(web::get().to(own_password))
            .route(web::post().to(change_own_password)),
    );
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct PersonForm {
    name: String,
    sign_in: String,
    role: String,
    skills: String,
    active: String,
    version: String,
}

/// What a person form says once it is read.
struct Read {
    name: String,
    sign_in: String,
    role: Role,
    skills: Vec<String>,
}

impl PersonForm {
    fn of(person: &Person) -> Self {
        Self {
            name: person.name.clone(),
            sign_in: person.sign_in.clone(),
            role: person.role.code().to_owned(),
            skills: person.skills.join(", "),
            active: if person.active { "yes" } else { "" }.to_owned(),
            version: person.version.to_string(),
        }
    }

    fn read(&self, errors: &mut FormErrors) -> Option<Read> {
        let name = errors.required_text("name", &self.name, 80);
        let sign_in = errors.required_text("sign_in", &self.sign_in, 80);
        let role = errors.choice("role", &self.role, Role::from_code);
        let skills = errors.text("skills", &self.skills, 500);
        Some(Read {
            name: name?,
            sign_in: sign_in?,
            role: role?,
            skills: split_skills(&skills?),
        })
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
            a.button href="/shop/people/new" data-key="n" data-key-label="Add a person" { "Add a person" }
        }
        table.cells {
            thead {
                tr { th scope="col" { "Name" } th scope="col" { "Signs in as" } th scope="col" { "Role" } th scope="col" { "Skills" } th scope="col" { "Works here" } }
            }
            tbody {
                @for person in &people {
                    tr {
                        th scope="row" { a href={ "/shop/people/" (person.id) } { (person.name) } }
                        td data-label="Signs in as" { (person.sign_in) }
                        td data-label="Role" { (role_name(person.role)) }
                        td data-label="Skills" { @if person.skills.is_empty() { span.muted { "none noted" } } @else { (person.skills.join(", ")) } }
                        td data-label="Works here" { @if person.active { "Yes" } @else { span.tag { "No longer" } } }
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

#[derive(Default, Deserialize)]
#[serde(default)]
struct NewForm {
    #[serde(flatten)]
    person: PersonForm,
    password: String,
}

async fn blank(who: SignedIn) -> Answer {
    who.require(Role::Owner)?;
    let form = PersonForm {
        role: Role::Machinist.code().to_owned(),
        ..PersonForm::default()
    };
    Ok(new_page(&who, &form, &FormErrors::default()).into())
}

async fn add(who: SignedIn, site: web::Data<Site>, form: CheckedForm<NewForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let read = form.person.read(&mut errors);
    let password = read_new_password(&mut errors, &form.password);
    if let (Some(read), Some(password)) = (read, password) {
        let person = NewPerson {
            name: read.name,
            sign_in: read.sign_in,
            role: read.role,
            skills: read.skills,
            password_hash: session::hash(&site, &password).await?,
        };
        let mut tx = who.begin().await?;
        match people::insert(&mut tx, &person).await {
            Ok(_) => {
                tx.commit().await?;
                return Ok(Reply::see_other("/shop/people")
                    .flash(format!("{} can sign in now.", person.name)));
            }
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(new_page(&who, &form.person, &errors).invalid().into())
}

fn new_page(who: &SignedIn, form: &PersonForm, errors: &FormErrors) -> Page {
    let body = html! {
        h1 { "Add a person" }
        (errors.summary())
        form.grid method="post" action="/shop/people" novalidate {
            (csrf_field(who))
            (person_fields(form, errors))
            (new_password_field("First password", errors))
            div.actions {
                button type="submit" { "Add" }
                a.button.quiet href="/shop/people" { "Cancel" }
            }
        }
    };
    Page::new(who, "Add a person").nav(Section::Shop).body(body)
}

fn new_password_field(label: &str, errors: &FormErrors) -> Field {
    Field::password("password", label)
        .autocomplete("new-password")
        .hint(&format!(
            "At least {} characters; a few plain words are good",
            password::SHORTEST
        ))
        .errors(errors)
}

fn person_fields(form: &PersonForm, errors: &FormErrors) -> Markup {
    let roles = Role::ALL
        .iter()
        .map(|role| Choice::new(role.code(), role_purpose(*role)))
        .collect();
    html! {
        (Field::text("name", "Name", &form.name).errors(errors))
        (Field::text("sign_in", "Signs in as", &form.sign_in).hint("Upper and lower case are the same").errors(errors))
        (Field::radios("role", "Role", &form.role, roles).wide().errors(errors))
        (Field::text("skills", "Skills", &form.skills).optional().wide()
            .hint("Between commas, in the words operations use, e.g. milling, line boring, inspection").errors(errors))
    }
}

async fn edit(who: SignedIn, id: web::Path<Uuid>) -> Answer {
    who.require(Role::Owner)?;
    let mut tx = who.begin().await?;
    let person = people::get(&mut tx, *id).await?;
    let form = PersonForm::of(&person);
    Ok(edit_page(&who, &person, &form, &FormErrors::default(), &html! {}).into())
}

async fn save(who: SignedIn, id: web::Path<Uuid>, form: CheckedForm<PersonForm>) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let read = form.read(&mut errors);
    let mut tx = who.begin().await?;
    let stored = people::get(&mut tx, *id).await?;
    if let Some(read) = read {
        let wanted = Person {
            id: stored.id,
            name: read.name,
            sign_in: read.sign_in,
            role: read.role,
            skills: read.skills,
            active: form.active == "yes",
            version: form.version.parse().unwrap_or_default(),
        };
        match people::update(&mut tx, &wanted).await {
            Ok(()) => {
                tx.commit().await?;
                return Ok(
                    Reply::see_other("/shop/people").flash(format!("{} is saved.", wanted.name))
                );
            }
            Err(DbError::Stale(_)) => {
                drop(tx);
                return stale(&who, *id, &form).await;
            }
            Err(DbError::InUse(message)) => errors.add("role", message),
            Err(error) => errors.absorb(error)?,
        }
    }
    Ok(edit_page(&who, &stored, &form, &errors, &html! {})
        .invalid()
        .into())
}

async fn stale(who: &SignedIn, id: Uuid, form: &PersonForm) -> Answer {
    let mut tx = who.begin().await?;
    let stored = people::get(&mut tx, id).await?;
    let now = PersonForm::of(&stored);
    let works = |active: &str| if active == "yes" { "Yes" } else { "No longer" };
    let changed: Vec<Changed> = [
        Changed::if_differs("Name", &now.name, &form.name),
        Changed::if_differs("Signs in as", &now.sign_in, &form.sign_in),
        Changed::if_differs("Role", &now.role, &form.role),
        Changed::if_differs("Skills", &now.skills, &form.skills),
        Changed::if_differs("Works here", works(&now.active), works(&form.active)),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mine = PersonForm {
        version: now.version,
        ..form.clone()
    };
    let notice = stale_notice(&stored.name, &changed);
    Ok(
        edit_page(who, &stored, &mine, &FormErrors::default(), &notice)
            .status(StatusCode::CONFLICT)
            .into(),
    )
}

fn edit_page(
    who: &SignedIn,
    stored: &Person,
    form: &PersonForm,
    errors: &FormErrors,
    notice: &Markup,
) -> Page {
    let path = format!("/shop/people/{}", stored.id);
    let body = html! {
        h1 { (stored.name) }
        (notice)
        (errors.summary())
        form.grid method="post" action=(path) novalidate {
            (csrf_field(who))
            input type="hidden" name="version" value=(form.version);
            (person_fields(form, errors))
            (Field::checkbox("active", "Works here and may sign in", form.active == "yes").wide())
            div.actions {
                button type="submit" { "Save" }
                a.button.quiet href="/shop/people" { "Cancel" }
            }
        }
        section.card {
            h2 { "Set a new password" }
            p { "For someone who has forgotten theirs. It signs them out everywhere." }
            form.grid method="post" action={ (path) "/password" } novalidate {
                (csrf_field(who))
                (new_password_field("New password", errors))
                div.actions { button.quiet type="submit" { "Set password" } }
            }
        }
    };
    Page::new(who, stored.name.clone())
        .nav(Section::Shop)
        .body(body)
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
    id: web::Path<Uuid>,
    form: CheckedForm<PasswordForm>,
) -> Answer {
    who.require(Role::Owner)?;
    let mut errors = FormErrors::default();
    let mut tx = who.begin().await?;
    let person = people::get(&mut tx, *id).await?;
    let Some(password) = read_new_password(&mut errors, &form.password) else {
        let page = edit_page(&who, &person, &PersonForm::of(&person), &errors, &html! {});
        return Ok(page.invalid().into());
    };
    drop(tx);
    let hash = session::hash(&site, &password).await?;
    let mut tx = who.begin().await?;
    people::set_password(&mut tx, person.id, &hash, None).await?;
    tx.commit().await?;
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
    let mut tx = who.begin().await?;
    let person = people::get(&mut tx, who.person_id).await?;
    let credentials = people::credentials(&mut tx, &person.sign_in)
        .await?
        .ok_or(WebError::SignInNeeded)?;
    drop(tx);
    if !session::verify(&site, &form.current, credentials.password_hash).await? {
        errors.add("current", "This is not your present password");
    }
    let Some(password) = password.filter(|_| errors.is_empty()) else {
        return Ok(own_password_page(&who, &errors).invalid().into());
    };
    let hash = session::hash(&site, &password).await?;
    let mut tx = who.begin().await?;
    let keep = session::Token::of(&req, &site).map(|token| token.hash());
    people::set_password(
        &mut tx,
        who.person_id,
        &hash,
        keep.as_ref().map(<[u8; 32]>::as_slice),
    )
    .await?;
    tx.commit().await?;
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
                (Field::password("current", "Present password").autocomplete("current-password").errors(errors))
                (new_password_field("New password", errors))
                div.actions { button type="submit" { "Change" } }
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
