//! A batch: what one device publishes in one go, sealed and signed, written once.
//!
//! ```text
//! plinthside batch 1\n
//! header as JSON\n           who, which, sealed with which key, hash of the rest
//! signature of the header, hexadecimal\n
//! sealed with age: contents as JSON\n, then the records' bytes one after another
//! ```
//!
//! Every record stands in it with all its changes, so no batch needs another: one that is missing
//! or damaged holds up nothing else, and order and repetition do not matter.

use crate::error::{ExchangeError, Result};
use crate::practice::{Share, Word};
use crate::seal::{SecretKey, Signing, seal, sha256, signed, unseal};
use serde::{Deserialize, Serialize};

const MAGIC: &[u8] = b"plinthside batch ";
const VERSION: &[u8] = b"1\n";
const SIGNED_FOR: &str = "batch";

/// What stands outside the seal: nothing of a patient.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Header {
    pub practice: String,
    pub device: String,
    pub stream: String,
    pub counter: u64,
    /// Public half of the practice key it is sealed with.
    pub key: String,
    /// Of the sealed part.
    pub sha256: String,
    /// Practice keys handed to members.
    #[serde(default)]
    pub shares: Vec<Share>,
    /// Batches whose contents were published anew and that may be gone.
    #[serde(default)]
    pub replaces: Vec<String>,
    /// Devices its author knows to be struck off: seen before anything of theirs is taken in.
    #[serde(default)]
    pub struck: Vec<String>,
}

/// What is sealed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Contents {
    #[serde(default)]
    pub records: Vec<Item>,
    /// Erased records and who erased them.
    #[serde(default)]
    pub erased: Vec<(String, String)>,
    /// Photographs that now lie at the target.
    #[serde(default)]
    pub photos: Vec<PhotoItem>,
    /// Statements about members.
    #[serde(default)]
    pub words: Vec<Word>,
}

/// A record in a batch.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Item {
    pub id: String,
    pub kind: String,
    /// Newest changes, hexadecimal.
    pub heads: String,
    size: usize,
    #[serde(skip)]
    pub bytes: Vec<u8>,
}

impl Item {
    pub fn new(id: String, kind: String, heads: &[u8], bytes: Vec<u8>) -> Self {
        let (heads, size) = (crate::seal::hex(heads), bytes.len());
        Self {
            id,
            kind,
            heads,
            size,
            bytes,
        }
    }
}

/// A photograph at the target, and the records that name it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct PhotoItem {
    pub sha256: String,
    pub records: Vec<String>,
}

impl Contents {
    pub fn is_empty(&self) -> bool {
        self.records.is_empty()
            && self.erased.is_empty()
            && self.photos.is_empty()
            && self.words.is_empty()
    }

    fn encode(&self) -> Result<Vec<u8>> {
        let mut bytes =
            serde_json::to_vec(self).map_err(|e| ExchangeError::Sealing { why: e.to_string() })?;
        bytes.push(b'\n');
        for record in &self.records {
            bytes.extend_from_slice(&record.bytes);
        }
        Ok(bytes)
    }

    fn decode(bytes: &[u8]) -> Option<Self> {
        let end = bytes.iter().position(|b| *b == b'\n')?;
        let mut contents: Self = serde_json::from_slice(&bytes[..end]).ok()?;
        let mut rest = &bytes[end + 1..];
        for record in &mut contents.records {
            let (own, after) = rest.split_at_checked(record.size)?;
            (record.bytes, rest) = (own.to_vec(), after);
        }
        rest.is_empty().then_some(contents)
    }
}

/// Seals and signs a batch. `header.key` and `header.sha256` are set here.
pub(crate) fn write(
    mut header: Header,
    contents: &Contents,
    key: &str,
    signing: &Signing,
) -> Result<Vec<u8>> {
    let sealed = seal(key, &contents.encode()?)?;
    header.key = key.to_owned();
    header.sha256 = sha256(&sealed);
    let json =
        serde_json::to_vec(&header).map_err(|e| ExchangeError::Sealing { why: e.to_string() })?;
    let signature = signing.sign(SIGNED_FOR, &json);
    Ok([
        MAGIC,
        VERSION,
        &json,
        b"\n",
        signature.as_bytes(),
        b"\n",
        &sealed,
    ]
    .concat())
}

/// Why a file is not a batch that counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Bad {
    /// Cut short or changed in transit.
    Damaged(&'static str),
    /// The author's signature does not hold.
    Forged,
    /// A newer version wrote it.
    Newer,
}

/// A batch as read, its signature not yet checked, its seal not yet opened.
pub(crate) struct Read<'a> {
    pub header: Header,
    json: &'a [u8],
    signature: &'a str,
    sealed: &'a [u8],
}

pub(crate) fn read(bytes: &[u8]) -> Result<Read<'_>, Bad> {
    let rest = bytes
        .strip_prefix(MAGIC)
        .ok_or(Bad::Damaged("it is no batch"))?;
    let (version, rest) = line(rest).ok_or(Bad::Damaged("it is cut short"))?;
    if [version, b"\n"].concat() != VERSION {
        return Err(Bad::Newer);
    }
    let (json, rest) = line(rest).ok_or(Bad::Damaged("it is cut short"))?;
    let (signature, sealed) = line(rest).ok_or(Bad::Damaged("it is cut short"))?;
    let header =
        serde_json::from_slice(json).map_err(|_| Bad::Damaged("its header was changed"))?;
    let signature =
        std::str::from_utf8(signature).map_err(|_| Bad::Damaged("its signature was changed"))?;
    Ok(Read {
        header,
        json,
        signature,
        sealed,
    })
}

fn line(bytes: &[u8]) -> Option<(&[u8], &[u8])> {
    let end = bytes.iter().position(|b| *b == b'\n')?;
    Some((&bytes[..end], &bytes[end + 1..]))
}

impl Read<'_> {
    /// Checks that the holder of a key signed this header and that the rest is what was signed.
    pub fn verify(&self, public: &str) -> Result<(), Bad> {
        if !signed(public, SIGNED_FOR, self.json, self.signature) {
            return Err(Bad::Forged);
        }
        if sha256(self.sealed) != self.header.sha256 {
            return Err(Bad::Damaged("it is cut short or was changed"));
        }
        Ok(())
    }

    /// Opens a verified batch; `None` without the key.
    pub fn contents<'a>(
        &self,
        keys: impl IntoIterator<Item = &'a SecretKey>,
    ) -> Option<Result<Contents, Bad>> {
        let plain = unseal(keys, self.sealed)?;
        Some(Contents::decode(&plain).ok_or(Bad::Damaged("its contents cannot be read")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A member that is in, has every key of the practice and writes in another's name.
    #[test]
    fn a_batch_in_another_devices_name_is_forged_whatever_key_it_is_sealed_with() -> Result<()> {
        let (theirs, mine, practice) = (
            Signing::generate()?,
            Signing::generate()?,
            SecretKey::generate(),
        );
        let header = Header {
            practice: "practice".into(),
            device: "theirs".into(),
            stream: "theirs.00000000".into(),
            counter: 1,
            key: String::new(),
            sha256: String::new(),
            shares: Vec::new(),
            replaces: Vec::new(),
            struck: Vec::new(),
        };
        let record = Item::new("v1".into(), "visit".into(), b"heads", b"changes".to_vec());
        let contents = Contents {
            records: vec![record],
            ..Contents::default()
        };
        let bytes = |signing| write(header.clone(), &contents, &practice.public()?, signing);
        let (forged, honest) = (bytes(&mine)?, bytes(&theirs)?);
        let verdict = |bytes| read(bytes).and_then(|read| read.verify(&theirs.public()));
        assert_eq!(verdict(&forged), Err(Bad::Forged));
        assert_eq!(verdict(&honest), Ok(()));
        // The forger's contents under the honest signature.
        let (signed, sealed) = (read(&honest), read(&forged));
        let (Ok(signed), Ok(sealed)) = (signed, sealed) else {
            panic!("both are batches");
        };
        let mixed = Read {
            sealed: sealed.sealed,
            ..signed
        };
        assert!(matches!(
            mixed.verify(&theirs.public()),
            Err(Bad::Damaged(_))
        ));
        Ok(())
    }
}
