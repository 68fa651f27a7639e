use super::*;
use ::exif::{Field, In, Tag, Value, experimental::Writer};
use image::{DynamicImage, ImageFormat, RgbImage};
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};
use proptest::prelude::*;
use std::io::Cursor;

const WIDTH: u16 = 96;
const HEIGHT: u16 = 64;

/// A smooth picture with a bright corner, so that every turn of it looks different.
fn picture() -> RgbImage {
    RgbImage::from_fn(WIDTH.into(), HEIGHT.into(), |x, y| {
        let corner = if x < 24 && y < 16 { 90 } else { 0 };
        image::Rgb([40 + x as u8 + corner, 60 + y as u8, 160 - x as u8 / 2])
    })
}

fn jpeg(color: ColorType, pixels: &[u8], progressive: bool, exif: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, 95);
    encoder.set_progressive(progressive);
    // Phones halve the resolution of colour; CMYK has none to halve.
    if color == ColorType::Rgb {
        encoder.set_sampling_factor(SamplingFactor::F_2_2);
    }
    if !exif.is_empty() {
        let segment = [b"Exif\0\0", exif].concat();
        encoder.add_app_segment(1, &segment).expect("a segment");
    }
    encoder
        .encode(pixels, WIDTH, HEIGHT, color)
        .expect("an image");
    bytes
}

/// Colours against the picture's own: components in scans of their own (ISO/IEC 10918-1, A.2),
/// which the encoder writes when it optimises its Huffman tables.
#[test]
fn components_in_separate_scans_keep_their_colours() {
    for sampling in [
        SamplingFactor::F_1_1,
        SamplingFactor::F_2_1,
        SamplingFactor::F_2_2,
    ] {
        let mut bytes = Vec::new();
        let mut encoder = Encoder::new(&mut bytes, 95);
        encoder.set_optimized_huffman_tables(true);
        encoder.set_sampling_factor(sampling);
        encoder
            .encode(picture().as_raw(), WIDTH, HEIGHT, ColorType::Rgb)
            .expect("an image");
        let scans = bytes.windows(2).filter(|pair| *pair == [0xff, 0xda]);
        assert_eq!(scans.count(), 3, "each component in its own scan");
        let off = |found: &[u8], true_pixels: &[u8]| {
            let pairs = found.iter().zip(true_pixels);
            pairs.map(|(a, b)| f64::from(a.abs_diff(*b))).sum::<f64>() / found.len() as f64
        };
        let photo = decode("scans.jpg", &bytes).expect("a photograph");
        let colours = off(&photo.rgb(), picture().as_raw());
        let grey = decode_luma("scans.jpg", &bytes).expect("a photograph");
        let luma: Vec<u8> = picture()
            .pixels()
            .map(|p| luma_of(p[0], p[1], p[2]))
            .collect();
        let brightness = off(&grey.luma(), &luma);
        println!("{sampling:?}: colours {colours:.2}, brightness {brightness:.2} levels off");
        assert!(colours < 3.0 && brightness < 2.0);
        bytes.truncate(bytes.len() / 2);
        assert!(decode("cut.jpg", &bytes).is_err());
    }
}

fn rgb_jpeg(exif: &[u8]) -> Vec<u8> {
    jpeg(ColorType::Rgb, picture().as_raw(), false, exif)
}

fn exif(fields: &[(Tag, Value)]) -> Vec<u8> {
    let fields: Vec<Field> = fields
        .iter()
        .map(|(tag, value)| Field {
            tag: *tag,
            ifd_num: In::PRIMARY,
            value: value.clone(),
        })
        .collect();
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut bytes = Cursor::new(Vec::new());
    writer.write(&mut bytes, false).expect("EXIF");
    bytes.into_inner()
}

fn png(image: DynamicImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image.write_to(&mut bytes, ImageFormat::Png).expect("a PNG");
    bytes.into_inner()
}

/// Mean difference of two pictures, in grey levels.
fn difference(a: &[u8], b: &[u8]) -> f64 {
    assert_eq!(a.len(), b.len());
    let sum: f64 = a
        .iter()
        .zip(b)
        .map(|(&a, &b)| f64::from(a.abs_diff(b)))
        .sum();
    sum / a.len() as f64
}

#[test]
fn jpegs_of_every_colour_model_give_the_same_picture() {
    let original = picture();
    let inks = |p: &image::Rgb<u8>| [255 - p[0], 255 - p[1], 255 - p[2], 0];
    let cmyk: Vec<u8> = original.pixels().flat_map(inks).collect();
    for progressive in [false, true] {
        for (kind, file) in [
            (
                "YCbCr",
                jpeg(ColorType::Rgb, original.as_raw(), progressive, &[]),
            ),
            ("CMYK", jpeg(ColorType::Cmyk, &cmyk, progressive, &[])),
            ("YCCK", jpeg(ColorType::CmykAsYcck, &cmyk, progressive, &[])),
        ] {
            let photo = decode(kind, &file).expect(kind);
            assert!(photo.has_colour());
            let off = difference(&photo.rgb(), original.as_raw());
            assert!(
                off < 3.0,
                "{kind}, progressive {progressive}: {off} levels off"
            );
            let luma = decode_luma(kind, &file).expect(kind);
            assert!(!luma.has_colour());
            assert!(
                difference(&luma.luma(), &photo.luma()) < 1.0,
                "{kind} brightness"
            );
        }
        let grey = DynamicImage::ImageRgb8(original.clone()).into_luma8();
        let file = jpeg(ColorType::Luma, grey.as_raw(), progressive, &[]);
        let photo = decode("grey", &file).expect("grey");
        assert!(!photo.has_colour() && difference(&photo.luma(), grey.as_raw()) < 1.5);
    }
}

#[test]
fn pngs_of_every_depth_give_the_same_picture() {
    let original = DynamicImage::ImageRgb8(picture());
    let on_clear = RgbImage::from_pixel(WIDTH.into(), HEIGHT.into(), image::Rgb([0; 3]));
    let mut clear = DynamicImage::ImageRgb8(on_clear).into_rgba8();
    clear.pixels_mut().for_each(|p| p[3] = 0);
    for (kind, image, expected) in [
        ("RGB 8", original.clone(), original.to_rgb8()),
        ("RGB 16", original.to_rgb16().into(), original.to_rgb8()),
        ("RGBA 8", original.to_rgba8().into(), original.to_rgb8()),
        ("RGBA 16", original.to_rgba16().into(), original.to_rgb8()),
        (
            "clear",
            clear.into(),
            RgbImage::from_pixel(WIDTH.into(), HEIGHT.into(), image::Rgb([255; 3])),
        ),
        (
            "grey 16",
            original.to_luma16().into(),
            DynamicImage::from(original.to_luma8()).into_rgb8(),
        ),
        (
            "grey alpha",
            original.to_luma_alpha8().into(),
            DynamicImage::from(original.to_luma8()).into_rgb8(),
        ),
    ] {
        let photo = decode(kind, &png(image)).expect(kind);
        assert!(difference(&photo.rgb(), expected.as_raw()) < 0.6, "{kind}");
    }
}

#[test]
fn exif_gives_turn_camera_and_focal_length() {
    let file = rgb_jpeg(&exif(&[
        (Tag::Orientation, Value::Short(vec![6])),
        (Tag::Make, Value::Ascii(vec![b"Maker ".to_vec()])),
        (Tag::Model, Value::Ascii(vec![b"Tablet 1".to_vec()])),
        (Tag::LensModel, Value::Ascii(vec![b"wide".to_vec()])),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
    ]));
    let photo = decode("turned", &file).expect("a photograph");
    assert_eq!(
        [photo.width, photo.height],
        [u32::from(HEIGHT), u32::from(WIDTH)]
    );
    assert_eq!(photo.orientation, 6);
    let CameraKey {
        make,
        model,
        lens,
        sensor_width_px,
        sensor_height_px,
    } = &photo.camera;
    assert_eq!([make, model, lens], ["Maker", "Tablet 1", "wide"]);
    assert_eq!(
        [*sensor_width_px, *sensor_height_px],
        [u32::from(WIDTH), u32::from(HEIGHT)]
    );
    // The diagonal of 36 × 24 mm is the reference of the 35 mm equivalent.
    let expected = 26.0 * f64::from(WIDTH).hypot(f64::from(HEIGHT)) / 36.0f64.hypot(24.0);
    assert!((photo.exif_focal_px.expect("a focal length") - expected).abs() < 1e-3);
    // Orientation 6: what is stored at the bottom left is seen at the top left.
    let stored = decode("stored", &rgb_jpeg(&[])).expect("a photograph");
    let (seen, lies) = (photo.rgb_at(0, 0), stored.rgb_at(0, HEIGHT as usize - 1));
    assert_eq!(seen, lies);
}

#[test]
fn sensor_resolution_gives_the_focal_length_where_no_equivalent_is_given() {
    let file = rgb_jpeg(&exif(&[
        (Tag::FocalLength, Value::Rational(vec![(42, 10).into()])),
        (
            Tag::FocalPlaneXResolution,
            Value::Rational(vec![(200, 1).into()]),
        ),
        (Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
    ]));
    let focal = decode("sensor", &file).expect("a photograph").exif_focal_px;
    assert!((focal.expect("a focal length") - 4.2 * 20.0).abs() < 1e-9);
}

#[test]
fn nonsense_in_exif_is_left_out() {
    for (tag, value) in [
        (Tag::Orientation, Value::Short(vec![9])),
        (Tag::Orientation, Value::Short(vec![])),
        (Tag::Orientation, Value::Ascii(vec![b"six".to_vec()])),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![0])),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![65535])),
        (Tag::FocalLength, Value::Rational(vec![(1, 0).into()])),
        (Tag::Make, Value::Short(vec![1])),
    ] {
        let photo = decode("odd", &rgb_jpeg(&exif(&[(tag, value)]))).expect("a photograph");
        assert_eq!((photo.orientation, photo.exif_focal_px), (1, None));
        assert_eq!(photo.camera.make, "");
    }
}

#[test]
fn files_of_another_kind_are_refused_by_name() {
    for (bytes, part) in [
        (&b""[..], "empty"),
        (b"II\x2a\0\x08\0\0\0", "TIFF"),
        (b"RIFF\x10\0\0\0WEBPVP8 ", "WebP"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC"),
        (b"\0\0\0\x18ftypisom\0\0\0\0mp41", "video"),
        (b"GIF89a\x01\0\x01\0", "GIF"),
        (
            b"BM\x1a\0\0\0\0\0\0\0\x1a\0\0\0\x0c\0\0\0\x01\0\x01\0\x01\0\x18\0",
            "BMP",
        ),
        (b"%PDF-1.7", "PDF"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "SVG"),
        (b"\xff\xd8", "cut off"),
        (b"\x01\x02\x03\x04", "save it as JPEG or PNG"),
    ] {
        let sentence = decode("scan.dat", bytes).expect_err(part).to_string();
        assert!(
            sentence.starts_with("scan.dat") && sentence.contains(part),
            "{sentence}"
        );
    }
}

#[test]
fn an_absurd_size_is_refused_from_the_header() {
    // Signature and header of a 60 000 × 60 000 PNG, and a frame header of 65 500 × 65 500.
    let mut head =
        b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\xea\x60\0\0\xea\x60\x08\x02\0\0\0".to_vec();
    let crc = png_crc(&head[12..]);
    head.extend(crc.to_be_bytes());
    let frame = b"\xff\xd8\xff\xc0\0\x11\x08\xff\xdc\xff\xdc\x03\x01\x22\0\x02\x11\x01\x03\x11\x01\xff\xda\0\x02";
    for (bytes, side) in [(&head[..], "60000"), (frame, "65500")] {
        let error = decode("bomb", bytes).expect_err("too large");
        assert!(matches!(error, PhotoError::TooLarge { .. }), "{error}");
        assert!(error.to_string().contains(side));
    }
}

/// CRC-32 of a PNG chunk (ISO 3309), bit by bit.
fn png_crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| {
            (c >> 1) ^ (0xedb8_8320 & (c & 1).wrapping_neg())
        })
    })
}

#[test]
fn a_file_cut_off_anywhere_is_refused() {
    let jpegs =
        [false, true].map(|progressive| jpeg(ColorType::Rgb, picture().as_raw(), progressive, &[]));
    for file in &jpegs {
        let error = decode("cut", &file[..file.len() - 2]).expect_err("no end of image");
        assert!(matches!(error, PhotoError::Truncated { .. }), "{error}");
    }
    for file in jpegs.into_iter().chain([png(picture().into())]) {
        // Two bytes before the end the last marker of a JPEG, sixteen the last chunk of a PNG.
        for length in (0..file.len() - 16).step_by(7) {
            let error = decode("cut", &file[..length]).expect_err("cut off");
            assert!(
                matches!(
                    error,
                    PhotoError::Truncated { .. }
                        | PhotoError::Empty { .. }
                        | PhotoError::Damaged { .. }
                ),
                "at {length}: {error}"
            );
        }
        assert!(decode("whole", &file).is_ok());
    }
}

impl Photograph {
    /// A photograph from upright grey pixels (row-major, `width × height`), or `None` if their
    /// number is wrong.
    pub(crate) fn from_luma(name: &str, width: u32, height: u32, luma: Vec<u8>) -> Option<Self> {
        let area = width as usize * height as usize;
        (area > 0 && luma.len() == area).then(|| Self {
            name: name.to_owned(),
            width,
            height,
            orientation: 1,
            camera: CameraKey {
                sensor_width_px: width,
                sensor_height_px: height,
                ..CameraKey::default()
            },
            exif_focal_px: None,
            pixels: Pixels::Luma(luma),
        })
    }
}

fn check(bytes: &[u8]) {
    for result in [decode("any", bytes), decode_luma("any", bytes)] {
        match result {
            Ok(photo) => {
                assert!((1..=8).contains(&photo.orientation));
                assert!(photo.exif_focal_px.is_none_or(|f| f.is_finite() && f > 0.0));
                assert_eq!(
                    photo.luma().len(),
                    photo.width as usize * photo.height as usize
                );
            }
            Err(error) => assert!(error.to_string().starts_with("any ")),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192.max(ProptestConfig::default().cases)))]

    #[test]
    fn arbitrary_bytes_never_panic(start in 0..4usize, bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let starts: [&[u8]; 4] = [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff\xe1\0\x20Exif\0\0II\x2a\0"];
        check(&[starts[start], &bytes].concat());
    }

    #[test]
    fn changed_bytes_never_panic(kind in 0..3usize, changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12)) {
        let mut file = match kind {
            0 => rgb_jpeg(&exif(&[(Tag::Orientation, Value::Short(vec![7])), (Tag::Make, Value::Ascii(vec![b"Maker".to_vec()]))])),
            1 => jpeg(ColorType::Rgb, picture().as_raw(), true, &[]),
            _ => png(picture().into()),
        };
        // Headers decide what is reserved and how data are read: change them more than the rest.
        let reach = if changes.len() % 2 == 0 { file.len() } else { 200 };
        for (at, value) in changes {
            file[at.index(reach)] = value;
        }
        check(&file);
    }

    #[test]
    fn arbitrary_exif_is_never_fatal(exif in prop::collection::vec(any::<u8>(), 1..200), order in any::<bool>()) {
        let start: &[u8] = if order { b"II\x2a\0\x08\0\0\0" } else { b"MM\0\x2a\0\0\0\x08" };
        prop_assert!(decode("odd", &rgb_jpeg(&[start, &exif].concat())).is_ok());
    }
}
