//! What a camera writes about itself, in a JPEG that is sound otherwise.
#![no_main]

use libfuzzer_sys::fuzz_target;
use plinthside_measure::photo;
use std::sync::LazyLock;

static JPEG: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let mut bytes = Vec::new();
    let grey = image::GrayImage::from_pixel(16, 8, image::Luma([90]));
    let encoder = image::codecs::jpeg::JpegEncoder::new(&mut bytes);
    grey.write_with_encoder(encoder).expect("encoded");
    bytes
});

fuzz_target!(|exif: &[u8]| {
    let Ok(length) = u16::try_from(exif.len() + 8) else {
        return;
    };
    // Start of image, then the block of EXIF (APP1), then the rest.
    let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xE1];
    bytes.extend(length.to_be_bytes());
    bytes.extend(b"Exif\0\0");
    bytes.extend(exif);
    bytes.extend(&JPEG[2..]);
    let photo = photo::decode("fuzz.jpg", &bytes).expect("EXIF never spoils a photograph");
    let mut size = [photo.width, photo.height];
    size.sort_unstable();
    assert_eq!(size, [8, 16]);
    assert!(photo.exif_focal_px.is_none_or(|f| f.is_finite() && f > 0.0));
});
