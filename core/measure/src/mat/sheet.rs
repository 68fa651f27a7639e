//! The mats Plinthside prints itself: pure geometry from which both the page and the layout file come.
//!
//! Tags stand in a ring along the edges so that the cast in the middle hides as few as it can;
//! toes point towards +X, the label lies ahead of them where every photograph shows it. Each
//! paper has its own tag numbers, so a wrong layout file is noticed.

use super::file::{Mat, MatError, MatTag};
use serde::{Deserialize, Serialize};

/// Width of white from the paper's edge to the tags: more than common printers leave blank, mm.
const MARGIN_MM: f64 = 10.0;
/// A 36h11 tag has 8 modules inside its border's outer edge; one white module must surround it.
const MODULES: f64 = 8.0;
/// Depth of the strip that holds a check bar or the title, mm.
const STRIP_MM: f64 = 10.0;
/// Place for the cast's label (62 × 100 mm) with some play, mm.
const LABEL_MM: [f64; 2] = [66.0, 104.0];
/// Check bars are a round multiple of this, mm.
const BAR_STEP_MM: f64 = 20.0;

/// Paper of a mat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// A3, landscape: a long shell.
    A3,
    /// A4, landscape: a short shell.
    A4,
    /// US Letter, landscape: a short shell.
    Letter,
    /// Two upright A4 sheets side by side on a board: a long shell, without an A3 printer.
    TwoA4,
}

/// A rectangle in the mat frame, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Bottom-left corner.
    pub min_mm: [f64; 2],
    /// Top-right corner.
    pub max_mm: [f64; 2],
}

impl Rect {
    /// Width and height, mm.
    #[must_use]
    pub fn size_mm(&self) -> [f64; 2] {
        [
            self.max_mm[0] - self.min_mm[0],
            self.max_mm[1] - self.min_mm[1],
        ]
    }
}

/// A square tag upright on the page: its +Y side is up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TagSquare {
    /// Number in 36h11.
    pub id: u32,
    /// Centre in the mat frame, mm.
    pub centre_mm: [f64; 2],
    /// Outer edge of the black border, mm.
    pub side_mm: f64,
}

impl TagSquare {
    /// Corners top-left, top-right, bottom-right, bottom-left in the mat frame.
    #[must_use]
    pub fn corners_mm(&self) -> [[f64; 3]; 4] {
        let ([x, y], half) = (self.centre_mm, self.side_mm / 2.0);
        [[-half, half], [half, half], [half, -half], [-half, -half]]
            .map(|[dx, dy]| [x + dx, y + dy, 0.0])
    }
}

/// A check bar: a line of round length to be measured on the print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckBar {
    /// One end in the mat frame, mm.
    pub from_mm: [f64; 2],
    /// Other end, mm.
    pub to_mm: [f64; 2],
    /// Length, mm.
    pub nominal_mm: f64,
}

/// One sheet of paper of the mat; all its parts are in the mat frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Page {
    /// The sheet's own outline.
    pub outline: Rect,
    /// Its tags.
    pub tags: Vec<TagSquare>,
    /// Bar along X.
    pub across: CheckBar,
    /// Bar along Y.
    pub along: CheckBar,
    /// Strip for a line of text.
    pub title: Rect,
}

/// A whole mat as printed.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetLayout {
    /// Which paper.
    pub paper: Paper,
    /// Name that the mat file carries.
    pub name: &'static str,
    /// One page, or two for [`Paper::TwoA4`]: left then right.
    pub pages: Vec<Page>,
    /// Free field for the cast, toes towards +X.
    pub cast_field: Rect,
    /// Where the cast's label lies.
    pub label_place: Rect,
}

/// What tells the papers apart.
struct Plan {
    name: &'static str,
    page_mm: [f64; 2],
    side_mm: f64,
    /// Tags along X and along Y, corners counted in both.
    count: [u32; 2],
    first_id: u32,
}

impl Paper {
    /// All papers.
    pub const ALL: [Self; 4] = [Self::A3, Self::A4, Self::Letter, Self::TwoA4];

    fn plan(self) -> Plan {
        let plan = |name, page_mm, side_mm, count, first_id| Plan {
            name,
            page_mm,
            side_mm,
            count,
            first_id,
        };
        match self {
            Self::A4 => plan("Plinthside A4", [297.0, 210.0], 24.0, [8, 5], 0),
            Self::A3 => plan("Plinthside A3", [420.0, 297.0], 30.0, [9, 6], 100),
            Self::Letter => plan("Plinthside Letter", [279.4, 215.9], 24.0, [8, 5], 200),
            Self::TwoA4 => plan("Plinthside two A4", [210.0, 297.0], 28.0, [5, 6], 300),
        }
    }

    /// The layout printed on this paper.
    #[must_use]
    pub fn layout(self) -> SheetLayout {
        let plan = self.plan();
        let sides: &[Inner] = match self {
            Self::TwoA4 => &[Inner::Right, Inner::Left],
            _ => &[Inner::None],
        };
        let mut first_id = plan.first_id;
        let mut pages = Vec::new();
        for (sheet, inner) in (0_u32..).zip(sides) {
            let left_mm = f64::from(sheet) * plan.page_mm[0];
            let page = plan.page(left_mm, *inner, first_id);
            first_id += page.tags.len() as u32;
            pages.push(page);
        }
        let ring_mm = plan.ring_mm();
        let right_mm = plan.page_mm[0] * pages.len() as f64 - ring_mm;
        let top_mm = plan.page_mm[1] - ring_mm;
        let low_mm = ring_mm + STRIP_MM;
        let label_left_mm = right_mm - LABEL_MM[0];
        let middle_mm = f64::midpoint(low_mm, top_mm);
        let cast_field = Rect {
            min_mm: [low_mm, low_mm],
            max_mm: [label_left_mm, top_mm - STRIP_MM],
        };
        let label_place = Rect {
            min_mm: [label_left_mm, middle_mm - LABEL_MM[1] / 2.0],
            max_mm: [right_mm, middle_mm + LABEL_MM[1] / 2.0],
        };
        SheetLayout {
            paper: self,
            name: plan.name,
            pages,
            cast_field,
            label_place,
        }
    }
}

/// The edge of a page that meets its neighbour: no tags along it, the cast stands across it.
#[derive(Clone, Copy, PartialEq)]
enum Inner {
    None,
    Left,
    Right,
}

impl Plan {
    /// Depth of the ring: margin, tag, one white module.
    fn ring_mm(&self) -> f64 {
        MARGIN_MM + self.side_mm * (1.0 + 1.0 / MODULES)
    }

    fn page(&self, left_mm: f64, inner: Inner, first_id: u32) -> Page {
        let [width, height] = self.page_mm;
        let edge = MARGIN_MM + self.side_mm / 2.0;
        let at = |i: u32, n: u32, length: f64| {
            edge + (length - 2.0 * edge) * f64::from(i) / f64::from(n - 1)
        };
        let [nx, ny] = self.count;
        let mut tags = Vec::new();
        for row in (0..ny).rev() {
            for column in 0..nx {
                let on_row = row == 0 || row == ny - 1;
                let on_left = column == 0 && inner != Inner::Left;
                let on_right = column == nx - 1 && inner != Inner::Right;
                if on_row || on_left || on_right {
                    tags.push(TagSquare {
                        id: first_id + tags.len() as u32,
                        centre_mm: [left_mm + at(column, nx, width), at(row, ny, height)],
                        side_mm: self.side_mm,
                    });
                }
            }
        }
        let ring = self.ring_mm();
        let (x0, x1) = match inner {
            Inner::None => (ring, width - ring),
            Inner::Right => (ring, width - MARGIN_MM),
            Inner::Left => (MARGIN_MM, width - ring),
        };
        let bar_y = ring + STRIP_MM / 2.0;
        // On the right sheet the bar along Y keeps clear of the seam's own strip.
        let bar_x = left_mm + x0 + STRIP_MM / 2.0;
        let across_mm = round_length(x1 - x0 - 2.0 * STRIP_MM);
        let along_mm = round_length(height - 2.0 * (ring + STRIP_MM));
        let start = [bar_x + STRIP_MM / 2.0, bar_y + STRIP_MM / 2.0];
        Page {
            outline: Rect {
                min_mm: [left_mm, 0.0],
                max_mm: [left_mm + width, height],
            },
            tags,
            across: CheckBar {
                from_mm: [start[0], bar_y],
                to_mm: [start[0] + across_mm, bar_y],
                nominal_mm: across_mm,
            },
            along: CheckBar {
                from_mm: [bar_x, start[1]],
                to_mm: [bar_x, start[1] + along_mm],
                nominal_mm: along_mm,
            },
            title: Rect {
                min_mm: [left_mm + x0, height - ring - STRIP_MM],
                max_mm: [left_mm + x1, height - ring],
            },
        }
    }
}

fn round_length(room_mm: f64) -> f64 {
    (room_mm / BAR_STEP_MM).floor() * BAR_STEP_MM
}

impl SheetLayout {
    /// The whole mat's outline, mm.
    #[must_use]
    pub fn outline(&self) -> Rect {
        let last = &self.pages[self.pages.len() - 1].outline;
        Rect {
            min_mm: [0.0, 0.0],
            max_mm: last.max_mm,
        }
    }

    /// The mat file's content: the same geometry, not yet measured.
    ///
    /// # Errors
    /// None for the layouts here; the same checks as for any mat are applied.
    pub fn mat(&self) -> Result<Mat, MatError> {
        let tags = self.pages.iter().enumerate().flat_map(|(sheet, page)| {
            page.tags.iter().map(move |tag| MatTag {
                id: tag.id,
                corners_mm: tag.corners_mm(),
                sheet,
            })
        });
        Mat::new(self.name, tags.collect(), 1, None)
    }
}
