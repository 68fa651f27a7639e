//! Turning stored pixels upright.

/// Width of the squares in which pixels are moved: two of them fit into the nearest cache.
const BLOCK: usize = 32;

/// Turns an image of `CHANNELS` bytes a pixel upright, as EXIF orientation 1-8 asks.
/// Returns the pixels with their new width and height.
pub(super) fn upright<const CHANNELS: usize>(
    pixels: Vec<u8>,
    [width, height]: [usize; 2],
    orientation: u8,
) -> (Vec<u8>, [usize; 2]) {
    let (source, _) = pixels.as_chunks::<CHANNELS>();
    // What is seen at (x, y) of the upright image is stored at `origin + x·across + y·down`.
    let (w, h) = (width as isize, height as isize);
    let (origin, across, down) = match orientation {
        2 => (w - 1, -1, w),
        3 => (w * h - 1, -1, -w),
        4 => (w * (h - 1), 1, -w),
        5 => (0, w, 1),
        6 => (w * (h - 1), -w, 1),
        7 => (w * h - 1, -w, -1),
        8 => (w - 1, w, -1),
        _ => return (pixels, [width, height]),
    };
    let size @ [new_width, new_height] = if orientation >= 5 {
        [height, width]
    } else {
        [width, height]
    };
    let mut turned = vec![[0; CHANNELS]; source.len()];
    for y0 in (0..new_height).step_by(BLOCK) {
        for x0 in (0..new_width).step_by(BLOCK) {
            for y in y0..(y0 + BLOCK).min(new_height) {
                let row = origin + y as isize * down;
                for x in x0..(x0 + BLOCK).min(new_width) {
                    let stored = row + x as isize * across;
                    turned[y * new_width + x] = source[stored as usize];
                }
            }
        }
    }
    (turned.into_flattened(), size)
}

#[cfg(test)]
mod tests {
    use super::upright;
    use image::metadata::Orientation;
    use image::{DynamicImage, RgbImage};

    /// The general-purpose `image` crate is the reference.
    #[test]
    fn every_orientation_equals_the_image_library() {
        let (width, height) = (71, 45);
        let stored = RgbImage::from_fn(width, height, |x, y| {
            image::Rgb([x as u8, y as u8, (x * y) as u8])
        });
        for orientation in 0..=9 {
            let mut expected = DynamicImage::ImageRgb8(stored.clone());
            if let Some(turn) = Orientation::from_exif(orientation) {
                expected.apply_orientation(turn);
            }
            let size = [width as usize, height as usize];
            let (pixels, [w, h]) = upright::<3>(stored.as_raw().clone(), size, orientation);
            assert_eq!([w as u32, h as u32], [expected.width(), expected.height()]);
            assert!(
                pixels == expected.into_rgb8().into_raw(),
                "orientation {orientation}"
            );
        }
    }
}
