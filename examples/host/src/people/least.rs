//! Least squares and logistic regression in double precision, over sums that can be added up.

use rayon::prelude::*;

/// The sums of a weighted least-squares problem.
#[derive(Clone)]
struct Sums {
    matrix: Vec<Vec<f64>>,
    vector: Vec<f64>,
}

impl Sums {
    fn new(n: usize) -> Self {
        Self { matrix: vec![vec![0.0; n]; n], vector: vec![0.0; n] }
    }

    fn add(&mut self, x: &[f64], y: f64, weight: f64) {
        for (i, (row, sum)) in self.matrix.iter_mut().zip(&mut self.vector).enumerate() {
            let wx = weight * x[i];
            *sum += wx * y;
            row.iter_mut().zip(x).for_each(|(sum, x)| *sum += wx * x);
        }
    }

    fn merge(mut self, other: &Self) -> Self {
        for (row, more) in self.matrix.iter_mut().zip(&other.matrix) {
            row.iter_mut().zip(more).for_each(|(sum, more)| *sum += more);
        }
        self.vector.iter_mut().zip(&other.vector).for_each(|(sum, more)| *sum += more);
        self
    }

    /// With a little pull to 0, so that a term that never occurs has a weight.
    fn solve(mut self) -> Vec<f64> {
        for (i, row) in self.matrix.iter_mut().enumerate() {
            row[i] += 1e-6 * (1.0 + row[i]);
        }
        solve(self.matrix, self.vector)
    }
}

/// Rows of terms with what each is to give, a list for each person.
pub type Rows<const N: usize> = [Vec<([f64; N], f64)>];

/// Summed person by person, and added in order, so that the figures are the same every time.
fn sums<const N: usize>(rows: &Rows<N>, wanted: impl Fn(&[f64; N], f64) -> (f64, f64) + Sync) -> Sums {
    let parts: Vec<Sums> = rows
        .par_iter()
        .map(|rows| {
            let mut sums = Sums::new(N);
            for (x, y) in rows {
                let (y, weight) = wanted(x, *y);
                sums.add(x, y, weight);
            }
            sums
        })
        .collect();
    parts.iter().fold(Sums::new(N), Sums::merge)
}

fn known<const N: usize>(weights: Vec<f64>) -> [f64; N] {
    std::array::from_fn(|n| weights[n])
}

pub fn dot<const N: usize>(x: &[f64; N], weights: &[f64; N]) -> f64 {
    x.iter().zip(weights).map(|(x, w)| x * w).sum()
}

/// Weights of least squared error.
pub fn squares<const N: usize>(rows: &Rows<N>) -> [f64; N] {
    known(sums(rows, |_, y| (y, 1.0)).solve())
}

/// Weights of a positive size: least squared error in shares of what is expected, which is no less than `least`.
pub fn sizes<const N: usize>(rows: &Rows<N>, least: f64) -> [f64; N] {
    let mut weights = known(sums(rows, |_, y| (y, 1.0)).solve());
    for _ in 0..4 {
        let expected = weights;
        weights = known(sums(rows, |x, y| (y, dot(x, &expected).max(least).powi(-2))).solve());
    }
    weights
}

/// Weights of the logit of a probability, by Newton's steps; each `y` is 0 or 1.
pub fn logistic<const N: usize>(rows: &Rows<N>) -> [f64; N] {
    let mut weights = [0.0; N];
    for _ in 0..12 {
        let now = weights;
        weights = known(
            sums(rows, |x, y| {
                let logit = dot(x, &now).clamp(-12.0, 12.0);
                let p = 1.0 / (1.0 + (-logit).exp());
                let weight = p * (1.0 - p);
                (logit + (y - p) / weight, weight)
            })
            .solve(),
        );
    }
    weights
}

/// The value that a share of `values` lies under.
pub fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let place = ((values.len() - 1) as f64 * share).round() as usize;
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

/// Shares of steady moments that are called falling at which directions are compared.
pub const CRIED: [f64; 2] = [0.041, 0.077];

/// The share of `fast` falls that are called so when a share of `steady` moments is: rates said of either. Of moments that
/// lie right at the limit, as whole readings make many, the part that brings the steady ones to their share.
pub fn flagged(steady: &mut [f64], fast: &[f64], cried: f64) -> f64 {
    let limit = quantile(steady, cried);
    let count =
        |said: &[f64], of: fn(&f64, &f64) -> bool| said.iter().filter(|said| of(said, &limit)).count() as f64;
    let at = count(steady, f64::eq);
    let part = ((cried * steady.len() as f64 - count(steady, f64::lt)) / at.max(1.0)).clamp(0.0, 1.0);
    (count(fast, f64::lt) + part * count(fast, f64::eq)) / fast.len().max(1) as f64
}

/// Solves a symmetric positive definite system by Cholesky's factors.
pub fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Vec<f64> {
    let n = b.len();
    for j in 0..n {
        for i in j..n {
            let sum: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            let rest = a[i][j] - sum;
            a[i][j] = if i == j { rest.max(1e-12).sqrt() } else { rest / a[j][j] };
        }
    }
    for i in 0..n {
        let sum: f64 = (0..i).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| a[k][i] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    b
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_solver_solves() {
        let a = vec![vec![4.0, 1.0, 0.5], vec![1.0, 3.0, -0.2], vec![0.5, -0.2, 2.0]];
        let want = [1.0, -2.0, 3.0];
        let b = a.iter().map(|row| row.iter().zip(want).map(|(a, x)| a * x).sum()).collect();
        for (got, want) in solve(a, b).iter().zip(want) {
            assert!((got - want).abs() < 1e-12);
        }
    }

    #[test]
    fn weights_that_made_the_rows_are_found() {
        let x = |k: u32| [1.0, f64::from(k % 17) / 8.0 - 1.0, f64::from(k * 7 % 23) / 11.0 - 1.0];
        let made = [0.3, -1.2, 2.0];
        let rows = vec![(0..300).map(|k| (x(k), dot(&x(k), &made))).collect::<Vec<_>>()];
        squares(&rows).iter().zip(made).for_each(|(got, want)| assert!((got - want).abs() < 1e-5));
        // each row as often with 1 as its probability says
        let p = |k| 1.0 / (1.0 + (-dot(&x(k), &made)).exp());
        let often = |k| (0..1000).map(move |n| (x(k), f64::from(u8::from(f64::from(n) < 1000.0 * p(k)))));
        let rows = vec![(0..100).flat_map(often).collect::<Vec<_>>()];
        logistic(&rows)
            .iter()
            .zip(made)
            .for_each(|(got, want)| assert!((got - want).abs() < 0.02, "{got} {want}"));
    }

    #[test]
    fn moments_at_the_limit_are_flagged_in_part() {
        // one in ten is under the limit, four are at it: to flag three in ten, half of those at it
        let mut steady = [-2.0, -1.0, -1.0, -1.0, -1.0, 0.0, 0.0, 0.0, 0.0, 0.0];
        let fast = [-3.0, -1.0, -1.0, 0.0];
        assert!((flagged(&mut steady, &fast, 0.3) - 0.5).abs() < 1e-9);
        assert!((flagged(&mut steady, &fast, 0.1) - 0.25).abs() < 1e-9);
        assert_eq!(flagged(&mut steady, &[], 0.3), 0.0);
    }

    #[test]
    fn a_quantile_is_one_of_the_values() {
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0, 5.0, 4.0], 0.5), 3.0);
        assert_eq!(quantile(&mut [3.0, 1.0], 0.95), 3.0);
    }
}
