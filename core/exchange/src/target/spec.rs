//! A target as the user sets it up.

use super::{Result, TargetError};
use serde::{Deserialize, Serialize};

/// User name and password, or access key and secret.
#[derive(Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Credentials {
    /// User name, or access key of a bucket.
    pub user: String,
    /// Password, or secret of a bucket.
    pub secret: String,
}

impl std::fmt::Debug for Credentials {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Credentials({:?}, …)", self.user)
    }
}

/// A target as it is set up: kept, with its credentials, in the encrypted store.
///
/// Addresses: a folder's path; `https://host/path` for WebDAV; `s3://bucket/prefix` for a bucket,
/// or `s3+https://host/bucket/prefix` for one elsewhere, both with `?region=…` where needed.
/// Without encryption (`http://`) only this machine itself is reached.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TargetSpec {
    /// The name people know it by.
    pub name: String,
    /// The address.
    pub url: String,
    /// User name and password, where it asks for them.
    #[serde(default)]
    pub credentials: Option<Credentials>,
    /// The clinic's own certificate in PEM form, where the target's is signed by it.
    #[serde(default)]
    pub certificate: Option<String>,
}

impl TargetSpec {
    /// A target without credentials.
    #[must_use]
    pub fn new(name: impl Into<String>, url: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            url: url.into(),
            ..Self::default()
        }
    }

    /// With a user name and password.
    #[must_use]
    pub fn with_credentials(mut self, user: impl Into<String>, secret: impl Into<String>) -> Self {
        self.credentials = Some(Credentials {
            user: user.into(),
            secret: secret.into(),
        });
        self
    }

    /// With a certificate to trust beside the system's.
    #[must_use]
    pub fn with_certificate(mut self, pem: impl Into<String>) -> Self {
        self.certificate = Some(pem.into());
        self
    }

    /// Checks the address without connecting.
    ///
    /// # Errors
    /// It cannot be used, and why.
    pub fn check(&self) -> Result<()> {
        self.place().map(|_| ())
    }

    pub(super) fn place(&self) -> Result<Place> {
        let wrong = |why: &str| TargetError::Address {
            url: self.url.clone(),
            why: why.to_owned(),
        };
        let url = self.url.trim();
        if url.is_empty() {
            return Err(wrong(
                "it is empty. Name a folder, an https:// address or a bucket (s3://…).",
            ));
        }
        let Some((scheme, rest)) = url.split_once("://") else {
            return Ok(Place::Folder(url.into()));
        };
        if rest
            .split('/')
            .next()
            .is_some_and(|host| host.contains('@'))
        {
            return Err(wrong(
                "it holds a password. Leave it out of the address and enter it beside it.",
            ));
        }
        match scheme {
            "file" => Ok(Place::Folder(rest.into())),
            "https" => Ok(Place::WebDav {
                url: url.into(),
                plain: false,
            }),
            "http" if is_this_machine(rest) => Ok(Place::WebDav {
                url: url.into(),
                plain: true,
            }),
            "s3" | "s3+https" | "s3+http" => {
                let (path, query) = rest.split_once('?').unwrap_or((rest, ""));
                let region = query
                    .split('&')
                    .find_map(|pair| pair.strip_prefix("region="))
                    .unwrap_or("us-east-1");
                let plain = scheme == "s3+http";
                if plain && !is_this_machine(path) {
                    return Err(wrong("it is not encrypted. Write s3+https:// instead."));
                }
                let (endpoint, path) = match scheme.strip_prefix("s3+") {
                    None => (None, path),
                    Some(protocol) => {
                        let (host, path) = path.split_once('/').unwrap_or((path, ""));
                        (Some(format!("{protocol}://{host}")), path)
                    }
                };
                let (bucket, prefix) = path.split_once('/').unwrap_or((path, ""));
                if bucket.is_empty() {
                    return Err(wrong("it names no bucket. Write s3://bucket/folder."));
                }
                Ok(Place::Bucket {
                    endpoint,
                    bucket: bucket.into(),
                    prefix: prefix.trim_matches('/').into(),
                    region: region.into(),
                    plain,
                })
            }
            "http" => Err(wrong("it is not encrypted. Write https:// instead.")),
            _ => Err(wrong(
                "this kind of address is not known. Name a folder, an https:// address or a bucket (s3://…).",
            )),
        }
    }
}

/// What an address means.
pub(super) enum Place {
    Folder(std::path::PathBuf),
    WebDav {
        url: String,
        plain: bool,
    },
    Bucket {
        endpoint: Option<String>,
        bucket: String,
        prefix: String,
        region: String,
        plain: bool,
    },
}

fn is_this_machine(rest: &str) -> bool {
    let host = rest.split('/').next().unwrap_or_default();
    let host = host
        .strip_prefix("[::1]")
        .map_or_else(|| host.split(':').next().unwrap_or_default(), |_| "::1");
    host == "localhost" || host == "::1" || host.starts_with("127.")
}
