//! The cast code: what ties a plaster shell, its bag, its photographs and its order together.
//!
//! Twelve symbols of Crockford's base 32 (60 random bits) and one check symbol, ISO 7064 MOD 37,2,
//! shown as `XXXX-XXXX-XXXX-C`. It carries no data of the patient. MOD 37,2 takes its check
//! symbols from 37 characters; a code whose check symbol is not one of the 32 is drawn again, so
//! every symbol of a code can be typed and read alike.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// Crockford's base 32: no I, L, O (read as 1, 1, 0) and no U.
const SYMBOLS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// ISO 7064 alphabet of MOD 37,2.
const ISO_7064: &[u8; 37] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
const DATA: usize = 12;
const LENGTH: usize = DATA + 1;

/// Pairs that hands write and eyes read alike. Common practice, no source.
const LOOK_ALIKE: &[(u8, u8)] = &[
    (b'0', b'D'),
    (b'0', b'Q'),
    (b'1', b'7'),
    (b'1', b'T'),
    (b'2', b'Z'),
    (b'3', b'8'),
    (b'4', b'A'),
    (b'4', b'9'),
    (b'5', b'S'),
    (b'6', b'G'),
    (b'8', b'B'),
    (b'C', b'G'),
    (b'E', b'F'),
    (b'H', b'N'),
    (b'K', b'X'),
    (b'M', b'N'),
    (b'M', b'W'),
    (b'P', b'R'),
    (b'V', b'W'),
    (b'V', b'Y'),
];

/// A cast code whose check symbol is right.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct CastCode([u8; LENGTH]);

/// One part of a code as it is written: three groups of four and the check symbol.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    /// Symbols 1-4.
    First,
    /// Symbols 5-8.
    Second,
    /// Symbols 9-12.
    Third,
    /// The single symbol at the end.
    Check,
}

impl Group {
    fn of(index: usize) -> Self {
        match index / 4 {
            0 => Self::First,
            1 => Self::Second,
            2 => Self::Third,
            _ => Self::Check,
        }
    }
}

impl fmt::Display for Group {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::First => "the first group",
            Self::Second => "the second group",
            Self::Third => "the third group",
            Self::Check => "the last symbol",
        })
    }
}

/// Why a text is not a cast code, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CodeError {
    /// Nothing but spaces or hyphens.
    #[error("no code was given: type the 13 symbols printed under the square code")]
    Empty,
    /// A character that no code contains.
    #[error("{group} holds “{symbol}”, which no cast code contains{hint}; read the code again")]
    Symbol {
        /// The character as typed.
        symbol: char,
        /// Where it stands.
        group: Group,
        /// What it may have been, empty if unknown.
        hint: &'static str,
    },
    /// Too few or too many symbols.
    #[error("a cast code has 13 symbols and this has {count}{}; read it again", at(*.group))]
    Length {
        /// Symbols found, spaces and hyphens not counted.
        count: usize,
        /// The group that is short or long, where the hyphens tell.
        group: Option<Group>,
    },
    /// The check symbol does not fit.
    #[error("the code does not check: a symbol is wrong or two are swapped{}; read it again", at(*.group))]
    Check {
        /// The group in which one look-alike symbol or one swap of neighbours would explain it,
        /// where only one group can.
        group: Option<Group>,
    },
}

fn at(group: Option<Group>) -> String {
    group.map_or_else(String::new, |group| format!(" (look at {group})"))
}

impl CodeError {
    /// The error for `text` with the group that looks wrong, where the codes there are tell it: all
    /// of one code was typed but for one group. No code is ever taken for another because of it.
    #[must_use]
    pub fn beside(self, text: &str, known: impl IntoIterator<Item = CastCode>) -> Self {
        let Ok(typed) = typed_symbols(text) else {
            return self;
        };
        let found = only(known.into_iter().filter_map(|code| odd_in(&typed, &code.0)));
        match self {
            Self::Check { group } => Self::Check {
                group: found.or(group),
            },
            Self::Length { count, group } => Self::Length {
                count,
                group: group.or(found),
            },
            other => other,
        }
    }
}

/// Symbols too few or too many that are still this code.
const LEFT_OUT: usize = 2;

/// The one group in which `typed` is not this code, if all the rest of the code is there.
fn odd_in(typed: &[u8], code: &[u8; LENGTH]) -> Option<Group> {
    if typed.len().abs_diff(LENGTH) > LEFT_OUT {
        return None;
    }
    let same =
        |pairs: &mut dyn Iterator<Item = (&u8, &u8)>| pairs.take_while(|(a, b)| a == b).count();
    let before = same(&mut typed.iter().zip(code));
    let after = same(&mut typed.iter().rev().zip(code.iter().rev()));
    // What is odd lies between the last symbol that is right from the front and from the back.
    let ends = [before, LENGTH.saturating_sub(after + 1)];
    only(
        ends.into_iter()
            .map(|place| Group::of(place.min(LENGTH - 1))),
    )
}

/// The operating system gave no random bytes.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("the operating system gave no random numbers ({0}); restart the device and try again")]
pub struct NoRandomness(String);

impl CastCode {
    /// Draws a new code from the operating system's randomness.
    ///
    /// # Errors
    /// [`NoRandomness`] when the operating system gives none.
    pub fn mint() -> Result<Self, NoRandomness> {
        loop {
            let mut bytes = [0_u8; 8];
            getrandom::fill(&mut bytes).map_err(|e| NoRandomness(e.to_string()))?;
            if let Some(code) = Self::from_bits(u64::from_le_bytes(bytes)) {
                return Ok(code);
            }
        }
    }

    /// The code of the low 60 bits, unless its check character falls outside the 32 symbols.
    #[must_use]
    pub fn from_bits(bits: u64) -> Option<Self> {
        let mut code = [0_u8; LENGTH];
        for (i, symbol) in code[..DATA].iter_mut().enumerate() {
            *symbol = SYMBOLS[(bits >> (5 * i)) as usize & 31];
        }
        code[DATA] = check_character(&code[..DATA])?;
        SYMBOLS.contains(&code[DATA]).then_some(Self(code))
    }

    /// Reads what a QR code carries: exactly 13 symbols, upper case, nothing else.
    /// `None` for any other text: that code is not one of ours.
    #[must_use]
    pub fn from_payload(text: &str) -> Option<Self> {
        let code: [u8; LENGTH] = text.as_bytes().try_into().ok()?;
        (code.iter().all(|s| SYMBOLS.contains(s)) && checks(&code)).then_some(Self(code))
    }

    /// What the QR code carries: the 13 symbols without hyphens.
    #[must_use]
    pub fn payload(&self) -> String {
        self.0.iter().map(|&s| char::from(s)).collect()
    }
}

impl FromStr for CastCode {
    type Err = CodeError;

    /// Reads a typed code: case, spaces and hyphens do not matter, I and L are 1, O is 0.
    fn from_str(text: &str) -> Result<Self, CodeError> {
        let symbols = typed_symbols(text)?;
        if symbols.is_empty() {
            return Err(CodeError::Empty);
        }
        let code: [u8; LENGTH] = symbols.try_into().map_err(|s: Vec<u8>| CodeError::Length {
            count: s.len(),
            group: odd_group(text),
        })?;
        if checks(&code) {
            Ok(Self(code))
        } else {
            Err(CodeError::Check {
                group: suspect(code),
            })
        }
    }
}

/// The symbols of a typed code, however many.
fn typed_symbols(text: &str) -> Result<Vec<u8>, CodeError> {
    let mut symbols = Vec::with_capacity(LENGTH);
    for typed in text.chars() {
        match typed.to_ascii_uppercase() {
            c if c.is_whitespace() || is_hyphen(c) => {}
            'I' | 'L' => symbols.push(b'1'),
            'O' => symbols.push(b'0'),
            c => match u8::try_from(c).ok().filter(|s| SYMBOLS.contains(s)) {
                Some(symbol) => symbols.push(symbol),
                None => {
                    return Err(CodeError::Symbol {
                        symbol: typed,
                        group: Group::of(symbols.len()),
                        hint: if c == 'U' { " (perhaps V)" } else { "" },
                    });
                }
            },
        }
    }
    Ok(symbols)
}

impl TryFrom<String> for CastCode {
    type Error = CodeError;

    fn try_from(text: String) -> Result<Self, CodeError> {
        text.parse()
    }
}

impl From<CastCode> for String {
    fn from(code: CastCode) -> Self {
        code.to_string()
    }
}

impl fmt::Display for CastCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, &symbol) in self.0.iter().enumerate() {
            if i > 0 && i % 4 == 0 {
                f.write_str("-")?;
            }
            write!(f, "{}", char::from(symbol))?;
        }
        Ok(())
    }
}

impl fmt::Debug for CastCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "CastCode({self})")
    }
}

/// Check character of ISO 7064 MOD 37,2 for letters and digits; `None` for other characters.
/// It can be any of `0`-`9`, `A`-`Z` and `*`.
#[must_use]
pub fn check_character(text: &[u8]) -> Option<u8> {
    let sum = checksum(text)?;
    Some(ISO_7064[(1 + 37 * 2 - 2 * sum) % 37])
}

/// Σ aᵢ 2ⁱ⁻¹ mod 37, positions counted from the right; 1 for a text that ends in its check character.
fn checksum(text: &[u8]) -> Option<usize> {
    text.iter().try_fold(0, |sum, symbol| {
        let value = ISO_7064.iter().position(|s| s == symbol)?;
        Some((2 * sum + value) % 37)
    })
}

fn checks(code: &[u8; LENGTH]) -> bool {
    checksum(code) == Some(1)
}

/// The one group in which a single look-alike or a swap of neighbours explains a failed check.
/// A check symbol alone cannot tell where an error is, so this is a hint and never a repair.
fn suspect(code: [u8; LENGTH]) -> Option<Group> {
    let mut groups = Vec::new();
    for i in 0..LENGTH {
        for &(a, b) in LOOK_ALIKE {
            for (from, to) in [(a, b), (b, a)] {
                let mut other = code;
                other[i] = to;
                if code[i] == from && checks(&other) {
                    groups.push(Group::of(i));
                }
            }
        }
        let mut swapped = code;
        if i + 1 < LENGTH {
            swapped.swap(i, i + 1);
            if checks(&swapped) {
                groups.extend([Group::of(i), Group::of(i + 1)]);
            }
        }
    }
    only(groups.into_iter())
}

/// The group whose length is not what the hyphens promise, when exactly one is odd.
fn odd_group(text: &str) -> Option<Group> {
    let counts: Vec<usize> = text
        .split(|c: char| c.is_whitespace() || is_hyphen(c))
        .map(|part| part.chars().count())
        .filter(|&n| n > 0)
        .collect();
    if counts.len() != 4 {
        return None;
    }
    only(
        (0..4)
            .filter(|&g| counts[g] != [4, 4, 4, 1][g])
            .map(|g| Group::of(4 * g)),
    )
}

fn is_hyphen(c: char) -> bool {
    matches!(c, '-' | '\u{2010}'..='\u{2015}' | '\u{2212}' | '_' | '.')
}

fn only(mut groups: impl Iterator<Item = Group>) -> Option<Group> {
    let first = groups.next()?;
    groups.all(|g| g == first).then_some(first)
}
