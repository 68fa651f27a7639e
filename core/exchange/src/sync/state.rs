//! Where one visit stands between this device and a target, in words.

use super::names::{Here, WANT, at};
use crate::error::Result;
use crate::local::{Local, read_mark};
use crate::practice::Member;
use plinthside_visit::Text;

/// Where a visit stands, with the reason and the next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VisitState {
    /// Everything of it that this device has lies at the target, and the other way.
    pub done: bool,
    /// One or more sentences.
    pub words: Text,
}

/// Where a visit stands between this device and the target of an address.
///
/// # Errors
/// The store cannot be read.
pub fn visit_state(local: &(impl Local + ?Sized), address: &str, id: &str) -> Result<VisitState> {
    let state = |done: bool, en: String, de: String| {
        let words = Text::new(en, de);
        Ok(VisitState { done, words })
    };
    if Member::read(local)?.is_none() {
        return state(
            false,
            "On this device only: no practice has been begun or joined yet. Begin or join one under Other devices.".into(),
            "Nur auf diesem Gerät: Noch ist keine Praxis begonnen und keiner beigetreten. Unter „Andere Geräte“ beginnen oder beitreten.".into(),
        );
    }
    let root = at(address);
    let here: Option<Here> = read_mark(local, &format!("{root}here"))?;
    if here.is_none() {
        return state(
            false,
            "On this device only: it has never been synchronised with this target. Synchronise now.".into(),
            "Nur auf diesem Gerät: Mit diesem Ziel wurde noch nie abgeglichen. Jetzt abgleichen.".into(),
        );
    }
    let Some(whole) = local.whole(id)? else {
        return match local.mark(&format!("{root}e/{id}"))? {
            Some(_) => state(
                true,
                "Erased, here and at the target.".into(),
                "Gelöscht, hier und am Ziel.".into(),
            ),
            None => state(
                false,
                "Not finished yet: entries stay on this device until the visit is put away. An erased visit is passed on with the next synchronisation.".into(),
                "Noch nicht abgeschlossen: Einträge bleiben auf diesem Gerät, bis der Besuch weggelegt wird. Eine Löschung wird mit dem nächsten Abgleich weitergegeben.".into(),
            ),
        };
    };
    let sent = local.mark(&format!("{root}r/{id}"))?.as_ref() == Some(&whole.heads);
    let (mut to_send, mut to_fetch) = (0, 0);
    for sha in local.photos_of(id)? {
        let there = local.mark(&format!("{root}p/{sha}"))?.is_some();
        let here = local.has_photo(&sha)?;
        to_send += usize::from(here && !there);
        to_fetch += usize::from(!here);
    }
    let wanted = !local.marks(WANT, 1)?.is_empty();
    let (en, de) = match (sent, to_send, to_fetch) {
        (true, 0, 0) => {
            return state(
                true,
                "At the target, with every photograph.".into(),
                "Am Ziel, mit jedem Foto.".into(),
            );
        }
        (false, 0, 0) => (
            "Changed since it was last sent. Synchronise now.".to_owned(),
            "Geändert, seit er zuletzt gesendet wurde. Jetzt abgleichen.".to_owned(),
        ),
        (true, n, 0) => (
            format!(
                "At the target; {n} photograph(s) still have to be sent. Synchronise again on a faster line if this takes long."
            ),
            format!(
                "Am Ziel; {n} Foto(s) sind noch zu senden. Wenn es lange dauert, über eine schnellere Leitung abgleichen."
            ),
        ),
        (false, n, 0) => (
            format!(
                "Changed since it was last sent, and {n} photograph(s) still have to be sent. Synchronise now."
            ),
            format!(
                "Geändert, seit er zuletzt gesendet wurde, und {n} Foto(s) sind noch zu senden. Jetzt abgleichen."
            ),
        ),
        (_, _, n) if wanted => (
            format!("{n} photograph(s) still have to be fetched. Synchronise again."),
            format!("{n} Foto(s) sind noch zu holen. Noch einmal abgleichen."),
        ),
        (_, _, n) => (
            format!(
                "{n} photograph(s) are on another device that has not sent them yet. Synchronise there, then here."
            ),
            format!(
                "{n} Foto(s) liegen auf einem anderen Gerät, das sie noch nicht gesendet hat. Dort abgleichen, dann hier."
            ),
        ),
    };
    state(false, en, de)
}
