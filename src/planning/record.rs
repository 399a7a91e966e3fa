//! What the shop's own record says of its promises: at which share of futures to promise, so that the stated share holds.
//!
//! Futures leave out what nobody models: jobs that come in later, what people do that is not in the plan. If of the promises
//! given as 80 % sure fewer held, the next are given at a higher share of futures, and at a lower one if more did. Each
//! outcome moves the share a little: by γ·(1 − stated) down when the promise held, by γ·stated up when it did not (adaptive
//! conformal inference; Gibbs and Candès 2021, "Adaptive conformal inference under distribution shift", equation 2). In the
//! long run the stated share holds whatever the futures leave out, as long as some share of them would do.
//!
//! ```
//! use borewright::planning::record::share_of_futures;
//!
//! // Nothing is known yet: 80 % sure is 80 % of futures. After a broken promise it is more.
//! assert!((share_of_futures(0.8, []) - 0.8).abs() < 1e-9);
//! assert!(share_of_futures(0.8, [false]) > 0.81);
//! ```

/// How far one outcome moves the share: forty promises of a kind turn it round. Common practice, no source.
const STEP: f64 = 0.025;

/// No promise is given at less or more than these shares of futures.
const LEAST: f64 = 0.05;
const MOST: f64 = 0.995;

/// The share of futures at which to promise, from 0 to 1, for `stated` of such promises to hold; `held` tells of the promises
/// given as that sure, those whose outcome came first first, whether they held.
#[must_use]
pub fn share_of_futures(stated: f64, held: impl IntoIterator<Item = bool>) -> f64 {
    held.into_iter().fold(stated, |share, held| {
        let missed = if held { 0.0 } else { 1.0 };
        (share + STEP * (missed - (1.0 - stated))).clamp(LEAST, MOST)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Futures that promise too much: what they say holds in a share p does in p². The record finds the share that does.
    #[test]
    fn the_stated_share_holds_in_the_long_run() {
        let mut rng = rand_pcg::Pcg64::seed_from_u64(2);
        for stated in [0.5f64, 0.8, 0.95] {
            let mut held = Vec::new();
            for _ in 0..4_000 {
                let share = share_of_futures(stated, held.iter().copied());
                held.push(rng.random::<f64>() < share * share);
            }
            let count = held.iter().filter(|held| **held).count();
            let got = count as f64 / held.len() as f64;
            assert!((got - stated).abs() < 0.015, "{stated}: {got}");
        }
    }
}
