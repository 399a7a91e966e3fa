//! Files as other programs write them, and files as they should not be.

use super::*;
use chrono_tz::Europe::London;
use proptest::prelude::*;

fn d(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn file(events: &str) -> String {
    format!("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//test//EN\r\n{events}END:VCALENDAR\r\n")
}

fn event(lines: &str) -> String {
    format!(
        "BEGIN:VEVENT\r\n{}\r\nEND:VEVENT\r\n",
        lines.replace('\n', "\r\n")
    )
}

fn sheet(events: &str) -> Sheet {
    read(
        file(events).as_bytes(),
        London,
        d("2026-01-01"),
        d("2028-12-31"),
    )
    .unwrap()
}

fn days(events: &str) -> Vec<String> {
    let sheet = sheet(events);
    assert_eq!(sheet.left_out, []);
    sheet
        .days
        .iter()
        .map(|day| format!("{} {}", day.on, day.name))
        .collect()
}

fn refused(lines: &str) -> String {
    let sheet = sheet(&event(&format!("UID:1\nSUMMARY:A day\n{lines}")));
    assert_eq!(sheet.days, []);
    assert_eq!(sheet.left_out.len(), 1);
    sheet.left_out[0].why.clone()
}

#[test]
fn whole_days_one_or_several() {
    let one = event(
        "UID:1\nDTSTART;VALUE=DATE:20261225\nDTEND;VALUE=DATE:20261226\nSUMMARY:Christmas\\, the day",
    );
    assert_eq!(days(&one), ["2026-12-25 Christmas, the day"]);
    for lines in [
        "DTSTART;VALUE=DATE:20261228",
        "DTSTART:20261228\nDTEND:20261229",
        "DTSTART;VALUE=DATE:20261228\nDURATION:P1D",
        "DTSTART;VALUE=DATE:20261228\nDTEND;VALUE=DATE:20261228",
        "DTSTART:20261228T000000\nDTEND:20261229T000000",
        "DTSTART:20261228T000000Z\nDTEND:20261229T000000Z",
        "DTSTART;TZID=Europe/London:20261228T000000\nDTEND;TZID=Europe/London:20261229T000000",
        // Midnight in London in summer is 23:00 of the day before in UTC.
        "DTSTART;TZID=Europe/Paris:20261228T010000\nDTEND;TZID=Europe/Paris:20261229T010000",
    ] {
        let one = event(&format!("UID:1\nSUMMARY:Off\n{lines}"));
        assert_eq!(days(&one), ["2026-12-28 Off"], "{lines}");
    }
    let summer = event("UID:1\nSUMMARY:Off\nDTSTART:20260830T230000Z\nDTEND:20260831T230000Z");
    assert_eq!(days(&summer), ["2026-08-31 Off"]);
    let three = event(
        "UID:1\nSUMMARY:Works shutdown\nDTSTART;VALUE=DATE:20271230\nDTEND;VALUE=DATE:20280102",
    );
    assert_eq!(
        days(&three),
        [
            "2027-12-30 Works shutdown",
            "2027-12-31 Works shutdown",
            "2028-01-01 Works shutdown"
        ]
    );
}

#[test]
fn yearly_rules_are_expanded() {
    let every = |rule: &str| {
        days(&event(&format!(
            "UID:1\nSUMMARY:X\nDTSTART;VALUE=DATE:20200501\nRRULE:{rule}"
        )))
    };
    let may_day = ["2026-05-01 X", "2027-05-01 X", "2028-05-01 X"];
    assert_eq!(every("FREQ=YEARLY"), may_day);
    assert_eq!(every("FREQ=YEARLY;BYMONTH=5;BYMONTHDAY=1"), may_day);
    assert_eq!(every("FREQ=YEARLY;UNTIL=20270501"), may_day[..2]);
    assert_eq!(every("FREQ=YEARLY;COUNT=7"), may_day[..1]);
    // The early May bank holiday of England, the first Monday of May: 4 May 2026, 3 May 2027 and 1 May 2028
    // (from memory, and by the calendar).
    assert_eq!(
        every("FREQ=YEARLY;BYMONTH=5;BYDAY=1MO"),
        ["2026-05-04 X", "2027-05-03 X", "2028-05-01 X"]
    );
    // An old file goes on, and the last day looked at is one of them.
    let old =
        event("UID:1\nSUMMARY:New Year's Eve\nDTSTART;VALUE=DATE:19001231\nRRULE:FREQ=YEARLY");
    assert_eq!(days(&old).len(), 3);
    let leap = event("UID:1\nSUMMARY:Leap\nDTSTART;VALUE=DATE:20240229\nRRULE:FREQ=YEARLY");
    assert_eq!(days(&leap), ["2028-02-29 Leap"]);
    // Moved once, left out once, added once.
    let moved = [
        event("UID:7\nSUMMARY:Feast\nDTSTART;VALUE=DATE:20260601\nRRULE:FREQ=YEARLY\nEXDATE;VALUE=DATE:20280601\nRDATE;VALUE=DATE:20280605,20280606"),
        event("UID:7\nSUMMARY:Feast\nRECURRENCE-ID;VALUE=DATE:20270601\nDTSTART;VALUE=DATE:20270604"),
    ]
    .concat();
    assert_eq!(
        days(&moved),
        [
            "2026-06-01 Feast",
            "2027-06-04 Feast",
            "2028-06-05 Feast",
            "2028-06-06 Feast"
        ]
    );
}

#[test]
fn what_is_no_holiday_is_left_out_in_words() {
    for (lines, said) in [
        (
            "DTSTART:20261224T120000Z\nDTEND:20261224T170000Z",
            "begins at 12:00",
        ),
        ("DTSTART:20261224T000000", "not a whole day"),
        (
            "DTSTART;VALUE=DATE:20260105\nRRULE:FREQ=WEEKLY",
            "every week",
        ),
        (
            "DTSTART;VALUE=DATE:20260105\nRRULE:FREQ=MONTHLY;COUNT=2",
            "every month",
        ),
        (
            "DTSTART;VALUE=DATE:20260105\nRRULE:FREQ=YEARLY;BYMONTH=13",
            "does not read",
        ),
        (
            "DTSTART;VALUE=DATE:20260105\nRRULE:sometimes",
            "does not read",
        ),
        (
            "DTSTART;VALUE=DATE:20260105\nDTEND;VALUE=DATE:20260305",
            "lasts 59 days",
        ),
        (
            "DTSTART;VALUE=DATE:20260105\nDTEND;VALUE=DATE:20260101",
            "before it begins",
        ),
        ("DTSTART;VALUE=DATE:20261305", "do not read"),
        ("DTSTART;VALUE=DATE:20260105\nSTATUS:CANCELLED", "cancelled"),
        ("DTEND;VALUE=DATE:20260105", "does not say when"),
        ("DTSTART;VALUE=DATE:20260105\nRDATE:soon", "does not read"),
    ] {
        let why = refused(lines);
        assert!(why.contains(said), "{lines}: {why}");
    }
}

#[test]
fn a_day_counts_once_and_other_years_are_counted_only() {
    let two = [
        event("UID:1\nSUMMARY:Boxing Day\nDTSTART;VALUE=DATE:20261226"),
        event("UID:2\nSUMMARY:Saint Stephen\nDTSTART;VALUE=DATE:20261226"),
        event("UID:3\nSUMMARY:Boxing Day\nDTSTART;VALUE=DATE:20261226"),
        event("UID:4\nSUMMARY:Long ago\nDTSTART;VALUE=DATE:20191226"),
    ]
    .concat();
    let sheet = sheet(&two);
    assert_eq!(sheet.days.len(), 1);
    assert_eq!(sheet.again.len(), 1);
    assert_eq!(sheet.again[0].name, "Saint Stephen");
    assert_eq!(sheet.outside, 1);
}

#[test]
fn folded_lines_case_and_a_byte_order_mark_are_read() {
    let folded = event("UID:1\nSUMMARY:A very lo\n ng name\nDTSTART;VALUE=DATE:20261225");
    assert_eq!(days(&folded), ["2026-12-25 A very long name"]);
    let marked = format!("\u{feff}{}", file(&folded));
    let read = |text: &str| read(text.as_bytes(), London, d("2026-01-01"), d("2026-12-31"));
    assert_eq!(read(&marked).unwrap().days.len(), 1);
    assert_eq!(
        read(&file(&folded).replace("\r\n", "\n"))
            .unwrap()
            .days
            .len(),
        1
    );
}

#[test]
fn what_is_no_calendar_is_refused_in_words() {
    let read = |bytes: &[u8]| read(bytes, London, d("2026-01-01"), d("2026-12-31")).unwrap_err();
    assert_eq!(read(b""), ReadError::NotACalendar);
    assert_eq!(read(b"%PDF-1.7"), ReadError::NotACalendar);
    assert_eq!(read(&[0xff, 0xfe, 0x42]), ReadError::NotText);
    assert_eq!(read(&vec![b' '; LARGEST + 1]), ReadError::TooLarge);
    assert_eq!(read(file("").as_bytes()), ReadError::Empty);
    let whole = file(&event("UID:1\nDTSTART;VALUE=DATE:20261225"));
    let torn = &whole.as_bytes()[..whole.len() - 20];
    assert!(matches!(read(torn), ReadError::Malformed(_)));
    let crossed = "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nEND:VCALENDAR\r\n";
    assert!(matches!(read(crossed.as_bytes()), ReadError::Malformed(_)));
    let many = event("UID:1\nDTSTART:20261225").repeat(2_001);
    assert_eq!(read(file(&many).as_bytes()), ReadError::TooMany);
}

proptest! {
    /// Whatever stands in an entry, reading it ends, in days or in words.
    #[test]
    fn nothing_makes_it_stop(lines in "([A-Z-]{1,12}[:;=][A-Z0-9=;:,TZ+-]{0,30}\n){0,6}", start in "[0-9TZ]{0,16}", rule in "[A-Z=;0-9,-]{0,40}") {
        let one = event(&format!("DTSTART:{start}\nRRULE:FREQ=YEARLY;{rule}\n{}", lines.trim_end()));
        let _ = read(file(&one).as_bytes(), London, d("2026-01-01"), d("2028-12-31"));
    }
}
