//! Whatever is typed, pasted or sent as a file is read or refused, and nothing panics; what is read is written back as it
//! was. Texts are made of the pieces each parser looks for, of anything at all, and of good texts with some bytes changed.

use borewright::castings::entry::{Column, draft, face, said};
use borewright::planning::engine::formats::classical::{read_flexible, read_instances};
use borewright::planning::engine::formats::sample::Sample;
use borewright::planning::engine::formats::shopfile::ShopFile;
use borewright::planning::ics::holidays;
use borewright::units::{
    Currency, DateOrder, Fit, Length, LengthUnit, Minutes, Money, Thread, table,
};
use borewright::web::ui::csv;
use chrono::NaiveDate;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use rust_decimal::Decimal;

/// What the parsers of short texts look for.
const PIECES: [&str; 64] = [
    "0",
    "1",
    "7",
    "12",
    "25.4",
    "0.5",
    ".5",
    "1/2",
    "3/8",
    "1/0",
    "99999999999999999999",
    "-",
    "−",
    "+",
    ".",
    ",",
    "/",
    " ",
    "  ",
    "\t",
    "\"",
    "''",
    "”",
    "½",
    "¾",
    "mm",
    "in",
    "inch",
    "thou",
    "M10",
    "M10x1.5",
    "x",
    "×",
    "UNC",
    "BSP",
    "G1/2",
    "1/4-20",
    "H7",
    "js6",
    "zz99",
    "h",
    "min",
    "1:30",
    ":",
    "£",
    "$",
    "€",
    "GBP",
    "JPY",
    "rear face",
    "dowel",
    "four of",
    "deep",
    "through",
    "c'bore",
    "3 Dec 2026",
    "2026-12-03",
    "31/2/26",
    "\u{0}",
    "\u{feff}",
    "Ø",
    "é",
    "🔧",
    "e9",
];

fn typed() -> impl Strategy<Value = String> {
    prop_oneof![
        8 => prop::collection::vec(select(PIECES.to_vec()), 0..8).prop_map(|parts| parts.concat()),
        2 => ".{0,40}",
        1 => "[0-9.,/ -]{0,40}",
    ]
}

/// A good text with some of its bytes changed, taken out or doubled.
fn damaged(good: String) -> impl Strategy<Value = Vec<u8>> {
    let changes = prop::collection::vec((any::<Index>(), any::<u8>(), 0..4_u8), 0..6);
    changes.prop_map(move |changes| {
        let mut bytes = good.clone().into_bytes();
        for (at, byte, how) in changes {
            if bytes.is_empty() {
                break;
            }
            let at = at.index(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => {
                    bytes.remove(at);
                }
                2 => bytes.insert(at, byte),
                _ => bytes.truncate(at),
            }
        }
        bytes
    })
}

fn currencies() -> impl Strategy<Value = Currency> {
    select(vec!["GBP", "JPY", "KWD", "EUR"]).prop_map(|code| Currency::from_code(code).unwrap())
}

fn shop_file() -> String {
    serde_json::to_string(&ShopFile::of_model(&Sample::small(3).make(7, None))).unwrap()
}

const HOLIDAYS: &str = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:1\r\n\
     DTSTART;VALUE=DATE:20261225\r\nDTEND;VALUE=DATE:20261227\r\nRRULE:FREQ=YEARLY;COUNT=3\r\nSUMMARY:Closed\r\n\
     END:VEVENT\r\nEND:VCALENDAR\r\n";

fn holidays_of(bytes: &[u8]) -> bool {
    let day = |year| NaiveDate::from_ymd_opt(year, 1, 1).unwrap();
    holidays::read(bytes, chrono_tz::Europe::London, day(2026), day(2028)).is_ok()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_is_typed_is_read_or_refused(text in typed(), currency in currencies()) {
        for unit in [LengthUnit::Mm, LengthUnit::Inch] {
            if let Ok(length) = Length::parse(&text, unit) {
                prop_assert_eq!(Length::parse(&length.entry(unit), unit).ok(), Some(length), "{:?}", text);
                prop_assert_eq!(length.to_string().parse::<Length>().ok(), Some(length), "{:?}", text);
            }
            let _ = said(&text, unit).is_ok();
            let _ = draft(table::rows(&text), &[], unit).is_sound();
        }
        if let Ok(money) = Money::parse(&text, currency) {
            let again = Money::parse(&money.amount().to_string(), currency);
            prop_assert_eq!(again.ok(), Some(money), "{:?}", text);
            prop_assert!(money.to_minor().is_ok(), "{:?}", text);
        }
        if let Ok(time) = Minutes::parse(&text) {
            prop_assert_eq!(Minutes::parse(&time.0.to_string()).ok(), Some(time), "{:?}", text);
        }
        if let Ok(thread) = text.parse::<Thread>() {
            prop_assert_eq!(thread.to_string().parse::<Thread>().ok(), Some(thread), "{:?}", text);
        }
        if let Ok(fit) = text.parse::<Fit>() {
            prop_assert_eq!(fit.to_string().parse::<Fit>().ok(), Some(fit), "{:?}", text);
        }
        for order in [DateOrder::DayFirst, DateOrder::MonthFirst] {
            if let Ok(day) = order.read(&text) {
                prop_assert_eq!(order.read(&day.to_string()).ok(), Some(day), "{:?}", text);
            }
        }
        let _ = (face(&text), Column::guess(&text), Currency::from_code(&text));
    }

    #[test]
    fn lengths_and_money_of_any_size_come_back_as_they_were(
        units in -99_999_999_i64..99_999_999, places in 0..5_u32, pence in -999_999_999_i64..999_999_999, currency in currencies(),
    ) {
        let mm = Decimal::new(units, places);
        if let Ok(length) = Length::parse(&format!("{mm} mm"), LengthUnit::Inch) {
            prop_assert_eq!(length.mm(), mm.normalize());
            for unit in [LengthUnit::Mm, LengthUnit::Inch] {
                prop_assert_eq!(Length::parse(&length.entry(unit), unit).ok(), Some(length));
            }
        }
        let money = Money::from_minor(pence, currency);
        prop_assert_eq!(money.to_minor(), Ok(pence));
        prop_assert_eq!(Money::parse(&money.amount().to_string(), currency).ok(), Some(money));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_table_that_goes_out_comes_in_as_it_was(
        rows in prop::collection::vec(prop::collection::vec("[a-z0-9 ,;\"é\n-]{0,12}", 3), 0..8)
    ) {
        let head = vec!["One".to_owned(), "Two".to_owned(), "Three".to_owned(), "Four".to_owned()];
        // Cells are trimmed when they are read, and one that begins a formula gets an apostrophe when it is written.
        let rows = rows.into_iter().map(|row| {
            let cells = row.into_iter().map(|cell| format!("x{}", cell.trim_end()).trim().to_owned());
            std::iter::once("first".to_owned()).chain(cells).collect::<Vec<_>>()
        });
        let rows: Vec<Vec<String>> = std::iter::once(head).chain(rows).collect();
        prop_assert_eq!(table::rows(&csv::text(rows.clone())), rows);
    }

    #[test]
    fn a_damaged_table_calendar_or_set_of_jobs_is_read_or_refused(
        table_text in damaged("Name,Note\r\n\"Hale; \"\"Son\"\"\",\"two\nlines\"\r\nx,y\r\n".to_owned()),
        calendar in damaged(HOLIDAYS.to_owned()),
        jobs in damaged("2 3 2\n3 1 1 5 2 1 4 2 3 1 2 7\n2 1 3 2 1 1 9\n".to_owned()),
        instances in damaged(r#"{"x": {"duration_matrix": [[1, 2], [3, 4]], "machines_matrix": [[0, 1], [1, 0]], "metadata": {}}}"#.to_owned()),
    ) {
        let _ = table::rows(&String::from_utf8_lossy(&table_text));
        let _ = holidays_of(&calendar);
        let _ = read_flexible(&String::from_utf8_lossy(&jobs)).is_ok();
        let _ = read_instances(&String::from_utf8_lossy(&instances)).is_ok();
    }

    #[test]
    fn a_damaged_shop_file_is_read_or_refused(bytes in damaged(shop_file())) {
        if let Ok(file) = ShopFile::read(&String::from_utf8_lossy(&bytes)) {
            let _ = file.model().is_ok();
        }
    }

    #[test]
    fn a_feature_said_in_full_is_the_one_that_is_read(
        count in 1..13_u32, thread in select(vec!["M6x1", "M8x1.25", "M10x1.5", "M12x1.75"]), deep in 5..60_u32,
    ) {
        let line = format!("rear face, {count} of {thread} x {deep} deep");
        let said = said(&line, LengthUnit::Mm);
        prop_assert!(said.is_ok(), "{line}: {said:?}");
        let said = said.unwrap();
        prop_assert_eq!(said.count, Some(count));
        prop_assert_eq!(said.thread, Some(thread.parse::<Thread>().unwrap()));
        prop_assert_eq!(said.face, face("rear face"));
    }
}

/// A shop file with its setup keys numbered as they come: their numbers mean nothing, only which are the same.
fn keys_in_order(file: &str) -> String {
    let mut met: Vec<&str> = Vec::new();
    let mut parts = file.split("\"key ");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (number, rest) = part.split_once('"').unwrap();
        let at = met
            .iter()
            .position(|one| *one == number)
            .unwrap_or(met.len());
        if at == met.len() {
            met.push(number);
        }
        out.push_str(&format!("\"key {at}\"{rest}"));
    }
    out
}

#[test]
fn the_good_texts_are_good_before_they_are_damaged() {
    assert!(holidays_of(HOLIDAYS.as_bytes()));
    assert!(read_flexible("2 3 2\n3 1 1 5 2 1 4 2 3 1 2 7\n2 1 3 2 1 1 9\n").is_ok());
    // A shop file that is written is the one that is read.
    for seed in [1, 2, 3] {
        let model = Sample::small(4).make(seed, None);
        let file = serde_json::to_string(&ShopFile::of_model(&model)).unwrap();
        let again = ShopFile::read(&file).unwrap().model().unwrap();
        let written = serde_json::to_string(&ShopFile::of_model(&again)).unwrap();
        assert_eq!(keys_in_order(&written), keys_in_order(&file));
    }
}
