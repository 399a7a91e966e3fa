//! Slows down whoever asks for feeds too often, or guesses at addresses.

use governor::clock::{Clock, MonotonicClock};
use governor::middleware::NoOpMiddleware;
use governor::nanos::Nanos;
use governor::state::keyed::{HashMapStateStore, ShrinkableKeyedStateStore};
use governor::state::{InMemoryState, NotKeyed, StateStore};
use governor::{Quota, RateLimiter};
use std::convert::Infallible;
use std::num::NonZeroU32;
use std::sync::Arc;

/// Points a caller has at once: a whole shop's telephones may sit behind one address, each asking a few times an hour.
const POINTS: NonZeroU32 = NonZeroU32::new(240).unwrap();
/// Points that come back in a minute: all of them in ten.
const BACK: NonZeroU32 = NonZeroU32::new(24).unwrap();
/// What an address that leads nowhere costs besides the request's one: after ten guesses the caller waits.
const GUESS: u32 = 23;
/// Callers remembered at once.
const CALLERS: usize = 10_000;

/// The state of every caller, shared with the limiter so that points can be taken after a request was let through.
#[derive(Debug, Clone, Default)]
struct Callers(Arc<HashMapStateStore<String>>);

impl StateStore for Callers {
    type Key = String;

    fn measure_and_replace<T, F, E>(&self, key: &String, f: F) -> Result<T, E>
    where
        F: Fn(Option<Nanos>) -> Result<(T, Nanos), E>,
    {
        self.0.measure_and_replace(key, f)
    }
}

impl ShrinkableKeyedStateStore<String> for Callers {
    fn retain_recent(&self, drop_below: Nanos) {
        self.0.retain_recent(drop_below);
    }

    fn len(&self) -> usize {
        self.0.len()
    }

    fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// A limit of requests by address, in the memory of this process.
#[derive(Debug)]
pub(in crate::web) struct Brake<C: Clock = MonotonicClock> {
    callers: Callers,
    guess: Nanos,
    limiter: RateLimiter<String, Callers, C, NoOpMiddleware<C::Instant>>,
}

impl Default for Brake {
    fn default() -> Self {
        Self::with(MonotonicClock)
    }
}

impl<C: Clock> Brake<C> {
    fn with(clock: C) -> Self {
        let callers = Callers::default();
        let quota = Quota::per_minute(BACK).allow_burst(POINTS);
        Self {
            limiter: RateLimiter::new(quota, callers.clone(), clock),
            guess: Nanos::from(quota.replenish_interval() * GUESS),
            callers,
        }
    }

    /// Counts a request; the seconds to wait when there were too many.
    pub(in crate::web) fn look(&self, address: &str) -> Result<(), u64> {
        let address = address.to_owned();
        let no_room = || {
            let callers = self.callers.0.lock();
            callers.len() >= CALLERS && !callers.contains_key(&address)
        };
        if no_room() {
            self.limiter.retain_recent();
        }
        if no_room() {
            self.forget_some();
        }
        self.limiter.check_key(&address).map_err(|wait| {
            let wait = wait.wait_time_from(self.limiter.clock().now());
            wait.as_secs() + 1
        })
    }

    /// Forgets a tenth of the callers, those with the most points: whoever has to wait is remembered longest.
    fn forget_some(&self) {
        let mut callers = self.callers.0.lock();
        let mut full_again: Vec<Nanos> = callers.values().map(full_again_at).collect();
        let mut to_forget = CALLERS / 10;
        if to_forget >= full_again.len() {
            return;
        }
        let (_, limit, _) = full_again.select_nth_unstable(to_forget);
        let limit = *limit;
        callers.retain(|_, state| {
            let forget = to_forget > 0 && full_again_at(state) <= limit;
            to_forget -= usize::from(forget);
            !forget
        });
    }

    /// Counts an address that leads nowhere, beyond what the caller has left.
    pub(in crate::web) fn missed(&self, address: &str) {
        let taken: Result<(), Infallible> = self
            .callers
            .measure_and_replace(&address.to_owned(), |state| {
                Ok(((), state.unwrap_or_default() + self.guess))
            });
        let Ok(()) = taken;
    }
}

/// When a caller has all points again: the theoretical arrival time of the generic cell rate algorithm (ITU-T I.371).
fn full_again_at(state: &InMemoryState) -> Nanos {
    let read: Result<Infallible, Nanos> =
        state.measure_and_replace(&NotKeyed::NonKey, |at| Err(at.unwrap_or_default()));
    let Err(at) = read;
    at
}

#[cfg(test)]
mod tests {
    use super::*;
    use governor::clock::FakeRelativeClock;
    use std::time::Duration;

    fn brake() -> Brake<FakeRelativeClock> {
        Brake::with(FakeRelativeClock::default())
    }

    #[test]
    fn guessing_is_stopped_after_ten_and_others_go_on() {
        let brake = brake();
        let guess_on = || {
            let mut guesses = 0;
            while brake.look("a").is_ok() {
                brake.missed("a");
                guesses += 1;
            }
            guesses
        };
        assert_eq!(guess_on(), 10);
        assert!(brake.look("b").is_ok());
        brake.limiter.clock().advance(Duration::from_secs(1));
        assert_eq!(brake.look("a"), Err(2));
        // From then on, a guess a minute.
        brake.limiter.clock().advance(Duration::from_secs(300));
        assert_eq!(guess_on(), 5);
        brake.limiter.clock().advance(Duration::from_secs(600));
        assert_eq!(guess_on(), 10);
    }

    #[test]
    fn a_shop_full_of_telephones_is_let_through() {
        let brake = brake();
        let let_through = (0..1_000).filter(|_| brake.look("shop").is_ok()).count();
        assert_eq!(let_through, 240);
    }

    #[test]
    fn memory_is_bounded() {
        let brake = brake();
        for caller in 0..25_000 {
            assert!(brake.look(&caller.to_string()).is_ok());
        }
        assert!(brake.callers.len() <= CALLERS);
    }

    #[test]
    fn many_callers_do_not_make_a_guesser_forgotten() {
        let brake = brake();
        while brake.look("guesser").is_ok() {
            brake.missed("guesser");
        }
        for caller in 0..25_000 {
            assert!(brake.look(&caller.to_string()).is_ok());
        }
        assert!(brake.look("guesser").is_err());
    }
}
