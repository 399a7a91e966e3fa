//! Small dense systems: the Cholesky factor of a symmetric positive definite matrix, kept row after row.
//!
//! Golub and Van Loan, "Matrix Computations" (2013), algorithm 4.2.1, from memory, by rows, so that the inner loops run over
//! neighbours in memory.

/// A lower triangle, row after row: row `i` has `i + 1` figures and begins at `i (i + 1) / 2`.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lower {
    size: usize,
    figures: Vec<f64>,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (mut sums, split) = ([0.0; 4], a.len().min(b.len()) / 4 * 4);
    for (x, y) in a[..split].chunks_exact(4).zip(b[..split].chunks_exact(4)) {
        for (sum, (x, y)) in sums.iter_mut().zip(x.iter().zip(y)) {
            *sum += x * y;
        }
    }
    let rest: f64 = a[split..].iter().zip(&b[split..]).map(|(x, y)| x * y).sum();
    sums.iter().sum::<f64>() + rest
}

impl Lower {
    /// All zero.
    pub(super) fn zero(size: usize) -> Self {
        Self {
            size,
            figures: vec![0.0; size * (size + 1) / 2],
        }
    }

    fn row(&self, i: usize) -> &[f64] {
        &self.figures[i * (i + 1) / 2..(i + 1) * (i + 2) / 2]
    }

    /// Adds to an entry; `i` and `j` in either order.
    pub(super) fn add(&mut self, i: usize, j: usize, what: f64) {
        let (i, j) = (i.max(j), i.min(j));
        self.figures[i * (i + 1) / 2 + j] += what;
    }

    /// An entry; `i` and `j` in either order.
    pub(super) fn at(&self, i: usize, j: usize) -> f64 {
        let (i, j) = (i.max(j), i.min(j));
        self.figures[i * (i + 1) / 2 + j]
    }

    /// The factor `L` with `L Lᵀ` = this matrix; none when it is not positive definite.
    pub(super) fn factor(mut self) -> Option<Factored> {
        for i in 0..self.size {
            let start = i * (i + 1) / 2;
            let (done, rest) = self.figures.split_at_mut(start);
            let row = &mut rest[..=i];
            for j in 0..i {
                let other = &done[j * (j + 1) / 2..(j + 1) * (j + 2) / 2];
                row[j] = (row[j] - dot(&row[..j], &other[..j])) / other[j];
            }
            let left = row[i] - dot(&row[..i], &row[..i]);
            if left.is_nan() || left <= 0.0 {
                return None;
            }
            row[i] = left.sqrt();
        }
        Some(Factored(self))
    }
}

/// A Cholesky factor.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Factored(Lower);

impl Factored {
    /// `x` with `L x = b`.
    fn forward(&self, b: &mut [f64]) {
        for i in 0..b.len() {
            let row = self.0.row(i);
            b[i] = (b[i] - dot(&row[..i], &b[..i])) / row[i];
        }
    }

    /// `x` with `Lᵀ x = b`: applied to independent standard normal deviates, a draw with the inverse as its covariance.
    pub(super) fn backward(&self, b: &mut [f64]) {
        for i in (0..b.len()).rev() {
            let row = self.0.row(i);
            b[i] /= row[i];
            let x = b[i];
            for (b, l) in b[..i].iter_mut().zip(row) {
                *b -= l * x;
            }
        }
    }

    /// `x` with `L Lᵀ x = b`.
    pub(super) fn solve(&self, b: &mut [f64]) {
        self.forward(b);
        self.backward(b);
    }

    /// The inverse of the whole.
    pub(super) fn inverse(&self) -> Lower {
        let size = self.0.size;
        let mut inverse = Lower::zero(size);
        let mut column = vec![0.0; size];
        for j in 0..size {
            column.fill(0.0);
            column[j] = 1.0;
            self.solve(&mut column);
            for (i, x) in column.iter().enumerate().skip(j) {
                inverse.add(i, j, *x);
            }
        }
        inverse
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A matrix times its inverse is one, and what cannot be factored says so.
    #[test]
    fn the_inverse_of_a_matrix_undoes_it() {
        let size = 9;
        let mut matrix = Lower::zero(size);
        for i in 0..size {
            for j in 0..=i {
                matrix.add(i, j, 1.0 / (1.0 + i.abs_diff(j) as f64));
            }
        }
        let inverse = matrix.clone().factor().unwrap().inverse();
        for i in 0..size {
            for j in 0..size {
                let sum: f64 = (0..size).map(|k| matrix.at(i, k) * inverse.at(k, j)).sum();
                let one = if i == j { 1.0 } else { 0.0 };
                assert!((sum - one).abs() < 1e-12, "{i} {j}: {sum}");
            }
        }
        matrix.add(3, 3, -5.0);
        assert_eq!(matrix.factor(), None);
    }
}
