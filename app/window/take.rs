//! A photograph that was read is taken into the store and into the cast it shows, or refused in
//! words.

use super::session::Session;
use super::taking::{self, Read};
use crate::labels;
use crate::mats::paper_name;
use crate::sources::mat_of;
use plinthside_measure::mat::Mat;
use plinthside_paper::CastCode;
use plinthside_visit::person::PrintedMat;
use plinthside_visit::{CastPhoto, Clinic};
use std::io::Cursor;

/// Takes it in, or says why not on the screen of the photographs.
pub fn take(session: &mut Session, serial: u64, photo: Result<Box<Read>, String>) {
    if session.opening(serial).is_none() {
        if let (Ok(read), Some(_)) = (photo, &session.open) {
            let name = read.name;
            session.taking.problems.push(format!(
                "{name} was read for another cast and is not taken in; turn to that cast and take it in there"
            ));
        }
        return;
    }
    let taken = photo.and_then(|read| take_in(session, *read));
    if let Err(problem) = taken {
        session.taking.problems.push(problem);
    }
}

fn take_in(session: &mut Session, read: Read) -> Result<(), String> {
    check_label(session, &read)?;
    let mat = choose_mat(session, &read)?;
    let Read {
        name,
        bytes,
        mut tags,
        codes,
        warning,
    } = read;
    let stored = session
        .try_records(|records| Ok(records.store().add_photo(&mut Cursor::new(&bytes))?))
        .ok_or_else(|| std::mem::take(&mut session.trouble))?;
    let Some(open) = &mut session.open else {
        return Ok(());
    };
    let cast = open.case.cast_mut();
    let photographs = &mut cast.sources.photographs;
    if let Some(same) = photographs.iter().find(|p| p.sha256 == stored.sha256) {
        return Err(format!(
            "{name} is the same photograph as {}; take it out or photograph from another side",
            same.id
        ));
    }
    // A camera that counts from the start again gives a name twice.
    tags.photo = taking::free_name(&name, photographs);
    photographs.push(CastPhoto {
        id: tags.photo.clone(),
        sha256: stored.sha256,
    });
    if let Some(mat) = mat {
        cast.sources.mat = mat;
    }
    cast.record
        .photographed_at
        .get_or_insert_with(crate::clock::now);
    if let (true, Some(code)) = (cast.record.label_seen.is_empty(), codes.first()) {
        cast.record.label_seen = code.to_string();
    }
    open.case.tags.insert(tags.photo.clone(), tags);
    // The photographs are loaded again with the new one among them.
    open.case.marking = None;
    session.taking.problems.extend(warning);
    Ok(())
}

/// Another cast's label in the photograph: identity stops, whatever else is right.
fn check_label(session: &mut Session, read: &Read) -> Result<(), String> {
    let open = session.open.as_ref();
    let cast = open.and_then(|open| open.case.visit.cast(open.case.side));
    let own: Option<CastCode> = cast.and_then(|cast| {
        let code = cast.code.as_ref().unwrap_or(&cast.record.label_seen);
        code.parse().ok()
    });
    let here = open.map(|open| (open.case.visit.id.clone(), open.case.side.to_string()));
    for code in &read.codes {
        let holder = session
            .try_records(|records| Ok(records.store().label(&code.to_string())?))
            .flatten();
        if let Some((visit, side)) = &holder
            && holder != here
        {
            let whose = match here.as_ref().is_some_and(|(id, _)| id == visit) {
                true => "of this visit",
                false => "of another visit",
            };
            return Err(format!(
                "{} shows the label {code}, bound to the {side} foot {whose}: stop and look at the cast and its bag",
                read.name
            ));
        }
    }
    let seen = labels::seen_beside(&read.name, &read.codes, own);
    seen.map(drop).map_err(|e| e.to_string())
}

/// The mat the cast stands on, where it is not known yet; `None` if it is. A photograph of another
/// mat, or of none, is refused.
fn choose_mat(session: &mut Session, read: &Read) -> Result<Option<String>, String> {
    let ids: Vec<u32> = read.tags.tags.iter().map(|tag| tag.id).collect();
    if let (true, Some(why)) = (ids.is_empty(), &read.warning) {
        return Err(why.clone());
    }
    let mut clinic = session.clinic();
    if let Some(sources) = session.sources().filter(|s| !s.mat.is_empty()) {
        let mat = mat_of(&clinic, sources).map_err(|e| e.to_string())?;
        return match mat.is_none_or(|mat| shows(&mat, &ids)) {
            true => Ok(None),
            false => Err(format!(
                "{} shows another mat than the photographs before; photograph the cast on one mat, or leave the others out",
                read.name
            )),
        };
    }
    match mat_seen(&clinic, &ids) {
        Some(MatSeen::Printed(id)) => Ok(Some(id)),
        Some(MatSeen::Unmeasured(paper)) => {
            let layout = paper.layout();
            let mat = layout.mat().map_err(|e| e.to_string())?;
            let id = format!("{}-unmeasured", paper_name(paper));
            clinic.mats.push(PrintedMat {
                id: id.clone(),
                name: layout.name.to_owned(),
                paper: paper_name(paper).to_owned(),
                layout: mat.to_json(),
                ..PrintedMat::default()
            });
            let by = session.person.clone();
            session
                .try_records(|records| records.set_clinic(clinic, &by))
                .ok_or_else(|| std::mem::take(&mut session.trouble))?;
            Ok(Some(id))
        }
        None => Err(format!(
            "{} shows no tags of a known mat ({} tags seen); stand the cast on its mat, the whole sheet in view, and photograph again",
            read.name,
            ids.len()
        )),
    }
}

/// Whether tags seen in a photograph are those of a mat.
fn shows(mat: &Mat, ids: &[u32]) -> bool {
    let known = ids.iter().filter(|id| mat.tag(**id).is_some()).count();
    known > 0 && 2 * known >= ids.len()
}

/// The mat that photographs stand on, by the tags seen: the clinic's own print, the newest first,
/// else one of the sheets as designed, unmeasured.
pub(super) fn mat_seen(clinic: &Clinic, ids: &[u32]) -> Option<MatSeen> {
    let fits = |mat: &Mat| shows(mat, ids);
    let printed = clinic
        .mats
        .iter()
        .rev()
        .find(|printed| Mat::from_json(&printed.layout).is_ok_and(|mat| fits(&mat)));
    if let Some(printed) = printed {
        return Some(MatSeen::Printed(printed.id.clone()));
    }
    plinthside_measure::mat::sheet::Paper::ALL
        .into_iter()
        .find(|paper| paper.layout().mat().is_ok_and(|mat| fits(&mat)))
        .map(MatSeen::Unmeasured)
}

/// See [`mat_seen`].
#[derive(Debug, Clone, PartialEq)]
pub(super) enum MatSeen {
    /// A mat of the clinic, by its identifier.
    Printed(String),
    /// A sheet of the program whose print was not measured.
    Unmeasured(plinthside_measure::mat::sheet::Paper),
}
