//! Shop files: what is read, and what is refused by its name.

use super::super::sample::Sample;
use super::*;
use crate::planning::engine::{model::validator::validate, solve::first_plan};

/// The example of this page, as a file.
fn example() -> String {
    let page = include_str!("mod.rs");
    let lines = page
        .lines()
        .skip_while(|l| *l != "//! ```json")
        .skip(1)
        .take_while(|l| *l != "//! ```");
    lines
        .map(|l| l.trim_start_matches("//!"))
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn the_example_is_read_and_planned() {
    let model = ShopFile::read(&example()).unwrap().model().unwrap();
    let plan = first_plan(&model).unwrap();
    assert!(
        validate(&model, &plan).is_empty(),
        "{:?}",
        validate(&model, &plan)
    );
    // Rear face is on the table: 5 + 45 attended from 08:00, 45 alone; then an hour's wait and three days away.
    let rows = planned(&model, &plan);
    assert_eq!(
        (
            rows[0].start,
            rows[0].setup,
            rows[0].attended_until,
            rows[0].end
        ),
        (480, 5, 530, 575)
    );
    assert_eq!((rows[1].start, rows[1].end), (635, 4955));
}

#[test]
fn a_model_survives_its_file() {
    let mut sample = Sample::week();
    sample.lags = 10;
    let model = sample.make(8, None);
    let text = serde_json::to_string(&ShopFile::of_model(&model)).unwrap();
    let again = ShopFile::read(&text).unwrap().model().unwrap();
    assert_eq!(first_plan(&model).unwrap(), first_plan(&again).unwrap());
}

#[test]
fn faults_are_named() {
    let fault = |from: &str, to: &str| {
        let text = example().replacen(from, to, 1);
        ShopFile::read(&text)
            .and_then(|f| f.model())
            .unwrap_err()
            .to_string()
    };
    assert!(fault("\"machine\": \"Mill\"", "\"machine\": \"Hone\"").contains("no machine Hone"));
    assert!(
        fault("\"skill\": \"milling\"", "\"skill\": \"honing\"")
            .contains("nobody has the skill honing")
    );
    assert!(fault("\"operation\": \"10\"", "\"operation\": \"15\"").contains("no operation 15"));
    assert!(fault("\"run\": 90", "\"run\": -90").contains("must not be negative"));
    assert!(fault("08:00", "8 o'clock").contains("not a shop file"));
}

/// What is said of the example with one text in it replaced by another.
fn fault(from: &str, to: &str) -> String {
    let text = example();
    assert!(text.contains(from), "{from}");
    ShopFile::read(&text.replacen(from, to, 1))
        .and_then(|f| f.model())
        .unwrap_err()
        .to_string()
}

#[test]
fn an_unknown_field_is_refused_by_its_name() {
    let holidays = "\"holidays\": [\"2026-12-25\"]";
    assert!(fault(holidays, "\"holliday\": []").contains("unknown field `holliday`"));
    let windows = "{ \"windows\"";
    assert!(
        fault(windows, "{ \"until_when\": 5, \"windows\"").contains("unknown field `until_when`")
    );
    assert!(
        fault(windows, "{ \"holidays\": [], \"windows\"")
            .contains("either windows alone, or shifts")
    );
    assert!(
        fault("\"day\": \"Mon\"", "\"day\": \"Mon\", \"break\": 30")
            .contains("unknown field `break`")
    );
    assert!(
        fault("\"until\": \"2027-01-01T00:00:00Z\", ", "").contains("shifts with zone and until")
    );
    assert!(fault("\"weight\": 2", "\"wait\": 2").contains("unknown field `wait`"));
}

#[test]
fn a_name_that_comes_twice_is_refused_by_its_name() {
    let mill = "{ \"name\": \"Mill\"";
    let twice = |what: &str| format!("{{ \"name\": \"{what}\" }}, ");
    assert_eq!(
        fault(mill, &(twice("Mill") + mill)),
        "machines: Mill is there twice"
    );
    let wyn = "{ \"name\": \"Wyn\"";
    assert_eq!(
        fault(wyn, &(twice("Wyn") + wyn)),
        "people: Wyn is there twice"
    );
    let job = "{\n     \"name\": \"101\"";
    let other = "{ \"name\": \"101\", \"operations\": [] }, ";
    assert_eq!(
        fault(job, &(other.to_owned() + job)),
        "jobs: 101 is there twice"
    );
    assert_eq!(
        fault("{ \"name\": \"20\"", "{ \"name\": \"10\""),
        "job 101: operations: 10 is there twice"
    );
    let on = "\"machines\": [{ \"machine\": \"Mill\"";
    let both = format!("{on}, \"run\": 5 }}, {{ \"machine\": \"Mill\"");
    assert_eq!(
        fault(on, &both),
        "job 101, operation 10: machines: Mill is there twice"
    );
    let change =
        "\"changeovers\": [{ \"from\": \"rear face\", \"to\": \"sump face\", \"minutes\": 20 }";
    let again =
        format!("{change}, {{ \"from\": \"rear face\", \"to\": \"sump face\", \"minutes\": 30 }}");
    assert_eq!(
        fault(change, &again),
        "changeovers: from rear face to sump face is there twice"
    );
    let short = "\"short\": {";
    let again = format!("\"short\": {{ \"windows\": [] }}, {short}");
    assert!(fault(short, &again).contains("there are two hours short"));
}

/// A date or a minute that no clock reaches is refused where it stands; far from the origin nothing is laid out.
#[test]
fn a_time_out_of_reach_is_refused() {
    let due = "\"due\": 2880";
    for beyond in [Minute::MIN, Minute::MAX, 100_000_001] {
        assert_eq!(
            fault(due, &format!("\"due\": {beyond}")),
            "job 101: its release or promise is too far away"
        );
    }
    let windows = "[480, 720]";
    for beyond in ["[720, 480]", "[480, 9223372036854775807]"] {
        assert!(fault(windows, beyond).contains("hours short: a window must end after it begins"));
    }
    let until = "\"until\": \"2027-01-01T00:00:00Z\"";
    let far = "\"until\": \"+200000-01-01T00:00:00Z\"";
    assert!(fault(until, far).contains("is not in the years 1970 to 2199"));
    assert!(fault("\"weight\": 2", "\"weight\": 1000001").contains("its weight must be 0 to"));
}

/// What was begun stays as it is, by whomever and whenever; what is pinned for later must be possible.
#[test]
fn pinned_work_must_be_possible_and_started_work_is_a_fact() {
    let fixed = |person: &str, start: Minute, until: Minute, end: Minute| {
        let key = "\"may_pause\": true";
        let fixed = format!(
            "{key}, \"fixed\": {{ \"machine\": \"Mill\", \"person\": \"{person}\", \"start\": {start}, \
             \"attended_until\": {until}, \"end\": {end} }}"
        );
        let other = "\"people\": [{ \"name\": \"Ines\" }, ";
        let text = example()
            .replacen(key, &fixed, 1)
            .replacen("\"people\": [", other, 1);
        ShopFile::read(&text).and_then(|f| f.model())
    };
    let why = |r: Result<Model, ModelError>| r.unwrap_err().to_string();
    // The mill works Monday and Tuesday from 480 and 1920 to 990 and 2430, Wyn from 480 and 1920 to 720 and 2160.
    assert!(fixed("Wyn", 500, 600, 660).is_ok());
    assert!(fixed("Wyn", 650, 2000, 2100).is_ok());
    assert_eq!(
        why(fixed("Ines", 500, 600, 660)),
        "job 101, operation 10: it is pinned to a person without the skill, or to nobody"
    );
    for (start, until, end) in [(100, 200, 300), (800, 2000, 2100), (500, 900, 950)] {
        assert_eq!(
            why(fixed("Wyn", start, until, end)).replace("machine", "person"),
            "job 101, operation 10: it is pinned to hours in which its person does not work"
        );
    }
    assert_eq!(
        why(fixed("Wyn", 650, 700, 1100)),
        "job 101, operation 10: it is pinned to hours in which its machine does not work"
    );
    for (person, start) in [("Ines", -30), ("Wyn", 0)] {
        let model = fixed(person, start, 30, 60).unwrap();
        let plan = first_plan(&model).unwrap();
        assert!(validate(&model, &plan).is_empty());
    }
}
