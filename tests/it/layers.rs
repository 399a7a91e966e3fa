//! The layers: imports run downward only, also between the layers inside `web`; domain modules are pure; SQL stands in
//! `db` alone; files of different folders do not depend on each other in a circle.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use syn::visit::{self, Visit};

/// From the top layer to the lowest.
const LAYERS: [&str; 16] = [
    "web",
    "demo",
    "app",
    "db",
    "documents",
    "enquiry",
    "planning",
    "quality",
    "jobs",
    "shopfloor",
    "stock",
    "review",
    "sourcing",
    "estimating",
    "castings",
    "units",
];
/// From the top layer of `web` to its lowest. The screens and the JSON interface stand side by side.
const WEB_LAYERS: [&[&str]; 4] = [&["", "server"], &["screens", "api"], &["ui"], &["shell"]];
/// The first layer, from the top, without SQL, HTTP, a clock, or randomness that was not handed in.
const FIRST_PURE: &str = "documents";

fn rank(layer: &str) -> Option<usize> {
    LAYERS.iter().position(|l| *l == layer)
}

fn is_pure(layer: &str) -> bool {
    rank(layer) >= rank(FIRST_PURE)
}

/// The rank of a module inside `web`, by its second path segment.
fn web_rank(path: &[String]) -> Option<usize> {
    if path.first().is_none_or(|first| first != "web") {
        return None;
    }
    let second = path.get(1).map_or("", String::as_str);
    WEB_LAYERS.iter().position(|layer| layer.contains(&second))
}

fn web_upward(from: &[String], to: &[String]) -> bool {
    matches!((web_rank(from), web_rank(to)), (Some(from), Some(to)) if to < from)
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
    // Who may see an item is no dependency.
    fn visit_visibility(&mut self, _: &'ast syn::Visibility) {}
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

/// The module a file is, from the crate's root: `["db", "quotes"]`.
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
    let layer = module.first().map_or("", String::as_str);
    let written = |path: &[String]| path.join("::");
    if let Some(mine) = rank(layer) {
        for path in &paths {
            if let Some(target) = absolute(&module, path)
                && let Some(theirs) = target.first().and_then(|r| rank(r))
                && (theirs < mine || web_upward(&module, &target))
            {
                wrongs.push(format!("imports upward: {}", written(path)));
            }
        }
    }
    if is_pure(layer) {
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
    if layer != "db" {
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

/// Every source file of the crate with its text, without the files of unit tests.
fn read_sources() -> BTreeMap<PathBuf, String> {
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
    read.into_iter()
        .filter(|(file, _)| {
            let module = module_of(file);
            !tests.iter().any(|test| module.starts_with(test))
        })
        .collect()
}

#[test]
fn imports_run_downward_and_domain_modules_are_pure() {
    let found: BTreeMap<_, _> = read_sources()
        .into_iter()
        .map(|(file, source)| {
            let wrongs = wrongs(&file, &source);
            (file, wrongs)
        })
        .filter(|(_, wrongs)| !wrongs.is_empty())
        .collect();
    assert!(found.is_empty(), "{found:#?}");
}

/// What a file gives on under another path: the name here, and the whole path it stands for.
fn given_on(module: &[String], source: &str) -> BTreeMap<String, Vec<String>> {
    let mut given = BTreeMap::new();
    for item in syn::parse_file(source).unwrap().items {
        let syn::Item::Use(item) = item else { continue };
        if matches!(item.vis, syn::Visibility::Inherited) {
            continue;
        }
        let mut paths = Paths::default();
        paths.unroll(&item.tree, Vec::new());
        for path in paths.0 {
            // A path that does not say where it starts is one of a module declared here.
            let whole = absolute(module, &path).unwrap_or_else(|| [module, &path].concat());
            if let Some(name) = path.last() {
                given.insert(name.clone(), whole);
            }
        }
    }
    given
}

/// Which file holds what a path names, following what is given on. Both by their modules.
fn holder(
    path: &[String],
    given: &BTreeMap<Vec<String>, BTreeMap<String, Vec<String>>>,
    steps: usize,
) -> Option<Vec<String>> {
    let mut holder = path.to_vec();
    while !given.contains_key(&holder) {
        holder.pop()?;
        if holder.is_empty() {
            return None;
        }
    }
    let Some(next) = path.get(holder.len()) else {
        return Some(holder);
    };
    match given[&holder].get(next) {
        Some(whole) if steps > 0 && *whole != path => {
            let onward = [whole.as_slice(), &path[holder.len() + 1..]].concat();
            self::holder(&onward, given, steps - 1).or(Some(holder))
        }
        _ => Some(holder),
    }
}

/// Which modules each file depends on. Giving something on is no dependency of the file that does it.
fn dependencies(read: &BTreeMap<PathBuf, String>) -> BTreeMap<Vec<String>, BTreeSet<Vec<String>>> {
    let given: BTreeMap<Vec<String>, BTreeMap<String, Vec<String>>> = read
        .iter()
        .map(|(file, source)| (module_of(file), given_on(&module_of(file), source)))
        .collect();
    read.iter()
        .map(|(file, source)| {
            let module = module_of(file);
            let own: BTreeSet<Vec<String>> = Paths::of(source)
                .0
                .iter()
                .filter_map(|path| absolute(&module, path))
                .filter(|path| !given[&module].values().any(|whole| whole == path))
                .filter_map(|path| holder(&path, &given, 8))
                .filter(|holder| *holder != module)
                .collect();
            (module, own)
        })
        .collect()
}

/// The folder a module's file stands in.
fn folder(module: &[String], read: &BTreeMap<PathBuf, String>) -> Vec<String> {
    let nested = module.iter().collect::<PathBuf>().join("mod.rs");
    let depth = if read.contains_key(&nested) {
        module.len()
    } else {
        module.len() - 1
    };
    module[..depth].to_vec()
}

/// Circles of files that do not all stand in one folder, each by its modules.
fn circles(read: &BTreeMap<PathBuf, String>) -> Vec<Vec<String>> {
    let uses = dependencies(read);
    let reaches = |from: &Vec<String>| {
        let mut seen = BTreeSet::new();
        let mut open = vec![from.clone()];
        while let Some(module) = open.pop() {
            for next in uses.get(&module).into_iter().flatten() {
                if seen.insert(next.clone()) {
                    open.push(next.clone());
                }
            }
        }
        seen
    };
    let reach: BTreeMap<_, _> = uses.keys().map(|m| (m.clone(), reaches(m))).collect();
    let mut circles = BTreeSet::new();
    for (module, seen) in reach.iter().filter(|(m, seen)| seen.contains(*m)) {
        let circle: Vec<&Vec<String>> = seen
            .iter()
            .filter(|other| reach.get(*other).is_some_and(|back| back.contains(module)))
            .collect();
        let folders: BTreeSet<_> = circle.iter().map(|m| folder(m, read)).collect();
        if folders.len() > 1 {
            let mut names: Vec<String> = circle.iter().map(|m| m.join("::")).collect();
            names.sort();
            circles.insert(names);
        }
    }
    circles.into_iter().collect()
}

#[test]
fn files_of_different_folders_do_not_depend_on_each_other_in_a_circle() {
    let found = circles(&read_sources());
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn circles_are_found() {
    let read = |files: &[(&str, &str)]| {
        files
            .iter()
            .map(|(file, source)| (PathBuf::from(file), (*source).to_owned()))
            .collect()
    };
    let through_what_is_given_on = read(&[
        ("a/mod.rs", "mod x; pub use x::X;"),
        ("a/x.rs", "pub struct X(crate::b::y::Y);"),
        ("b/mod.rs", "pub mod y;"),
        ("b/y.rs", "use crate::a::X; pub struct Y;"),
    ]);
    assert_eq!(circles(&through_what_is_given_on), [["a::x", "b::y"]]);
    let in_one_folder = read(&[
        ("a/mod.rs", "mod x; mod y; pub use x::X; pub use y::Y;"),
        ("a/x.rs", "pub struct X(super::Y);"),
        ("a/y.rs", "pub struct Y(super::X);"),
    ]);
    assert_eq!(circles(&in_one_folder), Vec::<Vec<String>>::new());
    let downward = read(&[
        ("a/mod.rs", "mod x; pub use x::X;"),
        ("a/x.rs", "pub struct X(super::b::y::Y);"),
        ("a/b/mod.rs", "pub mod y;"),
        ("a/b/y.rs", "pub struct Y;"),
    ]);
    assert_eq!(circles(&downward), Vec::<Vec<String>>::new());
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
        ("db/jobs.rs", "fn f(x: &crate::web::ui::Page) {}", upward),
        (
            "db/jobs.rs",
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
            "web/screens/jobs.rs",
            "fn f() { sqlx::query!(\"select 1\"); }",
            "writes SQL",
        ),
        (
            "web/screens/jobs.rs",
            "use sqlx::query_scalar;",
            "writes SQL",
        ),
        (
            "demo/mod.rs",
            "fn f() { sqlx::raw_sql(\"x\"); }",
            "writes SQL",
        ),
        ("web/ui/page.rs", "use crate::web::screens::jobs;", upward),
        ("web/shell/gate.rs", "use super::super::ui::Page;", upward),
        (
            "web/screens/week/mod.rs",
            "use crate::web::server::Application;",
            upward,
        ),
        ("app/planner/mod.rs", "use crate::web::ui::Page;", upward),
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
            "db/jobs.rs",
            "use crate::estimating::Route; fn f() { sqlx::query!(\"x\"); }",
        ),
        (
            "web/screens/jobs.rs",
            "use crate::db::jobs; fn f(q: web::Query<X>) { let query = 1; req.query_string(); }",
        ),
        (
            "castings/a.rs",
            "use super::Feature; use crate::units::Length; mod tests { use super::super::x; }",
        ),
        (
            "web/api/jobs.rs",
            "use crate::web::ui::FormErrors; use crate::web::screens::jobs;",
        ),
        (
            "web/screens/jobs/mod.rs",
            "use crate::web::shell::device::Device;",
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

/// Longer files say at their head why they are.
const MOST_LINES: usize = 500;

#[test]
fn no_file_is_too_long_to_read_without_a_reason_at_its_head() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    let long: Vec<_> = files
        .into_iter()
        .filter(|file| {
            let source = std::fs::read_to_string(file).unwrap();
            let head: String = source.lines().take(12).collect();
            source.lines().count() > MOST_LINES
                && !head.contains(&format!("Longer than {MOST_LINES} lines because"))
        })
        .collect();
    assert!(long.is_empty(), "{long:#?}");
}

/// The text of every string literal of a file, without documentation, attributes and unit tests.
#[derive(Default)]
struct Texts(Vec<String>);

impl Texts {
    fn tokens(&mut self, tokens: proc_macro2::TokenStream) {
        for token in tokens {
            match token {
                proc_macro2::TokenTree::Group(group) => self.tokens(group.stream()),
                proc_macro2::TokenTree::Literal(literal) => {
                    if let Ok(text) = syn::parse_str::<syn::LitStr>(&literal.to_string()) {
                        self.0.push(text.value());
                    }
                }
                _ => {}
            }
        }
    }
}

impl<'ast> Visit<'ast> for Texts {
    fn visit_attribute(&mut self, _: &'ast syn::Attribute) {}
    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        if !is_test(module) {
            visit::visit_item_mod(self, module);
        }
    }
    fn visit_lit_str(&mut self, text: &'ast syn::LitStr) {
        self.0.push(text.value());
    }
    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        self.tokens(call.tokens.clone());
    }
}

/// Sentences for a person in a file: several words that begin with a capital and go on in small letters.
fn sentences(source: &str) -> Vec<String> {
    let mut texts = Texts::default();
    texts.visit_file(&syn::parse_file(source).unwrap());
    texts.0.retain(|text| {
        let mut letters = text.chars();
        letters.next().is_some_and(char::is_uppercase)
            && letters.next().is_some_and(char::is_lowercase)
            && text.contains(' ')
    });
    texts.0
}

#[test]
fn the_database_says_no_sentences() {
    let found: BTreeMap<_, _> = read_sources()
        .into_iter()
        .filter(|(file, _)| file.starts_with("db"))
        .map(|(file, source)| (file, sentences(&source)))
        .filter(|(_, sentences)| !sentences.is_empty())
        .collect();
    assert!(found.is_empty(), "{found:#?}");

    let said = r#"fn f() { g(format!("Job {n} is closed")); let _ = "It is out"; }"#;
    assert_eq!(sentences(said), ["Job {n} is closed", "It is out"]);
    let codes =
        r#"#[error("Ab c")] struct S; fn f() { q!("select A b"); g("this job", "UTC zone"); }"#;
    assert_eq!(sentences(codes), Vec::<String>::new());
}
