//! Which foot is this? Several cues, because one alone is circular: who takes a left cast for a
//! right one also names its marks accordingly.

use super::{ResultName, Settings, SideCheck, SideOutcome, Source};
use crate::marks::Side;
use crate::quantity::Quantity;
use std::collections::BTreeMap;

/// Below this many total sd the position of a pair of marks decides nothing.
const DECISIVE_SD: f64 = 3.0;
/// The same for an anatomy cue, which alone only cautions.
const ANATOMY_SD: f64 = 2.0;

/// One independent cue and the side it speaks for.
struct Cue {
    says: Side,
    sentence: String,
    /// Seen by eye on the cast, not derived from how marks were named.
    direct: bool,
}

/// Checks the recorded side.
pub(crate) fn check(
    side: Side,
    source: Source,
    quantities: &BTreeMap<ResultName, Quantity>,
    settings: &Settings,
) -> SideCheck {
    let get = |name| quantities.get(&name);
    let (t1, t2) = match source {
        Source::Photographs => (
            get(ResultName::SideFromMtp).and_then(|q| side_of(q, DECISIVE_SD)),
            get(ResultName::SideFromMalleoli).and_then(|q| side_of(q, DECISIVE_SD)),
        ),
        // By ruler the clinician typed which side is medial, so the pairs say what was believed.
        Source::Ruler => (
            get(ResultName::SideFromMtp).map(|_| side),
            get(ResultName::SideFromMalleoli).map(|_| side),
        ),
    };
    let cues = cues(t1, t2, quantities, settings);
    let m5_ahead = get(ResultName::FirstMtpForward)
        .is_some_and(|q| q.value < -ANATOMY_SD * q.total_sd && q.value < 0.0);
    let mm_lower = get(ResultName::MedialMalleolusHigher)
        .is_some_and(|q| q.value < -ANATOMY_SD * q.total_sd && q.value < 0.0);
    let outcome = match (t1, t2) {
        (Some(a), Some(b)) if a != b && a != side => SideOutcome::MtpMarksSwapped,
        (Some(a), Some(b)) if a != b => SideOutcome::MalleoliSwapped,
        (Some(a), Some(_)) if a != side && m5_ahead => SideOutcome::LabelsSwapped,
        (Some(a), Some(_)) if a != side => SideOutcome::WrongSide,
        (Some(a), None) if a != side && m5_ahead => SideOutcome::MtpMarksSwapped,
        (None, Some(b)) if b != side && mm_lower => SideOutcome::MalleoliSwapped,
        (Some(a), None) | (None, Some(a)) if a != side => SideOutcome::WrongSide,
        _ => from_cues(side, source, t1.or(t2).is_some(), &cues),
    };
    let stops = !matches!(
        outcome,
        SideOutcome::Agrees | SideOutcome::Caution | SideOutcome::CannotTell
    );
    let mut sentences = vec![sentence(outcome, side, source)];
    sentences.extend(cues.into_iter().map(|cue| cue.sentence));
    SideCheck {
        outcome,
        stops,
        sentences,
    }
}

/// The outcome when no pair of marks is against the record.
fn from_cues(side: Side, source: Source, marks_decide: bool, cues: &[Cue]) -> SideOutcome {
    let against = cues.iter().filter(|cue| cue.says != side).count();
    let seen_against = cues.iter().any(|cue| cue.direct && cue.says != side);
    let corroborated = cues.iter().filter(|cue| cue.says == side).count() >= 2;
    match against {
        _ if seen_against => SideOutcome::Contradiction,
        0 if !marks_decide => SideOutcome::CannotTell,
        0 if source == Source::Ruler && !corroborated => SideOutcome::CannotTell,
        0 => SideOutcome::Agrees,
        1 => SideOutcome::Caution,
        _ => SideOutcome::Contradiction,
    }
}

/// Left where the quantity is positive beyond `sds` total sd, right where negative.
fn side_of(q: &Quantity, sds: f64) -> Option<Side> {
    let decisive = q.value.abs() >= sds * q.total_sd && q.value != 0.0;
    let side = if q.value > 0.0 {
        Side::Left
    } else {
        Side::Right
    };
    decisive.then_some(side)
}

fn other(side: Side) -> Side {
    match side {
        Side::Left => Side::Right,
        Side::Right => Side::Left,
    }
}

/// The cues that do not come from believing a side.
fn cues(
    t1: Option<Side>,
    t2: Option<Side>,
    quantities: &BTreeMap<ResultName, Quantity>,
    settings: &Settings,
) -> Vec<Cue> {
    // Where the named marks lie says one side; anatomy says whether the names can be right.
    let anatomy = [
        (
            ResultName::MedialMalleolusHigher,
            t2,
            "higher",
            "lower",
            "The mark named medial malleolus",
            "the lateral one",
        ),
        (
            ResultName::MedialMalleolusForward,
            t2,
            "further forward",
            "further back",
            "The mark named medial malleolus",
            "the lateral one",
        ),
        (
            ResultName::FirstMtpForward,
            t1,
            "further forward",
            "further back",
            "The mark named first MTP",
            "the fifth",
        ),
    ];
    let mut cues = Vec::new();
    for (name, named_side, usual, unusual, mark, than) in anatomy {
        let (Some(named_side), Some(q)) = (named_side, quantities.get(&name)) else {
            continue;
        };
        if q.value.abs() < ANATOMY_SD * q.total_sd || q.value == 0.0 {
            continue;
        }
        let as_usual = q.value > 0.0;
        let says = if as_usual {
            named_side
        } else {
            other(named_side)
        };
        let relation = if as_usual { usual } else { unusual };
        cues.push(Cue {
            says,
            sentence: format!(
                "{mark} lies {relation} than {than} by {:.0} mm: it speaks for a {says} foot.",
                q.value.abs()
            ),
            direct: false,
        });
    }
    if let Some(letter) = settings.letter_on_skin {
        let sentence = format!("The letter on the skin says {letter}.");
        cues.push(Cue {
            says: letter,
            sentence,
            direct: true,
        });
    }
    if let Some(arch) = settings.arch_seen_on {
        // The arch is medial: seen from behind it lies to the right on a left foot.
        let says = other(arch);
        let sentence = format!("Seen from behind the arch lies on the {arch}: a {says} foot.");
        cues.push(Cue {
            says,
            sentence,
            direct: true,
        });
    }
    cues
}

fn sentence(outcome: SideOutcome, side: Side, source: Source) -> String {
    match outcome {
        SideOutcome::Agrees => format!("The marks agree with the recorded side: {side}."),
        SideOutcome::Caution => format!(
            "One cue speaks against the recorded side ({side}): look at the cast and the letter on the skin."
        ),
        SideOutcome::CannotTell if source == Source::Ruler => format!(
            "Ruler entries take the recorded side ({side}) on trust: compare it with the letter on the skin."
        ),
        SideOutcome::CannotTell => format!(
            "The marks can't tell left from right: compare the recorded side ({side}) with the letter on the skin."
        ),
        SideOutcome::MtpMarksSwapped => {
            "The first and fifth MTP marks are exchanged: name them again.".to_owned()
        }
        SideOutcome::MalleoliSwapped => {
            "The medial and lateral malleolar marks are exchanged: name them again.".to_owned()
        }
        SideOutcome::LabelsSwapped => format!(
            "The medial and lateral marks are all exchanged for a {side} foot: name them again."
        ),
        SideOutcome::WrongSide => format!(
            "The marks are those of a {} foot, but {side} is recorded: correct the side before anything is printed.",
            other(side)
        ),
        SideOutcome::Contradiction => format!(
            "The cues contradict each other about the side ({side} is recorded): stop, look at the cast and the patient, and name the marks again."
        ),
    }
}
