//! Where one visit stands between this device and a target, in words.

use super::names::{Here, WANT, at};
use crate::error::Result;
use crate::local::{Local, json_mark, read_mark};
use crate::practice::{Member, Standing};
use plinthside_visit::Text;

/// Where a visit stands, with the reason and the next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VisitState {
    /// Everything of it that this device has lies at the target, and the other way.
    pub done: bool,
    /// One or more sentences.
    pub words: Text,
    /// Why the last synchronisation with this target failed, as [`crate::ExchangeError`] says it; nothing
    /// where it did not, or where nothing is left to be done.
    pub failed: Option<String>,
}

/// Where it is kept why the last synchronisation with a target failed.
fn failed_mark(address: &str) -> String {
    format!("{}failed", at(address))
}

/// Notes how a synchronisation with the target of an address ended.
pub(super) fn note_outcome<T>(
    local: &(impl Local + ?Sized),
    address: &str,
    outcome: &Result<T>,
) -> Result<()> {
    let mark = failed_mark(address);
    match outcome {
        Err(error) => local.set_marks(&[json_mark(mark, &error.to_string())]),
        Ok(_) if local.mark(&mark)?.is_some() => local.set_marks(&[(mark, None)]),
        Ok(_) => Ok(()),
    }
}

/// Where a visit stands between this device and the target of an address.
///
/// # Errors
/// The store cannot be read.
pub fn visit_state(local: &(impl Local + ?Sized), address: &str, id: &str) -> Result<VisitState> {
    let failed: Option<String> = read_mark(local, &failed_mark(address))?;
    let state = |done: bool, en: String, de: String| {
        Ok(VisitState {
            done,
            words: Text::new(en, de),
            failed: failed.clone().filter(|_| !done),
        })
    };
    let Some(member) = Member::read(local)? else {
        return state(
            false,
            "On this device only: no practice has been begun or joined yet. Begin or join one under Other devices.".into(),
            "Nur auf diesem Gerät: Noch ist keine Praxis begonnen und keiner beigetreten. Unter „Andere Geräte“ beginnen oder beitreten.".into(),
        );
    };
    let roster = member.practice.roster();
    match roster.standing(&member.own.card.device) {
        Standing::In => {}
        Standing::Unknown => {
            let inviter = &member.own.invited_by;
            return state(
                false,
                format!(
                    "On this device only: {inviter} has not let this device in yet. Synchronise on {inviter}, then here."
                ),
                format!(
                    "Nur auf diesem Gerät: {inviter} hat dieses Gerät noch nicht eingelassen. Auf {inviter} abgleichen, dann hier."
                ),
            );
        }
        Standing::Struck(by, _) => {
            let by = roster.name(&by);
            return state(
                false,
                format!(
                    "This device was struck off by {by} and sends nothing more. Everything on it is kept; join again with a code if that was a mistake."
                ),
                format!(
                    "Dieses Gerät wurde von {by} gestrichen und sendet nichts mehr. Alles darauf bleibt; war es ein Versehen, mit einem Code neu beitreten."
                ),
            );
        }
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
    let whole = match local.whole(id) {
        Ok(whole) => whole,
        Err(error) if error.is_damage() => {
            return Ok(VisitState {
                failed: Some(error.to_string()),
                ..state(
                    false,
                    "On this device only: its record is damaged and is sent once it can be read again.".into(),
                    "Nur auf diesem Gerät: Der Datensatz ist beschädigt und wird gesendet, sobald er wieder lesbar ist.".into(),
                )?
            });
        }
        Err(error) => return Err(error),
    };
    let Some(whole) = whole else {
        let said = local.mark(&format!("{root}e/{id}"))?.is_some();
        let left = local.mark(&format!("{root}purge/{id}"))?.is_some();
        return match (said, left) {
            (true, false) => state(
                true,
                "Erased, here and at the target.".into(),
                "Gelöscht, hier und am Ziel.".into(),
            ),
            (true, true) => state(
                false,
                "Erased here; files at the target that held it are still to be removed. Synchronise here, then on the devices that wrote them.".into(),
                "Hier gelöscht; Dateien am Ziel, in denen er stand, sind noch zu entfernen. Hier abgleichen, dann auf den Geräten, die sie geschrieben haben.".into(),
            ),
            (false, _) => state(
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
