//! A printer's address, as people write it.

use ipp::prelude::Uri;
use std::fmt;
use std::str::FromStr;

/// Address of a printer on the network: an `ipp` or `ipps` URI.
#[derive(Debug, Clone, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Address(String);

/// A text that is no printer's address.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "“{0}” is not a printer's address; write ipp://NAME/ipp/print, or only the printer's name or number in the network"
)]
pub struct AddressError(String);

/// Where printers answer when only their name is known; the first is that of IPP Everywhere.
const USUAL_PATHS: [&str; 4] = ["/ipp/print", "/ipp/printer", "/ipp", "/"];

impl Address {
    /// The addresses to try: as written, or the usual places where only a name is given.
    #[must_use]
    pub fn candidates(&self) -> Vec<Self> {
        let after_host = self.0.split_once("://").map_or("", |(_, rest)| rest);
        if after_host.trim_end_matches('/').contains('/') {
            return vec![self.clone()];
        }
        let stem = self.0.trim_end_matches('/');
        USUAL_PATHS
            .iter()
            .map(|path| Self(format!("{stem}{path}")))
            .collect()
    }

    /// The address as text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Address {
    type Err = AddressError;

    fn from_str(text: &str) -> Result<Self, AddressError> {
        let refused = || AddressError(text.to_owned());
        let written = text.trim();
        let full = match written.split_once("://") {
            Some((scheme, rest)) => {
                let scheme = match scheme.to_ascii_lowercase().as_str() {
                    "ipp" | "http" => "ipp",
                    "ipps" | "https" => "ipps",
                    _ => return Err(refused()),
                };
                format!("{scheme}://{rest}")
            }
            None => format!("ipp://{written}"),
        };
        let uri: Uri = full.parse().map_err(|_| refused())?;
        if uri.host().is_none_or(str::is_empty) {
            return Err(refused());
        }
        // Port 631 with TLS too (RFC 7472, section 4.2), where others would take 443.
        match (uri.port_u16(), full.strip_prefix("ipps://")) {
            (None, Some(rest)) => {
                let (host, path) = rest.split_once('/').unwrap_or((rest, ""));
                Ok(Self(format!("ipps://{host}:631/{path}")))
            }
            _ => Ok(Self(full)),
        }
    }
}

impl TryFrom<String> for Address {
    type Error = AddressError;

    fn try_from(text: String) -> Result<Self, AddressError> {
        text.parse()
    }
}

impl From<Address> for String {
    fn from(address: Address) -> Self {
        address.0
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_as_people_write_them() {
        let parse = |t: &str| t.parse::<Address>();
        assert_eq!(
            parse("ipp://p.local:8631/ipp/print")
                .unwrap()
                .candidates()
                .len(),
            1
        );
        assert_eq!(
            parse(" labels.local ").unwrap().candidates()[0].as_str(),
            "ipp://labels.local/ipp/print"
        );
        assert_eq!(
            parse("192.168.1.20").unwrap().candidates().len(),
            USUAL_PATHS.len()
        );
        assert_eq!(
            parse("https://p/ipp/print").unwrap().as_str(),
            "ipps://p:631/ipp/print"
        );
        for wrong in ["", "  ", "usb://x", "ipp://", "ipp:///ipp/print", "a b"] {
            assert!(parse(wrong).is_err(), "{wrong}");
        }
    }
}
