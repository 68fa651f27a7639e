//! The tie between a cast and its order: a label bound to a visit, made void, proven on the
//! packed bag. The same for commands and screens.

use crate::error::AppError;
use crate::photographs::{Source, codes_in};
use crate::visits::Foot;
use plinthside_measure::marks::Side;
use plinthside_paper::CastCode;
use plinthside_paper::code::CodeError;
use plinthside_paper::qr::FoundCode;
use plinthside_store::{BagProof, Binding, BoundBy, LabelState, Store};
use plinthside_visit::{Cast, Visit};
use std::path::Path;

/// Number of the next pre-printed label, kept on this device.
const NEXT_NUMBER: &str = "labels/next-number";

/// What came of binding a label.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// It was free and is this cast's now.
    Now,
    /// It was this cast's already.
    Already,
    /// It is this cast's now. Nobody here had heard of it: it was printed on a device not met
    /// since.
    Unheard,
}

/// The one cast code in a photograph of a label, or on a packed bag.
///
/// # Errors
/// No code of a cast, or several different ones: then nobody can say which is meant.
pub fn read(photograph: &Source) -> Result<CastCode, AppError> {
    let name = photograph.name();
    let mut codes: Vec<CastCode> = codes_in(photograph)?
        .iter()
        .filter_map(FoundCode::cast)
        .collect();
    codes.sort_unstable();
    codes.dedup();
    match codes.as_slice() {
        [one] => Ok(*one),
        [] => Err(AppError::Request(format!(
            "{name}: no label could be read; photograph it from nearer, flat and without glare, or type the 13 symbols printed under the code"
        ))),
        several => Err(AppError::Request(format!(
            "{name} shows several labels ({}); photograph one bag alone",
            several
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join(", ")
        ))),
    }
}

/// The cast's label once one more photograph is seen: the one it carries, else the first that lies
/// in a photograph.
///
/// # Errors
/// The photograph shows another cast's label: identity stops, whatever else is right.
pub fn seen_beside(
    photograph: &str,
    codes: &[CastCode],
    own: Option<CastCode>,
) -> Result<Option<CastCode>, AppError> {
    let own = own.or(codes.first().copied());
    match (codes.iter().find(|code| Some(**code) != own), own) {
        (Some(other), Some(own)) => Err(AppError::Request(format!(
            "{photograph} shows the label {other}, not {own}: this photograph belongs to another cast; take it out or photograph again"
        ))),
        _ => Ok(own),
    }
}

/// A code as the user gave it: typed, or the photograph that shows it.
///
/// # Errors
/// Neither a code nor a photograph of one.
pub fn typed_or_photographed(store: &Store, given: &str) -> Result<(CastCode, BoundBy), AppError> {
    let path = Path::new(given);
    if path.is_file() {
        return Ok((read(&Source::File(path.to_owned()))?, BoundBy::Photograph));
    }
    Ok((typed(store, given)?, BoundBy::Typing))
}

/// A typed code.
///
/// # Errors
/// No code; which group looks wrong is said where the labels known here tell it.
pub fn typed(store: &Store, text: &str) -> Result<CastCode, AppError> {
    text.parse().or_else(|error: CodeError| {
        let known = store.label_codes()?;
        let known = known.iter().filter_map(|code| code.parse().ok());
        Err(error.beside(text, known).into())
    })
}

/// Binds a label to the cast of one foot: in the store at once, and in `visit`, which the caller
/// saves next. A crash in between leaves a label bound to the cast it was meant for. The cast is
/// made where there is none yet: a bag can be labelled before the plaster is wet.
///
/// # Errors
/// A label of another cast or side, a void or reused one; a cast that carries another label which
/// is not void, or was photographed beside another. None can be overridden.
pub fn bind(
    store: &mut Store,
    visit: &mut Visit,
    side: Side,
    code: CastCode,
    how: BoundBy,
    by: &str,
) -> Result<Bound, AppError> {
    if !visit.sides.contains(&side) {
        return Err(AppError::Request(format!(
            "visit {} is not about the {side} foot; stop and look at the cast",
            visit.id
        )));
    }
    let carried = cast_of(visit, side).and_then(|cast| cast.code.clone());
    let carried: Option<CastCode> = carried.map(|code| code.parse()).transpose()?;
    if let Some(other) = carried.filter(|carried| *carried != code)
        && !matches!(
            store.label_state(&other.to_string())?,
            LabelState::Void { .. }
        )
    {
        return Err(AppError::Request(format!(
            "the {side} cast of visit {} carries the label {other} already; make that one void first if it is lost or spoilt",
            visit.id
        )));
    }
    let seen = cast_of(visit, side).map_or("", |cast| cast.record.label_seen.as_str());
    if seen.parse().is_ok_and(|seen: CastCode| seen != code) {
        return Err(AppError::OtherLabelSeen {
            code: code.to_string(),
            seen: seen.to_owned(),
        });
    }
    let to = binding(visit, side);
    let known = store.bind_label(&code.to_string(), &to, how, by)?;
    if carried == Some(code) {
        return Ok(Bound::Already);
    }
    cast_to_label(visit, side).code = Some(code.to_string());
    Ok(if known { Bound::Now } else { Bound::Unheard })
}

/// What a label of this foot stands for: the visit, the side and the newest revision of its order.
#[must_use]
pub fn binding(visit: &Visit, side: Side) -> Binding {
    let revision = visit
        .order(side)
        .and_then(|order| order.newest())
        .map_or(0, |revision| revision.number);
    Binding {
        visit: visit.id.clone(),
        side: side.to_string(),
        revision,
    }
}

/// Proves a packed bag by the label read on it; recorded with person and time, right or wrong.
/// `expected` is the foot whose bag it should be, where one is packed rather than looked up.
///
/// # Errors
/// The disk refuses.
pub fn prove(
    store: &mut Store,
    code: CastCode,
    expected: Option<&Foot<'_>>,
    by: &str,
) -> Result<BagProof, AppError> {
    let expected = expected.map(|foot| binding(foot.visit, foot.side));
    Ok(store.prove_bag(&code.to_string(), expected.as_ref(), by)?)
}

/// Draws codes for labels that are printed ahead and notes them as free; with the number that the
/// first carries in print.
///
/// # Errors
/// No randomness, or the disk refuses.
pub fn print_ahead(
    store: &mut Store,
    count: u32,
    by: &str,
) -> Result<(Vec<CastCode>, u32), AppError> {
    let codes = mint(count)?;
    let words: Vec<String> = codes.iter().map(ToString::to_string).collect();
    store.labels_printed(&words, by)?;
    let kept = store.local(NEXT_NUMBER)?;
    let first = kept
        .and_then(|bytes| String::from_utf8(bytes).ok()?.parse().ok())
        .unwrap_or(1_u32);
    let next = first.saturating_add(count).to_string();
    store.set_local(NEXT_NUMBER, Some(next.as_bytes()))?;
    Ok((codes, first))
}

/// New cast codes.
///
/// # Errors
/// No randomness.
pub fn mint(count: u32) -> Result<Vec<CastCode>, AppError> {
    (0..count)
        .map(|_| CastCode::mint())
        .collect::<Result<_, _>>()
        .map_err(|problem| AppError::Request(problem.to_string()))
}

fn cast_of(visit: &Visit, side: Side) -> Option<&Cast> {
    let ordered = visit.order(side).and_then(|order| order.cast.clone());
    ordered
        .and_then(|id| visit.casts.iter().find(|cast| cast.id == id))
        .or_else(|| visit.cast(side))
}

/// The cast the order of this foot belongs to, else its latest, made if there is none.
fn cast_to_label(visit: &mut Visit, side: Side) -> &mut Cast {
    let id = match cast_of(visit, side) {
        Some(cast) => cast.id.clone(),
        None => {
            let id = format!("cast-{}", visit.casts.len() + 1);
            visit.casts.push(Cast::new(id.clone(), side));
            id
        }
    };
    let last = visit.casts.len() - 1;
    let index = visit.casts.iter().position(|cast| cast.id == id);
    &mut visit.casts[index.unwrap_or(last)]
}
