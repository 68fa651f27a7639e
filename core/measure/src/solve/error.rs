//! Why the photographs cannot be measured, and what to do about it.

use crate::marks::MarkName;
use thiserror::Error;

/// Every refusal of [`super::solve`]. Each sentence names the photograph or mark and the remedy.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SolveError {
    /// No photographs at all.
    #[error("no photograph was given; take at least two of the cast on its mat")]
    NoPhotographs,
    /// A size or orientation that no image has.
    #[error("{photo}: {what}; read the photograph again")]
    BadPhotograph {
        /// The photograph.
        photo: String,
        /// What is impossible about it.
        what: &'static str,
    },
    /// Two entries of one name, or the same corners in two photographs.
    #[error("{first} and {second} are one photograph given twice; leave one out")]
    SamePhotographTwice {
        /// One name.
        first: String,
        /// The other (equal if the name itself was repeated).
        second: String,
    },
    /// None of a photograph's tags are on the mat.
    #[error(
        "{photo}: none of its {seen} tags is on the mat \"{mat}\"; choose the mat file of the sheet \
         that was photographed"
    )]
    UnknownMat {
        /// The photograph.
        photo: String,
        /// Name of the mat.
        mat: String,
        /// Tags seen.
        seen: usize,
    },
    /// Too few tags to place the camera.
    #[error(
        "{photo}: {seen} tags of the mat were found and {needed} are needed; photograph again with \
         more of the mat in view, sharp and without glare, or leave this one out"
    )]
    TooFewTags {
        /// The photograph.
        photo: String,
        /// Usable tags.
        seen: usize,
        /// Needed.
        needed: usize,
    },
    /// A tag found twice in one photograph.
    #[error(
        "{photo}: tag {id} appears twice; clear other mats and copies out of the picture and \
         photograph again"
    )]
    TagTwice {
        /// The photograph.
        photo: String,
        /// The tag.
        id: u32,
    },
    /// A corner that is not a number.
    #[error("{photo}: tag {id} has a corner that is not a number; detect the tags again")]
    BadCorner {
        /// The photograph.
        photo: String,
        /// The tag.
        id: u32,
    },
    /// The tags do not lie where the mat file says.
    #[error(
        "{photo}: the tags lie {rms_px:.1} px from where the mat \"{mat}\" puts them; check that \
         this is the sheet's own mat file and that the sheet lies flat"
    )]
    TagsDoNotFit {
        /// The photograph.
        photo: String,
        /// Name of the mat.
        mat: String,
        /// Root mean square distance, pixels.
        rms_px: f64,
    },
    /// All tags come out too small or too large about their centres.
    #[error(
        "the tags' corners lie {percent:.0} % too far {direction} on every tag: they were found on \
         another edge of the border (a border of {other_bits} bits?); correct border_bits or the \
         corners in the mat file"
    )]
    WrongBorder {
        /// Size of the error in per cent of the tag.
        percent: f64,
        /// "in" or "out".
        direction: &'static str,
        /// The border width that would fit.
        other_bits: u8,
    },
    /// Every camera sees the mat from below.
    #[error(
        "{photo}: the camera comes out below the mat, so the mat file is a mirror image of the \
         sheet; correct the file (X to the right, Y up, seen from the printed side)"
    )]
    MirroredLayout {
        /// The first photograph.
        photo: String,
    },
    /// The sheet is not flat.
    #[error("the mat is bowed by {bow_mm:.1} mm; tape the sheet to a board and photograph again")]
    MatNotFlat {
        /// Greatest height over the plane, mm.
        bow_mm: f64,
    },
    /// The least squares did not settle.
    #[error(
        "the photographs do not settle on one answer; take them again, steeper and from further \
         round the cast, one of them turned a quarter turn"
    )]
    NoConvergence,
    /// A mark points at a photograph that is not there.
    #[error(
        "mark {mark} refers to the photograph {photo}, which was not given; add it or correct the name"
    )]
    NoSuchPhotograph {
        /// The mark.
        mark: MarkName,
        /// The name it refers to.
        photo: String,
    },
    /// A mark given twice in a photograph.
    #[error("mark {mark} is given twice in {photo}; delete one")]
    MarkTwice {
        /// The mark.
        mark: MarkName,
        /// The photograph.
        photo: String,
    },
    /// A position or sd that is not a number or is outside the picture.
    #[error("mark {mark} in {photo}: {what}; mark it again")]
    BadMark {
        /// The mark.
        mark: MarkName,
        /// The photograph.
        photo: String,
        /// What is wrong with it.
        what: &'static str,
    },
    /// One name for two faces of the shell.
    #[error(
        "mark {mark} is said to be inside the shell in one photograph and outside in another; give \
         the two faces different marks"
    )]
    MixedSurface {
        /// The mark.
        mark: MarkName,
    },
    /// Seen in one photograph only.
    #[error(
        "mark {mark} is marked in {photo} only; mark it in a second photograph, better a third"
    )]
    SeenOnce {
        /// The mark.
        mark: MarkName,
        /// Where it was seen.
        photo: String,
    },
    /// Rays that are nearly parallel.
    #[error(
        "mark {mark}: its lines of sight meet at {angle_deg:.1}° and {needed_deg:.0}° are needed; \
         mark it in a photograph taken from further round the cast"
    )]
    NarrowRays {
        /// The mark.
        mark: MarkName,
        /// Widest angle between two of its rays.
        angle_deg: f64,
        /// Least angle accepted.
        needed_deg: f64,
    },
    /// One tap does not agree with the others: known which.
    #[error(
        "mark {mark} in {photo} lies {off_px:.0} px from where the other photographs put it; mark \
         it again there"
    )]
    WrongTap {
        /// The mark.
        mark: MarkName,
        /// The photograph.
        photo: String,
        /// Distance from the prediction of the other views, pixels.
        off_px: f64,
    },
    /// Two taps that disagree.
    #[error(
        "mark {mark}: its places in {first} and {second} do not belong to one point; one of these \
         two is wrong, mark both again"
    )]
    OneOfTwoTaps {
        /// The mark.
        mark: MarkName,
        /// One photograph.
        first: String,
        /// The other.
        second: String,
    },
    /// Many marks of one photograph are displaced together.
    #[error(
        "the cast moved on the mat (about {moved_mm:.0} mm) between {photo} and the other \
         photographs; leave that photograph out, or photograph all again without touching the cast"
    )]
    CastMoved {
        /// The photograph.
        photo: String,
        /// Distance moved, mm.
        moved_mm: f64,
    },
    /// Marks that agree neither in place nor in shape.
    #[error(
        "the photographs do not show one cast: {disagreeing} of {marks} marks do not agree (most \
         in {photo}); check that all are of the same cast, standing still, with each mark's own name"
    )]
    DifferentCasts {
        /// The photograph that disagrees most.
        photo: String,
        /// Marks that do not agree.
        disagreeing: usize,
        /// Marks in all.
        marks: usize,
    },
}
