use super::*;
use crate::observed::{Px, SeenTag};
use crate::square::PhotoFromSquare;
use rand::{Rng, SeedableRng, rngs::StdRng};
use rand_distr::StandardNormal;

/// Corners of a tag of 36h11 to be drawn: top-left, top-right, bottom-right, bottom-left of the
/// upright tag, wherever they come to lie in the photograph.
struct Drawn {
    id: u32,
    corners_px: [Px; 4],
}

/// Draws tags on light paper: each pixel the mean of 8 × 8 samples, softened, with noise of
/// `noise` grey levels.
fn draw(
    width: u32,
    height: u32,
    tags: &[Drawn],
    border: Border,
    noise: f64,
    seed: u64,
) -> Photograph {
    let mut sharp = vec![200.0f64; (width * height) as usize];
    for tag in tags {
        let cells = cells(tag.id, border).expect("a tag");
        let side = cells.len() as f64;
        // From the photograph to the tag: the inverse of the unit square's map, by its corners.
        let map = PhotoFromSquare::new(&tag.corners_px).expect("a square");
        let fine = 700;
        let mut cover = vec![(0u32, 0u32); sharp.len()];
        for v in 0..fine {
            for u in 0..fine {
                let at = [u, v].map(|k| (f64::from(k) + 0.5) / f64::from(fine));
                let [x, y] = map.at(at);
                if x < 0.0 || y < 0.0 || x >= f64::from(width) || y >= f64::from(height) {
                    continue;
                }
                let [column, row] = at.map(|k| (k * side) as usize);
                let (count, light) = &mut cover[y as usize * width as usize + x as usize];
                *count += 1;
                *light += u32::from(cells[row][column]);
            }
        }
        // How many samples fall into a whole pixel, by the local size of the map.
        for (i, &(count, light)) in cover.iter().enumerate().filter(|(_, c)| c.0 > 0) {
            let (x, y) = (
                (i % width as usize) as f64 + 0.5,
                (i / width as usize) as f64 + 0.5,
            );
            let share = (f64::from(count) * sample_area(&map, [x, y], fine.into())).min(1.0);
            let tone = 30.0 + 170.0 * f64::from(light) / f64::from(count);
            sharp[i] += share * (tone - sharp[i]);
        }
    }
    let mut random = StdRng::seed_from_u64(seed);
    let soft = soften(&sharp, width as usize);
    let luma = soft
        .iter()
        .map(|v| {
            (v + noise * random.sample::<f64, _>(StandardNormal))
                .round()
                .clamp(0.0, 255.0) as u8
        })
        .collect();
    Photograph::from_luma("drawn.png", width, height, luma).expect("pixels")
}

/// Area in pixels of one of `fine` × `fine` samples of the square, where it lands at `px`.
fn sample_area(map: &PhotoFromSquare, px: Px, fine: f64) -> f64 {
    // Newton's method for the square's point at px.
    let mut at = [0.5, 0.5];
    let (mut jacobian, step) = ([[0.0; 2]; 2], 1e-5);
    for _ in 0..20 {
        let [x, y] = map.at(at);
        let [xu, yu] = map.at([at[0] + step, at[1]]);
        let [xv, yv] = map.at([at[0], at[1] + step]);
        jacobian = [
            [(xu - x) / step, (xv - x) / step],
            [(yu - y) / step, (yv - y) / step],
        ];
        let [[a, b], [c, d]] = jacobian;
        let (ex, ey, det) = (px[0] - x, px[1] - y, a * d - b * c);
        at = [
            at[0] + (d * ex - b * ey) / det,
            at[1] + (a * ey - c * ex) / det,
        ];
    }
    let [[a, b], [c, d]] = jacobian;
    (a * d - b * c).abs() / (fine * fine)
}

/// Blur of a lens: (1, 2, 1) / 4 both ways.
fn soften(pixels: &[f64], width: usize) -> Vec<f64> {
    let pass = |from: &[f64], step: usize| -> Vec<f64> {
        let at = |i: usize| from[i];
        (0..from.len())
            .map(|i| {
                let (before, after) = (i.saturating_sub(step), (i + step).min(from.len() - 1));
                (at(before) + 2.0 * at(i) + at(after)) / 4.0
            })
            .collect()
    };
    pass(&pass(pixels, 1), width)
}

fn turned_square(centre: Px, size: f64, turn_deg: f64, lean: f64) -> [Px; 4] {
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]].map(|[x, y]: [f64; 2]| {
        let (x, y) = (x * size / 2.0, y * size / 2.0);
        let (x, y) = (x * cos - y * sin, x * sin + y * cos);
        let w = 1.0 + lean * y / size;
        [centre[0] + x / w, centre[1] + 0.8 * y / w]
    })
}

fn tags_at_all_turns(size: f64) -> Vec<Drawn> {
    (0..6)
        .map(|i| Drawn {
            id: [0, 1, 100, 313, 585, 586][i],
            corners_px: turned_square(
                [
                    110.3 + 190.0 * (i % 3) as f64,
                    120.7 + 200.0 * (i / 3) as f64,
                ],
                size,
                63.0 * i as f64,
                0.15,
            ),
        })
        .collect()
}

fn find_one<'a>(found: &'a [SeenTag], drawn: &Drawn) -> &'a SeenTag {
    let mut same = found.iter().filter(|tag| tag.id == drawn.id);
    let tag = same
        .next()
        .unwrap_or_else(|| panic!("tag {} not found", drawn.id));
    assert!(same.next().is_none(), "tag {} found twice", drawn.id);
    tag
}

/// Root mean square of all corner errors on one axis, and their mean on both.
fn corner_error(found: &[SeenTag], drawn: &[Drawn]) -> (f64, [f64; 2]) {
    let (mut squares, mut sum, mut n) = (0.0, [0.0; 2], 0.0);
    for tag in drawn {
        let seen = find_one(found, tag);
        for (a, b) in seen.corners_px.iter().zip(&tag.corners_px) {
            let d = [a[0] - b[0], a[1] - b[1]];
            squares += d[0] * d[0] + d[1] * d[1];
            sum = [sum[0] + d[0], sum[1] + d[1]];
            n += 1.0;
        }
    }
    ((squares / (2.0 * n)).sqrt(), sum.map(|s| s / n))
}

/// Corner order, half-pixel convention and accuracy at once: a wrong corner order is a tag's side
/// off, a wrong convention half a pixel of mean.
#[test]
fn corners_lie_where_they_were_drawn() {
    for (border, decimate) in [
        (Border::One, 1.0),
        (Border::One, 2.0),
        (Border::Two, 1.0),
        (Border::Two, 2.0),
    ] {
        for size in [60.0, 110.0] {
            let drawn = tags_at_all_turns(size);
            let photo = draw(620, 440, &drawn, border, 2.0, 7);
            let options = DetectOptions {
                border,
                decimate: Some(decimate),
                ..DetectOptions::default()
            };
            let found = tags(&photo, &options).tags;
            let (rms, mean) = corner_error(&found, &drawn);
            println!("{border:?} /{decimate} {size} px: rms {rms:.3} px, mean {mean:.3?}");
            assert_eq!(found.len(), drawn.len());
            assert!(rms < 0.035, "{border:?}");
            assert!(mean.iter().all(|m| m.abs() < 0.03));
        }
    }
}

/// Tags drawn cell by cell on white, `columns` a row, without any blur.
fn sheet(ids: &[u32], columns: usize, border: Border, cell_px: usize) -> Photograph {
    let pitch = (border.side_cells() + 4) * cell_px;
    let (width, height) = (columns * pitch, ids.len().div_ceil(columns) * pitch);
    let mut luma = vec![255; width * height];
    for (i, &id) in ids.iter().enumerate() {
        let (x0, y0) = (
            i % columns * pitch + 2 * cell_px,
            i / columns * pitch + 2 * cell_px,
        );
        for (row, line) in cells(id, border).expect("a tag").iter().enumerate() {
            for (column, _) in line.iter().enumerate().filter(|(_, white)| !**white) {
                for y in 0..cell_px {
                    let at = (y0 + row * cell_px + y) * width + x0 + column * cell_px;
                    luma[at..at + cell_px].fill(0);
                }
            }
        }
    }
    Photograph::from_luma("sheet.png", width as u32, height as u32, luma).expect("pixels")
}

fn ids(photo: &Photograph, border: Border) -> Vec<u32> {
    let options = DetectOptions {
        border,
        ..DetectOptions::default()
    };
    tags(photo, &options)
        .tags
        .iter()
        .map(|tag| tag.id)
        .collect()
}

/// The C library is the reference for what each tag looks like.
#[test]
fn the_library_reads_what_is_drawn() {
    let all: Vec<u32> = (0..TAG_COUNT).collect();
    for part in all.chunks(120) {
        assert_eq!(ids(&sheet(part, 12, Border::One, 5), Border::One), part);
        assert_eq!(ids(&sheet(part, 12, Border::Two, 5), Border::Two), part);
    }
    assert!(cells(TAG_COUNT, Border::One).is_none());
    assert_eq!(Border::from_bits(3), None);
}

#[test]
fn what_stands_in_the_way_is_said() {
    let options = DetectOptions::default();
    let said = |photo: &Photograph| warnings(photo, &tags(photo, &options), &options);
    let name = || "sheet.png".to_owned();
    let good = sheet(&[3, 4], 2, Border::One, 6);
    assert_eq!(said(&good), []);
    let twice = sheet(&[3, 4, 3, 3], 2, Border::One, 6);
    assert_eq!(
        said(&twice),
        [TagWarning::Repeated {
            photo: name(),
            id: 3
        }]
    );
    let wide = sheet(&[3, 4], 2, Border::Two, 6);
    assert_eq!(
        said(&wide),
        [TagWarning::OtherBorder {
            photo: name(),
            found: Border::Two
        }]
    );
    let width = good.width as usize;
    let turned = good
        .luma()
        .chunks_exact(width)
        .flat_map(|line| line.iter().rev().copied())
        .collect();
    let mirrored =
        Photograph::from_luma("sheet.png", good.width, good.height, turned).expect("pixels");
    assert_eq!(said(&mirrored), [TagWarning::Mirrored { photo: name() }]);
    let blank = Photograph::from_luma("sheet.png", 300, 200, vec![90; 60_000]).expect("pixels");
    assert_eq!(said(&blank), [TagWarning::NoTags { photo: name() }]);
    for warning in [said(&twice), said(&wide), said(&mirrored), said(&blank)].concat() {
        assert!(warning.to_string().starts_with("sheet.png "));
    }
}

/// Noise and structures of any size, down to one pixel: no tags, no panic.
#[test]
fn clutter_is_never_taken_for_a_tag() {
    let mut random = StdRng::seed_from_u64(11);
    for (width, height) in [(1, 1), (15, 900), (16, 16), (640, 480), (2000, 1400)] {
        for block in [1, 3, 12] {
            let columns = width / block + 1;
            let tones: Vec<u8> = (0..columns * (height / block + 1))
                .map(|_| random.random())
                .collect();
            let luma = (0..width * height)
                .map(|i| tones[i / width / block * columns + i % width / block])
                .collect();
            let photo =
                Photograph::from_luma("c", width as u32, height as u32, luma).expect("pixels");
            assert!(ids(&photo, Border::One).is_empty());
            assert!(ids(&photo, Border::Two).is_empty());
        }
    }
}
