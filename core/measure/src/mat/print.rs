//! What a printer did to a mat, from its check bars alone.

use super::file::Mat;
use std::fmt;

/// A print further off than this did not come out at 100 %. Office printers stay within one
/// percent; "fit to page" shrinks by three to six (common practice, no source).
const SCALED: f64 = 0.015;
/// Bars that differ by more than this were not scaled alike.
const UNEVEN: f64 = 0.01;

/// What is wrong with a print. The measurement still holds: it uses the lengths as measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PrintFault {
    /// Shrunk alike both ways: the page was fitted to what the printer can reach, or to another
    /// paper.
    FitToPage {
        /// Length on the paper, percent of the drawn length.
        percent: f64,
    },
    /// Enlarged alike both ways.
    Enlarged {
        /// Length on the paper, percent of the drawn length.
        percent: f64,
    },
    /// The two bars came out unalike: a slip in reading one of them, or paper that was dragged.
    Uneven {
        /// Across, percent of the drawn length.
        across_percent: f64,
        /// Along, percent of the drawn length.
        along_percent: f64,
    },
}

impl fmt::Display for PrintFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FitToPage { percent } => write!(
                f,
                "the page was shrunk to {percent:.1} %: “fit to page” was on. Print again at 100 % (“actual size”); on this print everything is measured with the lengths you entered"
            ),
            Self::Enlarged { percent } => write!(
                f,
                "the page was enlarged to {percent:.1} %. Print again at 100 % (“actual size”); on this print everything is measured with the lengths you entered"
            ),
            Self::Uneven {
                across_percent,
                along_percent,
            } => write!(
                f,
                "the bars came out at {across_percent:.1} % across and {along_percent:.1} % along. Measure both again; if that is right, print again"
            ),
        }
    }
}

impl Mat {
    /// What is wrong with the print, as far as both check bars tell; `None` for a good one, and
    /// where a bar was not measured.
    #[must_use]
    pub fn print_fault(&self) -> Option<PrintFault> {
        let bars = self.printed?;
        let (across, along) = (bars.across?.ratio(), bars.along?.ratio());
        let percent = 50.0 * (across + along);
        if (across - along).abs() > UNEVEN {
            Some(PrintFault::Uneven {
                across_percent: 100.0 * across,
                along_percent: 100.0 * along,
            })
        } else if percent < 100.0 * (1.0 - SCALED) {
            Some(PrintFault::FitToPage { percent })
        } else if percent > 100.0 * (1.0 + SCALED) {
            Some(PrintFault::Enlarged { percent })
        } else {
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mat::sheet::Paper;
    use crate::mat::{Bar, Printed};

    fn fault(across: f64, along: f64) -> Option<PrintFault> {
        let mut mat = Paper::A4.layout().mat().unwrap();
        let bar = |ratio: f64| {
            Some(Bar {
                nominal_mm: 200.0,
                measured_mm: 200.0 * ratio,
                sd_mm: 0.2,
            })
        };
        mat.printed = Some(Printed {
            across: bar(across),
            along: bar(along),
        });
        mat.print_fault()
    }

    /// A4 set on the part of A4 that a printer with a margin of 4.2 mm reaches, and A4 on Letter
    /// and Letter on A4 (ISO 216 and ANSI/ASME Y14.1 sizes): what "fit to page" does.
    #[test]
    fn fit_to_page_is_told_from_the_numbers() {
        for shrunk in [(210.0 - 8.4) / 210.0, 279.4 / 297.0, 210.0 / 215.9] {
            assert!(
                matches!(fault(shrunk, shrunk + 0.002), Some(PrintFault::FitToPage { percent }) if (percent / 100.0 - shrunk).abs() < 0.002),
                "{shrunk}"
            );
        }
        assert_eq!(fault(1.0, 0.998), None);
        assert_eq!(fault(0.994, 0.997), None);
        assert!(matches!(
            fault(1.03, 1.03),
            Some(PrintFault::Enlarged { .. })
        ));
        assert!(matches!(fault(1.0, 0.97), Some(PrintFault::Uneven { .. })));
        assert_eq!(Paper::A4.layout().mat().unwrap().print_fault(), None);
    }
}
