//! PWG raster, the picture format that every IPP Everywhere printer takes (PWG 5102.4-2012).

use std::io::Write;

/// Bytes of a page header (PWG 5102.4, table 2).
const HEADER: usize = 1796;

/// One page of grey pixels, row by row from the top; 0 is black.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GreyPage {
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
    /// `width × height` pixels.
    pub pixels: Vec<u8>,
}

/// How pixels are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PixelType {
    /// `sgray_8`: as they are.
    Grey8,
    /// `black_1`: one bit, dark under 128.
    Black1,
    /// `srgb_8`: three equal values.
    Rgb8,
}

impl PixelType {
    /// The type to use of those a printer names: the exact one first.
    #[must_use]
    pub fn of(names: &[String]) -> Option<Self> {
        let has = |name: &str| names.iter().any(|n| n == name);
        [
            ("sgray_8", Self::Grey8),
            ("srgb_8", Self::Rgb8),
            ("black_1", Self::Black1),
        ]
        .into_iter()
        .find(|(name, _)| has(name))
        .map(|(_, kind)| kind)
    }

    /// Bits a colour, bits a pixel, colour space (PWG 5102.4, table 5), number of colours.
    fn header(self) -> [u32; 4] {
        match self {
            Self::Grey8 => [8, 8, 18, 1],
            Self::Black1 => [1, 1, 3, 1],
            Self::Rgb8 => [8, 24, 19, 3],
        }
    }

    /// Bytes that are counted as one when a line is packed.
    fn unit(self) -> usize {
        match self {
            Self::Grey8 | Self::Black1 => 1,
            Self::Rgb8 => 3,
        }
    }

    fn line(self, pixels: &[u8]) -> Vec<u8> {
        match self {
            Self::Grey8 => pixels.to_vec(),
            Self::Rgb8 => pixels.iter().flat_map(|&p| [p; 3]).collect(),
            Self::Black1 => pixels
                .chunks(8)
                .map(|eight| {
                    let dark = eight.iter().enumerate().filter(|(_, p)| **p < 128);
                    dark.fold(0, |byte, (i, _)| byte | 0x80 >> i)
                })
                .collect(),
        }
    }
}

/// Pages as one PWG raster file. `size_mm` is that of the paper.
#[must_use]
pub fn pwg_raster(pages: &[GreyPage], kind: PixelType, dpi: u32, size_mm: [f64; 2]) -> Vec<u8> {
    let mut out = b"RaS2".to_vec();
    for page in pages {
        out.extend(header(page, kind, dpi, size_mm, pages.len()));
        let mut lines = page
            .pixels
            .chunks_exact(page.width.max(1) as usize)
            .peekable();
        while let Some(line) = lines.next() {
            let mut repeats = 0_u8;
            while repeats < 255 && lines.peek() == Some(&line) {
                lines.next();
                repeats += 1;
            }
            out.push(repeats);
            pack(&kind.line(line), kind.unit(), &mut out);
        }
    }
    out
}

fn header(page: &GreyPage, kind: PixelType, dpi: u32, size_mm: [f64; 2], pages: usize) -> Vec<u8> {
    let mut bytes = vec![0_u8; HEADER];
    let [bits_color, bits_pixel, space, colors] = kind.header();
    let mut text = |at: usize, words: &str| {
        // A field of fixed length: writing into its slice cannot fail.
        let _ = (&mut bytes[at..at + 63]).write(words.as_bytes());
    };
    text(0, "PwgRaster");
    let points = |mm: f64| (mm * 72.0 / 25.4).round().clamp(0.0, 1e6) as u32;
    let fields = [
        (276, dpi),
        (280, dpi),
        (340, 1),
        (352, points(size_mm[0])),
        (356, points(size_mm[1])),
        (372, page.width),
        (376, page.height),
        (384, bits_color),
        (388, bits_pixel),
        (392, (page.width * bits_pixel).div_ceil(8)),
        (400, space),
        (420, colors),
        (452, u32::try_from(pages).unwrap_or(0)),
        (456, 1),
        (460, 1),
        // AlternatePrimary: white.
        (480, 0x00FF_FFFF),
    ];
    for (at, value) in fields {
        bytes[at..at + 4].copy_from_slice(&value.to_be_bytes());
    }
    bytes
}

/// One line, packed by runs of up to 128 units (PWG 5102.4, section 4.4).
fn pack(line: &[u8], unit: usize, out: &mut Vec<u8>) {
    let units: Vec<&[u8]> = line.chunks(unit).collect();
    let mut at = 0;
    while at < units.len() {
        let same = units[at..]
            .iter()
            .take(128)
            .take_while(|u| **u == units[at])
            .count();
        if same > 1 {
            out.push((same - 1) as u8);
            out.extend(units[at]);
            at += same;
            continue;
        }
        // Units up to the next run.
        let mut end = at + 1;
        while end < units.len()
            && end - at < 128
            && !(end + 1 < units.len() && units[end] == units[end + 1])
        {
            end += 1;
        }
        if end - at == 1 {
            out.push(0);
        } else {
            out.push((257 - (end - at)) as u8);
        }
        out.extend(units[at..end].concat());
        at = end;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The reverse of [`pack`], written from the text of section 4.4.
    fn unpack(mut bytes: &[u8], unit: usize, length: usize) -> Vec<u8> {
        let mut line = Vec::new();
        while line.len() < length {
            let (n, rest) = (bytes[0], &bytes[1..]);
            if n < 128 {
                for _ in 0..=n {
                    line.extend(&rest[..unit]);
                }
                bytes = &rest[unit..];
            } else {
                let count = unit * (257 - usize::from(n));
                line.extend(&rest[..count]);
                bytes = &rest[count..];
            }
        }
        assert!(bytes.is_empty());
        line
    }

    #[test]
    fn lines_of_every_pattern_come_back() {
        for unit in [1, 3] {
            for length in [1, 2, 3, 127, 128, 129, 130, 257, 400] {
                for seed in 0..40_u32 {
                    let spread = seed % 4 + 1;
                    let line: Vec<u8> = (0..length as u32)
                        .flat_map(|i| {
                            let hash = ((i / spread) ^ seed).wrapping_mul(0x9E37_79B9) >> 29;
                            vec![(hash % spread) as u8; unit]
                        })
                        .collect();
                    let mut packed = Vec::new();
                    pack(&line, unit, &mut packed);
                    assert_eq!(unpack(&packed, unit, line.len()), line);
                }
            }
        }
    }

    #[test]
    fn one_bit_lines_put_the_first_pixel_in_the_highest_bit() {
        assert_eq!(
            PixelType::Black1.line(&[0, 255, 255, 255, 255, 255, 255, 127, 0, 200]),
            [0x81, 0x80]
        );
    }
}
