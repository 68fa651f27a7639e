//! Do the taps belong to still points of one cast?
//!
//! A tap's residual e has covariance Q = σ²·I − J·C·Jᵀ, so eᵀQ⁻¹e is χ² with 2 degrees of freedom
//! (1 where the mark has two views: then Q is singular along the ray, both taps get the same value
//! and nothing can tell which is wrong). It equals the drop of the cost if that tap were left out.

use super::error::SolveError;
use super::input::Mark;
use super::normal::minimise;
use super::problem::{Problem, State};
use super::recipe::{self, Fit};
use super::{model, rays, start};
use nalgebra::{Matrix2, Matrix3, SymmetricEigen, Vector2, Vector3};
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// Chance that one solve of good taps is refused; the taps' factor, never under 1, makes it less.
const FALSE_ALARM: f64 = 0.0085;
/// Variances below this share of the tap's own are the direction along the ray.
const ALONG_RAY: f64 = 1e-4;
/// From tags alone, only taps this far off are refused, pixels and stated sds: nearer ones wait
/// for the full covariance.
const GROSS_PX: f64 = 25.0;
const GROSS_SD: f64 = 12.0;
/// No hand taps better than this: what lies nearer is scatter and widens the ±, pixels.
const LEAST_WRONG_PX: f64 = 1.0;
/// From this share of the marks, and this number, the trouble is the cast and not a tap.
const MANY_SHARE: f64 = 0.3;
const MANY: usize = 3;

/// Largest factor on the taps' variance that still passes for shaky hands, unless the taps still
/// scatter by less than so many pixels: sharp taps on a target that is not quite as drawn.
const MOST_SCATTER: f64 = 6.0;
const SHAKY_PX: f64 = 3.5;

/// What one tap says about itself.
struct Suspicion {
    shot: usize,
    /// Drop of the cost if it were left out.
    drop: f64,
    /// Distance from where the other views put it, pixels.
    off_px: f64,
}

/// All taps of one mark.
struct Verdict {
    mark: usize,
    taps: Vec<Suspicion>,
    wrong: bool,
}

/// With cameras known from tags alone: refuses taps so far off that they would bend the cameras.
pub(crate) fn refuse_gross(
    problem: &Problem,
    state: &mut State,
    marks: &[Mark<'_>],
) -> Result<(), SolveError> {
    let mut verdicts = Vec::with_capacity(problem.marks);
    for mark in 0..problem.marks {
        let taps: Vec<usize> = (0..problem.taps.len())
            .filter(|t| problem.taps[*t].mark == mark)
            .collect();
        let all = place_alone(problem, state, mark, &taps);
        if let Some((place, _)) = all {
            state.marks[mark] = place;
        }
        let worst = taps.iter().map(|t| {
            let tap = &problem.taps[*t];
            let off = problem
                .tap_residual(state, tap)
                .map_or(f64::MAX, |[x, y]| x.hypot(y));
            off / GROSS_PX.max(GROSS_SD * tap.sd_px)
        });
        let wrong = worst.fold(0.0, f64::max) > 1.0;
        let mut suspicions = Vec::new();
        for t in &taps {
            let others: Vec<usize> = taps.iter().copied().filter(|o| o != t).collect();
            let tap = &problem.taps[*t];
            let without = if wrong && others.len() > 1 {
                place_alone(problem, state, mark, &others)
            } else {
                None
            };
            let (_, lens) = problem.camera(state, tap.shot);
            let off_px = without.as_ref().and_then(|(p, _)| {
                let seen = model::project(lens, &state.poses[tap.shot], p)?;
                Some((Vector2::from(tap.px) - seen).norm())
            });
            let cost = all.as_ref().map_or(f64::MAX, |(_, cost)| *cost);
            let drop = without.as_ref().map_or(0.0, |(_, less)| cost - less);
            suspicions.push(Suspicion {
                shot: tap.shot,
                drop,
                off_px: off_px.unwrap_or(0.0),
            });
        }
        verdicts.push(Verdict {
            mark,
            taps: suspicions,
            wrong,
        });
    }
    decide(problem, state, marks, &verdicts)
}

/// With the full covariance: refuses taps that good ones would exceed in one solve of 120.
pub(crate) fn refuse_wrong(
    problem: &Problem,
    state: &State,
    fit: &Fit,
    marks: &[Mark<'_>],
) -> Result<(), SolveError> {
    let quantile = |chance: f64, dof: f64| {
        ChiSquared::new(dof).map_or(f64::INFINITY, |chi2| chi2.inverse_cdf(1.0 - chance))
    };
    let total: f64 = fit.mark_sums.iter().sum();
    // Taps that scatter this much are no scatter: most marks disagree, so none can judge another.
    let stated_px = start::median(problem.taps.iter().map(|tap| tap.sd_px).collect());
    let hopeless =
        problem.tap_factor > MOST_SCATTER && stated_px * problem.tap_factor.sqrt() > SHAKY_PX;
    let mut verdicts = Vec::with_capacity(problem.marks);
    for mark in 0..problem.marks {
        let taps: Vec<_> = problem.taps.iter().filter(|t| t.mark == mark).collect();
        let views = taps.len() as f64;
        let dof = 2.0 * views - 3.0;
        // The other marks say how far the taps scatter.
        let other_dof = (fit.dof - 6.0 - dof).max(0.0);
        let factor = if hopeless {
            1.0
        } else {
            recipe::tap_factor(total - fit.mark_sums[mark], other_dof)
        };
        let chance = FALSE_ALARM / problem.marks as f64;
        let limit = factor
            * if taps.len() == 2 {
                quantile(chance, 1.0)
            } else {
                quantile(chance / views, 2.0)
            };
        let mut suspicions = Vec::new();
        for tap in &taps {
            let used =
                recipe::projected_covariance(problem, state, &fit.covariance, tap.shot, mark);
            let (Some(used), Some(e)) = (used, problem.tap_residual(state, tap)) else {
                return Err(SolveError::NoConvergence);
            };
            let own = tap.sd_px.powi(2) * problem.tap_factor;
            let (drop, off_px) = score(&(Matrix2::identity() * own - used), own, &Vector2::from(e));
            let drop = drop * problem.tap_factor;
            suspicions.push(Suspicion {
                shot: tap.shot,
                drop,
                off_px,
            });
        }
        let wrong = suspicions
            .iter()
            .any(|s| s.drop > limit && s.off_px > LEAST_WRONG_PX);
        verdicts.push(Verdict {
            mark,
            taps: suspicions,
            wrong,
        });
    }
    decide(problem, state, marks, &verdicts)
}

/// eᵀQ⁻¹e within the directions in which the tap can be checked, and how far off the tap lies
/// from the prediction of the others, σ²·Q⁻¹e.
fn score(q: &Matrix2<f64>, own: f64, e: &Vector2<f64>) -> (f64, f64) {
    let eigen = SymmetricEigen::new(*q);
    let (mut drop, mut off) = (0.0, Vector2::zeros());
    for (value, vector) in eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
    {
        if *value > ALONG_RAY * own {
            let along = vector.dot(e);
            drop += along * along / value;
            off += vector * (along * own / value);
        }
    }
    (drop, off.norm())
}

/// Names what is wrong, if anything.
fn decide(
    problem: &Problem,
    state: &State,
    marks: &[Mark<'_>],
    verdicts: &[Verdict],
) -> Result<(), SolveError> {
    let wrong: Vec<&Verdict> = verdicts.iter().filter(|v| v.wrong).collect();
    let photo = |shot: usize| {
        let all = marks.iter().flat_map(|m| &m.taps);
        all.clone()
            .find(|(s, _)| *s == shot)
            .map_or(String::new(), |(_, view)| view.photo.clone())
    };
    let drop = |tap: &Suspicion| tap.drop;
    let worst_of = |v: &Verdict| v.taps.iter().map(drop).fold(0.0, f64::max);
    let Some(worst) = wrong
        .iter()
        .max_by(|a, b| worst_of(a).total_cmp(&worst_of(b)))
    else {
        return Ok(());
    };
    if wrong.len() >= MANY && wrong.len() as f64 >= MANY_SHARE * problem.marks as f64 {
        if let Some((shots, moved_mm)) = moved_shots(problem, state) {
            let photos: Vec<String> = shots.into_iter().map(photo).collect();
            return Err(SolveError::CastMoved {
                photo: photos.join(" and "),
                moved_mm,
            });
        }
        let blame = |shot: usize| -> f64 {
            wrong
                .iter()
                .flat_map(|v| &v.taps)
                .filter(|t| t.shot == shot)
                .map(drop)
                .sum()
        };
        let most = (0..problem.shots.len()).max_by(|a, b| blame(*a).total_cmp(&blame(*b)));
        return Err(SolveError::DifferentCasts {
            photo: photo(most.unwrap_or(0)),
            disagreeing: wrong.len(),
            marks: problem.marks,
        });
    }
    let mark = marks[worst.mark].name.clone();
    if let [first, second] = worst.taps.as_slice() {
        let (first, second) = (photo(first.shot), photo(second.shot));
        return Err(SolveError::OneOfTwoTaps {
            mark,
            first,
            second,
        });
    }
    match worst.taps.iter().max_by(|a, b| a.drop.total_cmp(&b.drop)) {
        Some(tap) => Err(SolveError::WrongTap {
            mark,
            photo: photo(tap.shot),
            off_px: tap.off_px,
        }),
        None => Ok(()),
    }
}

/// The photographs, one or failing that two, whose taps agree with the others once they may have poses
/// apart from their tags, and how far the cast then moved; `None` if there are none.
fn moved_shots(problem: &Problem, state: &State) -> Option<(Vec<usize>, f64)> {
    let shots: Vec<usize> = (0..problem.shots.len())
        .filter(|s| problem.taps.iter().filter(|tap| tap.shot == *s).count() >= 3)
        .collect();
    let ones = shots.iter().map(|s| vec![*s]);
    let best = |sets: &mut dyn Iterator<Item = Vec<usize>>| {
        sets.filter_map(|set| Some((parted(problem, state, &set)?, set)))
            .min_by(|a, b| a.0.0.total_cmp(&b.0.0))
            .map(|((_, moved_mm), set)| (set, moved_mm))
    };
    best(&mut ones.clone()).or_else(|| {
        let pairs = shots
            .iter()
            .flat_map(|a| shots.iter().map(move |b| vec![*a, *b]));
        best(&mut pairs.filter(|pair| pair[0] < pair[1]))
    })
}

/// Scatter of the taps and how far the cast moved, once some photographs' taps have poses of their
/// own; `None` if the taps still disagree.
fn parted(problem: &Problem, state: &State, set: &[usize]) -> Option<(f64, f64)> {
    let (mut split, mut moved) = (problem.clone(), state.clone());
    for shot in set {
        let apart = split.shots.len();
        split.shots.push(problem.shots[*shot].clone());
        moved.poses.push(state.poses[*shot].clone());
        let own = split.taps.iter_mut().filter(|t| t.shot == *shot);
        own.for_each(|t| t.shot = apart);
    }
    minimise(&split, &mut moved, 60, 1e-3)?;
    let sum: Option<f64> = split
        .taps
        .iter()
        .map(|t| {
            let [x, y] = split.tap_residual(&moved, t)?;
            Some((x * x + y * y) / t.sd_px.powi(2))
        })
        .sum();
    let dof = 2.0 * split.taps.len() as f64 - 3.0 * split.marks as f64 - 6.0 * set.len() as f64;
    // Twice the stated sd still counts as agreement.
    let limit = ChiSquared::new(dof.max(1.0)).ok()?.inverse_cdf(0.9999) * 4.0;
    let sum = sum.filter(|sum| dof >= 2.0 && *sum < limit)?;
    let mut shifts = Vec::new();
    for (i, shot) in set.iter().enumerate() {
        let (tags, cast) = (&moved.poses[*shot], &moved.poses[problem.shots.len() + i]);
        for t in problem.taps.iter().filter(|t| t.shot == *shot) {
            let p = moved.marks[t.mark];
            let seen = cast.camera_from_mat * p + cast.t - tags.t;
            shifts.push((tags.camera_from_mat.tr_mul(&seen) - p).norm());
        }
    }
    Some((sum, start::median(shifts)))
}

/// One mark fitted to some of its taps, the cameras held: place and Σr² by stated sd.
fn place_alone(
    problem: &Problem,
    state: &State,
    mark: usize,
    taps: &[usize],
) -> Option<(Vector3<f64>, f64)> {
    let mut sight = Vec::with_capacity(taps.len());
    for t in taps {
        let tap = &problem.taps[*t];
        sight.push(start::tap_ray(problem, state, tap.shot, tap.px));
    }
    let mut place = rays::meet(&sight).unwrap_or(state.marks[mark]);
    let evaluate = |p: &Vector3<f64>| {
        let (mut normal, mut pull, mut cost) = (Matrix3::zeros(), Vector3::zeros(), 0.0);
        for t in taps {
            let tap = &problem.taps[*t];
            let (pose, lens) = problem.camera(state, tap.shot);
            let seen = model::project_with(lens, pose, p)?;
            let e = (Vector2::from(tap.px) - seen.px) / tap.sd_px;
            let j = seen.by_point / tap.sd_px;
            normal += j.tr_mul(&j);
            pull += j.tr_mul(&e);
            cost += e.norm_squared();
        }
        Some((normal, pull, cost))
    };
    let mut now = evaluate(&place)?;
    for _ in 0..20 {
        let step = now.0.cholesky()?.solve(&now.1);
        let Some(new) = evaluate(&(place + step)).filter(|new| new.2 <= now.2) else {
            break;
        };
        place += step;
        let gain = now.2 - new.2;
        now = new;
        if gain < 1e-6 {
            break;
        }
    }
    Some((place, now.2))
}
