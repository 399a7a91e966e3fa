//! A brake on whoever asks for feeds too often, or guesses at addresses.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Over this time a caller's points are counted.
const WINDOW: Duration = Duration::from_secs(600);
/// Points a caller has: a whole shop's telephones may sit behind one address, each asking a few times an hour.
const POINTS: u32 = 240;
/// What an address that leads nowhere costs besides: ten guesses, and the caller waits.
const GUESS: u32 = 23;
/// Callers remembered at once.
const CALLERS: usize = 10_000;

/// Points used by address, since when.
#[derive(Debug, Default)]
pub(in crate::web) struct Brake(Mutex<HashMap<String, (Instant, u32)>>);

impl Brake {
    /// Counts a request; the seconds to wait when there were too many.
    pub(in crate::web) fn look(&self, address: &str, now: Instant) -> Result<(), u64> {
        let (since, used) = self.add(address, 1, now);
        if used <= POINTS {
            return Ok(());
        }
        let left = WINDOW.saturating_sub(now.duration_since(since));
        Err(left.as_secs().max(1))
    }

    /// Counts an address that leads nowhere.
    pub(in crate::web) fn missed(&self, address: &str, now: Instant) {
        self.add(address, GUESS, now);
    }

    fn add(&self, address: &str, points: u32, now: Instant) -> (Instant, u32) {
        // A panic elsewhere leaves counts as they were, which are still counts.
        let mut callers = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if callers.len() >= CALLERS && !callers.contains_key(address) {
            callers.retain(|_, (since, _)| now.duration_since(*since) < WINDOW);
            if callers.len() >= CALLERS {
                callers.clear();
            }
        }
        let entry = callers.entry(address.to_owned()).or_insert((now, 0));
        if now.duration_since(entry.0) >= WINDOW {
            *entry = (now, 0);
        }
        entry.1 = entry.1.saturating_add(points);
        *entry
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn guessing_is_stopped_after_ten_and_others_go_on() {
        let brake = Brake::default();
        let start = Instant::now();
        let mut guesses = 0;
        while brake.look("a", start).is_ok() {
            brake.missed("a", start);
            guesses += 1;
        }
        assert_eq!(guesses, 10);
        assert!(brake.look("b", start).is_ok());
        let later = start + Duration::from_secs(590);
        assert_eq!(brake.look("a", later), Err(10));
        assert!(brake.look("a", start + WINDOW).is_ok());
    }

    #[test]
    fn a_shop_full_of_telephones_is_let_through() {
        let brake = Brake::default();
        let start = Instant::now();
        let let_through = (0..1_000)
            .filter(|_| brake.look("shop", start).is_ok())
            .count();
        assert_eq!(let_through, 240);
    }

    #[test]
    fn memory_is_bounded() {
        let brake = Brake::default();
        let start = Instant::now();
        for caller in 0..25_000 {
            assert!(brake.look(&caller.to_string(), start).is_ok());
        }
        assert!(brake.0.lock().unwrap().len() <= CALLERS);
    }
}
