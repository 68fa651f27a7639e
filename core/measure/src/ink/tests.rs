use super::*;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use nalgebra::{Rotation3, Vector3};
use rand::{Rng, SeedableRng, rngs::StdRng};
use rand_distr::StandardNormal;

const WIDTH: u32 = 900;
const HEIGHT: u32 = 700;
const PLASTER: [f64; 3] = [226.0, 221.0, 210.0];
const INK: [f64; 3] = [96.0, 62.0, 150.0];

/// An ellipse of ink.
struct Spot {
    centre: Px,
    axes: [f64; 2],
    turn_deg: f64,
}

impl Spot {
    fn round(x: f64, y: f64, diameter: f64) -> Self {
        Self {
            centre: [x, y],
            axes: [diameter / 2.0; 2],
            turn_deg: 0.0,
        }
    }

    /// Distance from the centre, 1 on the rim.
    fn radius_at(&self, [x, y]: Px) -> f64 {
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        ((dx * cos + dy * sin) / self.axes[0]).hypot((dy * cos - dx * sin) / self.axes[1])
    }
}

/// A wall of plaster in light that falls to a quarter across the picture, with the edge of a
/// shadow, a speckle of its own and sensor noise; stored as a phone does (JPEG, colour halved).
fn wall(spots: &[Spot], outlines: &[Spot], seed: u64) -> Photograph {
    let mut random = StdRng::seed_from_u64(seed);
    let mut rgb = Vec::new();
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let inked = |at: Px| {
                let dot = spots.iter().any(|spot| spot.radius_at(at) < 1.0);
                // A pencil's stroke, 5 pixels wide.
                let across = |o: &Spot| ((o.radius_at(at) - 1.0) * o.axes[0]).abs();
                dot || outlines.iter().any(|o| across(o) < 2.5)
            };
            let part = |n: u32| (f64::from(n) + 0.5) / 4.0;
            let samples = (0..16).map(|n| [f64::from(x) + part(n % 4), f64::from(y) + part(n / 4)]);
            let ink = samples.filter(|&at| inked(at)).count() as f64 / 16.0;
            let shadow = if x > 500 && y > 300 { 0.55 } else { 1.0 };
            let light = (1.0 - 0.75 * f64::from(x) / f64::from(WIDTH))
                * shadow
                * (1.0 + 0.03 * random.sample::<f64, _>(StandardNormal));
            for channel in 0..3 {
                let tone = PLASTER[channel] + 0.85 * ink * (INK[channel] - PLASTER[channel]);
                let noise = 2.5 * random.sample::<f64, _>(StandardNormal);
                rgb.push((tone * light + noise).round().clamp(0.0, 255.0) as u8);
            }
        }
    }
    halve_colour(&mut rgb);
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, 90);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    encoder
        .encode(&rgb, WIDTH as u16, HEIGHT as u16, ColorType::Rgb)
        .expect("a JPEG");
    crate::photo::decode("wall.jpg", &file).expect("a photograph")
}

/// Colour averaged over squares of four pixels, brightness kept: the encoder takes the first of
/// each four where cameras take their mean.
fn halve_colour(rgb: &mut [u8]) {
    let (width, height) = (WIDTH as usize, HEIGHT as usize);
    for at in (0..height)
        .step_by(2)
        .flat_map(|y| (0..width).step_by(2).map(move |x| y * width + x))
    {
        let four = [at, at + 1, at + width, at + width + 1];
        let luma = |rgb: &[u8], i: usize| {
            let [r, g, b] = [0, 1, 2].map(|c| f64::from(rgb[3 * i + c]));
            0.299 * r + 0.587 * g + 0.114 * b
        };
        let brightness = four.map(|i| luma(rgb, i));
        for channel in 0..3 {
            let value = |k: usize| f64::from(rgb[3 * four[k] + channel]) - brightness[k];
            let colour = (0..4).map(value).sum::<f64>() / 4.0;
            for (i, light) in four.into_iter().zip(brightness) {
                rgb[3 * i + channel] = (light + colour).round().clamp(0.0, 255.0) as u8;
            }
        }
    }
}

fn spots() -> Vec<Spot> {
    vec![
        Spot::round(120.3, 90.8, 16.0),
        Spot::round(401.7, 150.2, 9.0),
        Spot {
            centre: [700.4, 120.6],
            axes: [14.0, 7.0],
            turn_deg: 30.0,
        },
        Spot::round(250.1, 420.9, 30.0),
        // In the shadow, a sixth of the light.
        Spot::round(650.6, 450.4, 18.0),
        Spot {
            centre: [820.2, 610.5],
            axes: [10.0, 6.0],
            turn_deg: -60.0,
        },
    ]
}

fn off(a: Px, b: Px) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[test]
fn dots_are_found_in_light_and_shade_and_nothing_else() {
    let spots = spots();
    // A dot inside a traced outline, as at a malleolus.
    let outlines = [Spot {
        centre: [250.1, 420.9],
        axes: [110.0, 80.0],
        turn_deg: 20.0,
    }];
    let photo = wall(&spots, &outlines, 3);
    let found = find(&photo, None);
    for dot in &found {
        println!(
            "{:.2?} ± {:.2} px, {:.1} px wide",
            dot.px, dot.sd_px, dot.size_px
        );
    }
    assert_eq!(found.len(), spots.len());
    for spot in &spots {
        let dot = found
            .iter()
            .find(|dot| off(dot.px, spot.centre) < 2.0)
            .expect("the dot is found");
        let size = 2.0 * (spot.axes[0] * spot.axes[1]).sqrt();
        assert!(
            (dot.size_px / size - 1.0).abs() < 0.25,
            "{} for {size}",
            dot.size_px
        );
    }
    let part = Region {
        x0: 60,
        y0: 40,
        x1: 460,
        y1: 260,
    };
    assert_eq!(find(&photo, Some(part)).len(), 2);
    let nowhere = Region {
        x0: 880,
        y0: 690,
        x1: 4000,
        y1: 4000,
    };
    assert!(find(&photo, Some(nowhere)).is_empty());
}

#[test]
fn a_tap_near_a_dot_moves_to_its_centroid_with_an_honest_sd() {
    let spots = spots();
    let (mut inside, mut count, mut worst) = (0, 0, 0.0f64);
    for seed in 0..5 {
        let photo = wall(&spots, &[], seed);
        for (i, spot) in spots.iter().enumerate() {
            let aim = [spot.centre[0] + 4.0 - i as f64, spot.centre[1] - 3.0];
            let snapped = snap(&photo, aim);
            assert!(snapped.on_ink, "dot {i}");
            for axis in 0..2 {
                let error = (snapped.px[axis] - spot.centre[axis]).abs();
                worst = worst.max(error);
                inside += usize::from(error < 1.96 * snapped.sd_px);
                count += 1;
            }
        }
    }
    println!("{inside} of {count} within 1.96 sd, worst {worst:.2} px");
    assert!(worst < 0.6);
    assert!(inside * 100 >= count * 93);
}

#[test]
fn a_tap_on_bare_plaster_or_a_stroke_stays_where_it_is() {
    let outline = Spot {
        centre: [300.0, 350.0],
        axes: [150.0, 100.0],
        turn_deg: 0.0,
    };
    let photo = wall(&[Spot::round(120.0, 90.0, 16.0)], &[outline], 5);
    // Bare plaster, a shadow's edge, the photograph's corner, beyond it and nowhere.
    for tap in [
        [300.0, 350.0],
        [501.0, 600.0],
        [700.0, 301.0],
        [0.5, 0.5],
        [1200.0, 90.0],
        [f64::NAN, 3.0],
    ] {
        let snapped = snap(&photo, tap);
        assert!(
            !snapped.on_ink && snapped.sd_px == BARE_TAP_SD_PX,
            "{tap:?}"
        );
        assert!(snapped.px[1] == tap[1]);
    }
    let on_stroke = [450.0, 350.0];
    assert_eq!(
        snap(&photo, on_stroke),
        Snap {
            px: on_stroke,
            sd_px: BARE_TAP_SD_PX,
            on_ink: true
        }
    );
}

#[test]
fn without_colours_there_is_no_ink() {
    let photo = wall(&spots(), &[], 1);
    let grey =
        Photograph::from_luma("grey", WIDTH, HEIGHT, photo.luma().into_owned()).expect("pixels");
    assert!(find(&grey, None).is_empty());
    assert!(!snap(&grey, [120.3, 90.8]).on_ink);
}

/// The picture of a disc's centre against the centroid of the disc's picture.
#[test]
fn the_bias_of_a_tilted_dot_is_small() {
    let (radius_mm, distance_mm, focal_px) = (3.0, 600.0, 3000.0);
    let tilt = Rotation3::from_axis_angle(&Vector3::x_axis(), 45.0f64.to_radians());
    let project = |x: f64, y: f64| {
        let p = tilt * Vector3::new(x, y, 0.0) + Vector3::new(0.0, 0.0, distance_mm);
        [focal_px * p.x / p.z, focal_px * p.y / p.z]
    };
    let rim: Vec<Px> = (0..3600)
        .map(|i| f64::from(i).to_radians() / 10.0)
        .map(|a| project(radius_mm * a.cos(), radius_mm * a.sin()))
        .collect();
    let (mut area, mut moment) = (0.0, 0.0);
    for (a, b) in rim.iter().zip(rim.iter().cycle().skip(1)) {
        let cross = a[0] * b[1] - b[0] * a[1];
        area += cross / 2.0;
        moment += (a[1] + b[1]) * cross / 6.0;
    }
    let bias_px = moment / area - project(0.0, 0.0)[1];
    let rule = focal_px * radius_mm.powi(2) / (2.0 * distance_mm.powi(2));
    println!("bias {bias_px:.4} px, rule of thumb {rule:.4} px");
    assert!((bias_px.abs() - rule).abs() < 0.005 && rule < FLOOR_PX);
}

const FLOOR_PX: f64 = 0.1;
