//! Several sources' power by least squares, with uncertainties that stay honest where errors reach far.

use nalgebra::{DMatrix, DVector};

/// The power that explains a field best.
pub(super) struct WattsFit {
    design: DMatrix<f64>,
    /// Each source's power, W.
    pub(super) watts: DVector<f64>,
    /// The squares left, K².
    pub(super) left: f64,
}

impl WattsFit {
    /// `columns` has what one watt of each source does at the places where `seen` was seen, K; `None` of sources
    /// that cannot be told from one another.
    pub(super) fn of(columns: &[DVector<f64>], seen: &DVector<f64>) -> Option<Self> {
        if columns.is_empty() {
            return None;
        }
        let design = DMatrix::from_columns(columns);
        let watts = design.tr_mul(&design).cholesky()?.solve(&design.tr_mul(seen));
        let left = (seen - &design * &watts).norm_squared();
        Some(Self { design, watts, left })
    }

    /// Standard uncertainties by the sandwich of residuals summed over clusters, which alone count as independent.
    pub(super) fn uncertainties(
        &self,
        seen: &DVector<f64>,
        cluster_of: impl Fn(usize) -> (usize, usize),
    ) -> Vec<f64> {
        let count = self.watts.len();
        let residual = seen - &self.design * &self.watts;
        let mut clusters: std::collections::BTreeMap<(usize, usize), DVector<f64>> =
            std::collections::BTreeMap::new();
        for (place, left) in residual.iter().enumerate() {
            let sum = clusters.entry(cluster_of(place)).or_insert_with(|| DVector::zeros(count));
            for (source, sum) in sum.iter_mut().enumerate() {
                *sum += self.design[(place, source)] * left;
            }
        }
        let middle = clusters.values().fold(DMatrix::zeros(count, count), |sum, s| sum + s * s.transpose());
        let Some(inverse) = self.design.tr_mul(&self.design).try_inverse() else {
            return vec![f64::INFINITY; count];
        };
        let covariance = &inverse * middle * &inverse;
        covariance.diagonal().iter().map(|variance| variance.max(0.0).sqrt()).collect()
    }
}
