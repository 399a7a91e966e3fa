//! One way to look through a long list: views, words to find, an order and pages, all kept in the address, and the same rows
//! as a file. Every list of the shop uses it, so no page grows with the years.

use super::{Field, FormErrors, show};
use crate::db::lists::{COUNTED, Part};
use crate::units::Code;
use maud::{Markup, html};
use serde::Deserialize;

/// Rows on one page.
pub const ROWS: u32 = 25;
/// Rows of a file: more are asked for by a narrower view.
pub const FILE_ROWS: u32 = 20_000;
/// Characters of what is looked for.
const WORDS: usize = 100;

/// The address, as it was typed or followed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct ListQuery {
    view: String,
    q: String,
    sort: String,
    desc: String,
    page: String,
}

impl ListQuery {
    /// What is asked for; what does not read is the usual. `usual_descending` says which way the usual order runs.
    #[must_use]
    pub fn read<V: Code + Default + PartialEq, S: Code + Default + PartialEq>(
        &self,
        path: &str,
        usual_descending: bool,
    ) -> List<V, S> {
        let sort = S::from_code(&self.sort);
        List {
            path: path.to_owned(),
            view: V::from_code(&self.view).unwrap_or_default(),
            words: self.q.trim().chars().take(WORDS).collect(),
            sort: sort.unwrap_or_default(),
            // Whoever names an order says which way; the usual one runs the usual way.
            descending: if sort.is_none() {
                usual_descending
            } else {
                !self.desc.is_empty()
            },
            page: self.page.parse().unwrap_or(1).clamp(1, 1_000_000),
            usual_descending,
            kept: Vec::new(),
        }
    }
}

/// A list as it is asked for. `V` are its views and `S` its orders; the first of each is the usual one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct List<V, S> {
    path: String,
    /// What is looked at.
    pub view: V,
    /// What is looked for.
    pub words: String,
    /// By what it is sorted.
    pub sort: S,
    /// The last first.
    pub descending: bool,
    /// The page, from one.
    pub page: u32,
    usual_descending: bool,
    /// Further parts of the address.
    kept: Vec<(&'static str, String)>,
}

impl<V: Code + Default + PartialEq, S: Code + Default + PartialEq> List<V, S> {
    /// The same list with a further part in its address.
    #[must_use]
    pub fn keep(mut self, name: &'static str, value: String) -> Self {
        self.kept.push((name, value));
        self
    }

    /// The rows of the page that is asked for.
    #[must_use]
    pub fn part(&self) -> Part {
        Part {
            descending: self.descending,
            skip: i64::from(self.page.saturating_sub(1)) * i64::from(ROWS),
            rows: i64::from(ROWS),
        }
    }

    /// The rows of the file: all of them in this order, whichever page it was asked from.
    #[must_use]
    pub fn whole(&self) -> Part {
        Part {
            descending: self.descending,
            skip: 0,
            rows: i64::from(FILE_ROWS),
        }
    }

    /// The path of something below the list's own.
    #[must_use]
    pub fn beside(&self, below: &str) -> String {
        format!("{}{below}", self.path)
    }

    /// Whether nothing narrows it.
    #[must_use]
    pub fn is_unfiltered(&self) -> bool {
        self.words.is_empty() && self.view == V::default() && self.page == 1
    }

    fn is_usual_order(&self) -> bool {
        self.sort == S::default() && self.descending == self.usual_descending
    }

    /// What the address says besides the path, in a fixed order and without what is usual.
    fn parts(&self) -> Vec<(&'static str, String)> {
        let mut parts = self.kept.clone();
        if self.view != V::default() {
            parts.push(("view", self.view.code().to_owned()));
        }
        if !self.words.is_empty() {
            parts.push(("q", self.words.clone()));
        }
        if !self.is_usual_order() {
            parts.push(("sort", self.sort.code().to_owned()));
            if self.descending {
                parts.push(("desc", "1".to_owned()));
            }
        }
        if self.page > 1 {
            parts.push(("page", self.page.to_string()));
        }
        parts
    }

    /// The address of the list as it is.
    #[must_use]
    pub fn address(&self) -> String {
        self.address_at(&self.path)
    }

    fn address_at(&self, path: &str) -> String {
        let query = form_urlencoded::Serializer::new(String::new())
            .extend_pairs(self.parts())
            .finish();
        if query.is_empty() {
            path.to_owned()
        } else {
            format!("{path}?{query}")
        }
    }

    /// The views to choose from, with their names; `label` says of what.
    pub fn views(&self, label: &str, views: &[(V, &str)]) -> Markup {
        html! {
            nav.tabs aria-label=(label) {
                @for (view, name) in views {
                    @let to = Self { view: *view, page: 1, ..self.clone() };
                    a href=(to.address()) aria-current=[(*view == self.view).then_some("page")] { (name) }
                }
            }
        }
    }

    /// The form that finds; `label` says in what.
    pub fn filter(&self, label: &str) -> Markup {
        let beside = Self {
            words: String::new(),
            page: 1,
            ..self.clone()
        };
        html! {
            form.grid.review-form.no-print method="get" action=(self.path) role="search" novalidate {
                @for (name, value) in beside.parts() { input type="hidden" name=(name) value=(value); }
                (Field::text("q", label, &self.words).optional().errors(&FormErrors::default()))
                div.actions {
                    button type="submit" { "Find" }
                    @if !self.words.is_empty() { a.button.quiet href=(beside.address()) { "Clear" } }
                }
            }
        }
    }

    /// The head of a column by which, or by one of which, the list is sorted; a second press turns it round.
    pub fn head(&self, sorts: &[(S, &str)], class: Option<&str>) -> Markup {
        self.head_from(sorts, class, false)
    }

    /// The same, with the newest or largest first at the first press.
    pub fn falling_head(&self, sorts: &[(S, &str)], class: Option<&str>) -> Markup {
        self.head_from(sorts, class, true)
    }

    fn head_from(&self, sorts: &[(S, &str)], class: Option<&str>, falling: bool) -> Markup {
        let here = sorts.iter().any(|(sort, _)| *sort == self.sort);
        let order = if self.descending {
            "descending"
        } else {
            "ascending"
        };
        html! {
            th scope="col" class=[class] aria-sort=[here.then_some(order)] {
                @for (at, (sort, name)) in sorts.iter().enumerate() {
                    @let mine = self.sort == *sort;
                    @let to = Self { sort: *sort, descending: if mine { !self.descending } else { falling }, page: 1, ..self.clone() };
                    @if at > 0 { ", " }
                    a href=(to.address()) { (name) @if mine { " " span aria-hidden="true" { @if self.descending { "↓" } @else { "↑" } } } }
                }
            }
        }
    }

    /// How many there are, the ways to the other pages, and the file where there is one.
    pub fn pages(&self, all: i64, one: &str, many: &str, file: Option<&str>) -> Markup {
        let last = (all + i64::from(ROWS) - 1) / i64::from(ROWS);
        let to = |page: u32| {
            Self {
                page,
                ..self.clone()
            }
            .address()
        };
        let whole = Self {
            page: 1,
            ..self.clone()
        };
        html! {
            @if all > 0 {
                p.no-print {
                    @if all > COUNTED { "More than " (show::grouped(COUNTED.into())) " " (many) } @else { (show::count(all, one, many)) }
                    @if last > 1 {
                        ", page " (self.page) @if all <= COUNTED { " of " (last) } ". "
                        @if self.page > 1 { a href=(to(self.page - 1)) rel="prev" { "Back" } " " }
                        @if i64::from(self.page) < last { a href=(to(self.page + 1)) rel="next" { "Next" } " " }
                    }
                    @else { ". " }
                    @if let Some(file) = file { a type="text/csv" href=(whole.address_at(file)) { "Download for a spreadsheet" } }
                }
            } @else if self.page > 1 {
                p { a href=(to(1)) { "First page" } }
            }
        }
    }

    /// The way to the other order, for a list that is no table; the names of both.
    pub fn turned(&self, falling: &str, rising: &str) -> Markup {
        let to = Self {
            descending: !self.descending,
            page: 1,
            ..self.clone()
        };
        html! {
            @if self.descending { (falling) ". " a href=(to.address()) { (rising) } }
            @else { (rising) ". " a href=(to.address()) { (falling) } }
        }
    }

    /// Said where the list shows nothing although something narrows it.
    pub fn nothing(&self, usual: &str) -> Markup {
        html! {
            section.card { p {
                @if self.is_unfiltered() { (usual) }
                @else { "Nothing here matches. " a href=(self.path) { "Show all" } }
            } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use strum::{EnumString, IntoStaticStr, VariantArray};

    #[derive(
        Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray,
    )]
    #[strum(serialize_all = "snake_case")]
    enum View {
        #[default]
        Open,
        All,
    }

    #[derive(
        Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray,
    )]
    #[strum(serialize_all = "snake_case")]
    enum Sort {
        #[default]
        Number,
        Name,
    }

    fn list(query: &str) -> List<View, Sort> {
        serde_html_form::from_str::<ListQuery>(query)
            .unwrap()
            .read("/list", true)
    }

    #[test]
    fn an_address_says_only_what_is_not_usual_and_reads_back_as_itself() {
        assert_eq!(list("").address(), "/list");
        assert_eq!(list("view=x&sort=y&desc=z&page=-1").address(), "/list");
        assert_eq!(list("page=99999999999").address(), "/list");
        assert_eq!(list("sort=number&desc=1&page=1").address(), "/list");
        for kept in [
            "/list?view=all&q=a%26b&sort=name&desc=1&page=3",
            "/list?sort=number",
            "/list?sort=name&page=2",
        ] {
            let (_, query) = kept.split_once('?').unwrap();
            assert_eq!(list(query).address(), kept);
        }
        let long = "ä".repeat(500);
        assert_eq!(list(&format!("q={long}")).words.chars().count(), WORDS);
    }

    #[test]
    fn a_second_press_on_a_head_turns_the_order_round_and_begins_at_the_first_page() {
        let named = list("sort=name&page=4&view=all");
        let head = named.head(&[(Sort::Name, "Name")], None).into_string();
        assert!(
            head.contains("/list?view=all&amp;sort=name&amp;desc=1\""),
            "{head}"
        );
        assert!(head.contains("aria-sort=\"ascending\""), "{head}");
        let other = named.head(&[(Sort::Number, "No.")], None).into_string();
        assert!(
            other.contains("/list?view=all&amp;sort=number\""),
            "{other}"
        );
        assert!(!other.contains("aria-sort"), "{other}");
    }

    #[test]
    fn pages_end_where_the_rows_do() {
        let at = |page: u32, all| {
            list(&format!("page={page}"))
                .pages(all, "job", "jobs", Some("/list.csv"))
                .into_string()
        };
        let rows = i64::from(ROWS);
        assert!(!at(1, rows).contains("rel="));
        assert!(at(1, rows + 1).contains("rel=\"next\""));
        assert!(!at(2, rows + 1).contains("rel=\"next\""));
        assert!(at(2, rows + 1).contains("rel=\"prev\""));
        assert!(at(2, rows + 1).contains("/list.csv\""));
        assert_eq!(list("page=3").part().skip, 2 * rows);
        assert_eq!(list("page=3").whole().skip, 0);
    }
}
