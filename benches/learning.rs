//! Whether what is learned from bookings is true as often as it is said to be, and how long learning takes.
//!
//! `cargo bench --bench learning -- 300` draws so many invented shops of each kind, infers their ratios from a year of
//! bookings, and prints how many of the 90 % intervals hold the true ratio, how far off the figures are in the mean, the
//! half-width of the interval in the mean, and the time of one fit. The figures stand in docs/learning.md.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a benchmark fails by panicking and looks at the clock"
)]

use borewright::review::ratios::{infer, sample::Shop};
use std::time::Instant;

fn main() {
    let shops: u64 = std::env::args()
        .skip(1)
        .find_map(|a| a.parse().ok())
        .unwrap_or(100);
    let usual = Shop::default();
    let kinds = [
        ("as it is", usual),
        ("40 jobs a year", Shop { jobs: 40, ..usual }),
        ("500 jobs a year", Shop { jobs: 500, ..usual }),
        (
            "standards nearly right",
            Shop {
                element: 0.05,
                ..usual
            },
        ),
        (
            "standards far off",
            Shop {
                level: 0.3,
                element: 0.4,
                ..usual
            },
        ),
        ("two people", Shop { people: 2, ..usual }),
        (
            "one clock in twenty forgotten",
            Shop {
                forgotten: 0.05,
                ..usual
            },
        ),
        (
            "no clock forgotten",
            Shop {
                forgotten: 0.0,
                ..usual
            },
        ),
        (
            "wild scatter",
            Shop {
                scatter: 0.4,
                job: 0.25,
                ..usual
            },
        ),
    ];
    println!(
        "| shop | intervals | hold the truth | mean error | half-width | booked parts | seconds a fit |"
    );
    println!("| --- | ---: | ---: | ---: | ---: | ---: | ---: |");
    for (name, shop) in kinds {
        line(name, &shop, shops);
    }
}

/// Tries many shops of one kind and prints what came of it.
fn line(name: &str, shop: &Shop, shops: u64) {
    let (mut within, mut all, mut off, mut width, mut rows, mut took) =
        (0_u32, 0_u32, 0.0, 0.0, 0, 0.0);
    for seed in 0..shops {
        let (evidence, truth) = shop.year(seed);
        let start = Instant::now();
        let found = infer(&evidence, seed).unwrap();
        took += start.elapsed().as_secs_f64();
        rows += found.rows;
        for element in &found.elements {
            let [code] = element.codes.as_slice() else {
                continue;
            };
            let true_ratio = truth.ratio(element.part, code).unwrap();
            let ratio = element.ratio;
            all += 1;
            within += u32::from((ratio.low..=ratio.high).contains(&true_ratio));
            off += (ratio.likely / true_ratio).ln();
            width += (ratio.high / ratio.low).ln() / 2.0;
        }
    }
    let n = f64::from(all);
    println!(
        "| {name} | {all} | {:.1} % | {:+.1} % | ± {:.1} % | {} | {:.2} |",
        100.0 * f64::from(within) / n,
        100.0 * off / n,
        100.0 * width / n,
        rows as u64 / shops,
        took / shops as f64,
    );
}
