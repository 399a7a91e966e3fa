//! The shell around every page, and what a handler answers.

use crate::db::people::Role;
use crate::web::shell::assets;
use crate::web::shell::gate::SignedIn;
use crate::web::shell::site::Site;
use crate::web::ui::{WebError, csrf_field};
use actix_web::body::BoxBody;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::StatusCode;
use actix_web::http::header::{CACHE_CONTROL, LOCATION};
use actix_web::{HttpRequest, HttpResponse, Responder, web};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use maud::{DOCTYPE, Markup, html};

/// What a handler gives back.
pub type Answer = Result<Reply, WebError>;

/// The parts of the program that stand in the navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Section {
    /// The phone.
    Enquiries,
    /// Work won.
    Jobs,
    /// The plan.
    Week,
    /// Patterns, variants, remedies.
    Castings,
    /// Parts, materials, tooling.
    Stock,
    /// Sightings.
    Market,
    /// Actual against estimate.
    Review,
    /// Machines, people, rates, settings.
    Shop,
}

impl Section {
    const ALL: [Self; 8] = [
        Self::Enquiries,
        Self::Jobs,
        Self::Week,
        Self::Castings,
        Self::Stock,
        Self::Market,
        Self::Review,
        Self::Shop,
    ];

    /// The first path segment of its screens.
    #[must_use]
    pub fn path(self) -> &'static str {
        match self {
            Self::Enquiries => "/enquiries",
            Self::Jobs => "/jobs",
            Self::Week => "/week",
            Self::Castings => "/castings",
            Self::Stock => "/stock",
            Self::Market => "/market",
            Self::Review => "/review",
            Self::Shop => "/shop",
        }
    }

    /// Whether it stands in somebody's navigation.
    fn is_for(self, who: &SignedIn) -> bool {
        !matches!(self, Self::Enquiries | Self::Review) || who.may(Role::Office)
    }

    /// What it is called.
    pub(in crate::web) fn label(self) -> &'static str {
        match self {
            Self::Enquiries => "Enquiry",
            Self::Jobs => "Jobs",
            Self::Week => "Week",
            Self::Castings => "Castings",
            Self::Stock => "Stock",
            Self::Market => "Market",
            Self::Review => "Review",
            Self::Shop => "Shop",
        }
    }

    /// The page of the guide that tells of it, under `/help`.
    fn help(self) -> &'static str {
        match self {
            Self::Enquiries => "/call",
            Self::Jobs | Self::Stock => "/job",
            Self::Week => "/week",
            Self::Castings => "/casting",
            Self::Market => "/market",
            Self::Review => "/month",
            Self::Shop => "/first-hour",
        }
    }

    fn key(self) -> &'static str {
        match self {
            Self::Enquiries => "g e",
            Self::Jobs => "g j",
            Self::Week => "g w",
            Self::Castings => "g c",
            Self::Stock => "g k",
            Self::Market => "g m",
            Self::Review => "g r",
            Self::Shop => "g s",
        }
    }
}

/// A whole page.
///
/// In the body: one `h1`; `div.bar` for a heading with its buttons; `section.card`; `form.grid` with [`crate::web::ui::Field`]s
/// and a closing `div.actions`; `table.cells` (each `td` with a `data-label`, so that rows stack on a phone). An element
/// with `data-key="n"` and `data-key-label="New enquiry"` is reached by that key and listed by the `?` key.
#[derive(Debug)]
pub struct Page {
    title: String,
    who: Option<SignedIn>,
    section: Option<Section>,
    status: StatusCode,
    script: Option<&'static str>,
    body: Markup,
}

impl Page {
    /// A page of a signed-in person.
    #[must_use]
    pub fn new(who: &SignedIn, title: impl Into<String>) -> Self {
        Self {
            who: Some(who.clone()),
            ..Self::open(title)
        }
    }

    /// A page without navigation, for whoever is not signed in.
    #[must_use]
    pub fn open(title: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            who: None,
            section: None,
            status: StatusCode::OK,
            script: None,
            body: Markup::default(),
        }
    }

    /// Where it stands in the navigation.
    #[must_use]
    pub fn nav(mut self, section: Section) -> Self {
        self.section = Some(section);
        self
    }

    /// Answered with this status instead of 200.
    #[must_use]
    pub fn status(mut self, status: StatusCode) -> Self {
        self.status = status;
        self
    }

    /// A form with complaints: status 422, and the title says so first.
    #[must_use]
    pub fn invalid(mut self) -> Self {
        self.title = format!("Error: {}", self.title);
        self.status(StatusCode::UNPROCESSABLE_ENTITY)
    }

    /// A module of `static/` that this page needs besides those of every page.
    #[must_use]
    pub fn script(mut self, name: &'static str) -> Self {
        self.script = Some(name);
        self
    }

    /// What stands in the main landmark.
    #[must_use]
    pub fn body(mut self, body: Markup) -> Self {
        self.body = body;
        self
    }

    fn render(&self, flash: Option<&str>) -> Markup {
        let shop = self.who.as_ref().map(|who| who.shop.name.as_str());
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) " · " (shop.unwrap_or("Borewright")) }
                    link rel="icon" type="image/svg+xml" href=(assets::url("mark.svg"));
                    link rel="stylesheet" href=(assets::url("borewright.css"));
                    script type="module" src=(assets::url("keys.js")) {}
                    script type="module" src=(assets::url("live.js")) {}
                    script type="module" src=(assets::url("fold.js")) {}
                    @if let Some(name) = self.script { script type="module" src=(assets::url(name)) {} }
                }
                body {
                    a.skip href="#main" { "Skip to main content" }
                    @if let Some(who) = &self.who { (header(who, self.section)) }
                    main #main tabindex="-1" {
                        @if let Some(flash) = flash {
                            p.notice.good role="status" { span.sign aria-hidden="true" { "✓" } " " (flash) }
                        }
                        (self.body)
                    }
                    @if self.who.is_some() {
                        footer.foot {
                            p { "Guide figures only: follow the tool maker’s data." }
                            a href={ "/help" (self.section.map_or("", Section::help)) } data-key="g h" data-key-label="Help" { "Help" }
                            button.quiet #keys-open type="button" hidden { kbd { "?" } " Keys" }
                        }
                    }
                }
            }
        }
    }
}

fn header(who: &SignedIn, section: Option<Section>) -> Markup {
    html! {
        header.head {
            a.shop-name href="/" data-key="g t" data-key-label="Today" { (mark()) span { (who.shop.name) } }
            nav aria-label="Main" {
                ul {
                    @for item in Section::ALL.into_iter().filter(|item| item.is_for(who)) {
                        li {
                            a href=(item.path()) data-key=(item.key()) data-key-label=(item.label())
                                aria-current=[(section == Some(item)).then_some("page")] { (item.label()) }
                        }
                    }
                }
            }
            form.find method="get" action="/search" role="search" aria-label="Search the shop" {
                input type="search" name="q" aria-label="Search" placeholder="Search" autocomplete="off" maxlength="120"
                    data-key="/" data-key-label="Search";
            }
            a.find-link href="/search" data-key="/" data-key-label="Search" aria-label="Search" { (lens()) }
            div.person {
                a href="/password" title="Your password" { (who.name) }
                form method="post" action="/sign-out" {
                    (csrf_field(who))
                    button.quiet type="submit" { "Sign out" }
                }
            }
        }
    }
}

/// A magnifying glass.
fn lens() -> Markup {
    html! {
        svg viewBox="0 0 24 24" width="22" height="22" aria-hidden="true" {
            circle cx="10.5" cy="10.5" r="6.5" fill="none" stroke="currentColor" stroke-width="2" {}
            path d="M15.5 15.5 21 21" stroke="currentColor" stroke-width="2" stroke-linecap="round" {}
        }
    }
}

/// The mark: a bore with its centre lines.
pub(in crate::web) fn mark() -> Markup {
    html! {
        svg.mark viewBox="0 0 24 24" width="24" height="24" aria-hidden="true" {
            circle cx="12" cy="12" r="8.5" fill="none" stroke="currentColor" stroke-width="2" {}
            circle cx="12" cy="12" r="4" fill="none" stroke="currentColor" stroke-width="1.25" {}
            path d="M12 1v22M1 12h22" stroke="currentColor" stroke-width="0.75" stroke-dasharray="5 1.5 1.5 1.5" {}
        }
    }
}

const FLASH_COOKIE: &str = "borewright-flash";

impl Responder for Page {
    type Body = BoxBody;

    fn respond_to(self, req: &HttpRequest) -> HttpResponse {
        let cookie = req.cookie(FLASH_COOKIE);
        let flash = cookie
            .as_ref()
            .and_then(|cookie| URL_SAFE_NO_PAD.decode(cookie.value()).ok())
            .and_then(|bytes| String::from_utf8(bytes).ok());
        let mut response = HttpResponse::build(self.status);
        if cookie.is_some() {
            let mut gone = flash_cookie(String::new(), false);
            gone.make_removal();
            response.cookie(gone);
        }
        response
            .content_type("text/html; charset=utf-8")
            .insert_header((CACHE_CONTROL, "no-store"))
            .body(self.render(flash.as_deref()).into_string())
    }
}

fn flash_cookie(value: String, secure: bool) -> Cookie<'static> {
    Cookie::build(FLASH_COOKIE, value)
        .path("/")
        .http_only(true)
        .secure(secure)
        .same_site(SameSite::Lax)
        .finish()
}

/// A page, a part of one, or the way to another.
#[derive(Debug)]
pub enum Reply {
    /// A whole page.
    Page(Box<Page>),
    /// A part of one, for `live.js`, which swaps it in by its id.
    Fragment(Markup),
    /// After something was saved: look there (303).
    SeeOther {
        /// An address of ours.
        to: String,
        /// What to tell there, once.
        flash: Option<String>,
    },
    /// Anything else.
    Other(HttpResponse),
}

impl Reply {
    /// The way to another page of ours.
    #[must_use]
    pub fn see_other(to: impl Into<String>) -> Self {
        Self::SeeOther {
            to: to.into(),
            flash: None,
        }
    }

    /// Something to tell there, once: "Saved".
    #[must_use]
    pub fn flash(self, message: impl Into<String>) -> Self {
        match self {
            Self::SeeOther { to, .. } => Self::SeeOther {
                to,
                flash: Some(message.into()),
            },
            other => other,
        }
    }
}

impl From<Page> for Reply {
    fn from(page: Page) -> Self {
        Self::Page(Box::new(page))
    }
}

impl From<HttpResponse> for Reply {
    fn from(response: HttpResponse) -> Self {
        Self::Other(response)
    }
}

impl Responder for Reply {
    type Body = BoxBody;

    fn respond_to(self, req: &HttpRequest) -> HttpResponse {
        match self {
            Self::Page(page) => page.respond_to(req),
            Self::Fragment(markup) => HttpResponse::Ok()
                .content_type("text/html; charset=utf-8")
                .insert_header((CACHE_CONTROL, "no-store"))
                .body(markup.into_string()),
            Self::SeeOther { to, flash } => {
                let mut response = HttpResponse::SeeOther();
                response.insert_header((LOCATION, to));
                if let Some(message) = flash {
                    let secure = req
                        .app_data::<web::Data<Site>>()
                        .is_some_and(|site| site.secure_cookies);
                    response.cookie(flash_cookie(URL_SAFE_NO_PAD.encode(message), secure));
                }
                response.finish()
            }
            Self::Other(response) => response,
        }
    }
}
