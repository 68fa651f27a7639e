//! Decoding of the two kinds of file, to stored (unturned) pixels.

use super::refuse::{Kind, LIMITS, PhotoError, check_size};
use super::{Pixels, luma_of};
use png::{BitDepth, ColorType, Decoder, Transformations};
use std::io::Cursor;
use zune_core::bytestream::{ZByteIoError, ZCursor};
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;

/// Pixels as the file stores them.
pub(super) struct Stored {
    pub width: u32,
    pub height: u32,
    pub pixels: Pixels,
}

pub(super) fn decode(
    name: &str,
    bytes: &[u8],
    kind: Kind,
    colour: bool,
) -> Result<Stored, PhotoError> {
    match kind {
        Kind::Jpeg => decode_jpeg(name, bytes, colour),
        Kind::Png => decode_png(name, bytes, colour),
    }
}

fn damaged(name: &str, what: impl std::fmt::Display) -> PhotoError {
    // Decoders' messages may run over lines and be of any length; a sentence has room for less.
    let what = what.to_string().replace(['"', '`'], "");
    let line = what.split_whitespace().collect::<Vec<_>>().join(" ");
    PhotoError::Damaged {
        photo: name.to_owned(),
        what: line.trim_end_matches('.').chars().take(120).collect(),
    }
}

fn truncated(name: &str) -> PhotoError {
    PhotoError::Truncated {
        photo: name.to_owned(),
    }
}

fn jpeg_error(name: &str, error: DecodeErrors) -> PhotoError {
    match error {
        DecodeErrors::ExhaustedData | DecodeErrors::IoErrors(ZByteIoError::NotEnoughBytes(..)) => {
            truncated(name)
        }
        other => damaged(name, other),
    }
}

fn decode_jpeg(name: &str, bytes: &[u8], colour: bool) -> Result<Stored, PhotoError> {
    let options = DecoderOptions::default()
        .set_max_width(LIMITS.side_px as usize)
        .set_max_height(LIMITS.side_px as usize)
        .set_strict_mode(true);
    if let Some((width, height)) = jpeg_size(bytes) {
        check_size(name, width, height)?;
    }
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|e| jpeg_error(name, e))?;
    let info = decoder.info().ok_or_else(|| damaged(name, "no header"))?;
    let (width, height) = (u32::from(info.width), u32::from(info.height));
    check_size(name, width, height)?;
    if !has_end_of_image(bytes) {
        return Err(truncated(name));
    }
    if in_separate_scans(bytes) {
        return decode_separate_scans(name, bytes, [width, height], colour);
    }
    let input = decoder.input_colorspace();
    let grey = input == Some(ColorSpace::Luma);
    // Brightness comes straight out of a YCbCr JPEG; other colour models go through RGB.
    let luma = grey || (!colour && input == Some(ColorSpace::YCbCr));
    let space = if luma {
        ColorSpace::Luma
    } else {
        ColorSpace::RGB
    };
    decoder.set_options(options.jpeg_set_out_colorspace(space));
    let raw = decoder.decode().map_err(|e| jpeg_error(name, e))?;
    let channels = if luma { 1 } else { 3 };
    if raw.len() != width as usize * height as usize * channels {
        return Err(damaged(name, "its pixels do not fill its size"));
    }
    let pixels = match (luma, colour) {
        (true, _) => Pixels::Luma(raw),
        (false, true) => Pixels::Rgb(raw),
        (false, false) => Pixels::Luma(grey_of(&raw, 3)),
    };
    Ok(Stored {
        width,
        height,
        pixels,
    })
}

/// Decodes a JPEG whose components lie in scans of their own: zune-jpeg gives such a file wrong
/// colours without a word, jpeg-decoder reads it right but takes three times as long.
fn decode_separate_scans(
    name: &str,
    bytes: &[u8],
    [width, height]: [u32; 2],
    colour: bool,
) -> Result<Stored, PhotoError> {
    let mut decoder = jpeg_decoder::Decoder::new(bytes);
    let raw = decoder.decode().map_err(|e| damaged(name, e))?;
    let area = width as usize * height as usize;
    let format = decoder.info().map(|info| info.pixel_format);
    let (luma, rgb) = match format {
        Some(jpeg_decoder::PixelFormat::L8) => (Some(raw), None),
        Some(jpeg_decoder::PixelFormat::RGB24) => (None, Some(raw)),
        Some(jpeg_decoder::PixelFormat::CMYK32) => (None, Some(light_of_inks(&raw))),
        _ => (None, None),
    };
    let pixels = match (luma, rgb) {
        (Some(luma), _) if luma.len() == area => Pixels::Luma(luma),
        (_, Some(rgb)) if rgb.len() == 3 * area && colour => Pixels::Rgb(rgb),
        (_, Some(rgb)) if rgb.len() == 3 * area => Pixels::Luma(grey_of(&rgb, 3)),
        _ => return Err(damaged(name, "its pixels do not fill its size")),
    };
    Ok(Stored {
        width,
        height,
        pixels,
    })
}

/// Red, green and blue left by cyan, magenta, yellow and black ink.
fn light_of_inks(raw: &[u8]) -> Vec<u8> {
    let (pixels, _) = raw.as_chunks::<4>();
    let left = |ink: u8, black: u8| {
        let light = u32::from(255 - ink) * u32::from(255 - black);
        ((light + 127) / 255) as u8
    };
    pixels
        .iter()
        .flat_map(|&[c, m, y, k]| [left(c, k), left(m, k), left(y, k)])
        .collect()
}

/// Whether the first scan of a JPEG holds fewer components than its frame.
fn in_separate_scans(bytes: &[u8]) -> bool {
    let (mut in_frame, mut in_scan) = (0, 0);
    walk_segments(bytes, |marker, content| match marker {
        0xda => in_scan = content.first().copied().unwrap_or(0),
        m if is_frame(m) => in_frame = content.get(5).copied().unwrap_or(0),
        _ => (),
    });
    in_scan < in_frame
}

/// Whether a marker begins a JPEG's frame header.
fn is_frame(marker: u8) -> bool {
    matches!(marker, 0xc0..=0xcf) && !matches!(marker, 0xc4 | 0xc8 | 0xcc)
}

/// Walks the segments of a JPEG up to the first scan; calls `visit` with marker and content, and
/// returns the offset behind the scan's header.
fn walk_segments(bytes: &[u8], mut visit: impl FnMut(u8, &[u8])) -> Option<usize> {
    let mut at = 2;
    loop {
        let (&[lead, marker], rest) = bytes.get(at..)?.split_first_chunk()?;
        if lead != 0xff {
            at += 1; // stray bytes between segments: decoders skip them too
            continue;
        }
        match marker {
            0xff => at += 1, // fill byte
            0x00 | 0x01 | 0xd0..=0xd8 => at += 2,
            _ => {
                let length = usize::from(u16::from_be_bytes(*rest.first_chunk()?));
                visit(marker, rest.get(2..length).unwrap_or_default());
                at += 2 + length;
                if marker == 0xda {
                    return Some(at);
                }
            }
        }
    }
}

/// Width and height in a JPEG's frame header, read before the decoder reserves anything.
fn jpeg_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let mut size = None;
    walk_segments(bytes, |marker, content| {
        if let (true, Some(&[_, h1, h0, w1, w0])) = (is_frame(marker), content.first_chunk()) {
            let (width, height) = (u16::from_be_bytes([w1, w0]), u16::from_be_bytes([h1, h0]));
            size = Some((u32::from(width), u32::from(height)));
        }
    });
    size
}

/// Whether an end-of-image marker follows the first scan. Within compressed data FF is always
/// followed by 00 or a restart number, so a file without this pair was cut off. (The decoder
/// would fill what is missing with grey.)
fn has_end_of_image(bytes: &[u8]) -> bool {
    let scan = walk_segments(bytes, |_, _| ()).and_then(|start| bytes.get(start..));
    scan.is_some_and(|data| data.windows(2).rev().any(|pair| pair == [0xff, 0xd9]))
}

fn decode_png(name: &str, bytes: &[u8], colour: bool) -> Result<Stored, PhotoError> {
    let cut_off = |error: png::DecodingError| match error {
        png::DecodingError::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            truncated(name)
        }
        other => damaged(name, other),
    };
    let mut decoder = Decoder::new(Cursor::new(bytes));
    decoder.set_transformations(Transformations::normalize_to_color8());
    let header = decoder.read_header_info().map_err(cut_off)?;
    check_size(name, header.width, header.height)?;
    let mut reader = decoder.read_info().map_err(cut_off)?;
    let size = reader
        .output_buffer_size()
        .ok_or_else(|| damaged(name, "its header gives no size"))?;
    let mut raw = vec![0; size];
    let frame = reader.next_frame(&mut raw).map_err(cut_off)?;
    raw.truncate(frame.buffer_size());
    let channels = frame.color_type.samples();
    let (width, height) = (frame.width, frame.height);
    let whole = width as usize * height as usize * channels;
    if frame.bit_depth != BitDepth::Eight || raw.len() != whole {
        return Err(damaged(name, "its pixels do not fill its size"));
    }
    if matches!(
        frame.color_type,
        ColorType::Rgba | ColorType::GrayscaleAlpha
    ) {
        raw = on_white(&raw, channels);
    }
    let pixels = match raw.len() / (width as usize * height as usize) {
        1 => Pixels::Luma(raw),
        _ if colour => Pixels::Rgb(raw),
        _ => Pixels::Luma(grey_of(&raw, 3)),
    };
    Ok(Stored {
        width,
        height,
        pixels,
    })
}

/// Lays a transparent picture on white paper and drops its last (alpha) channel.
fn on_white(raw: &[u8], channels: usize) -> Vec<u8> {
    let mut opaque = Vec::with_capacity(raw.len() / channels * (channels - 1));
    for pixel in raw.chunks_exact(channels) {
        let alpha = u32::from(pixel[channels - 1]);
        let blend = |&v: &u8| ((u32::from(v) * alpha + 255 * (255 - alpha) + 127) / 255) as u8;
        opaque.extend(pixel[..channels - 1].iter().map(blend));
    }
    opaque
}

fn grey_of(raw: &[u8], channels: usize) -> Vec<u8> {
    raw.chunks_exact(channels)
        .map(|p| luma_of(p[0], p[1], p[2]))
        .collect()
}
