//! What is said of every kind of option, in time and late, as it is spoken.

use super::answer::{Answer, Comparison, OptionKind, Outcome, SearchTerms, Terms};
use super::say;
use super::tests::{ask, gbp, knowledge, wish};
use super::wish::SearchLimits;
use crate::units::Money;
use chrono::NaiveDate;
use rust_decimal::dec;

const MARINE: &str = "Tarn 4/90 marine";

fn day(text: &str) -> Option<NaiveDate> {
    Some(text.parse().unwrap())
}

fn said(kind: OptionKind, terms: Terms, wanted: &str, late: bool) -> String {
    let answer = ask(&wish(), &knowledge());
    let mut option = answer.options[0].clone();
    option.kind = kind;
    option.key = "this".to_owned();
    let Outcome::Possible(figures) = &mut option.outcome else {
        panic!("the first option can be done")
    };
    figures.build_up.net = Money::new(dec!(1697.04), gbp(0).currency());
    figures.price.low = gbp(1430);
    figures.price.high = gbp(2913);
    figures.ready_day = day("2027-01-12");
    figures.ready.likely = Some("2027-01-04T12:00:00Z".parse().unwrap());
    figures.terms = terms;
    let mut answer = Answer {
        wanted: wanted.to_owned(),
        wanted_by: if late { day("2027-01-02") } else { None },
        options: vec![option],
        comparison: Some(Comparison {
            conversion: "this".to_owned(),
            cheaper_percent: 91,
            sooner_percent: Some(80),
            hunt_wins_below: None,
        }),
        recommended: Some("this".to_owned()),
        ..answer
    };
    say::fill_in(&mut answer, &knowledge());
    answer.sentence
}

fn sound(lost: i64) -> Terms {
    Terms::IfSound {
        lost: gbp(lost),
        sound_percent: 80,
    }
}

fn search(fee: i64, limits: SearchLimits) -> Terms {
    Terms::Search(SearchTerms {
        fee: gbp(fee),
        handling_percent: dec!(15),
        work: gbp(412),
        limits,
        found_percent: 70,
    })
}

#[test]
fn a_fixed_price_says_what_how_much_and_when() {
    assert_eq!(
        said(OptionKind::ConvertShelf, Terms::Fixed, MARINE, false),
        "We can make you a Tarn 4/90 marine out of a casting we have here for about £1,700 plus tax, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. Finding one would cost more 9 times out of 10."
    );
    assert_eq!(
        said(OptionKind::ConvertShelf, Terms::Fixed, "Ousel twin", true),
        "We can make you an Ousel twin out of a casting we have here for about £1,700 plus tax, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. That is ten days after you need it: can you wait?"
    );
    assert_eq!(
        said(OptionKind::Shelf, Terms::Fixed, MARINE, false),
        "We have a Tarn 4/90 marine here, and can let you have it for about £1,700 plus tax, ready by Tuesday 12 January. We keep a day like that 4 times out of 5."
    );
    assert_eq!(
        said(OptionKind::Inspect, Terms::Fixed, MARINE, false),
        "Bring your block in, and we clean, crack-test and measure it for about £1,700 plus tax, by Tuesday 12 January. Then I can tell you what it needs."
    );
}

#[test]
fn a_price_that_depends_on_the_casting_says_so() {
    assert_eq!(
        said(OptionKind::Shelf, sound(0), MARINE, false),
        "We have a Tarn 4/90 marine here, and can let you have it for about £1,700 plus tax if it passes the crack-test, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. If it doesn’t, it costs you nothing, and we look again."
    );
    assert_eq!(
        said(OptionKind::ConvertOwn, sound(140), MARINE, false),
        "We can make a Tarn 4/90 marine out of your own block for about £1,700 plus tax if it proves sound, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. If it doesn’t, the bill for inspecting it is about £140. Finding one would cost more 9 times out of 10."
    );
    assert_eq!(
        said(OptionKind::Repair, sound(140), MARINE, false),
        "We can put your own Tarn 4/90 marine right for about £1,700 plus tax if it proves sound, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. If it doesn’t, the bill for inspecting it is about £140."
    );
    assert_eq!(
        said(OptionKind::Offered, sound(1040), MARINE, false),
        "We know of a Tarn 4/90 marine for sale, and can get it for you for about £1,700 plus tax if it proves sound, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. If it doesn’t, the bill for buying and inspecting it is about £1,050."
    );
    assert_eq!(
        said(OptionKind::ConvertOffered, sound(500), MARINE, true),
        "We know of a more common casting for sale, and can make you a Tarn 4/90 marine out of it for about £1,700 plus tax if it proves sound, ready by Tuesday 12 January. We keep a day like that 4 times out of 5. If it doesn’t, the bill for buying and inspecting it is about £500. That is ten days after you need it: can you wait?"
    );
}

#[test]
fn searches_promise_nothing() {
    let free = SearchLimits::default();
    let bound = SearchLimits {
        most: Some(gbp(2500)),
        ends_on: day("2027-02-24"),
    };
    assert_eq!(
        said(OptionKind::Hunt, search(0, free), MARINE, false),
        "We can look for a Tarn 4/90 marine for you, but I can’t promise that we find one. In all it would likely come to between £1,450 and £2,900 plus tax, of which the work is about £410. Half of the time it would be ready by Monday 4 January. Converting one would cost less 9 times out of 10."
    );
    assert_eq!(
        said(
            OptionKind::ConvertBought,
            search(60, bound),
            "Ousel twin",
            false
        ),
        "We can look for a more common casting and make you an Ousel twin out of it, but I can’t promise that we find one. In all it would likely come to between £1,450 and £2,900 plus tax, of which the work is about £410. The search itself costs £60, whether or not it finds one. Half of the time it would be ready by Monday 4 January. We would stop at £2,500, and on Wednesday 24 February. Finding one would cost more 9 times out of 10."
    );
    // The day of which it is said how late it is, is the one that is said last.
    assert_eq!(
        said(OptionKind::Hunt, search(0, free), MARINE, true),
        "We can look for a Tarn 4/90 marine for you, but I can’t promise that we find one. In all it would likely come to between £1,450 and £2,900 plus tax, of which the work is about £410. Half of the time it would be ready by Monday 4 January. 4 times out of 5 it would be by Tuesday 12 January, ten days after you need it: can you wait?"
    );
}
