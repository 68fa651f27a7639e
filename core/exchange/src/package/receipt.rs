//! The lab's answer: a small file beside the package, sealed to the practice.

use super::lab_path;
use super::order_file::OrderFile;
use crate::error::{ExchangeError, Result};
use crate::practice::Sender;
use crate::seal::{seal, unseal};
use crate::target::Target;
use plinthside_visit::When;
use plinthside_visit::follow_up::{Receipt, ReceiptAnswer};
use serde::{Deserialize, Serialize};
use serde_json::Map;

/// What a lab answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// It is being made.
    Accepted,
    /// Something has to be answered first.
    Question,
    /// It will not be made.
    Rejected,
}

#[derive(Serialize, Deserialize)]
struct ReceiptFile {
    code: String,
    revision: u32,
    answer: Answer,
    #[serde(default)]
    by: String,
    #[serde(default)]
    reason: String,
    at: When,
    token: String,
}

/// Name of the receipt of a package.
#[must_use]
pub fn receipt_name(code: &str, revision: u32) -> String {
    format!("{code}-r{revision}.receipt.age")
}

pub(super) fn sealed_receipt(
    order: &OrderFile,
    to: &str,
    answer: Answer,
    by: &str,
    reason: &str,
    at: When,
) -> Result<(String, Vec<u8>)> {
    if answer != Answer::Accepted && reason.trim().is_empty() {
        return Err(ExchangeError::Receipt {
            why: "a question or a rejection needs its reason".into(),
        });
    }
    let file = ReceiptFile {
        code: order.code.clone(),
        revision: order.revision,
        answer,
        by: by.to_owned(),
        reason: reason.to_owned(),
        at,
        token: order.receipt_token.clone(),
    };
    let json =
        serde_json::to_vec(&file).map_err(|e| ExchangeError::Sealing { why: e.to_string() })?;
    Ok((receipt_name(&order.code, order.revision), seal(to, &json)?))
}

/// Reads a lab's receipts of one order back from a target: what can be read, as a visit keeps it,
/// and in words what cannot.
///
/// # Errors
/// The target does not answer.
pub fn read_receipts(
    target: &dyn Target,
    sender: &Sender,
    lab: &str,
    code: &str,
) -> Result<(Vec<Receipt>, Vec<String>)> {
    let code = super::file_word(code);
    let (folder, _) = lab_path(lab, "")
        .rsplit_once('/')
        .map(|(f, n)| (f.to_owned(), n.to_owned()))
        .unwrap_or_default();
    let (mut read, mut told) = (Vec::new(), Vec::new());
    for name in target.list(&folder)? {
        let revision = name
            .strip_prefix(&format!("{code}-r"))
            .and_then(|rest| rest.strip_suffix(".receipt.age"));
        let Some(revision) = revision.and_then(|r| r.parse::<u32>().ok()) else {
            continue;
        };
        let bytes = target.get(&format!("{folder}/{name}"))?;
        match read_one(&bytes, sender, &code, revision) {
            Ok(receipt) => read.push(receipt),
            Err(error) => told.push(format!("{name}: {error}")),
        }
    }
    Ok((read, told))
}

fn read_one(bytes: &[u8], sender: &Sender, code: &str, revision: u32) -> Result<Receipt> {
    let bad = |why: &str| ExchangeError::Receipt { why: why.into() };
    let json = unseal(&sender.keys, bytes)
        .ok_or_else(|| bad("it is not sealed to this practice, or was changed"))?;
    let file: ReceiptFile =
        serde_json::from_slice(&json).map_err(|_| bad("it is not a receipt"))?;
    if (file.code.as_str(), file.revision) != (code, revision) {
        return Err(bad("it speaks of another order than its name"));
    }
    if !sender.gave_token(&format!("{code}-r{revision}"), &file.token) {
        return Err(bad("whoever wrote it has not opened the package"));
    }
    Ok(Receipt {
        answer: match file.answer {
            Answer::Accepted => ReceiptAnswer::Accepted,
            Answer::Question => ReceiptAnswer::Question,
            Answer::Rejected => ReceiptAnswer::Rejected,
        },
        at: file.at,
        by: file.by,
        revision,
        reason: file.reason,
        extra: Map::new(),
    })
}
