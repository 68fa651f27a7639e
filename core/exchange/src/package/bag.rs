//! The bag around the payload (RFC 8493), and its check.

use super::About;
use crate::seal::{sha256, signed};
use std::collections::{BTreeMap, BTreeSet};

pub(super) const SENDER: &str = "sender.json";
pub(super) const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";
pub(super) const SIGNED_FOR: &str = "package";
pub(super) const MANIFEST: &str = "manifest-sha256.txt";
const DECLARATION: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

/// Every file of the bag by its path in it.
pub(super) fn bag(
    about: &About<'_>,
    payload: &BTreeMap<String, Vec<u8>>,
) -> BTreeMap<String, Vec<u8>> {
    let mut files: BTreeMap<String, Vec<u8>> = payload
        .iter()
        .map(|(name, bytes)| (format!("data/{name}"), bytes.clone()))
        .collect();
    let manifest = manifest(&files);
    let clinic = about.inputs.clinic;
    let octets: usize = payload.values().map(Vec::len).sum();
    let mut info = String::new();
    for (label, value) in [
        ("Source-Organization", clinic.name.as_str()),
        ("Contact-Phone", &clinic.telephone),
        ("Contact-Email", &clinic.email),
        (
            "External-Description",
            "Order for a custom hinged ankle-foot orthosis",
        ),
        ("External-Identifier", &about.name()),
        (
            "Bagging-Date",
            &about.inputs.at.format("%Y-%m-%d").to_string(),
        ),
        ("Payload-Oxum", &format!("{octets}.{}", payload.len())),
        ("Reply-Recipient", &about.inputs.sender.reply_to),
        (
            "Bag-Software-Agent",
            concat!("Plinthside ", env!("CARGO_PKG_VERSION")),
        ),
    ] {
        let value: String = value
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        if !value.trim().is_empty() {
            info += &format!("{label}: {}\n", value.trim());
        }
    }
    let tags = BTreeMap::from([
        ("bagit.txt".to_owned(), DECLARATION.as_bytes().to_vec()),
        ("bag-info.txt".to_owned(), info.into_bytes()),
        (MANIFEST.to_owned(), manifest.into_bytes()),
    ]);
    let tag_manifest = self::manifest(&tags);
    let sender = about
        .inputs
        .sender
        .sign(SIGNED_FOR, tag_manifest.as_bytes());
    files.extend(tags);
    files.insert(TAG_MANIFEST.into(), tag_manifest.into_bytes());
    files.insert(SENDER.into(), super::pretty(&sender));
    files
}

fn manifest(files: &BTreeMap<String, Vec<u8>>) -> String {
    files
        .iter()
        .map(|(path, bytes)| format!("{}  {path}\n", sha256(bytes)))
        .collect()
}

/// Checks a bag: declaration, both manifests, nothing missing, nothing more. Says what is wrong.
pub(super) fn check(files: &BTreeMap<String, Vec<u8>>) -> Result<(), String> {
    let text = |name: &str| -> Result<&str, String> {
        let bytes = files
            .get(name)
            .ok_or_else(|| format!("{name} is missing"))?;
        std::str::from_utf8(bytes).map_err(|_| format!("{name} is not UTF-8"))
    };
    let declaration = text("bagit.txt")?;
    if !declaration.starts_with("BagIt-Version: ")
        || !declaration.contains("Tag-File-Character-Encoding: UTF-8")
    {
        return Err("bagit.txt does not declare a bag".into());
    }
    let tags = listed(text(TAG_MANIFEST)?, files)?;
    for name in ["bagit.txt", "bag-info.txt", MANIFEST] {
        if !tags.contains(name) {
            return Err(format!("{TAG_MANIFEST} does not list {name}"));
        }
    }
    let payload = listed(text(MANIFEST)?, files)?;
    let more = files.keys().find(|name| {
        !(payload.contains(*name)
            || tags.contains(*name)
            || *name == SENDER
            || *name == TAG_MANIFEST)
    });
    more.map_or(Ok(()), |name| Err(format!("{name} is in no manifest")))
}

/// Names a manifest lists, each of which is there with its hash.
fn listed(manifest: &str, files: &BTreeMap<String, Vec<u8>>) -> Result<BTreeSet<String>, String> {
    let mut names = BTreeSet::new();
    for line in manifest.lines().filter(|line| !line.trim().is_empty()) {
        let (hash, name) = line
            .split_once(char::is_whitespace)
            .ok_or("a manifest has a line without a name")?;
        let name = name.trim_start();
        let bytes = files
            .get(name)
            .ok_or_else(|| format!("{name} is missing"))?;
        if sha256(bytes) != hash.to_lowercase() {
            return Err(format!("{name} is not what was packed"));
        }
        names.insert(name.to_owned());
    }
    Ok(names)
}

/// The key that signed the bag, if its signature holds.
pub(super) fn signed_by(files: &BTreeMap<String, Vec<u8>>) -> Result<String, String> {
    let bytes = files.get(SENDER).ok_or("it is not signed")?;
    let tag_manifest = files.get(TAG_MANIFEST).ok_or("it has no tag manifest")?;
    let json: serde_json::Value = serde_json::from_slice(bytes).map_err(|e| e.to_string())?;
    let part = |name: &str| json[name].as_str().unwrap_or_default().to_owned();
    let (key, signature) = (part("key"), part("signature"));
    if signed(&key, SIGNED_FOR, tag_manifest, &signature) {
        Ok(key)
    } else {
        Err("its signature does not hold".into())
    }
}
