//! `plinthside code bind|void|state|prove`: the tie between a cast, its bag and its order.

use super::print;
use crate::cli::{SideArg, StoreArgs};
use crate::error::AppError;
use crate::files;
use crate::labels::{self, Bound, typed_or_photographed};
use chrono::{Local, TimeZone};
use plinthside_store::{BagProof, LabelAct, LabelEvent, LabelState};
use serde_json::json;
use std::fmt::Write as _;

/// `plinthside code bind`
///
/// # Errors
/// No such visit, no such label, or one that cannot stand for this cast.
pub fn bind(
    visit: &str,
    label: &str,
    side: Option<SideArg>,
    by: &str,
    store: &StoreArgs,
) -> Result<(), AppError> {
    let mut records = store.place()?.open()?;
    let (code, how) = typed_or_photographed(records.store(), label)?;
    let id = records.visit_id(visit)?;
    let side = records.with_visit(&id)?.foot(&id, side)?.side;
    let mut opened = records.visit(&id)?;
    let bound = labels::bind(records.store(), &mut opened.value, side, code, how, by)?;
    if bound != Bound::Already {
        records.save(&mut opened, by, "")?;
        records.put_away(&id)?;
    }
    print(&match bound {
        Bound::Now => format!("{code} is bound to the {side} cast of visit {id}.\n"),
        Bound::Already => format!("{code} was bound to the {side} cast of visit {id} already.\n"),
        Bound::Unheard => format!(
            "{code} is bound to the {side} cast of visit {id}. It was not printed on this device or one met since: check that it is one of the clinic's own labels.\n"
        ),
    })
}

/// `plinthside code void`
///
/// # Errors
/// No such label, or no reason.
pub fn void(label: &str, why: &str, by: &str, store: &StoreArgs) -> Result<(), AppError> {
    if why.trim().is_empty() {
        return Err(AppError::Request(
            "say why the label is made void (--why)".into(),
        ));
    }
    let mut records = store.place()?.open()?;
    let (code, _) = typed_or_photographed(records.store(), label)?;
    records.store().void_label(&code.to_string(), why, by)?;
    let said = match records.store().label_state(&code.to_string())? {
        LabelState::Void { was, .. } if !was.is_empty() => {
            let casts: Vec<String> = was.iter().map(ToString::to_string).collect();
            format!(
                "{code} is void. It stood for {}: bind another label.\n",
                casts.join("; ")
            )
        }
        _ => format!("{code} is void.\n"),
    };
    print(&said)
}

/// `plinthside code state`
///
/// # Errors
/// No such label, or a store that can't be read.
pub fn state(label: &str, as_json: bool, store: &StoreArgs) -> Result<(), AppError> {
    let mut records = store.place()?.open()?;
    let (code, _) = typed_or_photographed(records.store(), label)?;
    let state = records.store().label_state(&code.to_string())?;
    let history = records.store().label_history(&code.to_string())?;
    if as_json {
        return print(&files::json_text(
            &json!({ "code": code, "state": state, "history": history }),
        )?);
    }
    let mut text = format!("{code} {}\n", words(&state));
    for event in &history {
        let _ = writeln!(text, "  {}", line(event));
    }
    print(&text)
}

fn words(state: &LabelState) -> String {
    match state {
        LabelState::Unknown => {
            "is not known here: printed on a device not met since, or not one of the clinic's"
                .into()
        }
        LabelState::Unbound => "is free".into(),
        LabelState::Bound { to } => format!("stands for {to}"),
        LabelState::Reused { to } => {
            let casts: Vec<String> = to.iter().map(ToString::to_string).collect();
            format!(
                "stands for more than one cast ({}): make it void and label each bag anew",
                casts.join("; ")
            )
        }
        LabelState::Void { why, by, .. } => format!("is void ({why}; {by})"),
    }
}

fn line(event: &LabelEvent) -> String {
    let at = Local.timestamp_millis_opt(event.at_ms).single();
    let at = at.map_or_else(String::new, |at| at.format("%-d %b %Y %H:%M").to_string());
    let what = match event.what {
        LabelAct::Printed => "printed",
        LabelAct::Bound => "bound",
        LabelAct::Void => "made void",
        LabelAct::Proved if event.note.is_empty() => "bag right",
        LabelAct::Proved => "bag wrong",
        LabelAct::Other => "changed",
    };
    let to = event
        .to
        .as_ref()
        .map_or_else(String::new, |to| format!(", {to}"));
    let note = match event.note.as_str() {
        "" => String::new(),
        note => format!(" ({note})"),
    };
    format!("{at}  {what}{to}{note}  {} on {}", event.by, event.device)
}

/// `plinthside code prove`
///
/// # Errors
/// A bag that is not right, after all of them were looked at and recorded.
pub fn prove(
    labels: &[String],
    visit: Option<(&str, Option<SideArg>)>,
    as_json: bool,
    by: &str,
    store: &StoreArgs,
) -> Result<(), AppError> {
    let mut records = store.place()?.open()?;
    let codes = labels
        .iter()
        .map(|label| Ok((label, typed_or_photographed(records.store(), label)?.0)))
        .collect::<Result<Vec<_>, AppError>>()?;
    let expected = match visit {
        Some((visit, side)) => {
            let file = records.with_visit(visit)?;
            let side = file.foot(&file.visits[0].id, side)?.side;
            Some((file, side))
        }
        None => None,
    };
    let (mut shown, mut wrong) = (Vec::new(), 0);
    let mut text = String::new();
    for (label, code) in codes {
        let foot = expected
            .as_ref()
            .map(|(file, side)| file.foot(&file.visits[0].id, Some((*side).into())))
            .transpose()?;
        let proof = labels::prove(records.store(), code, foot.as_ref(), by)?;
        wrong += usize::from(!proof.is_right());
        text += &said(label, &code.to_string(), &proof);
        shown.push(
            json!({ "label": label, "code": code, "right": proof.is_right(), "proof": proof }),
        );
    }
    print(&if as_json {
        files::json_text(&shown)?
    } else {
        text
    })?;
    match wrong {
        0 => Ok(()),
        n => Err(AppError::Request(format!(
            "{n} of {} bags not right: send none of these before they are",
            shown.len()
        ))),
    }
}

fn said(label: &str, code: &str, proof: &BagProof) -> String {
    let is = proof
        .is
        .as_ref()
        .map_or_else(String::new, |is| format!(": {is}"));
    if proof.is_right() {
        return format!("{label}: right. {code}{is}\n");
    }
    let problems: Vec<String> = proof.problems.iter().map(ToString::to_string).collect();
    format!("{label}: WRONG. {code}{is}\n  {}\n", problems.join("\n  "))
}
