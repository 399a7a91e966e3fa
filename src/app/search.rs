//! Searches a shop: by a number, by words, by a telephone number. What has every word that was typed is found, of each kind
//! the open and the newest first.

use super::{Actor, AppError};
use crate::db::people::Role;
use crate::db::search::{self, Hit, Kind};
use crate::db::{ShopTx, customers};
use serde::Serialize;
use std::collections::{BTreeMap, HashSet};
use uuid::Uuid;

/// The most of each kind that are shown.
pub const SHOWN: usize = 8;
/// The most of each kind that are read, the newest.
const READ: usize = 50;
/// The longest search in words; more narrows nothing.
const WORDS: usize = 6;

/// What was found of a kind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Group {
    /// The kind.
    pub kind: Kind,
    /// The first of them.
    pub hits: Vec<Hit>,
    /// How many more there are, as far as was looked.
    pub more: usize,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
pub struct Found {
    /// By kind.
    pub groups: Vec<Group>,
    /// Words that nothing has; what is only spelt like them was looked for instead.
    pub near: Vec<String>,
}

/// Searches the shop of the actor. Enquiries, quotes and customers are the office's.
///
/// # Errors
/// [`AppError::Db`].
pub async fn search(actor: &Actor, typed: &str) -> Result<Found, AppError> {
    let kinds: Vec<Kind> = kinds(actor);
    let mut tx = actor.begin().await?;
    let mut found = Found::default();
    let mut by_kind: BTreeMap<Kind, Vec<(i64, Uuid)>> = BTreeMap::new();
    let (only, number) = numbered(typed);
    if let Some(number) = number {
        for row in search::numbered(&mut tx, number).await? {
            let wanted = kinds.contains(&row.kind) && only.is_none_or(|only| only == row.kind);
            if wanted {
                // Before whatever only has the number in its words.
                by_kind
                    .entry(row.kind)
                    .or_default()
                    .push((i64::MAX, row.id));
            }
        }
    }
    if only.is_none() {
        for (kind, row) in with_words(&mut tx, &kinds, typed, &mut found.near).await? {
            by_kind.entry(kind).or_default().push(row);
        }
        if kinds.contains(&Kind::Customer) {
            let limit = u32::try_from(READ).unwrap_or(u32::MAX);
            let customers = customers::find(&mut tx, typed, limit).await?;
            let of_customers = by_kind.entry(Kind::Customer).or_default();
            of_customers.extend(customers.into_iter().map(|c| (0, c.id)));
        }
    }
    for (kind, mut rows) in by_kind {
        rows.sort_unstable_by(|a, b| b.cmp(a));
        let mut seen = HashSet::new();
        rows.retain(|(_, id)| seen.insert(*id));
        let in_all = rows.len();
        let exact: HashSet<Uuid> = rows
            .iter()
            .filter(|row| row.0 == i64::MAX)
            .map(|row| row.1)
            .collect();
        let ids: Vec<Uuid> = rows.iter().take(READ).map(|row| row.1).collect();
        let mut hits = search::hits(&mut tx, &ids, i64::MAX).await?;
        hits.sort_by_key(|hit| !exact.contains(&hit.id));
        hits.truncate(SHOWN);
        if !hits.is_empty() {
            let more = in_all.saturating_sub(hits.len());
            found.groups.push(Group { kind, hits, more });
        }
    }
    Ok(found)
}

fn kinds(actor: &Actor) -> Vec<Kind> {
    use crate::units::Code;
    let office = actor.may(Role::Office);
    let all = Kind::ALL.iter().copied();
    all.filter(|kind| office || !matches!(kind, Kind::Quote | Kind::Enquiry | Kind::Customer))
        .collect()
}

/// A search for a number, alone or after the word of a kind: "214", "job 214".
fn numbered(typed: &str) -> (Option<Kind>, Option<i64>) {
    let words: Vec<String> = typed.split_whitespace().map(str::to_lowercase).collect();
    let number = |word: &str| word.trim_start_matches(['#', '№']).parse().ok();
    match words.as_slice() {
        [one] => (None, number(one)),
        [kind, one] => {
            let kind = match kind.as_str() {
                "job" => Kind::Job,
                "quote" => Kind::Quote,
                "enquiry" | "call" => Kind::Enquiry,
                "casting" => Kind::Casting,
                _ => return (None, None),
            };
            match number(one) {
                Some(number) => (Some(kind), Some(number)),
                None => (None, None),
            }
        }
        _ => (None, None),
    }
}

/// The rows that have every word, each with its number. The word that the fewest have is looked up first.
async fn with_words(
    tx: &mut ShopTx,
    kinds: &[Kind],
    typed: &str,
    near: &mut Vec<String>,
) -> Result<Vec<(Kind, (i64, Uuid))>, AppError> {
    let mut all = Vec::new();
    for chunk in chunks(typed) {
        let mut found = vec![(
            chunk.joined.clone(),
            search::terms(tx, &chunk.joined).await?,
        )];
        if chunk.parts.len() > 1 && found.iter().any(|(_, t)| t.near || t.words.is_empty()) {
            found.clear();
            for part in chunk.parts {
                let terms = search::terms(tx, &part).await?;
                found.push((part, terms));
            }
        }
        for (word, terms) in found {
            if terms.words.is_empty() {
                return Ok(Vec::new());
            }
            if terms.near {
                near.push(word);
            }
            let rows = search::count(tx, &terms.words, 4000).await?;
            all.push((rows, terms.words));
        }
    }
    all.sort();
    let mut words = all.into_iter();
    let Some((_, first)) = words.next() else {
        return Ok(Vec::new());
    };
    let mut rows = search::rows(tx, kinds, &first).await?;
    for (_, terms) in words {
        let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
        let left: HashSet<Uuid> = search::narrow(tx, &ids, &terms)
            .await?
            .into_iter()
            .collect();
        rows.retain(|row| left.contains(&row.id));
    }
    Ok(rows
        .into_iter()
        .map(|row| (row.kind, (row.number, row.id)))
        .collect())
}

/// What stands between two spaces: without its punctuation, and the parts that punctuation makes of it, as words are kept.
#[derive(Debug, PartialEq, Eq)]
struct Chunk {
    joined: String,
    parts: Vec<String>,
}

/// Words that say nothing, as they are left out where words are kept.
const SAY_NOTHING: [&str; 11] = [
    "the", "and", "for", "with", "of", "to", "in", "on", "at", "an", "is",
];

fn chunks(typed: &str) -> Vec<Chunk> {
    let says =
        |word: &str| (2..=40).contains(&word.chars().count()) && !SAY_NOTHING.contains(&word);
    let typed = typed.to_lowercase();
    let chunks = typed.split_whitespace().map(|chunk| Chunk {
        joined: chunk.chars().filter(|c| c.is_alphanumeric()).collect(),
        parts: chunk
            .split(|c: char| !c.is_alphanumeric())
            .filter(|part| says(part))
            .map(str::to_owned)
            .collect(),
    });
    chunks
        .filter(|chunk| says(&chunk.joined))
        .take(WORDS)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_is_one_word_and_its_parts() {
        let chunks = chunks("the T490-1187, 4/90 ☃");
        let joined: Vec<&str> = chunks.iter().map(|chunk| chunk.joined.as_str()).collect();
        assert_eq!(joined, ["t4901187", "490"]);
        assert_eq!(chunks[0].parts, ["t490", "1187"]);
        assert_eq!(chunks[1].parts, ["90"]);
    }

    #[test]
    fn a_number_is_looked_for_alone_or_after_its_kind() {
        assert_eq!(numbered("214"), (None, Some(214)));
        assert_eq!(numbered(" Job  #214 "), (Some(Kind::Job), Some(214)));
        assert_eq!(numbered("casting 7"), (Some(Kind::Casting), Some(7)));
        assert_eq!(numbered("tarn 4"), (None, None));
        assert_eq!(numbered("4/90"), (None, None));
    }
}
