//! Which way a signed quantity points, in the field's words.

use super::ResultName;
use crate::quantity::Quantity;
use std::collections::BTreeMap;

/// Words for the positive and the negative sense.
fn senses(name: ResultName) -> Option<[&'static str; 2]> {
    use ResultName as R;
    Some(match name {
        R::Heel => ["inverted", "everted"],
        R::Forefoot
        | R::ForefootToRearfoot
        | R::ForefootToRearfootM2M5
        | R::ForefootToRearfootM1M4
        | R::ForefootToRearfootM2M4 => ["inverted forefoot", "everted forefoot"],
        R::BalanceToVertical => ["under the first", "under the fifth"],
        R::FootToLeg => ["dorsiflexed", "plantarflexed"],
        R::CalfLeanFrontal => ["upper end lateral", "upper end medial"],
        R::HingeTiltFrontal | R::HingeTiltToLeg => ["lateral end lower", "medial end lower"],
        R::HingeTurnTransverse => ["lateral end behind", "medial end behind"],
        _ => return None,
    })
}

/// The signed quantity that tells which way an acute angle leans.
fn signed(name: ResultName) -> ResultName {
    use ResultName as R;
    match name {
        R::HingeFrontal | R::HingeToVertical3d => R::HingeTiltFrontal,
        R::HingeTransverse => R::HingeTurnTransverse,
        R::HingeToLeg | R::HingeToLeg3d => R::HingeTiltToLeg,
        other => other,
    }
}

/// Words for every quantity that has a sense. Where the interval spans zero they say so.
pub(crate) fn all(quantities: &BTreeMap<ResultName, Quantity>) -> BTreeMap<ResultName, String> {
    let mut words = BTreeMap::new();
    for name in quantities.keys() {
        let (Some(q), Some([plus, minus])) =
            (quantities.get(&signed(*name)), senses(signed(*name)))
        else {
            continue;
        };
        let sense = if q.value >= 0.0 { plus } else { minus };
        let unsure = q.low95 < 0.0 && q.high95 > 0.0;
        let note = if unsure { " (the ± spans zero)" } else { "" };
        words.insert(*name, format!("{sense}{note}"));
    }
    words
}
