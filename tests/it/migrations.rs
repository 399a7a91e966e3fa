//! Migrations are frozen once they are on the main branch: a database out there has already run them.

use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::Path;

/// File name to SHA-256 in hex, as `sha256sum` writes them.
type Sums = BTreeMap<String, String>;

fn listed(text: &str) -> Sums {
    text.lines()
        .filter_map(|line| line.split_once("  "))
        .map(|(sum, name)| (name.to_owned(), sum.to_owned()))
        .collect()
}

fn on_disk(folder: &Path) -> Sums {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "sql"))
        .map(|path| {
            let hash = Sha256::digest(std::fs::read(&path).unwrap());
            let sum = hash.iter().map(|byte| format!("{byte:02x}")).collect();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, sum)
        })
        .collect()
}

/// What is wrong between the list and the folder, one sentence for each file.
fn wrongs(listed: &Sums, on_disk: &Sums) -> Vec<String> {
    let mut wrongs = Vec::new();
    for (name, sum) in listed {
        match on_disk.get(name) {
            None => wrongs.push(format!("{name} was removed or renamed; restore it")),
            Some(now) if now != sum => wrongs.push(format!(
                "{name} was changed; restore it and write a new migration"
            )),
            Some(_) => {}
        }
    }
    let last = listed.keys().next_back();
    for name in on_disk.keys().filter(|name| !listed.contains_key(*name)) {
        if last.is_some_and(|last| name < last) {
            wrongs.push(format!("{name} is new but sorts before a frozen one"));
        } else {
            wrongs.push(format!("{name} is not frozen yet; run make freeze"));
        }
    }
    wrongs
}

#[test]
fn migrations_are_as_they_were_frozen() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let list = std::fs::read_to_string(folder.join("checksums.sha256")).unwrap();
    let wrongs = wrongs(&listed(&list), &on_disk(&folder));
    assert!(wrongs.is_empty(), "{wrongs:#?}");
}

#[test]
fn a_changed_removed_or_unlisted_migration_is_found() {
    let list = listed("aa  0001_a.sql\nbb  0002_b.sql\n");
    let now = |sums: &[(&str, &str)]| -> Sums {
        sums.iter()
            .map(|(name, sum)| ((*name).to_owned(), (*sum).to_owned()))
            .collect()
    };
    let found = |sums: &[(&str, &str)]| wrongs(&list, &now(sums)).join("; ");
    let (a, b) = (("0001_a.sql", "aa"), ("0002_b.sql", "bb"));
    assert_eq!(found(&[a, b]), "");
    assert!(found(&[a, ("0002_b.sql", "cc")]).contains("0002_b.sql was changed"));
    assert!(found(&[b]).contains("0001_a.sql was removed"));
    assert!(found(&[a, b, ("0003_c.sql", "cc")]).contains("make freeze"));
    assert!(found(&[a, ("0001_x.sql", "cc"), b]).contains("sorts before"));
}
