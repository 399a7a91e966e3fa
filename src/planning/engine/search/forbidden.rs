//! Which pairs of operations a tabu search must not put the one before the other again, and until when.
//!
//! Up to some thousand operations every pair that can share a machine has a cell. Beyond that such a table would grow
//! with the square of the operations, while only the pairs of the last few moves are forbidden at any time; so pairs
//! share cells by a hash, and the latest to be forbidden has its cell: now and then a pair is forgotten too soon, none is
//! forbidden by mistake. A choice of cells, not of chance, so the same seed still gives the same plan.

use super::graph::Graph;

/// Cells for each operation where pairs share them.
const SHARED: usize = 8;

/// Until which iteration each pair is forbidden.
#[derive(Debug)]
pub(super) enum Forbidden {
    /// A cell for each pair.
    Table {
        until: Vec<u32>,
        /// Column of an operation in the row of another that can share its machine.
        column: Vec<u32>,
        width: usize,
    },
    /// Pair and iteration; as many cells as a power of two.
    Shared(Vec<(u32, u32, u32)>),
}

impl Forbidden {
    /// With nothing forbidden, and at most so many cells for pairs that each have one.
    pub fn new(graph: &Graph, flexible: bool, most: usize) -> Self {
        let n = graph.len();
        let mut column: Vec<u32> = (0..n as u32).collect();
        let mut width = n;
        if !flexible {
            let mut count = vec![0u32; graph.head_of.len()];
            for (op, column) in (0..).zip(&mut column) {
                let seen = &mut count[graph.choices(op)[0].machine as usize];
                *column = *seen;
                *seen += 1;
            }
            width = count.iter().copied().max().unwrap_or(0) as usize;
        }
        match n.checked_mul(width).filter(|&cells| cells <= most) {
            Some(cells) => Self::Table {
                until: vec![0; cells],
                column,
                width,
            },
            None => Self::Shared(vec![(0, 0, 0); (SHARED * n).next_power_of_two()]),
        }
    }

    /// Allows everything.
    pub fn clear(&mut self) {
        match self {
            Self::Table { until, .. } => until.fill(0),
            Self::Shared(cells) => cells.fill((0, 0, 0)),
        }
    }

    /// The iteration until which `before` must not be put before `after` again.
    #[inline]
    pub fn until(&self, before: u32, after: u32) -> u32 {
        match self {
            Self::Table {
                until,
                column,
                width,
            } => until[before as usize * width + column[after as usize] as usize],
            Self::Shared(cells) => {
                let (a, b, until) = cells[cell(before, after, cells.len())];
                if (a, b) == (before, after) { until } else { 0 }
            }
        }
    }

    /// Forbids it until then.
    #[inline]
    pub fn set(&mut self, before: u32, after: u32, iteration: u32) {
        match self {
            Self::Table {
                until,
                column,
                width,
            } => until[before as usize * *width + column[after as usize] as usize] = iteration,
            Self::Shared(cells) => {
                let at = cell(before, after, cells.len());
                cells[at] = (before, after, iteration);
            }
        }
    }
}

/// The cell of a pair among so many, a power of two: by a product with an odd number near the golden section of 2^64
/// (Fibonacci hashing; Knuth, The Art of Computer Programming 3, 6.4, from memory), its halves folded together.
#[inline]
fn cell(before: u32, after: u32, cells: usize) -> usize {
    let pair = u64::from(before) << 32 | u64::from(after);
    let mixed = pair.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    ((mixed ^ mixed >> 32) as usize) & (cells - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planning::engine::formats::classical::job_shop;

    /// So many jobs of two operations, each on either of two machines.
    fn graph(jobs: usize) -> Graph {
        let job = vec![vec![(0, 5), (1, 6)], vec![(1, 5), (0, 7)]];
        Graph::new(&job_shop(&vec![job; jobs])).unwrap()
    }

    /// Twenty thousand operations would have a table of 1.6 GB.
    #[test]
    fn memory_grows_with_the_operations_and_not_with_their_square() {
        let most = crate::planning::engine::search::tabu::MOST_CELLS;
        let cells = |jobs: usize| match Forbidden::new(&graph(jobs), true, most) {
            Forbidden::Table { until, .. } => until.len(),
            Forbidden::Shared(cells) => 3 * cells.len(),
        };
        assert_eq!(cells(50), 10_000);
        assert!(cells(10_000) <= 3 * 16 * 20_000);
    }

    #[test]
    fn a_pair_is_forbidden_until_another_takes_its_cell() {
        for most in [0, 1 << 20] {
            let mut forbidden = Forbidden::new(&graph(40), true, most);
            assert_eq!(forbidden.until(3, 4), 0);
            forbidden.set(3, 4, 17);
            assert_eq!((forbidden.until(3, 4), forbidden.until(4, 3)), (17, 0));
            for k in 0..40 {
                forbidden.set(k, 79 - k, 100 + k);
            }
            let kept = (0..40).filter(|&k| forbidden.until(k, 79 - k) == 100 + k);
            assert!(kept.count() > 30);
            for (a, b) in (0..80).flat_map(|a| (0..80).map(move |b| (a, b))) {
                let put = a + b == 79 && a < 40;
                assert!(put || (a, b) == (3, 4) || forbidden.until(a, b) == 0);
            }
            forbidden.clear();
            assert_eq!(forbidden.until(3, 4), 0);
        }
    }
}
