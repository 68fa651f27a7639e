//! Where one visit stands between this device and a target, in words.

use super::names::{Here, WANT, at};
use crate::error::Result;
use crate::local::{Local, read_mark};
use crate::practice::Member;

/// Where a visit stands, with the reason and the next step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VisitState {
    /// Everything of it that this device has lies at the target, and the other way.
    pub done: bool,
    /// One or more sentences.
    pub words: String,
}

/// Where a visit stands between this device and the target of an address.
///
/// # Errors
/// The store cannot be read.
pub fn visit_state(local: &(impl Local + ?Sized), address: &str, id: &str) -> Result<VisitState> {
    let state = |done: bool, words: String| Ok(VisitState { done, words });
    if Member::read(local)?.is_none() {
        return state(false, "On this device only: no practice has been begun or joined yet. Begin or join one under Devices.".into());
    }
    let root = at(address);
    let here: Option<Here> = read_mark(local, &format!("{root}here"))?;
    if here.is_none() {
        return state(false, "On this device only: it has never been synchronised with this target. Synchronise now.".into());
    }
    let Some(whole) = local.whole(id)? else {
        return match local.mark(&format!("{root}e/{id}"))? {
            Some(_) => state(true, "Erased, here and at the target.".into()),
            None => state(false, "Not finished yet: entries stay on this device until the visit is finished. An erased visit is passed on with the next synchronisation.".into()),
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
    let words = match (sent, to_send, to_fetch) {
        (true, 0, 0) => return state(true, "At the target, with every photograph.".into()),
        (false, 0, 0) => "Changed since it was last sent. Synchronise now.".to_owned(),
        (true, n, 0) => format!(
            "At the target; {n} photograph(s) still have to be sent. Synchronise again on a faster line if this takes long."
        ),
        (false, n, 0) => format!(
            "Changed since it was last sent, and {n} photograph(s) still have to be sent. Synchronise now."
        ),
        (_, _, n) if wanted => {
            format!("{n} photograph(s) still have to be fetched. Synchronise again.")
        }
        (_, _, n) => format!(
            "{n} photograph(s) are on another device that has not sent them yet. Synchronise there, then here."
        ),
    };
    state(false, words)
}
