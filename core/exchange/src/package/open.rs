//! Opening a package: everything is checked before anything is written.

use super::order_file::{Change, OrderFile};
use super::receipt::{Answer, sealed_receipt};
use super::{bag, zipped};
use crate::error::{ExchangeError, Result};
use crate::seal::{SecretKey, unseal};
use plinthside_visit::When;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Keys of clinics that packages came from, kept beside the opened packages.
const SENDERS: &str = "senders.json";

/// An opened package, whole and verified.
#[derive(Debug, Clone)]
pub struct Opened {
    /// `CODE-rN`.
    pub name: String,
    /// The order as data.
    pub order: OrderFile,
    /// Every file of the bag by its path in it; the payload lies under `data/`.
    pub files: BTreeMap<String, Vec<u8>>,
    /// The key of the practice that signed it, hexadecimal.
    pub sender: String,
    /// What differs from the revision this one replaces, as the sender says it.
    pub changes: Vec<Change>,
    reply_to: Option<String>,
}

/// Opens a package with the lab's secret key and checks all of it: the seal, the zip, the bag and
/// its manifests, the signature, and that its parts speak of one order.
///
/// # Errors
/// The key does not open it, or it is not whole; which part is said.
pub fn open(bytes: &[u8], key: &SecretKey) -> Result<Opened> {
    let broken = |why: String| ExchangeError::Package { why };
    let zip = unseal([key], bytes).ok_or(ExchangeError::DoesNotOpen)?;
    let (name, files) = zipped::read(&zip).map_err(broken)?;
    bag::check(&files).map_err(broken)?;
    let sender = bag::signed_by(&files).map_err(broken)?;
    let payload = |file: &str| -> Result<&[u8]> {
        let found = files.get(&format!("data/{file}"));
        found
            .map(Vec::as_slice)
            .ok_or_else(|| broken(format!("{file} is missing")))
    };
    payload("order.pdf")?;
    let order: OrderFile = serde_json::from_slice(payload("order.json")?)
        .map_err(|e| broken(format!("order.json cannot be read ({e})")))?;
    if format!("{}-r{}", order.code, order.revision) != name {
        return Err(broken(format!(
            "its folder {name} and its order {}-r{} differ",
            order.code, order.revision
        )));
    }
    let bundle: serde_json::Value = serde_json::from_slice(payload("order.fhir.json")?)
        .map_err(|e| broken(format!("order.fhir.json cannot be read ({e})")))?;
    let entries = bundle["entry"]
        .as_array()
        .map(Vec::as_slice)
        .unwrap_or_default();
    let request = entries
        .iter()
        .find(|e| e["resource"]["resourceType"] == "DeviceRequest");
    if request.is_none_or(|r| r["resource"]["identifier"][0]["value"] != name.as_str()) {
        return Err(broken("order.fhir.json speaks of another order".into()));
    }
    let info = String::from_utf8_lossy(
        files
            .get("bag-info.txt")
            .map(Vec::as_slice)
            .unwrap_or_default(),
    )
    .into_owned();
    let reply_to = info
        .lines()
        .find_map(|line| line.strip_prefix("Reply-Recipient: "))
        .map(str::to_owned);
    Ok(Opened {
        name,
        changes: order.changes.clone(),
        order,
        sender,
        reply_to,
        files,
    })
}

/// A JSON file without the time it was packed at; nothing where it is another file.
fn untimed(file: &str, bytes: &[u8]) -> Option<serde_json::Value> {
    let time = match file {
        "order.json" => "packed_at",
        "order.fhir.json" => "timestamp",
        _ => return None,
    };
    let mut json: serde_json::Value = serde_json::from_slice(bytes).ok()?;
    json.as_object_mut()?.remove(time);
    Some(json)
}

impl Opened {
    /// What it is and what changed, in words, a line each.
    #[must_use]
    pub fn words(&self) -> Vec<String> {
        let order = &self.order;
        let telephone = match order.telephone.as_str() {
            "" => String::new(),
            telephone => format!(" ({telephone})"),
        };
        let mut lines = vec![format!(
            "Order {} revision {}, {} foot, patient {}, from {}{}, signed by {}.",
            order.code,
            order.revision,
            order.side,
            order.patient,
            order.clinic,
            telephone,
            order.signed_by
        )];
        match order.replaces {
            None => lines.push("This is the first revision.".into()),
            Some(before) => {
                lines.push(format!(
                    "It replaces revision {before}. Reason: {}",
                    order.reason
                ));
                if self.changes.is_empty() {
                    lines.push("No field of the order differs from it.".into());
                }
                lines.extend(self.changes.iter().map(|change| format!("  {change}")));
            }
        }
        lines
    }

    /// Writes the bag into its own folder under `folder`, whole or not at all, and compares it with
    /// what was opened there before. The same order again takes the earlier one's place; one of the
    /// same name from another sender or with other files is written beside it. Returns where it
    /// lies and what the lab should know.
    ///
    /// # Errors
    /// A file could not be written.
    pub fn write(&self, folder: &Path) -> Result<(PathBuf, Vec<String>)> {
        let mut told = self.compare(folder);
        let failed = |path: &Path| {
            let path = path.to_owned();
            move |source| ExchangeError::File { path, source }
        };
        let half = folder.join(format!(".{}.part", self.name));
        if half.exists() {
            std::fs::remove_dir_all(&half).map_err(failed(&half))?;
        }
        for (name, bytes) in &self.files {
            let path = half.join(name);
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent).map_err(failed(parent))?;
            }
            std::fs::write(&path, bytes).map_err(failed(&path))?;
        }
        let mut place = folder.join(&self.name);
        if place.exists() {
            let differs = self.differs(&place);
            if differs.is_empty() {
                std::fs::remove_dir_all(&place).map_err(failed(&place))?;
                told.push(format!(
                    "{} had been opened before and was replaced by the same revision.",
                    self.name
                ));
            } else {
                let beside = (2..).map(|n| folder.join(format!("{}-other-{n}", self.name)));
                let mut free = beside.skip_while(|beside| beside.exists());
                place = free.next().unwrap_or(place);
                told.push(format!(
                    "{} had been opened before and is NOT the same: it differs in {}. The earlier one was kept; this one lies beside it in {}. Ring the clinic on the number you know before you make either.",
                    self.name,
                    differs.join(", "),
                    place.display()
                ));
            }
        }
        std::fs::rename(&half, &place).map_err(failed(&place))?;
        Ok((place, told))
    }

    /// In what this package differs from an opened one: the sender's key, and files of the payload.
    fn differs(&self, place: &Path) -> Vec<String> {
        let there = |name: &str| std::fs::read(place.join(name)).ok();
        let mut differs = Vec::new();
        let sender = there(bag::SENDER).unwrap_or_default();
        let sender: serde_json::Value = serde_json::from_slice(&sender).unwrap_or_default();
        if sender["key"] != self.sender.as_str() {
            differs.push(bag::SENDER.to_owned());
        }
        let manifest = there(bag::MANIFEST).unwrap_or_default();
        let manifest = String::from_utf8_lossy(&manifest);
        let listed = manifest
            .lines()
            .filter_map(|line| line.split_once(char::is_whitespace));
        let mut names: BTreeSet<&str> = listed.map(|(_, name)| name.trim_start()).collect();
        names.extend(self.files.keys().map(String::as_str));
        for name in names {
            let Some(file) = name.strip_prefix("data/") else {
                continue;
            };
            let same = match (self.files.get(name), there(name)) {
                (Some(mine), Some(theirs)) => {
                    let timeless = untimed(file, mine);
                    *mine == theirs || timeless.is_some() && timeless == untimed(file, &theirs)
                }
                _ => false,
            };
            if !same {
                differs.push(file.to_owned());
            }
        }
        differs
    }

    /// Compares with the clinic's key and the revisions opened under `folder` before.
    fn compare(&self, folder: &Path) -> Vec<String> {
        let mut told = Vec::new();
        let path = folder.join(SENDERS);
        let known = std::fs::read(&path)
            .ok()
            .and_then(|b| serde_json::from_slice(&b).ok());
        let mut known: BTreeMap<String, String> = known.unwrap_or_default();
        match known.get(&self.order.clinic) {
            Some(key) if *key == self.sender => {}
            Some(_) => told.push(format!(
                "{} signs with another key than before. Ring the clinic on the number you know before you rely on this package.",
                self.order.clinic
            )),
            None => {
                told.push(format!(
                    "This is the first package from {} here; its key ends in {}.",
                    self.order.clinic, self.fingerprint()
                ));
                known.insert(self.order.clinic.clone(), self.sender.clone());
                // Only a convenience of the next opening: a failure must not keep the package closed.
                let _ = std::fs::create_dir_all(folder)
                    .and_then(|()| std::fs::write(&path, super::pretty(&serde_json::json!(known))));
            }
        }
        let earlier = |revision: u32| -> Option<OrderFile> {
            let path = folder.join(format!("{}-r{revision}/data/order.json", self.order.code));
            serde_json::from_slice(&std::fs::read(path).ok()?).ok()
        };
        let revision = self.order.revision;
        if let Some(last) = (1..revision).rev().find_map(earlier) {
            let changes = self.order.changes_since(&last);
            if self.order.replaces != Some(last.revision) {
                told.push(format!(
                    "Revision {} was opened here last; since then:",
                    last.revision
                ));
                told.extend(changes.iter().map(|change| format!("  {change}")));
            } else if changes != self.changes {
                told.push("What the clinic says has changed is not all that differs from the revision opened here. It differs in:".into());
                told.extend(changes.iter().map(|change| format!("  {change}")));
            }
        } else if let Some(before) = self.order.replaces {
            told.push(format!("Revision {before} was never opened here."));
        }
        if (revision + 1..revision + 50).any(|later| earlier(later).is_some()) {
            told.push(
                "A LATER revision of this order was opened here before. Do not make this one."
                    .into(),
            );
        }
        told
    }

    /// The last eight digits of the sender's key, to compare by telephone.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        self.sender
            .chars()
            .skip(self.sender.len().saturating_sub(8))
            .collect()
    }

    /// The lab's answer to this package, sealed to the clinic: the file's name and its bytes.
    ///
    /// # Errors
    /// The package names no key to answer to.
    pub fn receipt(
        &self,
        answer: Answer,
        by: &str,
        reason: &str,
        at: When,
    ) -> Result<(String, Vec<u8>)> {
        let to = self
            .reply_to
            .as_deref()
            .ok_or_else(|| ExchangeError::Receipt {
                why: "the package names no key to answer to".into(),
            })?;
        sealed_receipt(&self.order, to, answer, by, reason, at)
    }
}
