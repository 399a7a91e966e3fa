//! Working time of one resource in whole minutes: open windows, and the arithmetic the engine needs on them.

use super::Minute;

/// Sorted, disjoint, half-open windows `[open, close)`; no windows at all means never closed.
///
/// Past the last window the resource never opens again: work that does not fit ends at [`NEVER`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkingTime {
    windows: Vec<(Minute, Minute)>,
    /// Each window again, with the working minutes before it: one look in memory instead of two.
    counted: Vec<Counted>,
    /// Index of the first window that closes after `first_close + k·2^step`, so that a look-up hardly searches. It ends
    /// at the last opening, a window may have no end to speak of, and is no longer than twice the windows however far
    /// they are apart.
    index: Vec<u32>,
    step: u32,
    first_close: Minute,
    always: bool,
}

impl Default for WorkingTime {
    fn default() -> Self {
        Self::always()
    }
}

/// A window, and the working minutes before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Counted {
    open: Minute,
    close: Minute,
    before: Minute,
}

/// Later than any plan; far from overflow when durations are added to it.
pub const NEVER: Minute = 1 << 40;

/// Windows looked at one by one from where the index points, before the rest is searched by halves.
const NEAR: usize = 8;

impl WorkingTime {
    /// Never closed.
    #[must_use]
    pub fn always() -> Self {
        Self {
            windows: Vec::new(),
            counted: Vec::new(),
            index: Vec::new(),
            step: 0,
            first_close: 0,
            always: true,
        }
    }

    /// From windows in any order; empty ones are dropped, touching and overlapping ones joined, and what is further
    /// away than [`NEVER`] is cut off. With no window left the resource is never open.
    #[must_use]
    pub fn from_windows(mut windows: Vec<(Minute, Minute)>) -> Self {
        for w in &mut windows {
            *w = (w.0.max(-NEVER), w.1.min(NEVER));
        }
        windows.retain(|w| w.0 < w.1);
        windows.sort_unstable();
        let mut joined: Vec<(Minute, Minute)> = Vec::with_capacity(windows.len());
        for w in windows {
            match joined.last_mut() {
                Some(last) if last.1 >= w.0 => last.1 = last.1.max(w.1),
                _ => joined.push(w),
            }
        }
        let mut counted = Vec::with_capacity(joined.len());
        let mut sum = 0;
        for &(open, close) in &joined {
            counted.push(Counted {
                open,
                close,
                before: sum,
            });
            sum += close - open;
        }
        let (index, step) = index_of(&joined);
        Self {
            step,
            first_close: joined.first().map_or(0, |w| w.1),
            always: false,
            windows: joined,
            counted,
            index,
        }
    }

    /// True when it is never closed.
    #[must_use]
    pub fn is_always(&self) -> bool {
        self.always
    }

    /// The windows; empty when never closed.
    #[must_use]
    pub fn windows(&self) -> &[(Minute, Minute)] {
        &self.windows
    }

    /// Time open in both.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        if self.is_always() {
            return other.clone();
        }
        if other.is_always() {
            return self.clone();
        }
        let (mut i, mut j, mut both) = (0, 0, Vec::new());
        while i < self.windows.len() && j < other.windows.len() {
            let (a, b) = (self.windows[i], other.windows[j]);
            let w = (a.0.max(b.0), a.1.min(b.1));
            if w.0 < w.1 {
                both.push(w);
            }
            if a.1 < b.1 { i += 1 } else { j += 1 }
        }
        Self::from_windows(both)
    }

    /// Time open in one or more of several.
    #[must_use]
    pub fn any<'a>(all: impl Iterator<Item = &'a Self> + Clone) -> Self {
        if all.clone().any(Self::is_always) {
            return Self::always();
        }
        Self::from_windows(all.flat_map(Self::windows).copied().collect())
    }

    /// The same with `more` open as well, e.g. overtime.
    #[must_use]
    pub fn or(&self, more: (Minute, Minute)) -> Self {
        if self.is_always() {
            return self.clone();
        }
        let mut windows = self.windows.clone();
        windows.push(more);
        Self::from_windows(windows)
    }

    /// The same with `stop` closed, e.g. a machine down.
    #[must_use]
    pub fn without(&self, stop: (Minute, Minute)) -> Self {
        let open = if self.is_always() {
            vec![(-NEVER, NEVER)]
        } else {
            self.windows.clone()
        };
        let cut = open
            .into_iter()
            .flat_map(|(a, b)| [(a, b.min(stop.0)), (a.max(stop.1), b)])
            .collect();
        Self::from_windows(cut)
    }

    /// Which part of the time from the first opening to the last closing it is open; never quite nothing.
    #[must_use]
    pub fn open_share(&self) -> f64 {
        match (self.counted.first(), self.counted.last()) {
            (Some(first), Some(last)) => {
                let open = last.before + last.close - last.open;
                (open as f64 / (last.close - first.open) as f64).max(1e-6)
            }
            _ => 1.0,
        }
    }

    /// Index of the first window that closes after `t`.
    #[inline]
    fn at(&self, t: Minute) -> usize {
        if t < self.first_close {
            return 0;
        }
        // `t` is past the first closing, so the difference is not negative.
        let slot = t.saturating_sub(self.first_close) as u64 >> self.step;
        let known = usize::try_from(slot)
            .ok()
            .and_then(|slot| self.index.get(slot));
        let from = known.or(self.index.last()).map_or(0, |&k| k as usize);
        for (k, w) in self.counted.iter().enumerate().skip(from).take(NEAR) {
            if w.close > t {
                return k;
            }
        }
        let far = (from + NEAR).min(self.counted.len());
        far + self.counted[far..].partition_point(|w| w.close <= t)
    }

    /// Start and end of `work` minutes done as early as possible from `t`, standing still while closed.
    /// Work of no length starts and ends at the first open minute.
    #[inline]
    #[must_use]
    pub fn pausing(&self, t: Minute, work: Minute) -> (Minute, Minute) {
        if self.is_always() {
            return (t, t + work);
        }
        let k = self.at(t);
        let Some(w) = self.counted.get(k) else {
            return (NEVER, NEVER);
        };
        let start = t.max(w.open);
        if start + work <= w.close {
            return (start, start + work);
        }
        // Working minutes since the first opening at which the work is done.
        let done = w.before + (start - w.open) + work;
        for w in &self.counted[k + 1..] {
            let end = w.open + done - w.before;
            if end <= w.close {
                return (start, end);
            }
        }
        (NEVER, NEVER)
    }

    /// Earliest start from `t` at which `work` minutes fit without a pause.
    #[inline]
    #[must_use]
    pub fn unbroken(&self, t: Minute, work: Minute) -> Minute {
        if self.is_always() {
            return t;
        }
        let mut k = self.at(t);
        while let Some(w) = self.counted.get(k) {
            let start = t.max(w.open);
            if start + work <= w.close {
                return start;
            }
            k += 1;
        }
        NEVER
    }

    /// Open minutes in `[from, to)`.
    #[must_use]
    pub fn open_between(&self, from: Minute, to: Minute) -> Minute {
        (self.open_before(to) - self.open_before(from)).max(0)
    }

    /// Open minutes before `t`, from the first window on; when never closed, `t` itself.
    #[inline]
    #[must_use]
    pub fn open_before(&self, t: Minute) -> Minute {
        if self.is_always() {
            return t;
        }
        match (self.counted.get(self.at(t)), self.counted.last()) {
            (Some(w), _) => w.before + (t - w.open).max(0),
            (None, Some(last)) => last.before + last.close - last.open,
            (None, None) => 0,
        }
    }

    /// True when the minute that begins at `t` is open.
    #[must_use]
    pub fn is_open(&self, t: Minute) -> bool {
        self.is_always() || self.windows.get(self.at(t)).is_some_and(|w| w.0 <= t)
    }
}

/// The look-up index of sorted, disjoint windows, and the binary logarithm of its spacing.
fn index_of(windows: &[(Minute, Minute)]) -> (Vec<u32>, u32) {
    let (Some(first), Some(last)) = (windows.first(), windows.last()) else {
        return (Vec::new(), 0);
    };
    let mut step = 0;
    while (last.0 - first.1) >> step >= 2 * windows.len() as Minute {
        step += 1;
    }
    let mut index = Vec::new();
    let mut k = 0;
    let mut t = first.1;
    while t <= last.0 {
        while windows.get(k).is_some_and(|w| w.1 <= t) {
            k += 1;
        }
        index.push(u32::try_from(k).unwrap_or(u32::MAX));
        t += 1 << step;
    }
    (index, step)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Windows in two heaps, half a million years apart, and one that has neither beginning nor end: the index is no
    /// longer than the windows are many, and a look finds what a plain search finds.
    #[test]
    fn windows_far_apart_take_no_more_memory_than_windows_side_by_side() {
        let heap = |from: Minute| (0..500).map(move |k| (from + 3 * k, from + 3 * k + 2));
        let far = 1 << 38;
        let apart = WorkingTime::from_windows(heap(0).chain(heap(far)).collect());
        assert!(apart.index.len() <= 2 * apart.windows.len());
        for t in [
            -1,
            0,
            1,
            2,
            700,
            1_400,
            1_500,
            far - 1,
            far,
            far + 901,
            far + 1_499,
            NEVER,
        ] {
            let plain = apart.windows.partition_point(|w| w.1 <= t);
            assert_eq!(apart.at(t), plain, "{t}");
        }
        let endless = WorkingTime::from_windows(vec![(Minute::MIN, Minute::MAX), (5, 6)]);
        assert_eq!(endless.windows(), &[(-NEVER, NEVER)]);
        assert_eq!(endless.pausing(-5, 10), (-5, 5));
        assert_eq!(endless.at(Minute::MAX), 1);
    }

    #[test]
    fn work_stands_still_overnight_or_waits_for_a_window_that_holds_it() {
        let week = WorkingTime::from_windows(vec![(480, 960), (1920, 2400)]);
        assert_eq!(week.pausing(900, 100), (900, 1960));
        assert_eq!(week.unbroken(900, 100), 1920);
        assert_eq!(week.pausing(960, 1), (1920, 1921));
        assert_eq!(week.pausing(0, 960), (480, 2400));
        assert_eq!(week.pausing(0, 961), (NEVER, NEVER));
        assert_eq!(week.unbroken(0, 481), NEVER);
        assert_eq!(week.open_between(0, 2000), 560);
        for t in [0, 480, 700, 960, 1000, 1920, 2399, 2400, 9_000] {
            let counted = (0..t).filter(|&t| week.is_open(t)).count();
            assert_eq!(week.open_before(t), counted as Minute, "{t}");
        }
        assert_eq!(WorkingTime::always().open_between(-5, 7), 12);
        let late = WorkingTime::from_windows(vec![(900, 1000)]);
        assert_eq!(
            WorkingTime::any([&week, &late].into_iter()).windows(),
            &[(480, 1000), (1920, 2400)]
        );
        assert!(WorkingTime::any([&week, &WorkingTime::always()].into_iter()).is_always());
        assert!(week.is_open(480) && !week.is_open(960));
        let both = week.and(&WorkingTime::from_windows(vec![(900, 2000)]));
        assert_eq!(both.windows(), &[(900, 960), (1920, 2000)]);
        assert_eq!(
            week.without((500, 600)).windows(),
            &[(480, 500), (600, 960), (1920, 2400)]
        );
        assert!(!WorkingTime::from_windows(vec![]).is_open(5));
        // A machine that never closes is stopped for a while: two windows without ends, and next to no index.
        let stopped = WorkingTime::always().without((100, 200));
        assert!(stopped.index.len() <= 4);
        assert_eq!(stopped.pausing(50, 60), (50, 210));
        assert_eq!(stopped.unbroken(50, 60), 200);
        assert!(stopped.is_open(99) && !stopped.is_open(150) && stopped.is_open(9_000));
        assert_eq!(week.at(959), 0);
        assert_eq!((week.at(960), week.at(2399), week.at(2400)), (1, 1, 2));
    }
}
