//! Traced areas: from pixels of solved photographs to the reach from the apex.

use crate::support::{cast, worked};
use nalgebra::{Isometry3, Point3, UnitQuaternion, Vector3};
use plinthside_measure::cast::{ClearanceError, Direction, OutlineRays, Ray, Settings, clearance};
use plinthside_measure::frames::{Turn, rows};
use plinthside_measure::marks::{MarkName as M, Side};
use plinthside_measure::observed::{CameraKey, PhotoTags};
use plinthside_measure::solve::{Camera, Intrinsics};

fn ray(eye: Vector3<f64>, to: Vector3<f64>) -> Ray {
    Ray {
        origin_mm: eye,
        direction: to - eye,
        sd_rad: 0.001,
    }
}

/// A ring of half axes `along` (forward) and `up` around a malleolus, its points raised by `height`.
fn ring(apex: Vector3<f64>, along: f64, up: f64, height: impl Fn(f64) -> f64) -> Vec<Vector3<f64>> {
    let lateral = apex.y.signum();
    (0..72)
        .map(|i| {
            let (s, c) = (f64::from(i) * 5.0).to_radians().sin_cos();
            let (x, z) = (along * c, up * s);
            apex + Vector3::new(x, lateral * height(x.hypot(z)), z)
        })
        .collect()
}

fn outline(photo: &str, eye: Vector3<f64>, points: &[Vector3<f64>]) -> OutlineRays {
    OutlineRays {
        mark: M::MALLEOLUS_LATERAL.into(),
        photo: photo.to_owned(),
        rays: points.iter().map(|p| ray(eye, *p)).collect(),
    }
}

/// Eyes on the far side of the shell, looking at the inner face of the lateral wall.
fn eyes(side: Side) -> [Vector3<f64>; 2] {
    [
        Vector3::new(160.0, -side.sign() * 380.0, 300.0),
        Vector3::new(-40.0, -side.sign() * 420.0, 260.0),
    ]
}

fn lateral(side: Side) -> Vector3<f64> {
    Vector3::from(worked(side)[3].1)
}

#[test]
fn a_flat_area_is_read_exactly_from_any_side() {
    for side in [Side::Left, Side::Right] {
        let points = ring(lateral(side), 22.0, 15.0, |_| 0.0);
        let outlines = eyes(side).map(|eye| outline("a.jpg", eye, &points));
        let found = clearance(
            &cast(&worked(side)),
            side,
            &Settings::default(),
            &M::MALLEOLUS_LATERAL.into(),
            &outlines,
        )
        .unwrap();
        let reach = |d: Direction| found.reach.iter().find(|(k, _)| *k == d).unwrap().1;
        for (direction, mm) in [
            (Direction::Forward, 22.0),
            (Direction::Behind, 22.0),
            (Direction::Up, 15.0),
            (Direction::Down, 15.0),
        ] {
            assert!(
                (reach(direction).value - mm).abs() < 1e-6,
                "{direction:?}: {}",
                reach(direction).value
            );
            assert!(reach(direction).total_sd > reach(direction).instrument_sd);
        }
    }
}

/// On a dome of 40 mm radius the plane is wrong by up to r²/(2R)·tan γ; the instrument's ± covers it.
#[test]
fn a_domed_area_is_read_within_its_own_error() {
    let side = Side::Left;
    let dome = |r: f64| -(40.0 - (1600.0 - r * r).sqrt());
    let points = ring(lateral(side), 22.0, 15.0, dome);
    for eye in eyes(side) {
        let found = clearance(
            &cast(&worked(side)),
            side,
            &Settings::default(),
            &M::MALLEOLUS_LATERAL.into(),
            &[outline("a.jpg", eye, &points)],
        )
        .unwrap();
        for (direction, q) in &found.reach {
            let truth = if matches!(direction, Direction::Up | Direction::Down) {
                15.0
            } else {
                22.0
            };
            assert!(
                (q.value - truth).abs() < 2.0 * q.instrument_sd,
                "{direction:?}: {} ± {}",
                q.value,
                q.instrument_sd
            );
        }
    }
}

#[test]
fn areas_without_apex_surface_or_view_are_refused() {
    let side = Side::Left;
    let points = ring(lateral(side), 20.0, 20.0, |_| 0.0);
    let run = |mark: &str, rays: &[OutlineRays]| {
        clearance(
            &cast(&worked(side)),
            side,
            &Settings::default(),
            &mark.into(),
            rays,
        )
    };
    let grazing = outline(
        "a.jpg",
        lateral(side) + Vector3::new(300.0, -20.0, 0.0),
        &points,
    );
    assert!(matches!(
        run(M::MALLEOLUS_LATERAL, &[grazing]),
        Err(ClearanceError::Oblique { .. })
    ));
    assert!(matches!(
        run(M::MALLEOLUS_LATERAL, &[]),
        Err(ClearanceError::Oblique { .. })
    ));
    assert!(matches!(run(M::MTP_2, &[]), Err(ClearanceError::NoApex(_))));
    let two = outline("a.jpg", eyes(side)[0], &points[..2]);
    assert!(matches!(
        run(M::MALLEOLUS_LATERAL, &[two]),
        Err(ClearanceError::Oblique { .. })
    ));
    let zero = OutlineRays {
        rays: vec![
            Ray {
                origin_mm: Vector3::zeros(),
                direction: Vector3::zeros(),
                sd_rad: 0.001
            };
            5
        ],
        ..outline("a.jpg", eyes(side)[0], &points)
    };
    assert!(matches!(
        run(M::MALLEOLUS_LATERAL, &[zero]),
        Err(ClearanceError::Oblique { .. })
    ));
}

/// A pixel of a turned photograph with distortion leads back to the point that made it.
#[test]
fn the_ray_of_a_pixel_passes_through_its_point() {
    let target = Point3::new(36.0, 34.0, 73.0);
    let eye = Point3::new(-250.0, -300.0, 420.0);
    let camera_from_mat = Isometry3::look_at_rh(&eye, &target, &Vector3::z());
    // look_at looks along −z with y up; the camera frame looks along +z with y down.
    let flip = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::PI);
    let camera_from_mat = Isometry3::from_parts(Default::default(), flip) * camera_from_mat;
    let (f, c, k) = (3000.0, [2010.0, 1490.0], [0.08, -0.03]);
    let lens = Intrinsics {
        camera: CameraKey::default(),
        photos: vec!["a.jpg".to_owned()],
        f_px: f,
        sd_f_px: 5.0,
        cx: c[0],
        cy: c[1],
        k1: k[0],
        k2: k[1],
        further: None,
    };
    let camera = Camera {
        photo: "a.jpg".to_owned(),
        tags: 10,
        rms_px: 0.1,
        sd_px: 0.1,
        mat_from_camera: rows(&camera_from_mat.inverse()),
        f_px: f,
        principal_px: c,
    };
    for (orientation, [w, h]) in [(1, [4000, 3000]), (6, [3000, 4000])] {
        let photo = PhotoTags {
            photo: "a.jpg".to_owned(),
            width: w,
            height: h,
            orientation,
            camera: CameraKey::default(),
            exif_focal_px: None,
            tags: Vec::new(),
        };
        for shift in [Vector3::zeros(), Vector3::new(40.0, -60.0, 20.0)] {
            let p = camera_from_mat * (target + shift);
            let (x, y) = (p.x / p.z, p.y / p.z);
            let r2 = x * x + y * y;
            let d = f * (1.0 + k[0] * r2 + k[1] * r2 * r2);
            let sensor = [d * x + c[0], d * y + c[1]];
            let px = Turn::new(orientation, w, h)
                .unwrap()
                .photo_from_sensor(sensor);
            let ray = Ray::of_pixel(&camera, &lens, &photo, px).unwrap();
            let arm = (target + shift).coords - ray.origin_mm;
            let off = arm.cross(&ray.direction.normalize()).norm();
            assert!(
                off < 1e-6 && arm.dot(&ray.direction) > 0.0,
                "orientation {orientation}: {off}"
            );
        }
    }
}
