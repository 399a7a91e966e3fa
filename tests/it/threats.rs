//! The threat model: every line of it names tests, and each of them is there.

use std::path::{Path, PathBuf};

const STRIDE: [&str; 6] = [
    "Spoofing",
    "Tampering",
    "Repudiation",
    "Information disclosure",
    "Denial of service",
    "Elevation of privilege",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The files in which a test of this name may stand: of the integration tests, or a unit test's module.
fn places(module: &[&str]) -> Vec<PathBuf> {
    let source = module
        .iter()
        .fold(root().join("src"), |p, part| p.join(part));
    let mut places = vec![
        source.with_extension("rs"),
        source.join("mod.rs"),
        source.join("tests.rs"),
    ];
    if let [file] = module {
        places.push(root().join("tests/it").join(file).with_extension("rs"));
    }
    places
}

/// Whether a file has a test of this name.
fn has_test(source: &str, name: &str) -> bool {
    source.match_indices(&format!("fn {name}(")).any(|(at, _)| {
        let before = source[..at].trim_end().trim_end_matches("async").trim_end();
        before
            .rsplit('\n')
            .next()
            .is_some_and(|line| line.contains("test"))
            && before.ends_with(']')
    })
}

fn is_there(test: &str) -> bool {
    let mut parts: Vec<&str> = test.split("::").collect();
    let Some(name) = parts.pop() else {
        return false;
    };
    places(&parts)
        .iter()
        .filter_map(|place| std::fs::read_to_string(place).ok())
        .any(|source| has_test(&source, name))
}

/// What is wrong with a threat model.
fn faults(text: &str) -> Vec<String> {
    let mut faults = Vec::new();
    for part in STRIDE {
        if !text.contains(&format!("\n## {part}")) {
            faults.push(format!("{part} is missing"));
        }
    }
    let rows = text.lines().filter(|line| {
        line.starts_with("| ") && !line.starts_with("| ---") && !line.starts_with("| threat")
    });
    for row in rows {
        let cells: Vec<&str> = row.trim_matches('|').split(" | ").collect();
        let [threat, _, tests] = cells.as_slice() else {
            faults.push(format!("no row of three: {row}"));
            continue;
        };
        let tests: Vec<&str> = tests.split('`').skip(1).step_by(2).collect();
        if tests.is_empty() {
            faults.push(format!("{threat}: no test"));
        }
        for test in tests {
            if !is_there(test) {
                faults.push(format!("{threat}: there is no test {test}"));
            }
        }
    }
    faults
}

#[test]
fn every_line_of_the_threat_model_names_a_test_that_is_there() {
    let text = std::fs::read_to_string(root().join("docs/threat-model.md")).unwrap();
    assert_eq!(faults(&text), [""; 0]);
    assert!(text.matches("\n| ").count() > 45);
    assert!(
        text.lines().count() < 130,
        "two pages, so that it is read whole"
    );
    // The check bites.
    let wrong = text
        .replace("web::nothing_is_open", "web::something_is_open")
        .replace("\n## Tampering", "\n## Else");
    assert_eq!(
        faults(&wrong),
        [
            "Tampering is missing",
            " no sign-in at all: there is no test web::something_is_open_but_the_way_in"
        ]
    );
    assert!(!is_there("threats::faults"), "a function that is no test");
    assert!(is_there(
        "threats::every_line_of_the_threat_model_names_a_test_that_is_there"
    ));
}
