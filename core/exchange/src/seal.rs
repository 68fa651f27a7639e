//! Sealing with age and signing with Ed25519: the two published formats, and nothing of our own.

use crate::error::{ExchangeError, Result};
use age::secrecy::{ExposeSecret, SecretString};
use age::x25519::{Identity, Recipient};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::io::{Read, Write};
use std::str::FromStr;

/// Rounds (as a power of two) of the derivation that seals to a code: its 128 random bits cannot be
/// guessed, so no more than the least is spent.
const CODE_WORK: u8 = 2;

/// A secret key in age's own text form, `AGE-SECRET-KEY-1…`.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SecretKey(String);

impl SecretKey {
    /// A new one.
    #[must_use]
    pub fn generate() -> Self {
        Self(Identity::generate().to_string().expose_secret().to_owned())
    }

    /// Reads a key file as `age-keygen` writes it, or the key's text alone.
    ///
    /// # Errors
    /// If there is none in it.
    pub fn read(text: &str) -> Result<Self> {
        let key = text
            .lines()
            .map(str::trim)
            .find(|line| !line.is_empty() && !line.starts_with('#'));
        let key = key.ok_or(ExchangeError::NotAKey)?;
        Identity::from_str(key).map_err(|_| ExchangeError::NotAKey)?;
        Ok(Self(key.to_owned()))
    }

    /// The public key that belongs to it, `age1…`.
    ///
    /// # Errors
    /// If it is not a key.
    pub fn public(&self) -> Result<String> {
        Ok(self.identity()?.to_public().to_string())
    }

    /// The key in a file as the `age` program reads it.
    ///
    /// # Errors
    /// If it is not a key.
    pub fn file(&self) -> Result<String> {
        Ok(format!("# public key: {}\n{}\n", self.public()?, self.0))
    }

    fn identity(&self) -> Result<Identity> {
        Identity::from_str(&self.0).map_err(|_| ExchangeError::NotAKey)
    }

    /// A signing key that whoever holds this key has too.
    pub(crate) fn signer(&self, purpose: &str) -> Signing {
        let mut hash = Sha256::new();
        hash.update(b"plinthside signing key 1\0");
        hash.update(purpose);
        hash.update(b"\0");
        hash.update(&self.0);
        Signing(hash.finalize().into())
    }
}

impl std::fmt::Debug for SecretKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("SecretKey(…)")
    }
}

/// Whether a text is a public key packages can be sealed to.
#[must_use]
pub fn is_public_key(text: &str) -> bool {
    Recipient::from_str(text.trim()).is_ok()
}

/// Seals bytes to a public key.
pub(crate) fn seal(to: &str, bytes: &[u8]) -> Result<Vec<u8>> {
    let recipient = Recipient::from_str(to.trim()).map_err(|_| ExchangeError::NotAPublicKey {
        text: to.to_owned(),
    })?;
    sealed(&recipient, bytes)
}

/// Opens sealed bytes. `None` if none of the keys fits or a byte was changed.
pub(crate) fn unseal<'a>(
    keys: impl IntoIterator<Item = &'a SecretKey>,
    bytes: &[u8],
) -> Option<Vec<u8>> {
    let identities: Vec<Identity> = keys
        .into_iter()
        .filter_map(|key| key.identity().ok())
        .collect();
    unsealed(identities.iter().map(|i| i as &dyn age::Identity), bytes)
}

/// Seals bytes to whoever knows a code.
pub(crate) fn seal_to_code(code: &str, bytes: &[u8]) -> Result<Vec<u8>> {
    let mut recipient = age::scrypt::Recipient::new(SecretString::from(code.to_owned()));
    recipient.set_work_factor(CODE_WORK);
    sealed(&recipient, bytes)
}

/// Opens what was sealed to a code.
pub(crate) fn unseal_with_code(code: &str, bytes: &[u8]) -> Option<Vec<u8>> {
    let mut identity = age::scrypt::Identity::new(SecretString::from(code.to_owned()));
    identity.set_max_work_factor(CODE_WORK);
    unsealed([&identity as &dyn age::Identity].into_iter(), bytes)
}

fn sealed(recipient: &dyn age::Recipient, bytes: &[u8]) -> Result<Vec<u8>> {
    let failed = |why: String| ExchangeError::Sealing { why };
    let encryptor = age::Encryptor::with_recipients([recipient].into_iter())
        .map_err(|e| failed(e.to_string()))?;
    let mut out = Vec::with_capacity(bytes.len() + bytes.len() / 4096 + 512);
    let write = |out: &mut Vec<u8>| -> std::io::Result<()> {
        let mut writer = encryptor.wrap_output(out)?;
        writer.write_all(bytes)?;
        writer.finish().map(|_| ())
    };
    write(&mut out).map_err(|e| failed(e.to_string()))?;
    Ok(out)
}

fn unsealed<'a>(
    identities: impl Iterator<Item = &'a dyn age::Identity>,
    bytes: &[u8],
) -> Option<Vec<u8>> {
    let decryptor = age::Decryptor::new_buffered(bytes).ok()?;
    let mut out = Vec::with_capacity(bytes.len());
    decryptor
        .decrypt(identities)
        .ok()?
        .read_to_end(&mut out)
        .ok()?;
    Some(out)
}

/// An Ed25519 signing key.
#[derive(Clone, Serialize, Deserialize)]
pub(crate) struct Signing(#[serde(with = "hex_bytes")] [u8; 32]);

impl Signing {
    pub(crate) fn generate() -> Result<Self> {
        Ok(Self(random()?))
    }

    pub(crate) fn public(&self) -> String {
        hex(SigningKey::from_bytes(&self.0).verifying_key().as_bytes())
    }

    /// Signs a message for one purpose: what is signed for one never stands for another.
    pub(crate) fn sign(&self, purpose: &str, message: &[u8]) -> String {
        let key = SigningKey::from_bytes(&self.0);
        hex(&key.sign(&for_purpose(purpose, message)).to_bytes())
    }
}

/// Whether a signature is of this key, under this message, for this purpose.
pub(crate) fn signed(public: &str, purpose: &str, message: &[u8], signature: &str) -> bool {
    let check = || -> Option<bool> {
        let key = VerifyingKey::from_bytes(&unhex(public)?.try_into().ok()?).ok()?;
        let signature = Signature::from_bytes(&unhex(signature)?.try_into().ok()?);
        Some(
            key.verify_strict(&for_purpose(purpose, message), &signature)
                .is_ok(),
        )
    };
    check().unwrap_or(false)
}

fn for_purpose(purpose: &str, message: &[u8]) -> Vec<u8> {
    [b"plinthside 1\0", purpose.as_bytes(), b"\0", message].concat()
}

/// Random bytes of the system.
pub(crate) fn random<const N: usize>() -> Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| ExchangeError::Sealing { why: e.to_string() })?;
    Ok(bytes)
}

/// SHA-256, hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

pub(crate) use plinthside_store::{hex, unhex};

mod hex_bytes {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(bytes: &[u8; 32], s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&super::hex(bytes))
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<[u8; 32], D::Error> {
        let text = String::deserialize(d)?;
        let bytes = super::unhex(&text).and_then(|b| b.try_into().ok());
        bytes.ok_or_else(|| D::Error::custom("not 32 bytes of hexadecimal"))
    }
}
