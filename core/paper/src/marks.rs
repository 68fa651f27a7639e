//! Marks by the names that people read instead of their identifiers.

use plinthside_measure::marks::MarkName as M;

/// A mark as a table lists it; one with a name of its own keeps that.
pub(crate) fn listed(mark: &str) -> String {
    let label = match mark {
        M::MALLEOLUS_MEDIAL => "Medial malleolus",
        M::MALLEOLUS_LATERAL => "Lateral malleolus",
        M::MALLEOLUS_MEDIAL_LOWER => "Medial malleolus, lower pole",
        M::MALLEOLUS_LATERAL_LOWER => "Lateral malleolus, lower pole",
        M::MTP_1 => "First MTP",
        M::MTP_2 => "Second MTP",
        M::MTP_4 => "Fourth MTP",
        M::MTP_5 => "Fifth MTP",
        M::HEEL_UPPER => "Heel, upper",
        M::HEEL_LOWER => "Heel, lower",
        M::CALF_UPPER => "Calf, upper",
        M::CALF_LOWER => "Calf, lower",
        other => return other.replace('-', " "),
    };
    label.to_owned()
}

/// A mark inside a sentence, without a comma that a list of marks could be cut at.
fn in_a_sentence(mark: &str) -> Option<&'static str> {
    Some(match mark {
        M::MALLEOLUS_MEDIAL => "medial malleolus",
        M::MALLEOLUS_LATERAL => "lateral malleolus",
        M::MALLEOLUS_MEDIAL_LOWER => "medial malleolus (lower pole)",
        M::MALLEOLUS_LATERAL_LOWER => "lateral malleolus (lower pole)",
        M::MTP_1 => "first MTP",
        M::MTP_2 => "second MTP",
        M::MTP_4 => "fourth MTP",
        M::MTP_5 => "fifth MTP",
        M::HEEL_UPPER => "upper heel",
        M::HEEL_LOWER => "lower heel",
        M::CALF_UPPER => "upper calf",
        M::CALF_LOWER => "lower calf",
        _ => return None,
    })
}

/// A sentence of the measurement with its marks by name: `mark mtp-1` is told as `mark first MTP`.
/// What is part of a file's name or stands in quotation marks stays.
#[must_use]
pub fn name_marks(sentence: &str) -> String {
    let part = |c: char| c.is_alphanumeric() || "-_./\\\"“”".contains(c);
    sentence
        .split_inclusive(|c: char| !part(c))
        .map(|piece| {
            let word = piece.trim_end_matches(|c: char| !part(c) || c == '.');
            in_a_sentence(word).map_or_else(
                || piece.to_owned(),
                |name| format!("{name}{}", &piece[word.len()..]),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_name_marks_and_leave_files_and_quotations() {
        assert_eq!(
            name_marks("mark mtp-1 in mtp-1.jpg lies 27 px from heel-upper, calf-lower."),
            "mark first MTP in mtp-1.jpg lies 27 px from upper heel, lower calf."
        );
        for kept in [
            "name it, for example \"mtp-1\"",
            "marks/mtp-1",
            "my-mtp-1 äß",
            "",
        ] {
            assert_eq!(name_marks(kept), kept);
        }
        assert_eq!(listed("mtp-5"), "Fifth MTP");
        assert_eq!(listed("heel-plantar"), "heel plantar");
    }
}
