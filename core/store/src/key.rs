//! From a passphrase to the key of the file.
//!
//! The file is encrypted with 32 random bytes that never change. They lie, encrypted, in a small
//! text file beside it: `<store>.key`. A passphrase is stretched with Argon2id (RFC 9106) into the
//! key that opens them, ChaCha20-Poly1305 (RFC 8439) says whether it is the right one. So a
//! passphrase can be changed in an instant and without touching the store.
//!
//! The key file holds its one line twice, each with its SHA-256 in front: one of them survives
//! a damaged sector. It is replaced by writing a new file, syncing it, and renaming it over.

use crate::error::{Result, StoreError};
use crate::files::{hex, replace_file, unhex};
use argon2::{Algorithm, Argon2, Params, Version};
use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{ChaCha20Poly1305, Key as CipherKey, Nonce};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use zeroize::Zeroizing;

/// Shortest passphrase accepted, in characters (NIST SP 800-63B, 5.1.1.1).
pub const SHORTEST_PASSPHRASE: usize = 8;
const PURPOSE: &[u8] = b"plinthside store key 1";
const MEBIBYTE_KIB: u32 = 1024;

/// How hard a passphrase is to guess: the cost of one try.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kdf {
    /// Memory, KiB.
    pub memory_kib: u32,
    /// Passes over it.
    pub passes: u32,
    /// Lanes.
    pub lanes: u32,
}

impl Kdf {
    /// Least cost ever used: 19 MiB and two passes (OWASP Password Storage Cheat Sheet, Argon2id).
    pub const LEAST: Self = Self {
        memory_kib: 19 * MEBIBYTE_KIB,
        passes: 2,
        lanes: 1,
    };

    /// A cost that takes about `target` on this device: 64 MiB (RFC 9106, second recommended
    /// option) and as many passes as fit, or less memory where even three passes take longer.
    #[must_use]
    pub fn calibrated(target: Duration) -> Self {
        let mut kdf = Self {
            memory_kib: 64 * MEBIBYTE_KIB,
            passes: 1,
            lanes: 1,
        };
        loop {
            let started = Instant::now();
            if kdf.derive(b"how long does it take", &[0; 16]).is_err() {
                return Self::LEAST;
            }
            let passes = target.as_secs_f64() / started.elapsed().as_secs_f64().max(1e-4);
            if passes >= 3.0 {
                kdf.passes = passes.round().min(64.0) as u32;
                // A single pass is mostly the memory being handed out: measured again as it is.
                let started = Instant::now();
                if kdf.derive(b"how long does it take", &[0; 16]).is_ok() {
                    let took = started.elapsed().as_secs_f64().max(1e-4);
                    let passes = f64::from(kdf.passes) * target.as_secs_f64() / took;
                    kdf.passes = passes.round().clamp(3.0, 64.0) as u32;
                }
                return kdf;
            }
            if kdf.memory_kib <= Self::LEAST.memory_kib {
                return Self::LEAST;
            }
            kdf.memory_kib = (kdf.memory_kib / 2).max(Self::LEAST.memory_kib);
        }
    }

    fn derive(self, passphrase: &[u8], salt: &[u8]) -> Result<Zeroizing<[u8; 32]>, argon2::Error> {
        let params = Params::new(self.memory_kib, self.passes, self.lanes, Some(32))?;
        let mut key = Zeroizing::new([0; 32]);
        Argon2::new(Algorithm::Argon2id, Version::V0x13, params).hash_password_into(
            passphrase,
            salt,
            key.as_mut(),
        )?;
        Ok(key)
    }
}

/// The key of a store's file; wiped from memory when dropped.
#[derive(Clone)]
pub(crate) struct FileKey(Zeroizing<[u8; 32]>);

impl FileKey {
    /// The statement that unlocks a SQLCipher file with this key.
    pub(crate) fn pragma(&self) -> Zeroizing<String> {
        Zeroizing::new(format!("PRAGMA key = \"x'{}'\";", *self.hex()))
    }

    /// The key as SQLCipher's raw key syntax wants it.
    pub(crate) fn hex(&self) -> Zeroizing<String> {
        Zeroizing::new(hex(self.0.as_ref()))
    }
}

/// One line of the key file.
#[derive(Serialize, Deserialize)]
struct Line {
    format: u32,
    kdf: String,
    #[serde(flatten)]
    cost: Kdf,
    salt: String,
    cipher: String,
    nonce: String,
    sealed: String,
}

/// Path of the key file that belongs to a store.
#[must_use]
pub fn key_path(store: &Path) -> PathBuf {
    let mut name = store.as_os_str().to_owned();
    name.push(".key");
    name.into()
}

/// Draws a new file key and writes the key file for it.
pub(crate) fn create(path: &Path, passphrase: &str, cost: Kdf) -> Result<FileKey> {
    let key = FileKey(Zeroizing::new(random()?));
    seal(path, &key, passphrase, cost)?;
    Ok(key)
}

/// Opens the key file with a passphrase.
pub(crate) fn open(path: &Path, passphrase: &str) -> Result<FileKey> {
    let damaged = || StoreError::KeyFile {
        path: path.to_owned(),
    };
    let line = read(path)?;
    if line.format != 1 || line.kdf != "argon2id" || line.cipher != "chacha20poly1305" {
        return Err(damaged());
    }
    if line.cost.memory_kib > 4 * 1024 * MEBIBYTE_KIB
        || line.cost.passes > 1000
        || line.cost.lanes > 64
    {
        return Err(damaged());
    }
    let unhex = |text: &str| unhex(text).ok_or_else(damaged);
    let (salt, nonce, sealed) = (
        unhex(&line.salt)?,
        unhex(&line.nonce)?,
        unhex(&line.sealed)?,
    );
    if nonce.len() != 12 || sealed.len() != 48 {
        return Err(damaged());
    }
    let outer = line
        .cost
        .derive(passphrase.as_bytes(), &salt)
        .map_err(|_| damaged())?;
    let payload = Payload {
        msg: &sealed,
        aad: PURPOSE,
    };
    let opened = ChaCha20Poly1305::new(CipherKey::from_slice(outer.as_ref()))
        .decrypt(Nonce::from_slice(&nonce), payload)
        .map_err(|_| StoreError::WrongPassphrase)?;
    let opened = Zeroizing::new(opened);
    let mut key = Zeroizing::new([0; 32]);
    key.copy_from_slice(&opened);
    Ok(FileKey(key))
}

/// Writes the key file anew for `passphrase`. A crash in it leaves the old file or the new one.
pub(crate) fn seal(path: &Path, key: &FileKey, passphrase: &str, cost: Kdf) -> Result<()> {
    if passphrase.chars().count() < SHORTEST_PASSPHRASE {
        return Err(StoreError::WeakPassphrase {
            least: SHORTEST_PASSPHRASE,
        });
    }
    let unusable = |what: &dyn std::fmt::Display| StoreError::Disk {
        what: what.to_string(),
    };
    let (salt, nonce) = (random::<16>()?, random::<12>()?);
    let outer = cost
        .derive(passphrase.as_bytes(), &salt)
        .map_err(|e| unusable(&e))?;
    let payload = Payload {
        msg: key.0.as_ref(),
        aad: PURPOSE,
    };
    let sealed = ChaCha20Poly1305::new(CipherKey::from_slice(outer.as_ref()))
        .encrypt(Nonce::from_slice(&nonce), payload)
        .map_err(|e| unusable(&e))?;
    let line = Line {
        format: 1,
        kdf: "argon2id".into(),
        cost,
        salt: hex(&salt),
        cipher: "chacha20poly1305".into(),
        nonce: hex(&nonce),
        sealed: hex(&sealed),
    };
    let json = serde_json::to_string(&line).map_err(|e| unusable(&e))?;
    let line = format!("{} {json}\n", hex(&Sha256::digest(json.as_bytes())));
    replace_file(path, line.repeat(2).as_bytes())
}

fn read(path: &Path) -> Result<Line> {
    let damaged = || StoreError::KeyFile {
        path: path.to_owned(),
    };
    let bytes = std::fs::read(path).map_err(|_| damaged())?;
    let text = String::from_utf8_lossy(&bytes);
    let whole = text.lines().filter_map(|line| line.split_once(' '));
    whole
        .filter(|(sum, json)| *sum == hex(&Sha256::digest(json.as_bytes())))
        .find_map(|(_, json)| serde_json::from_str(json).ok())
        .ok_or_else(damaged)
}

/// Random bytes from the system.
pub(crate) fn random<const N: usize>() -> Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| StoreError::Disk {
        what: e.to_string(),
    })?;
    Ok(bytes)
}
