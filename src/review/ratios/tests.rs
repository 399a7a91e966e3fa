use super::sample::Shop;
use super::*;

fn found(evidence: &[Evidence]) -> Findings {
    infer(evidence, 1).unwrap()
}

/// How often the 90 % intervals of ratios hold what is true, over many invented shops, and how far off the ratios are in the
/// mean of their logarithms.
fn coverage(shop: &Shop, seeds: std::ops::Range<u64>) -> (f64, usize, f64) {
    let (mut within, mut all, mut off) = (0, 0, 0.0);
    for seed in seeds {
        let (evidence, truth) = shop.year(seed);
        for element in found(&evidence).elements {
            let [code] = element.codes.as_slice() else {
                continue;
            };
            let true_ratio = truth.ratio(element.part, code).unwrap();
            all += 1;
            off += (element.ratio.likely / true_ratio).ln();
            if (element.ratio.low..=element.ratio.high).contains(&true_ratio) {
                within += 1;
            }
        }
    }
    (f64::from(within) / all as f64, all, off / all as f64)
}

#[test]
fn nine_in_ten_intervals_hold_what_is_true() {
    let shop = Shop {
        jobs: 60,
        kinds: 5,
        ..Shop::default()
    };
    let (share, all, off) = coverage(&shop, 0..40);
    assert!((0.85..=0.95).contains(&share), "{share} of {all}");
    assert!(off.abs() < 0.01, "{off}");
}

#[derive(serde::Deserialize)]
struct Reference {
    single: Fitted,
    sums: Fitted,
}

#[derive(serde::Deserialize)]
struct Fitted {
    rows: Vec<Booked>,
    found: serde_json::Value,
}

#[derive(serde::Deserialize)]
struct Booked {
    job: u128,
    person: u128,
    month: i32,
    standard: std::collections::BTreeMap<String, f64>,
    minutes: f64,
}

impl Fitted {
    fn evidence(&self) -> Vec<Evidence> {
        let rows = self.rows.iter().zip(0..);
        rows.map(|(row, at)| Evidence {
            operation: Uuid::from_u128(at),
            job: Uuid::from_u128(row.job),
            part: Part::Run,
            minutes: row.minutes,
            expected: row.standard.clone().into_iter().collect(),
            people: vec![(Uuid::from_u128(row.person), 1.0)],
            period: row.month,
        })
        .collect()
    }

    fn said(&self, path: &str) -> f64 {
        self.found.pointer(path).unwrap().as_f64().unwrap()
    }
}

/// Bookings and what general libraries make of them: the file names them with their versions, and stands beside the script
/// that made it.
fn reference() -> Reference {
    serde_json::from_str(include_str!("../../../tests/reference/ratios.json")).unwrap()
}

/// With one element an operation and normal scatter the model is linear, and statsmodels fits it by the same principle. Its
/// figures are good to about four places: it maximises by steps.
#[test]
fn variances_and_effects_are_those_of_statsmodels() {
    let fitted = reference().single;
    let design = design::Design::new(&fitted.evidence());
    let effort = Effort {
        rounds: 5000,
        tolerance: 1e-9,
    };
    let mode = mode::mode(&design, None, effort).unwrap();
    let near = |ours: f64, path: &str, within: f64| {
        let theirs = fitted.said(path);
        assert!(
            (ours - theirs).abs() < within,
            "{path}: {ours} for {theirs}"
        );
    };
    let names = [
        (0, "element"),
        (2, "person"),
        (3, "month"),
        (design::JOB, "job"),
    ];
    for (at, name) in names {
        near(mode.variances.of[at], &format!("/variances/{name}"), 1e-4);
    }
    near(mode.variances.scatter, "/scatter", 1e-4);
    near(mode.values[design.groups[0].mean], "/mean", 1e-3);
    for group in &design.groups {
        let path = format!("/effects/element/{}", group.codes[0]);
        near(mode.values[group.column], &path, 1e-3);
    }
    for (job, effect) in mode.jobs.iter().enumerate() {
        near(*effect, &format!("/effects/job/{job}"), 1e-3);
    }
    // And the draws, with their tails and priors, tell the same story of the ratios that are given out.
    let rows = || {
        fitted
            .rows
            .iter()
            .map(|r| (r, r.standard.iter().next().unwrap()))
    };
    let effect = |kind: &str, key: String| fitted.said(&format!("/effects/{kind}/{key}")).exp();
    let half = (fitted.said("/variances/job") + fitted.said("/scatter")) / 2.0;
    let months: f64 = rows()
        .map(|(r, (_, m))| m * effect("month", r.month.to_string()))
        .sum();
    let months = months / rows().map(|(_, (_, m))| m).sum::<f64>();
    for element in &found(&fitted.evidence()).elements {
        let code = &element.codes[0];
        let mine = || rows().filter(|(_, (c, _))| *c == code);
        let people: f64 = mine()
            .map(|(r, (_, m))| m * effect("person", r.person.to_string()))
            .sum();
        let people = people / mine().map(|(_, (_, m))| m).sum::<f64>();
        let theirs =
            (fitted.said("/mean") + half).exp() * effect("element", code.clone()) * people * months;
        let off = element.ratio.likely / theirs - 1.0;
        assert!(off.abs() < 0.03, "{code}: {off}");
    }
}

/// Operations of several elements, where the logarithm of a sum is not linear: the mode is that of a general minimiser on the
/// model as it is written.
#[test]
fn the_mode_of_sums_is_that_of_a_general_minimiser() {
    let fitted = reference().sums;
    let design = design::Design::new(&fitted.evidence());
    let given = |name: &str| fitted.said(&format!("/variances/{name}"));
    let variances = system::Variances {
        of: [
            given("element"),
            1.0,
            given("person"),
            given("month"),
            given("job"),
        ],
        scatter: given("scatter"),
    };
    let weights = vec![1.0; design.rows.len()];
    let mut values = vec![0.0; design.kinds.len()];
    for _ in 0..30 {
        let system = system::System::new(&design, &values);
        values = system.solve(&weights, &variances).unwrap().values;
    }
    let ratios = design.log_ratios(&values);
    for (group, ours) in design.groups.iter().zip(ratios) {
        let theirs = fitted.said(&format!("/elements/{}", group.codes[0]));
        assert!(
            (ours - theirs).abs() < 1e-5,
            "{:?}: {ours} for {theirs}",
            group.codes
        );
    }
}

#[test]
fn one_forgotten_clock_moves_no_standard() {
    let (mut evidence, _) = Shop {
        forgotten: 0.0,
        ..Shop::default()
    }
    .year(5);
    let before = found(&evidence);
    let at = evidence.iter().position(|e| e.part == Part::Run).unwrap();
    evidence[at].minutes *= 20.0;
    let after = found(&evidence);
    assert!(after.odd > before.odd);
    for (a, b) in before.elements.iter().zip(&after.elements) {
        let moved = b.ratio.likely / a.ratio.likely - 1.0;
        assert!(moved.abs() < 0.03, "{:?} {:?}: {moved}", a.codes, a.part);
    }
}

/// Half the standards, twice the ratios; and evidence is evidence in whichever order it comes.
#[test]
fn ratios_scale_and_order_does_not_matter() {
    let (evidence, _) = Shop {
        jobs: 40,
        ..Shop::default()
    }
    .year(8);
    let whole = found(&evidence);
    let mut halves = evidence.clone();
    for (_, minutes) in halves.iter_mut().flat_map(|e| &mut e.expected) {
        *minutes /= 2.0;
    }
    for (a, b) in whole.elements.iter().zip(found(&halves).elements) {
        assert_eq!(
            (&a.codes, a.part, a.operations),
            (&b.codes, b.part, b.operations)
        );
        for (a, b) in [(a.ratio.low, b.ratio.low), (a.ratio.likely, b.ratio.likely)] {
            assert!((b / a / 2.0 - 1.0).abs() < 1e-3, "{a} {b}");
        }
    }
    let mut turned = evidence;
    turned.reverse();
    for e in &mut turned {
        e.expected.reverse();
    }
    assert_eq!(found(&turned), whole);
}

/// Two elements that are always done together in the same proportion have one figure between them; a third that is done with
/// them now and then has its own.
#[test]
fn what_is_always_done_together_is_not_told_apart() {
    let evidence: Vec<Evidence> = (0..30)
        .map(|n: u32| {
            let mut expected = vec![("DRILL".to_owned(), 20.0), ("TAP".to_owned(), 30.0)];
            if n.is_multiple_of(3) {
                expected.push(("DOWEL".to_owned(), 25.0));
            }
            let whole: f64 = expected.iter().map(|(_, m)| m).sum();
            Evidence {
                operation: Uuid::from_u128(u128::from(n)),
                job: Uuid::from_u128(u128::from(n / 2)),
                part: Part::Run,
                minutes: whole * (1.2 + 0.1 * f64::from(n % 5)),
                expected,
                people: Vec::new(),
                period: 1,
            }
        })
        .collect();
    let found = found(&evidence);
    let codes: Vec<_> = found.elements.iter().map(|e| e.codes.join("+")).collect();
    assert_eq!(codes, ["DOWEL", "DRILL+TAP"]);
    assert_eq!(found.elements[1].operations, 30);
    assert!((1.3..1.5).contains(&found.elements[1].ratio.likely));
    assert_eq!(infer(&evidence[..LEAST_ROWS - 1], 1), None);
}
