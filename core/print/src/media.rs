//! Paper and label sizes: what a page needs, and what a printer takes and holds.

use crate::About;
use serde::{Deserialize, Serialize};

/// A size that differs by no more than this is the same paper, hundredths of a millimetre. Rolls
/// are named by their nominal size; A4 and Letter differ by 600.
const SAME: i32 = 100;

/// Width × height, hundredths of a millimetre as IPP counts them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Media {
    /// Width.
    pub width: i32,
    /// Height.
    pub height: i32,
}

/// How a page goes on a printer's paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// The paper, as the printer names it.
    pub media: Media,
    /// The page is turned by a quarter to go on it.
    pub turned: bool,
}

/// Why a page cannot go on the paper of a printer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MediaProblem {
    /// The printer never takes this size.
    #[error("this printer does not take {wanted}; it takes {}", list(.takes))]
    NotTaken {
        /// Size of the page.
        wanted: Media,
        /// Sizes it takes.
        takes: Vec<Media>,
    },
    /// The printer takes this size and holds another.
    #[error("load {wanted}; the printer holds {}", list(.holds))]
    NotLoaded {
        /// Size of the page.
        wanted: Media,
        /// Sizes it holds.
        holds: Vec<Media>,
    },
}

fn list(sizes: &[Media]) -> String {
    let names: Vec<String> = sizes.iter().take(6).map(ToString::to_string).collect();
    if names.is_empty() {
        return "nothing it names".into();
    }
    names.join(", ") + if sizes.len() > 6 { " …" } else { "" }
}

impl std::fmt::Display for Media {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mm = |hundredths: i32| f64::from(hundredths) / 100.0;
        write!(f, "{} × {} mm", mm(self.width), mm(self.height))
    }
}

impl Media {
    /// A page's size from millimetres; `None` unless both are between 5 mm and 5 m.
    #[must_use]
    pub fn from_mm([width_mm, height_mm]: [f64; 2]) -> Option<Self> {
        let hundredths = |mm: f64| {
            let fits = (5.0..=5000.0).contains(&mm);
            fits.then_some((mm * 100.0).round() as i32)
        };
        Some(Self {
            width: hundredths(width_mm)?,
            height: hundredths(height_mm)?,
        })
    }

    /// Whether both are the same paper.
    #[must_use]
    pub fn same(self, other: Self) -> bool {
        (self.width - other.width).abs() <= SAME && (self.height - other.height).abs() <= SAME
    }

    /// The same size with width and height exchanged.
    #[must_use]
    pub fn turned(self) -> Self {
        Self {
            width: self.height,
            height: self.width,
        }
    }

    /// Where this page goes on a printer, if that takes and holds the size: as it is, else turned
    /// by a quarter, as printers name their paper upright. A printer that names no size at all is
    /// taken at its word for the page's.
    ///
    /// # Errors
    /// [`MediaProblem`]
    pub fn on(self, about: &About) -> Result<Placed, MediaProblem> {
        let placed = |turned| move |media| Placed { media, turned };
        let problem = match self.unturned_on(about) {
            Ok(media) => return Ok(placed(false)(media)),
            Err(problem) => problem,
        };
        match (self.turned().unturned_on(about), &problem) {
            (Ok(media), _) => Ok(placed(true)(media)),
            // It takes the size turned and has to be loaded with it.
            (Err(load @ MediaProblem::NotLoaded { .. }), MediaProblem::NotTaken { .. }) => {
                Err(load)
            }
            _ => Err(problem),
        }
    }

    fn unturned_on(self, about: &About) -> Result<Self, MediaProblem> {
        let within = about.media_ranges.iter().any(|[low, high]| {
            (low.width - SAME..=high.width + SAME).contains(&self.width)
                && (low.height - SAME..=high.height + SAME).contains(&self.height)
        });
        let named = about.media_supported.iter().find(|m| m.same(self));
        let chosen = match named {
            Some(named) => *named,
            None if within || about.media_supported.is_empty() => self,
            None => {
                return Err(MediaProblem::NotTaken {
                    wanted: self,
                    takes: about.media_supported.clone(),
                });
            }
        };
        let holds = &about.media_ready;
        if holds.is_empty() || holds.iter().any(|m| m.same(self)) {
            Ok(chosen)
        } else {
            Err(MediaProblem::NotLoaded {
                wanted: self,
                holds: holds.clone(),
            })
        }
    }
}

/// The size in a self-describing media name such as `iso_a4_210x297mm` (PWG 5101.1, section 5);
/// `None` for names that describe no size. The flag tells a `custom_min` or `custom_max` name.
#[must_use]
pub fn size_of_name(name: &str) -> Option<Media> {
    let size = name.rsplit('_').next()?;
    let (numbers, unit) = match size.strip_suffix("mm") {
        Some(numbers) => (numbers, 100.0),
        None => (size.strip_suffix("in")?, 2540.0),
    };
    let (width, height) = numbers.split_once('x')?;
    let hundredths = |text: &str| {
        let value = text.parse::<f64>().ok()? * unit;
        (value.is_finite() && value > 0.0 && value < 1e7).then_some(value.round() as i32)
    };
    Some(Media {
        width: hundredths(width)?,
        height: hundredths(height)?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const A4: Media = Media {
        width: 21_000,
        height: 29_700,
    };

    /// Examples of PWG 5101.1-2013, table 3 and section 5.1.
    #[test]
    fn a_papers_size_is_read_off_its_name() {
        assert_eq!(size_of_name("iso_a4_210x297mm"), Some(A4));
        assert_eq!(
            size_of_name("na_letter_8.5x11in"),
            Some(Media {
                width: 21_590,
                height: 27_940
            })
        );
        assert_eq!(
            size_of_name("om_folio_210x330mm").map(|m| m.height),
            Some(33_000)
        );
        for odd in [
            "",
            "auto",
            "a4",
            "iso_a4_210mm",
            "x_y_axbmm",
            "a_b_-1x2mm",
            "a_b_1e99x1mm",
            "a_b_NaNx1mm",
        ] {
            assert_eq!(size_of_name(odd), None, "{odd}");
        }
    }

    #[test]
    fn paper_is_chosen_or_the_reason_said() {
        let label = Media::from_mm([62.0, 100.0]).unwrap();
        let roll = Media {
            width: 6_198,
            height: 9_990,
        };
        let mut about = About {
            media_supported: vec![A4, roll],
            ..About::default()
        };
        let upright = |media| {
            Ok(Placed {
                media,
                turned: false,
            })
        };
        assert_eq!(label.on(&about), upright(roll));
        about.media_ready = vec![A4];
        assert!(matches!(
            label.on(&about),
            Err(MediaProblem::NotLoaded { .. })
        ));
        assert_eq!(
            label.on(&about).unwrap_err().to_string(),
            "load 62 × 100 mm; the printer holds 210 × 297 mm"
        );
        about.media_supported = vec![A4];
        assert!(matches!(
            label.on(&about),
            Err(MediaProblem::NotTaken { .. })
        ));
        about.media_ranges = vec![[
            Media {
                width: 2_000,
                height: 2_000,
            },
            Media {
                width: 10_400,
                height: 100_000,
            },
        ]];
        about.media_ready.clear();
        assert_eq!(label.on(&about), upright(label), "within a custom range");
        for wrong in [[0.0, 10.0], [f64::NAN, 10.0], [62.0, 1e9]] {
            assert_eq!(Media::from_mm(wrong), None);
        }
    }

    /// A mat lies across, and printers name A4 upright.
    #[test]
    fn a_page_that_lies_across_is_turned() {
        let across = A4.turned();
        let mut about = About {
            media_supported: vec![A4, Media::from_mm([148.0, 210.0]).unwrap()],
            ..About::default()
        };
        let turned = Placed {
            media: A4,
            turned: true,
        };
        assert_eq!(across.on(&about), Ok(turned));
        about.media_ready = vec![about.media_supported[1]];
        assert_eq!(
            across.on(&about).unwrap_err().to_string(),
            "load 210 × 297 mm; the printer holds 148 × 210 mm"
        );
        about.media_supported.push(across);
        about.media_ready = vec![across, A4];
        assert_eq!(across.on(&about).map(|p| p.turned), Ok(false));
        let letter = Media::from_mm([279.4, 215.9]).unwrap();
        let refused = letter.on(&about).unwrap_err();
        assert!(refused.to_string().contains("279.4 × 215.9"), "{refused}");
    }
}
