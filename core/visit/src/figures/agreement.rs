//! Agreement of repeated measurements: intraclass correlation, technical error, limits of agreement.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, FisherSnedecor, StudentsT};

/// An estimate with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low95: f64,
    /// Upper end of the 95 % interval.
    pub high95: f64,
}

/// Why a figure can't be given.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FigureError {
    /// Too little data.
    #[error("{what} needs at least {needed}; there are {have}")]
    TooFew {
        /// Which figure.
        what: &'static str,
        /// What it needs, in words.
        needed: &'static str,
        /// How many there are.
        have: usize,
    },
    /// Rows of different length.
    #[error(
        "row {row} has {have} readings where the first has {expected}; every target needs the same"
    )]
    Ragged {
        /// Row, from 1.
        row: usize,
        /// Its readings.
        have: usize,
        /// Readings of the first row.
        expected: usize,
    },
    /// A value that is not a number.
    #[error("a value in row {row} is not a number")]
    NotANumber {
        /// Row, from 1.
        row: usize,
    },
    /// All readings agree exactly or all targets are alike.
    #[error("{what} can't be given: the readings do not vary")]
    NoVariation {
        /// Which figure.
        what: &'static str,
    },
}

/// Intraclass correlations of n targets read k times (Shrout & Fleiss 1979, Psychol Bull
/// 86:420-428), with the mean squares they are made of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Icc {
    /// Targets.
    pub targets: usize,
    /// Readings of each.
    pub judges: usize,
    /// Mean square between targets.
    pub between_targets: f64,
    /// Mean square within targets.
    pub within_targets: f64,
    /// Mean square between judges.
    pub between_judges: f64,
    /// Residual mean square.
    pub residual: f64,
    /// (1,1): each target read by other judges.
    pub icc_1_1: Estimate,
    /// (2,1): the same judges, meant for any judge; absolute agreement.
    pub icc_2_1: Estimate,
    /// (3,1): these judges only; consistency.
    pub icc_3_1: Estimate,
    /// (1,k), (2,k), (3,k): the same for the mean of the k readings.
    pub icc_1_k: Estimate,
    #[allow(missing_docs)]
    pub icc_2_k: Estimate,
    #[allow(missing_docs)]
    pub icc_3_k: Estimate,
    /// Standard error of measurement, absolute agreement.
    pub sem_agreement: f64,
    /// Standard error of measurement, consistency.
    pub sem_consistency: f64,
}

/// Intraclass correlations; one row a target, one column a judge or repeat.
///
/// # Errors
/// Fewer than two rows or columns, rows of different length, values that are not numbers or do
/// not vary.
pub fn icc(rows: &[Vec<f64>]) -> Result<Icc, FigureError> {
    let (n, k) = shape(rows, "agreement")?;
    let (nf, kf) = (n as f64, k as f64);
    let grand = rows.iter().flatten().sum::<f64>() / (nf * kf);
    let row_mean = |row: &Vec<f64>| row.iter().sum::<f64>() / kf;
    let column_mean = |j: usize| rows.iter().map(|r| r[j]).sum::<f64>() / nf;
    let ss_total: f64 = rows.iter().flatten().map(|x| (x - grand).powi(2)).sum();
    let ss_targets = kf
        * rows
            .iter()
            .map(|r| (row_mean(r) - grand).powi(2))
            .sum::<f64>();
    let ss_judges = nf
        * (0..k)
            .map(|j| (column_mean(j) - grand).powi(2))
            .sum::<f64>();
    let ss_within = ss_total - ss_targets;
    let bms = ss_targets / (nf - 1.0);
    let wms = ss_within / (nf * (kf - 1.0));
    let jms = ss_judges / (kf - 1.0);
    let ems = ((ss_within - ss_judges) / ((nf - 1.0) * (kf - 1.0))).max(0.0);
    if !(bms > 0.0 && ems > ss_total * 1e-14) {
        return Err(FigureError::NoVariation { what: "agreement" });
    }
    let one = (bms - wms) / (bms + (kf - 1.0) * wms);
    let two = (bms - ems) / (bms + (kf - 1.0) * ems + kf * (jms - ems) / nf);
    let three = (bms - ems) / (bms + (kf - 1.0) * ems);
    let two_k = (bms - ems) / (bms + (jms - ems) / nf);
    let (df1, df_w, df_e) = (nf - 1.0, nf * (kf - 1.0), (nf - 1.0) * (kf - 1.0));
    let f_interval = |f: f64, df2: f64| (f / upper_f(df1, df2), f * upper_f(df2, df1));
    let single = |f: f64| (f - 1.0) / (f + kf - 1.0);
    let mean_of_k = |f: f64| 1.0 - 1.0 / f;
    let est = |value, (low, high): (f64, f64), map: &dyn Fn(f64) -> f64| Estimate {
        value,
        low95: map(low),
        high95: map(high),
    };
    let (f1, f3) = (f_interval(bms / wms, df_w), f_interval(bms / ems, df_e));
    let two_low_high = icc2_interval(nf, kf, bms, jms, ems, two);
    let stepped = |r: f64| kf * r / (1.0 + (kf - 1.0) * r);
    Ok(Icc {
        targets: n,
        judges: k,
        between_targets: bms,
        within_targets: wms,
        between_judges: jms,
        residual: ems,
        icc_1_1: est(one, f1, &single),
        icc_2_1: est(two, two_low_high, &|r| r),
        icc_3_1: est(three, f3, &single),
        icc_1_k: est((bms - wms) / bms, f1, &mean_of_k),
        icc_2_k: est(two_k, two_low_high, &stepped),
        icc_3_k: est((bms - ems) / bms, f3, &mean_of_k),
        sem_agreement: ((jms - ems) / nf + ems).max(0.0).sqrt(),
        sem_consistency: ems.sqrt(),
    })
}

/// Interval of (2,1) with Satterthwaite's degrees of freedom (Shrout & Fleiss 1979).
fn icc2_interval(n: f64, k: f64, bms: f64, jms: f64, ems: f64, icc: f64) -> (f64, f64) {
    let fj = jms / ems;
    let a = k * icc * fj + n * (1.0 + (k - 1.0) * icc) - k * icc;
    let v = (k - 1.0) * (n - 1.0) * a * a
        / ((n - 1.0) * k * k * icc * icc * fj * fj
            + (n * (1.0 + (k - 1.0) * icc) - k * icc).powi(2));
    let (low_f, high_f) = (upper_f(n - 1.0, v), upper_f(v, n - 1.0));
    let spread = k * jms + (k * n - k - n) * ems;
    // With next to no degrees of freedom the points of F lie beyond all numbers: their limits.
    let low = if low_f.is_finite() {
        n * (bms - low_f * ems) / (low_f * spread + n * bms)
    } else {
        -n * ems / spread
    };
    let high = if high_f.is_finite() {
        n * (high_f * bms - ems) / (spread + n * high_f * bms)
    } else {
        1.0
    };
    (low.min(icc), high.max(icc))
}

/// 97.5 % point of F; not finite where it is too large for a number.
fn upper_f(df1: f64, df2: f64) -> f64 {
    FisherSnedecor::new(df1, df2).map_or(f64::NAN, |f| f.inverse_cdf(0.975))
}

fn shape(rows: &[Vec<f64>], what: &'static str) -> Result<(usize, usize), FigureError> {
    let k = rows.first().map_or(0, Vec::len);
    if rows.len() < 2 || k < 2 {
        let have = rows.len().min(k);
        return Err(FigureError::TooFew {
            what,
            needed: "two targets read twice",
            have,
        });
    }
    for (i, row) in rows.iter().enumerate() {
        if row.len() != k {
            return Err(FigureError::Ragged {
                row: i + 1,
                have: row.len(),
                expected: k,
            });
        }
        if row.iter().any(|x| !x.is_finite()) {
            return Err(FigureError::NotANumber { row: i + 1 });
        }
    }
    Ok((rows.len(), k))
}

/// Limits of agreement of two methods on the same targets (Bland & Altman 1986, Lancet i:307-310).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limits {
    /// Pairs.
    pub n: usize,
    /// Mean difference with its 95 % interval (Student t).
    pub bias: Estimate,
    /// Standard deviation of the differences (n − 1).
    pub sd: f64,
    /// Bias less 1.96 sd, with its interval.
    pub lower: Estimate,
    /// Bias plus 1.96 sd, with its interval.
    pub upper: Estimate,
    /// Standard error of either limit, √(3 s²/n).
    pub se_of_limit: f64,
}

/// Limits of agreement, first less second.
///
/// # Errors
/// Fewer than two pairs, or values that are not numbers.
pub fn limits_of_agreement(pairs: &[(f64, f64)]) -> Result<Limits, FigureError> {
    if pairs.len() < 2 {
        return Err(FigureError::TooFew {
            what: "limits of agreement",
            needed: "two pairs",
            have: pairs.len(),
        });
    }
    let d: Vec<f64> = pairs.iter().map(|(a, b)| a - b).collect();
    if let Some(i) = d.iter().position(|d| !d.is_finite()) {
        return Err(FigureError::NotANumber { row: i + 1 });
    }
    let n = d.len() as f64;
    let mean = d.iter().sum::<f64>() / n;
    let sd = (d.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let t = StudentsT::new(0.0, 1.0, n - 1.0).map_or(f64::NAN, |t| t.inverse_cdf(0.975));
    let around = |value: f64, se: f64| Estimate {
        value,
        low95: value - t * se,
        high95: value + t * se,
    };
    let se_of_limit = (3.0 * sd * sd / n).sqrt();
    Ok(Limits {
        n: d.len(),
        bias: around(mean, sd / n.sqrt()),
        sd,
        lower: around(mean - 1.96 * sd, se_of_limit),
        upper: around(mean + 1.96 * sd, se_of_limit),
        se_of_limit,
    })
}
