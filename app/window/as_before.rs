//! A known patient is positioned as for the cast before, in one touch.

use super::open::{Case, Open};
use super::questions::record_mut;
use super::session::Session;
use plinthside_visit::{CastRecord, Visit};

/// Takes over what a record says of how the leg lay and how the foot was held.
fn position(record: &mut CastRecord, from: &CastRecord) {
    record.position.clone_from(&from.position);
    record.knee_flexion_deg.clone_from(&from.knee_flexion_deg);
    record.rearfoot_held.clone_from(&from.rearfoot_held);
    record.midtarsal.clone_from(&from.midtarsal);
    record.first_ray.clone_from(&from.first_ray);
    let intended = &from.foot_to_leg_intended_deg;
    record.foot_to_leg_intended_deg.clone_from(intended);
}

/// That alone.
fn position_of(record: &CastRecord) -> CastRecord {
    let mut alone = CastRecord::default();
    position(&mut alone, record);
    alone
}

impl Open {
    /// How the cast before was positioned, while nothing is said of this one yet.
    pub fn position_before(&self) -> Option<CastRecord> {
        let now = self.case.visit.cast(self.case.side);
        let said = |record: &CastRecord| position_of(record) != CastRecord::default();
        let untouched = now.is_none_or(|cast| !said(&cast.record));
        let before = self.before.as_ref().filter(|before| said(before));
        before.filter(|_| untouched).map(position_of)
    }
}

impl Session {
    /// Looks for the visit before this one, and for the cast of the same foot before this one, at
    /// this visit or that.
    pub fn find_before(&mut self) {
        let Some(open) = &self.open else { return };
        let previous = open.case.visit.previous_visit.clone();
        // A visit that was erased meanwhile offers nothing.
        let earlier = previous.and_then(|id| {
            let value = self.records()?.store().read(&id).ok()?;
            serde_json::from_value::<Visit>(value).ok()
        });
        let Some(open) = &mut self.open else { return };
        let Case { visit, side, .. } = &open.case;
        let mut casts = visit.casts.iter().rev().filter(|cast| cast.side == *side);
        let there = || earlier.as_ref().and_then(|visit| visit.cast(*side));
        let before = casts.nth(1).or_else(there);
        open.before = before.map(|cast| cast.record.clone());
        open.earlier = earlier.map(Box::new);
    }

    /// Positions this cast as the one before.
    pub fn position_as_before(&mut self) {
        let Some(open) = &mut self.open else { return };
        if let Some(before) = open.position_before() {
            let earlier = open.case.visit.clone();
            let record = record_mut(&mut open.case.visit, open.case.side);
            position(record, &before);
            open.position.changed(earlier, &open.case.visit);
        }
    }
}
