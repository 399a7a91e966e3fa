//! Migrations are frozen once they are on the main branch: a database out there has already run them.

use crate::bench_store::checked_job;
use crate::support::TestDatabase;
use borewright::db::jobs;
use borewright::estimating::{Check, CheckKind, Gauge};
use rust_decimal::{Decimal, dec};
use serde_json::json;
use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, query, raw_sql};
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

/// Sentences as shops have written them, and what the one migration that reads them makes of each: kind, nominal,
/// smallest, largest, unit.
#[tokio::test]
async fn limits_that_were_sentences_become_numbers_once() {
    type Read = (
        CheckKind,
        Option<Decimal>,
        Option<Decimal>,
        Option<Decimal>,
        &'static str,
    );
    let judged: Read = (CheckKind::YesNo, None, None, None, "");
    let two_sided = |nominal, lower, upper| {
        let limits = (Some(lower), Some(upper));
        (CheckKind::TwoSided, nominal, limits.0, limits.1, "mm")
    };
    let most = |upper, unit| (CheckKind::OneSided, None, None, Some(upper), unit);
    let cases: [(&str, Read); 17] = [
        (
            "12 H7: 12.000 to 12.018 mm",
            (
                CheckKind::Range,
                Some(dec!(12)),
                Some(dec!(12)),
                Some(dec!(12.018)),
                "mm",
            ),
        ),
        (
            "2.5 to 3 bar",
            (
                CheckKind::Range,
                None,
                Some(dec!(2.5)),
                Some(dec!(3)),
                "bar",
            ),
        ),
        (
            "within 0.05 mm (about 2 thou)",
            two_sided(None, dec!(-0.05), dec!(0.05)),
        ),
        (
            "about 0.05 mm (2 thou)",
            two_sided(Some(dec!(0.05)), dec!(0.04), dec!(0.06)),
        ),
        (
            "about 0.10 mm (4 thou)",
            two_sided(Some(dec!(0.10)), dec!(0.08), dec!(0.13)),
        ),
        (
            "about 0.2 mm",
            two_sided(Some(dec!(0.2)), dec!(0.15), dec!(0.25)),
        ),
        (
            "must not admit a 0.038 mm (1.5 thou) feeler",
            most(dec!(0.037), "mm"),
        ),
        (
            "0.05 mm (2 thou) total indicator reading at most",
            most(dec!(0.05), "mm"),
        ),
        ("at most 40 °C", most(dec!(40), "°C")),
        ("no more than 0.1 mm", most(dec!(0.1), "mm")),
        (
            "at least 1.2 Nm",
            (CheckKind::OneSided, None, Some(dec!(1.2)), None, "Nm"),
        ),
        ("", (CheckKind::Fit, None, None, None, "")),
        ("test bar turns by hand", judged),
        ("to the maker's housing limits", judged),
        ("3 to 2 mm", judged),
        ("within what the wanted variant can be made from", judged),
        ("12 Z9: look the limits up; it is not in the table", judged),
    ];
    let database = TestDatabase::new().await;
    let shop = database.shop("limits").await;
    let mut tx = shop.begin().await;
    let (_, [operation, _]) = checked_job(&mut tx).await;
    tx.commit().await.unwrap();
    let old: Vec<_> = (cases.iter())
        .map(|(limits, _)| json!({"what": "Gap", "limits": limits, "instrument": "plug gauge"}))
        .collect();
    let mut owner = database.owner().await;
    query("update job_operation set planned = jsonb_set(planned, '{checks}', $1) where id = $2")
        .bind(json!(old))
        .bind(operation)
        .execute(&mut owner)
        .await
        .unwrap();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations/0030_limits_as_data.sql");
    let text = std::fs::read_to_string(file).unwrap();
    let again = text.replace(
        "alter table check_result add readings jsonb not null default '[]';",
        "",
    );
    raw_sql(AssertSqlSafe(again))
        .execute(&mut owner)
        .await
        .unwrap();

    let mut tx = shop.begin().await;
    let (_, read) = jobs::operation(&mut tx, operation).await.unwrap();
    let checks: &[Check] = &read.planned.checks;
    assert_eq!(checks.len(), cases.len());
    for (check, (words, wanted)) in checks.iter().zip(cases) {
        let found = (
            check.kind,
            check.nominal,
            check.lower,
            check.upper,
            check.unit.as_str(),
        );
        assert_eq!(found, wanted, "{words}");
        assert_eq!(check.fault(), None, "{words}");
        if wanted == judged {
            assert_eq!(check.limits_in_words(), words, "kept word for word");
        }
    }
    assert_eq!(
        (checks[0].fit.as_str(), checks[0].gauge),
        ("H7", Gauge::Plug)
    );
    assert_eq!(checks[6].gauge, Gauge::Feeler);
}
