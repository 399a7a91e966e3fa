//! A textbook's figures, and that nothing is lost on the way.

use super::*;
use crate::units::Code;
use proptest::prelude::*;
use rust_decimal::dec;

/// OpenStax, Principles of Accounting, Volume 2: Managerial Accounting (2019), chapter 8.3, Connie's Candy, from memory:
/// for a box of candy a tenth of an hour at 8.00 an hour is allowed, and 0.12 hours were worked at 7.50. The rate
/// variance is 0.06 favourable, the time variance 0.16 unfavourable, both together 0.10 unfavourable.
#[test]
fn a_textbooks_labour_variances_come_out() {
    let box_of_candy = Figures::of(dec!(7.2), dec!(7.50), dec!(6), dec!(8.00));
    assert_eq!(box_of_candy.rate, dec!(-0.06));
    assert_eq!(box_of_candy.efficiency(), dec!(0.16));
    assert_eq!(box_of_candy.variance(), dec!(0.10));
}

fn label(key: u8) -> Arc<Label> {
    Arc::new(Label {
        key: key.to_string(),
        name: format!("Name {key}"),
    })
}

fn rows() -> impl Strategy<Value = Vec<Row>> {
    let row = (
        0_u8..3,
        0_u8..3,
        0_i64..500,
        0_i64..500,
        2_000_i64..6_000,
        500_i64..4_000,
        any::<bool>(),
    );
    proptest::collection::vec(row, 1..6).prop_map(|rows| {
        let made = rows.into_iter().map(
            |(person, machine, people, minutes, labour, rate, counts)| Row {
                person: label(person),
                machine: label(machine),
                day: NaiveDate::default(),
                people,
                machine_minutes: minutes,
                labour_rate: Decimal::new(labour, 2),
                machine_rate: Decimal::new(rate, 2),
                counts,
            },
        );
        made.collect()
    })
}

fn units() -> impl Strategy<Value = Vec<Unit>> {
    let unit = (rows(), 0_u8..4, 1_u32..7, 0_i64..90_000, 0_i64..90_000);
    proptest::collection::vec(unit, 1..12).prop_map(|units| {
        let made = units
            .into_iter()
            .map(|(rows, key, elements, people, machine)| Unit {
                operation: label(key),
                kind: label(key % 2),
                pattern: label(key % 3),
                customer: label(3 - key),
                job: label(key),
                number: 10,
                elements: (0..elements)
                    .map(|at| (label(at as u8), Decimal::ONE / Decimal::from(elements)))
                    .collect(),
                people_allowed: Decimal::new(people, 2),
                machine_allowed: Decimal::new(machine, 2),
                labour_standard: dec!(38),
                machine_standard: dec!(17.53),
                rows,
            });
        made.collect()
    })
}

proptest! {
    #[test]
    fn groups_sum_to_the_total_and_their_lines_to_them(units in units()) {
        let mut totals = Vec::new();
        for by in Grouping::ALL {
            let review = review(&units, *by);
            let mut sum = Figures::default();
            for group in &review.groups {
                sum += group.figures;
                let mut opened = Figures::default();
                for line in lines(&units, *by, &group.label.key) {
                    opened += line.figures;
                }
                prop_assert_eq!(opened, group.figures);
            }
            prop_assert_eq!(sum, review.total);
            totals.push(review.total);
        }
        prop_assert!(totals.windows(2).all(|pair| pair[0] == pair[1]));
    }

    #[test]
    fn rate_and_efficiency_are_the_whole_difference(units in units()) {
        for unit in &units {
            let mut allowed = Decimal::ZERO;
            for (row, figures) in unit.rows.iter().zip(unit.figures()) {
                let people = (Decimal::from(row.people) - figures.people_allowed) * unit.labour_standard / dec!(60);
                let machine = (Decimal::from(row.machine_minutes) - figures.machine_allowed) * unit.machine_standard / dec!(60);
                prop_assert!((figures.efficiency() - people - machine).abs() < dec!(0.000001));
                prop_assert_eq!(figures.rate + figures.efficiency(), figures.cost - figures.allowed_cost);
                allowed += figures.people_allowed;
            }
            prop_assert_eq!(allowed, unit.people_allowed);
        }
    }
}
