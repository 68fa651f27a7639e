//! Drawing the QR code of a cast code.

use crate::{CastCode, PaperError};
use qrcode::bits::Bits;
use qrcode::{EcLevel, QrCode, Version};

/// Empty modules that ISO/IEC 18004 asks for on every side.
pub const QUIET_ZONE: usize = 4;
/// Smallest module on our labels, mm: 4 dots at 203 dpi.
pub const MIN_MODULE_MM: f64 = 0.5;

/// A QR symbol without its quiet zone, row by row from the top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Symbol {
    /// Modules along an edge.
    pub size: usize,
    /// Rows of modules, `true` dark.
    pub rows: Vec<Vec<bool>>,
}

impl Symbol {
    /// The dark modules as horizontal runs `(x, y, length)`, in modules from the top left corner.
    pub fn runs(&self) -> impl Iterator<Item = (usize, usize, usize)> + '_ {
        self.rows.iter().enumerate().flat_map(|(y, row)| {
            let mut x = 0;
            row.chunk_by(|a, b| a == b).filter_map(move |chunk| {
                let start = x;
                x += chunk.len();
                chunk[0].then_some((start, y, chunk.len()))
            })
        })
    }
}

/// The symbol of a cast code: version 2, level H, 25 modules, alphanumeric mode.
///
/// # Errors
/// [`PaperError::Typesetting`] should the encoder refuse the 13 symbols.
pub fn cast_symbol(code: CastCode) -> Result<Symbol, PaperError> {
    let refused = |e: qrcode::types::QrError| PaperError::Typesetting(format!("QR code: {e}"));
    let mut bits = Bits::new(Version::Normal(2));
    bits.push_alphanumeric_data(code.payload().as_bytes())
        .map_err(refused)?;
    bits.push_terminator(EcLevel::H).map_err(refused)?;
    let symbol = QrCode::with_bits(bits, EcLevel::H).map_err(refused)?;
    Ok(modules(&symbol))
}

/// The symbol of any other text, as small as it can be at level M: for a screen.
///
/// # Errors
/// [`PaperError::Typesetting`] should the text be too long.
pub fn text_symbol(text: &str) -> Result<Symbol, PaperError> {
    let refused = |e: qrcode::types::QrError| PaperError::Typesetting(format!("QR code: {e}"));
    QrCode::with_error_correction_level(text, EcLevel::M)
        .map(|symbol| modules(&symbol))
        .map_err(refused)
}

fn modules(symbol: &QrCode) -> Symbol {
    let size = symbol.width();
    let rows = symbol
        .to_colors()
        .chunks(size)
        .map(|row| row.iter().map(|c| *c == qrcode::Color::Dark).collect())
        .collect();
    Symbol { size, rows }
}

/// Width of a module that a printer of `dots_per_mm` prints in whole dots: the largest that lets
/// the symbol with its quiet zone fit `room_mm`, or `None` if that is under [`MIN_MODULE_MM`].
#[must_use]
pub fn module_mm(symbol_size: usize, room_mm: f64, dots_per_mm: f64) -> Option<f64> {
    let modules = (symbol_size + 2 * QUIET_ZONE) as f64;
    let dots = (room_mm * dots_per_mm / modules + 1e-9).floor();
    let module = dots / dots_per_mm;
    (module.is_finite() && module >= MIN_MODULE_MM - 1e-9).then_some(module)
}
