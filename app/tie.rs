//! Photographs belong to a cast by the label that lies in them.

use crate::error::AppError;
use crate::photographs::Found;
use plinthside_paper::CastCode;

/// Says which photographs show the cast's own label.
///
/// # Errors
/// A photograph shows another cast's label: identity stops, whatever else is right.
pub fn to_cast(found: &[Found], code: Option<CastCode>) -> Result<String, AppError> {
    let mut without = Vec::new();
    let mut seen: Option<CastCode> = code;
    for photo in found {
        let codes: Vec<CastCode> = photo.codes.iter().filter_map(|code| code.cast()).collect();
        match (codes.as_slice(), seen) {
            ([], _) => without.push(photo.tags.photo.as_str()),
            ([other, ..], Some(own)) if codes.iter().any(|code| *code != own) => {
                let other = codes.iter().find(|code| **code != own).unwrap_or(other);
                return Err(AppError::Request(format!(
                    "{} shows the label {other}, not {own}: this photograph belongs to another cast; take it out or photograph again",
                    photo.tags.photo
                )));
            }
            ([own, ..], None) => seen = Some(*own),
            _ => {}
        }
    }
    Ok(match (seen, without.len()) {
        (None, _) => "No label was read in the photographs: tie them to the cast by hand.".into(),
        (Some(code), 0) => format!("Every photograph shows the label {code}."),
        (Some(code), _) => format!(
            "Label {code} read in {} of {} photographs; not in {}.",
            found.len() - without.len(),
            found.len(),
            without.join(", ")
        ),
    })
}
