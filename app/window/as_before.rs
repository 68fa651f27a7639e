//! A known patient is positioned as for the cast before, in one touch.

use super::open::Open;
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
    /// Looks for the cast of the same foot before this one, at this visit or the one before.
    pub fn find_before(&mut self) {
        let Some(open) = &mut self.open else { return };
        let side = open.case.side;
        let mut casts = open
            .case
            .visit
            .casts
            .iter()
            .rev()
            .filter(|c| c.side == side);
        if let Some(before) = casts.nth(1) {
            open.before = Some(before.record.clone());
            return;
        }
        let (earlier, side) = (open.case.visit.previous_visit.clone(), open.case.side);
        let Some(id) = earlier else { return };
        // A visit that was erased meanwhile offers nothing.
        let records = self.records();
        let value = records.and_then(|records| records.store().read(&id).ok());
        let earlier = value.and_then(|value| serde_json::from_value::<Visit>(value).ok());
        if let Some(open) = &mut self.open {
            open.before = earlier.and_then(|visit| Some(visit.cast(side)?.record.clone()));
        }
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
