//! A camera of this device: one still at a time, as a JPEG file. Which camera that is, is the
//! system's affair; a build without one takes photographs in from a folder.

use thiserror::Error;

/// Why there is no photograph.
#[derive(Debug, Error)]
pub enum CameraError {
    /// None there, or none this build can use.
    #[error("no camera was found; photographs are taken in from the folder")]
    None,
    /// It sends no JPEG.
    #[error(
        "the camera {name} sends no JPEG pictures; take photographs with another one into the folder"
    )]
    NoJpeg {
        /// What the camera calls itself.
        name: String,
    },
    /// It sent nothing in time.
    #[error(
        "the camera {name} sent no picture within {within_s} s; unplug it and plug it in again, or use the folder"
    )]
    Silent {
        /// What the camera calls itself.
        name: String,
        /// How long it was waited for, seconds.
        within_s: u64,
    },
    /// The system refused.
    #[error("the camera could not be used: {0}; another program may hold it")]
    Refused(#[from] std::io::Error),
}

/// A camera.
pub trait Camera: Send {
    /// Takes one photograph: the bytes of a JPEG file.
    ///
    /// # Errors
    /// See [`CameraError`].
    fn shoot(&mut self) -> Result<Vec<u8>, CameraError>;
}

/// Opens this device's camera.
///
/// # Errors
/// There is none.
pub fn open() -> Result<Box<dyn Camera>, CameraError> {
    #[cfg(all(feature = "camera", target_os = "linux"))]
    return v4l2::open();
    #[cfg(not(all(feature = "camera", target_os = "linux")))]
    Err(CameraError::None)
}

/// What there is of a camera.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Seen {
    /// This build uses none, and nothing speaks of one.
    #[default]
    NotBuilt,
    /// One that can be used.
    Ready,
    /// None that can be used now: why, in words.
    Missing(String),
}

/// Looks for a camera that this build can use.
#[must_use]
pub fn look() -> Seen {
    if !cfg!(all(feature = "camera", target_os = "linux")) {
        return Seen::NotBuilt;
    }
    match open() {
        Ok(_) => Seen::Ready,
        Err(problem) => Seen::Missing(problem.to_string()),
    }
}

#[cfg(all(feature = "camera", target_os = "linux"))]
mod v4l2 {
    //! Video4Linux 2, as the kernel's documentation describes it, through the linuxvideo crate.

    use super::{Camera, CameraError, with_tables};
    use linuxvideo::format::{PixFormat, PixelFormat};
    use linuxvideo::{BufType, CapabilityFlags, Device};
    use std::path::PathBuf;
    use std::time::{Duration, Instant};

    /// The first pictures are taken before exposure and focus have settled.
    const SETTLING: usize = 8;
    const WITHIN: Duration = Duration::from_secs(8);

    struct V4l2 {
        path: PathBuf,
        name: String,
        format: PixelFormat,
    }

    pub(super) fn open() -> Result<Box<dyn Camera>, CameraError> {
        let mut without_jpeg = None;
        for device in linuxvideo::list()?.flatten() {
            let Ok(capabilities) = device.capabilities() else {
                continue;
            };
            let captures = CapabilityFlags::VIDEO_CAPTURE | CapabilityFlags::STREAMING;
            if !capabilities.device_capabilities().contains(captures) {
                continue;
            }
            let name = capabilities.card().to_owned();
            let offered: Vec<PixelFormat> = device
                .formats(BufType::VIDEO_CAPTURE)
                .flatten()
                .map(|format| format.pixel_format())
                .collect();
            let jpeg = [PixelFormat::MJPG, PixelFormat::JPEG];
            match jpeg.into_iter().find(|format| offered.contains(format)) {
                Some(format) => {
                    let path = device.path()?;
                    return Ok(Box::new(V4l2 { path, name, format }));
                }
                None => without_jpeg = Some(name),
            }
        }
        Err(without_jpeg.map_or(CameraError::None, |name| CameraError::NoJpeg { name }))
    }

    impl Camera for V4l2 {
        fn shoot(&mut self) -> Result<Vec<u8>, CameraError> {
            // The driver takes the largest size it has.
            let largest = PixFormat::new(u32::MAX, u32::MAX, self.format);
            let device = Device::open(&self.path)?;
            let mut stream = device.video_capture(largest)?.into_stream()?;
            let begun = Instant::now();
            let mut seen = 0;
            loop {
                if begun.elapsed() > WITHIN {
                    return Err(CameraError::Silent {
                        name: self.name.clone(),
                        within_s: WITHIN.as_secs(),
                    });
                }
                if stream.will_block()? {
                    std::thread::sleep(Duration::from_millis(10));
                    continue;
                }
                let picture = stream.dequeue(|buffer| {
                    let whole = !buffer.is_error() && !buffer.is_empty();
                    Ok(whole.then(|| buffer.to_vec()))
                })?;
                seen += 1;
                if let (Some(picture), true) = (picture, seen > SETTLING) {
                    return Ok(with_tables(picture));
                }
            }
        }
    }
}

/// The Huffman tables of ITU-T T.81, K.3 to K.6, as one DHT segment: what a motion-JPEG picture
/// leaves out.
#[cfg_attr(not(all(feature = "camera", target_os = "linux")), allow(dead_code))]
const TABLES: &[u8] = &include!("camera/huffman.in");

/// A picture of a motion-JPEG stream as a JPEG file of its own.
#[cfg_attr(not(all(feature = "camera", target_os = "linux")), allow(dead_code))]
fn with_tables(picture: Vec<u8>) -> Vec<u8> {
    // Segments from the start of the image to the scan: marker, length, content.
    let mut at = 2;
    while let Some(&[0xFF, marker, high, low]) = picture.get(at..at + 4) {
        match marker {
            0xC4 => return picture,
            0xDA => {
                let (head, scan) = picture.split_at(at);
                return [head, TABLES, scan].concat();
            }
            _ => at += 2 + usize::from(u16::from_be_bytes([high, low])),
        }
    }
    picture
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::codecs::jpeg::JpegEncoder;

    /// A picture with its Huffman tables left out.
    fn motion_jpeg(file: &[u8]) -> Vec<u8> {
        let mut kept = file[..2].to_vec();
        let mut at = 2;
        loop {
            let (marker, length) = (
                file[at + 1],
                u16::from_be_bytes([file[at + 2], file[at + 3]]),
            );
            if marker == 0xDA {
                kept.extend(&file[at..]);
                return kept;
            }
            let segment = &file[at..at + 2 + usize::from(length)];
            if marker != 0xC4 {
                kept.extend(segment);
            }
            at += segment.len();
        }
    }

    #[test]
    fn a_motion_jpeg_picture_gets_the_standard_tables_it_leaves_out() {
        // The encoder of the image crate writes the tables of T.81, annex K.
        let picture = image::RgbImage::from_fn(64, 48, |x, y| {
            image::Rgb([(x * 4) as u8, (y * 5) as u8, ((x * y) % 251) as u8])
        });
        let mut file = Vec::new();
        JpegEncoder::new_with_quality(&mut file, 90)
            .encode_image(&picture)
            .expect("encoded");
        let bare = motion_jpeg(&file);
        assert!(bare.len() + 400 < file.len());
        let mended = with_tables(bare);
        let pixels = |bytes: &[u8]| image::load_from_memory(bytes).expect("decodes").to_rgb8();
        assert_eq!(pixels(&mended), pixels(&file));
        assert_eq!(
            with_tables(file.clone()),
            file,
            "a whole file stays as it is"
        );
        for odd in [vec![], vec![0xFF], vec![0xFF, 0xD8, 0xFF, 0xDB, 0, 0]] {
            assert_eq!(with_tables(odd.clone()).len(), odd.len());
        }
    }

    #[test]
    fn what_is_missing_is_said_only_where_a_camera_could_be() {
        let built = cfg!(all(feature = "camera", target_os = "linux"));
        match (look(), open()) {
            (Seen::NotBuilt, Err(_)) => assert!(!built),
            (Seen::Ready, Ok(_)) => assert!(built),
            (Seen::Missing(why), Err(problem)) => {
                assert!(built && why == problem.to_string());
            }
            (seen, _) => panic!("{seen:?}"),
        }
    }
}
