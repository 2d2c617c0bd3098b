//! How the weighted sums of a batch of frames are got with least work.
//!
//! Seen from the middle of evenly timed frames, constants and cosines are the same before and after, straight
//! lines and sines the opposite. Of each two frames equally far from the middle the sum then meets only
//! the first kind of weights, the difference only the second: half the products. Whether a batch allows
//! it is found from the weights themselves; where frames are missing or unevenly timed, it does not.

use nalgebra::DMatrix;

use super::normal_equations::invert;

/// The weights of some rows of values, as single precision has them.
pub(super) type RowWeights = Vec<Vec<f32>>;

/// How to get the sums of a batch, frame by frame or by mirrored pairs.
#[derive(Debug)]
pub(super) struct BatchPlan {
    /// Whether the rows are the sums of pairs and then their differences, the outermost pair first,
    /// rather than the frames.
    pub(super) mirrored: bool,
    /// Weights of the frames, or of the sums of pairs. The first are ones.
    pub(super) of_sums: RowWeights,
    /// Weights of the differences, the earlier frame less the later; none unless mirrored.
    pub(super) of_differences: RowWeights,
    /// For each basis function the weighted sums that make it up, counted through both lists, and the
    /// factor of each.
    pub(super) recipe: Vec<Vec<(usize, f64)>>,
    /// What each basis function (row) then weighs each frame (column) with, rounding included.
    pub(super) weights: DMatrix<f64>,
}

/// Parts of a basis function smaller than this fraction of it do not count.
const NOTHING: f64 = 1e-9;

impl BatchPlan {
    /// The plan for a batch whose frames see the basis functions at these values: one list for each
    /// frame, the first function of each 1.
    pub(super) fn new(basis: &[Vec<f64>]) -> Self {
        let unknowns = basis.first().map_or(0, Vec::len);
        let functions: Vec<Vec<f64>> =
            (0..unknowns).map(|term| basis.iter().map(|values| values[term]).collect()).collect();
        Self::mirrored(&functions).unwrap_or_else(|| Self::frame_by_frame(&functions))
    }

    fn frame_by_frame(functions: &[Vec<f64>]) -> Self {
        let of_sums: RowWeights = functions.iter().map(|function| single(function)).collect();
        let weights =
            DMatrix::from_fn(of_sums.len(), functions.first().map_or(0, Vec::len), |term, frame| {
                f64::from(of_sums[term][frame])
            });
        let recipe = (0..functions.len()).map(|term| vec![(term, 1.0)]).collect();
        Self { mirrored: false, of_sums, of_differences: Vec::new(), recipe, weights }
    }

    fn mirrored(functions: &[Vec<f64>]) -> Option<Self> {
        let frames = functions.first().filter(|function| function.len() % 2 == 0)?.len();
        let pairs = frames / 2;
        let half = |way: f64| -> Vec<Vec<f64>> {
            let fold = |function: &Vec<f64>| {
                (0..pairs).map(|pair| (function[pair] + way * function[frames - 1 - pair]) / 2.0).collect()
            };
            functions.iter().map(fold).collect()
        };
        let sizes: Vec<f64> = functions.iter().map(|function| size(function)).collect();
        let (even, odd) = (Span::of(&half(1.0), &sizes, true)?, Span::of(&half(-1.0), &sizes, false)?);
        let sums = even.chosen.len();
        if sums + odd.chosen.len() > functions.len() {
            return None;
        }
        let weights = DMatrix::from_fn(functions.len(), frames, |term, frame| {
            let (pair, way) = if frame < pairs { (frame, 1.0) } else { (frames - 1 - frame, -1.0) };
            even.at(term, pair) + way * odd.at(term, pair)
        });
        let parts = |term: usize| {
            let odd = odd.factors[term].iter().enumerate().map(move |(part, factor)| (sums + part, *factor));
            let all = even.factors[term].iter().copied().enumerate().chain(odd);
            all.filter(|(_, factor)| *factor != 0.0).collect()
        };
        let recipe = (0..functions.len()).map(parts).collect();
        Some(Self { mirrored: true, of_sums: even.chosen, of_differences: odd.chosen, recipe, weights })
    }
}

/// A few of some functions, and what makes the others from them.
struct Span {
    chosen: RowWeights,
    /// For each function the factor of each chosen one.
    factors: Vec<Vec<f64>>,
}

impl Span {
    /// Chooses as many functions as are needed to make all; `None` where that cannot be done exactly.
    /// `sizes` are those of the functions that these are halves of.
    fn of(functions: &[Vec<f64>], sizes: &[f64], with_the_first: bool) -> Option<Self> {
        let mut left = functions.to_vec();
        let mut order = Vec::new();
        loop {
            let share = |term: &usize| size(&left[*term]) / sizes[*term].max(f64::MIN_POSITIVE);
            let largest = (0..left.len()).max_by(|a, b| share(a).total_cmp(&share(b)))?;
            let next = if with_the_first && order.is_empty() { 0 } else { largest };
            let length = size(&left[next]);
            if share(&next) <= NOTHING || order.len() == left.len() {
                break;
            }
            order.push(next);
            let direction: Vec<f64> = left[next].iter().map(|value| value / length).collect();
            for function in &mut left {
                let along = product(function, &direction);
                function.iter_mut().zip(&direction).for_each(|(value, step)| *value -= along * step);
            }
        }
        let chosen: RowWeights = order.iter().map(|term| single(&functions[*term])).collect();
        let exact: Vec<&Vec<f64>> = order.iter().map(|term| &functions[*term]).collect();
        let normal = DMatrix::from_fn(exact.len(), exact.len(), |i, j| product(exact[i], exact[j]));
        let inverse = if exact.is_empty() { normal } else { invert(&normal)? };
        let mut factors = Vec::with_capacity(functions.len());
        for (term, function) in functions.iter().enumerate() {
            let factor_of = |part: usize| -> f64 {
                if order.contains(&term) {
                    return f64::from(u8::from(order[part] == term));
                }
                let all =
                    exact.iter().enumerate().map(|(j, other)| inverse[(part, j)] * product(function, other));
                let factor: f64 = all.sum();
                if factor.abs() * size(exact[part]) < NOTHING * sizes[term] { 0.0 } else { factor }
            };
            let own: Vec<f64> = (0..order.len()).map(factor_of).collect();
            let made =
                |pair: usize| own.iter().zip(&exact).map(|(factor, other)| factor * other[pair]).sum::<f64>();
            let off: Vec<f64> = function.iter().enumerate().map(|(pair, value)| value - made(pair)).collect();
            if size(&off) > 10.0 * NOTHING * sizes[term] {
                return None;
            }
            factors.push(own);
        }
        Some(Self { chosen, factors })
    }

    fn at(&self, term: usize, pair: usize) -> f64 {
        self.factors[term].iter().zip(&self.chosen).map(|(factor, row)| factor * f64::from(row[pair])).sum()
    }
}

fn single(values: &[f64]) -> Vec<f32> {
    values.iter().map(|&value| value as f32).collect()
}

fn product(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn size(values: &[f64]) -> f64 {
    product(values, values).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1, t, t² and a swing with its first multiple.
    fn basis(times: impl Iterator<Item = f64>) -> Vec<Vec<f64>> {
        times
            .map(|t| {
                let (sine, cosine) = (0.61 * t).sin_cos();
                let (sine2, cosine2) = (1.22 * t).sin_cos();
                vec![1.0, t, t * t, sine, -cosine, sine2, -cosine2]
            })
            .collect()
    }

    fn weighs_as_asked(plan: &BatchPlan, basis: &[Vec<f64>]) {
        for (frame, values) in basis.iter().enumerate() {
            for (term, value) in values.iter().enumerate() {
                let off = plan.weights[(term, frame)] - value;
                // Single precision of the largest value that the function has.
                assert!(off.abs() <= 3e-7 * value.abs().max(1.0), "function {term}, frame {frame}: {off}");
            }
        }
    }

    #[test]
    fn evenly_timed_frames_are_mirrored_and_every_function_is_made_up_of_few_sums() {
        let basis = basis((0..16).map(|n| 3.1 + 0.4 * f64::from(n)));
        let plan = BatchPlan::new(&basis);
        assert!(plan.mirrored);
        // 1, t² and two cosines; t and two sines.
        assert_eq!((plan.of_sums.len(), plan.of_differences.len()), (4, 3));
        assert!(plan.of_sums[0].iter().all(|weight| *weight == 1.0));
        weighs_as_asked(&plan, &basis);
    }

    #[test]
    fn uneven_or_odd_frames_are_taken_one_by_one() {
        let uneven = basis((0..16).map(|n| 3.1 + 0.4 * f64::from(n) + if n == 5 { 0.01 } else { 0.0 }));
        let odd = basis((0..15).map(f64::from));
        for basis in [uneven, odd] {
            let plan = BatchPlan::new(&basis);
            assert!(!plan.mirrored);
            weighs_as_asked(&plan, &basis);
        }
    }

    #[test]
    fn functions_without_a_mirror_are_taken_frame_by_frame() {
        let decays =
            |t: f64| vec![1.0, (-t / 140.0).exp(), t / 140.0 * (-t / 140.0).exp(), (-t / 15.0).exp()];
        let basis: Vec<Vec<f64>> = (0..16).map(|n| decays(f64::from(n))).collect();
        let plan = BatchPlan::new(&basis);
        assert!(!plan.mirrored);
        weighs_as_asked(&plan, &basis);
    }
}
