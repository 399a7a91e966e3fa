//! The last that is taken and the first that is refused, and when standing work is done.

use super::*;
use crate::estimating::tests::standards;
use rust_decimal::dec;

fn element(code: &str) -> Element {
    let mut all = standards().into_iter();
    all.find(|e| e.code == code).unwrap()
}

#[test]
fn each_fault_is_beside_its_field() {
    let faults = |change: &dyn Fn(&mut Element)| {
        let mut changed = element("DOWEL-REAM");
        change(&mut changed);
        let faults = changed.faults().into_iter();
        faults.map(|(field, _)| field).collect::<Vec<_>>()
    };
    assert_eq!(faults(&|_| {}), [""; 0]);
    let material = |quantity, price| {
        move |e: &mut Element| {
            let price = Money::new(price, e.materials[0].price.currency());
            (e.materials[0].quantity, e.materials[0].price) = (quantity, price);
        }
    };
    assert_eq!(faults(&material(dec!(10000), dec!(1000000))), [""; 0]);
    assert_eq!(faults(&material(dec!(10001), dec!(1))), ["materials"]);
    assert_eq!(faults(&material(dec!(1), dec!(-0.01))), ["materials"]);
    assert_eq!(faults(&|e| e.materials[0].name.clear()), ["materials"]);
    assert_eq!(faults(&|e| e.checks[0].what.clear()), ["checks"]);
    let no_limits = |e: &mut Element| e.checks.push(Check::yes_no("Bore", "", ""));
    assert_eq!(faults(&no_limits), ["checks"]);
    assert_eq!(faults(&|e| e.cautions.push(" ".to_owned())), ["cautions"]);
    let cautions = |count: usize| move |e: &mut Element| e.cautions = vec!["Hot".to_owned(); count];
    assert_eq!(faults(&cautions(40)), [""; 0]);
    assert_eq!(faults(&cautions(41)), ["cautions"]);
}

/// Standing work in which a donor can fail comes before metal is cut; work that was asked for stays where it belongs.
#[test]
fn only_standing_work_that_can_fail_is_brought_forward() {
    let stage = |standing, can_fail| {
        let late = Element {
            stage: Stage::Check,
            standing,
            can_fail,
            ..element("CRACK-TEST")
        };
        late.place_in_order(&OrderOfWork::default())
    };
    assert_eq!(stage(Inclusion::EveryBlock, true), Stage::Inspect);
    assert_eq!(stage(Inclusion::Conversion, true), Stage::Inspect);
    assert_eq!(stage(Inclusion::Conversion, false), Stage::Check);
    assert_eq!(stage(Inclusion::Asked, true), Stage::Check);
}
