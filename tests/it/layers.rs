//! The rooms of the house: imports run downward only, domain rooms are pure, SQL lives in the store.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use syn::visit::{self, Visit};

/// From the top of the house to its foundations.
const ROOMS: [&str; 12] = [
    "web",
    "demo",
    "worker",
    "store",
    "enquiry",
    "documents",
    "bench",
    "planning",
    "sourcing",
    "estimating",
    "castings",
    "units",
];
/// Rooms without SQL, HTTP, a clock, or randomness they were not handed.
const PURE: [&str; 8] = [
    "enquiry",
    "documents",
    "bench",
    "planning",
    "sourcing",
    "estimating",
    "castings",
    "units",
];

fn rank(room: &str) -> Option<usize> {
    ROOMS.iter().position(|r| *r == room)
}

fn is_test(module: &syn::ItemMod) -> bool {
    module.attrs.iter().any(|a| {
        a.path().is_ident("cfg") && a.parse_args::<syn::Ident>().is_ok_and(|i| i == "test")
    })
}

/// Every path a file speaks of, whole, whether imported, called or written as a type; those of `use` trees unrolled.
#[derive(Default)]
struct Paths(Vec<Vec<String>>);

impl Paths {
    fn of(source: &str) -> Self {
        let file = syn::parse_file(source).unwrap();
        let mut paths = Self::default();
        paths.visit_file(&file);
        paths
    }

    fn unroll(&mut self, tree: &syn::UseTree, mut stem: Vec<String>) {
        match tree {
            syn::UseTree::Path(path) => {
                stem.push(path.ident.to_string());
                self.unroll(&path.tree, stem);
            }
            syn::UseTree::Name(name) => {
                stem.push(name.ident.to_string());
                self.0.push(stem);
            }
            syn::UseTree::Rename(name) => {
                stem.push(name.ident.to_string());
                self.0.push(stem);
            }
            syn::UseTree::Glob(_) => self.0.push(stem),
            syn::UseTree::Group(group) => {
                for tree in &group.items {
                    self.unroll(tree, stem.clone());
                }
            }
        }
    }

    /// Paths inside a macro call, which the parser leaves as tokens.
    fn tokens(&mut self, tokens: proc_macro2::TokenStream) {
        let mut path: Vec<String> = Vec::new();
        let mut colons = 0;
        for token in tokens {
            match token {
                proc_macro2::TokenTree::Ident(ident) => {
                    if colons < 2 {
                        self.0.push(std::mem::take(&mut path));
                    }
                    path.push(ident.to_string());
                    colons = 0;
                }
                proc_macro2::TokenTree::Punct(p) if p.as_char() == ':' => colons += 1,
                other => {
                    self.0.push(std::mem::take(&mut path));
                    colons = 0;
                    if let proc_macro2::TokenTree::Group(group) = other {
                        self.tokens(group.stream());
                    }
                }
            }
        }
        self.0.push(path);
    }
}

impl<'ast> Visit<'ast> for Paths {
    // Unit tests may look at clocks and files, and stand on whatever they test against.
    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        if !is_test(item) {
            visit::visit_item_mod(self, item);
        }
    }
    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        self.unroll(&item.tree, Vec::new());
    }
    fn visit_path(&mut self, path: &'ast syn::Path) {
        let whole = path.segments.iter().map(|s| s.ident.to_string()).collect();
        self.0.push(whole);
        visit::visit_path(self, path);
    }
    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        self.tokens(call.tokens.clone());
        visit::visit_macro(self, call);
    }
}

/// The module a file is, from the crate's root: `["store", "quotes"]`.
fn module_of(relative: &Path) -> Vec<String> {
    let mut module: Vec<String> = relative
        .with_extension("")
        .components()
        .map(|c| c.as_os_str().to_string_lossy().into_owned())
        .collect();
    if module.last().is_some_and(|last| last == "mod") {
        module.pop();
    }
    module
}

/// The path from the crate's root, without `crate`, `self` and `super`. `None` for
/// paths that do not say where they start: those of other crates, and names already in scope.
fn absolute(module: &[String], path: &[String]) -> Option<Vec<String>> {
    let mut base = match path.first().map(String::as_str)? {
        "crate" | "borewright" => Vec::new(),
        "self" => module.to_vec(),
        "super" => module.to_vec(),
        _ => return None,
    };
    let mut rest = path.to_vec();
    if matches!(
        rest.first().map(String::as_str),
        Some("crate" | "borewright" | "self")
    ) {
        rest.remove(0);
    }
    while rest.first().is_some_and(|s| s == "super") {
        rest.remove(0);
        base.pop();
    }
    base.extend(rest);
    Some(base)
}

fn contains(path: &[String], tail: &[&str]) -> bool {
    path.windows(tail.len()).any(|w| w == tail)
}

/// What is wrong in one file.
fn wrongs(relative: &Path, source: &str) -> Vec<String> {
    let module = module_of(relative);
    let paths = Paths::of(source).0;
    let mut wrongs = Vec::new();
    let room = module.first().map_or("", String::as_str);
    let written = |path: &[String]| path.join("::");
    if let Some(mine) = rank(room) {
        for path in &paths {
            if let Some(target) = absolute(&module, path)
                && let Some(theirs) = target.first().and_then(|r| rank(r))
                && theirs < mine
            {
                wrongs.push(format!("imports upward: {}", written(path)));
            }
        }
    }
    if PURE.contains(&room) {
        for path in &paths {
            let first = path.first().map_or("", String::as_str);
            let impure = matches!(first, "sqlx" | "actix_web" | "maud" | "tokio" | "reqwest")
                || contains(path, &["Utc", "now"])
                || contains(path, &["Local", "now"])
                || contains(path, &["SystemTime"])
                || contains(path, &["Instant", "now"])
                || contains(path, &["rand", "rng"])
                || contains(path, &["rand", "random"])
                || contains(path, &["Uuid", "now_v7"])
                || contains(path, &["Uuid", "new_v4"])
                || contains(path, &["std", "fs"])
                || contains(path, &["std", "env"]);
            if impure {
                wrongs.push(format!("is not pure: {}", written(path)));
            }
        }
    }
    if room != "store" {
        for path in &paths {
            let last = path.last().map_or("", String::as_str);
            let of_sqlx = path.first().is_some_and(|f| f == "sqlx");
            let sql = of_sqlx && (last.starts_with("query") || last == "raw_sql")
                || path.len() == 1
                    && matches!(last, "query_as" | "query_scalar" | "query_file" | "raw_sql");
            if sql {
                wrongs.push(format!("writes SQL: {}", written(path)));
            }
        }
    }
    wrongs.sort();
    wrongs.dedup();
    wrongs
}

/// The modules that a file declares for its unit tests and keeps in files of their own.
fn test_files(relative: &Path, source: &str) -> Vec<Vec<String>> {
    let items = syn::parse_file(source).unwrap().items;
    let declared = items.into_iter().filter_map(|item| match item {
        syn::Item::Mod(module) if module.content.is_none() && is_test(&module) => {
            Some(module.ident.to_string())
        }
        _ => None,
    });
    declared
        .map(|name| [module_of(relative), vec![name]].concat())
        .collect()
}

fn sources(dir: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn imports_run_downward_and_domain_rooms_are_pure() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    let read: BTreeMap<PathBuf, String> = files
        .into_iter()
        .map(|file| {
            let source = std::fs::read_to_string(&file).unwrap();
            (file.strip_prefix(&root).unwrap().to_owned(), source)
        })
        .collect();
    let tests: Vec<Vec<String>> = read
        .iter()
        .flat_map(|(file, source)| test_files(file, source))
        .collect();
    let found: BTreeMap<_, _> = read
        .iter()
        .filter(|(file, _)| !tests.contains(&module_of(file)))
        .map(|(file, source)| (file, wrongs(file, source)))
        .filter(|(_, wrongs)| !wrongs.is_empty())
        .collect();
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn the_rules_bite() {
    let check = |file: &str, source: &str| wrongs(Path::new(file), source);
    let upward = "imports upward";
    for (file, source, expected) in [
        ("units/money.rs", "use crate::db::ShopTx;", upward),
        (
            "castings/mod.rs",
            "use crate::{units::Length, estimating::Route};",
            upward,
        ),
        (
            "castings/mod.rs",
            "fn f() { super::planning::go() }",
            upward,
        ),
        ("planning/a/b.rs", "use super::super::super::web;", upward),
        ("store/jobs.rs", "fn f(x: &crate::web::ui::Page) {}", upward),
        (
            "store/jobs.rs",
            "fn f() { println!(\"{}\", crate::web::ui::page()); }",
            upward,
        ),
        (
            "enquiry/mod.rs",
            "fn f() { let _ = chrono::Utc::now(); }",
            "not pure",
        ),
        ("planning/mod.rs", "use std::time::SystemTime;", "not pure"),
        (
            "sourcing/mod.rs",
            "fn f() { let mut r = rand::rng(); }",
            "not pure",
        ),
        ("units/mod.rs", "use actix_web::web;", "not pure"),
        (
            "web/jobs.rs",
            "fn f() { sqlx::query!(\"select 1\"); }",
            "writes SQL",
        ),
        ("web/jobs.rs", "use sqlx::query_scalar;", "writes SQL"),
        (
            "demo/mod.rs",
            "fn f() { sqlx::raw_sql(\"x\"); }",
            "writes SQL",
        ),
        (
            "main.rs",
            "fn f() { query_as!(X, \"select 1\"); }",
            "writes SQL",
        ),
    ] {
        let wrong = check(file, source);
        assert!(
            wrong.iter().any(|w| w.contains(expected)),
            "{file}: {source} should be found: {wrong:?}"
        );
    }
    for (file, source) in [
        (
            "store/jobs.rs",
            "use crate::estimating::Route; fn f() { sqlx::query!(\"x\"); }",
        ),
        (
            "web/jobs.rs",
            "use crate::db::jobs; fn f(q: web::Query<X>) { let query = 1; req.query_string(); }",
        ),
        (
            "castings/a.rs",
            "use super::Feature; use crate::units::Length; mod tests { use super::super::x; }",
        ),
        (
            "enquiry/mod.rs",
            "fn f(now: DateTime<Utc>, rng: &mut impl rand::Rng) {}",
        ),
    ] {
        assert_eq!(
            check(file, source),
            Vec::<String>::new(),
            "{file}: {source}"
        );
    }
}
