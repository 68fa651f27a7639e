//! Going past a block with a reason, and amending a signed order with one. Reasons given before
//! are offered, so that none has to be typed twice.

use super::advice;
use super::open::Open;
use super::questions::order_mut;
use super::session::Session;
use super::text::{models, sentence};
use plinthside_ui::{self as ui, Screen};
use plinthside_visit::order::{OrderState, SignError};
use plinthside_visit::rules::{Checks, Fired, GoPastError, Level, Stops};
use plinthside_visit::{Clinic, Lang, Text};

/// So many reasons of the clinic are kept.
const KEPT: usize = 12;

/// What a reason is asked for.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// To go past the block of this rule.
    Block(String),
    /// To amend the signed order.
    Amendment,
}

/// What the screen of reasons stands on.
#[derive(Debug, Default)]
pub struct Reasons {
    why: Option<Why>,
    problem: String,
    /// Where the screen was come to from.
    from: Option<Screen>,
}

/// Reasons that can be tapped before the clinic has given any of its own.
fn shipped() -> [Text; 4] {
    [
        Text::new(
            "decided after examining the patient",
            "nach Untersuchung des Patienten so entschieden",
        ),
        Text::new("agreed with the lab", "mit der Werkstatt abgesprochen"),
        Text::new("measured again, the same", "nachgemessen, ebenso"),
        Text::new("the lab asked about it", "auf Rückfrage der Werkstatt"),
    ]
}

/// Reasons to be tapped: those the clinic gave before, then the shipped ones.
fn offered(clinic: &Clinic, lang: Lang) -> Vec<String> {
    let mut offered = clinic.reasons.clone();
    for text in shipped() {
        let text = text.get(lang).to_owned();
        if !offered.contains(&text) {
            offered.push(text);
        }
    }
    offered
}

/// Blocks and cautions of this foot, whether a reason was given or not: blocks of rules first, then
/// cautions, then what a complete order lacks.
fn blocks(checks: &Checks) -> Vec<&Fired> {
    let rules = checks.fired.iter().filter(|f| f.level >= Level::Caution);
    let mut blocks: Vec<&Fired> = rules.collect();
    blocks.sort_by_key(|f| (f.number == 0, f.level < Level::Block));
    blocks
}

impl Session {
    /// Shows what stands in the way and can be gone past.
    pub fn show_reasons(&mut self) {
        self.reasons = Reasons {
            from: Some(self.screen),
            ..Reasons::default()
        };
        self.go(Screen::Reasons);
    }

    /// Asks for the reason to go past a block.
    pub fn ask_reason(&mut self, block: usize) {
        self.reasons.problem.clear();
        let Some(open) = &self.open else { return };
        let checks = advice::checks(&open.case, &self.tables);
        self.reasons.why = blocks(&checks)
            .get(block)
            .map(|f| Why::Block(f.rule.clone()));
    }

    /// Asks for the reason of an amendment.
    pub fn ask_amendment(&mut self) {
        self.reasons = Reasons {
            why: Some(Why::Amendment),
            problem: String::new(),
            from: Some(Screen::Order),
        };
        self.go(Screen::Reasons);
    }

    /// Takes the reason that was typed or tapped.
    pub fn give_reason(&mut self, reason: &str) {
        let (lang, by) = (self.look.lang, self.person.clone());
        let Self {
            open,
            tables,
            reasons,
            ..
        } = self;
        let (Some(open), Some(why)) = (open, reasons.why.clone()) else {
            return;
        };
        let given = match &why {
            Why::Block(rule) => {
                let checks = advice::checks(&open.case, tables);
                let side = open.case.side;
                if let Some(block) = checks.fired.iter().find(|f| f.rule == *rule) {
                    // A reason before signing stands in the draft, which is made if there is none.
                    if block.stops == Stops::Signing {
                        order_mut(&mut open.case.visit, side);
                    }
                    let at = crate::clock::now();
                    let gone = open.case.visit.go_past(block, side, &by, at, reason);
                    gone.map_err(|refusal| past_words(&refusal).get(lang).to_owned())
                } else {
                    Ok(())
                }
            }
            Why::Amendment => {
                let order = order_mut(&mut open.case.visit, open.case.side);
                let amended = order.amend(reason.trim()).map(|_| ());
                amended.map_err(|refusal| amend_words(&refusal, lang))
            }
        };
        match given {
            Ok(()) => {
                open.refusal.clear();
                reasons.why = None;
                reasons.problem.clear();
                self.keep_reason(reason.trim());
                if why == Why::Amendment {
                    self.go(Screen::Order);
                }
            }
            Err(problem) => reasons.problem = problem,
        }
    }

    fn keep_reason(&mut self, reason: &str) {
        let reason = reason.to_owned();
        let is_shipped = shipped().iter().any(|t| t.en == reason || t.de == reason);
        if !is_shipped {
            self.change_clinic(|clinic| {
                clinic.reasons.retain(|known| *known != reason);
                clinic.reasons.insert(0, reason);
                clinic.reasons.truncate(KEPT);
            });
        }
    }

    /// The block stands again.
    pub fn take_reason_back(&mut self, block: usize) {
        let Some(open) = &mut self.open else { return };
        let checks = advice::checks(&open.case, &self.tables);
        if let Some(fired) = blocks(&checks).get(block) {
            open.case.visit.take_back(&fired.rule, open.case.side);
        }
    }

    /// Gives the amendment up: the signed revision stays the only one.
    pub fn drop_amendment(&mut self) {
        if let Some(open) = &mut self.open {
            order_mut(&mut open.case.visit, open.case.side).drop_amendment();
        }
    }

    /// From the reason back to the blocks, from the blocks back to where they stood in the way.
    pub fn leave_reasons(&mut self) {
        let asked = self.reasons.why.take();
        if !matches!(asked, Some(Why::Block(_))) {
            let back = self.reasons.from.unwrap_or(Screen::Order);
            self.go(back);
        }
    }
}

fn past_words(refusal: &GoPastError) -> Text {
    match refusal {
        GoPastError::Absolute => Text::new(
            "Left and right must agree before anything goes on: correct the side. This can't be overridden.",
            "Links und rechts müssen übereinstimmen, bevor es weitergeht: Seite berichtigen. Das lässt sich nicht übergehen.",
        ),
        GoPastError::StopsNothing => Text::new(
            "This stops nothing: no reason is needed.",
            "Das hält nichts auf: keine Begründung nötig.",
        ),
        GoPastError::NoReason => Text::new(
            "Tap a reason or type one.",
            "Bitte eine Begründung antippen oder eingeben.",
        ),
        GoPastError::NoDraft => Text::new(
            "The order is signed: amend it first.",
            "Der Auftrag ist unterschrieben: zuerst einen Nachtrag beginnen.",
        ),
    }
}

fn amend_words(refusal: &SignError, lang: Lang) -> String {
    match refusal {
        SignError::NeedsReason(_) => past_words(&GoPastError::NoReason).get(lang).to_owned(),
        SignError::CannotFollow { from, .. } => {
            let state: &OrderState = from;
            match lang {
                Lang::En => format!(
                    "An order that is {} can't be amended any more.",
                    state.label(lang)
                ),
                Lang::De => format!(
                    "Ein Auftrag im Zustand „{}“ lässt keinen Nachtrag mehr zu.",
                    state.label(lang)
                ),
            }
        }
        other => sentence(&other.to_string(), lang),
    }
}

/// The screen of reasons.
pub fn view(
    reasons: &Reasons,
    open: &Open,
    checks: &Checks,
    clinic: &Clinic,
    lang: Lang,
) -> ui::ReasonView {
    let stops = |what: Stops| match what {
        Stops::Signing => Text::new("stops signing", "hält die Unterschrift auf"),
        Stops::Casting => Text::new("stops casting", "hält das Abformen auf"),
        Stops::Photographs => Text::new("stops photographs", "hält das Fotografieren auf"),
    };
    let signed = open.case.visit.order(open.case.side);
    let signed = signed
        .and_then(|o| o.newest())
        .is_some_and(|r| r.signature.is_some());
    let rows = blocks(checks).into_iter().map(|fired| ui::StandingBlock {
        text: fired.text.get(lang).into(),
        source: fired.source.get(lang).into(),
        stops: match fired.level {
            Level::Caution => Text::new("printed on the order", "wird auf den Auftrag gedruckt"),
            _ => stops(fired.stops),
        }
        .get(lang)
        .into(),
        caution: fired.level == Level::Caution,
        given: fired
            .overridden
            .as_ref()
            .map_or_else(Default::default, |o| {
                format!(
                    "{} ({}, {})",
                    o.reason,
                    o.by,
                    o.at.format(Text::new("%-d %b %Y, %H:%M", "%d.%m.%Y, %H:%M").get(lang))
                )
                .into()
            }),
        absolute: fired.level == Level::AbsoluteBlock,
        // What was signed past stays as it was signed.
        frozen: signed && fired.stops == Stops::Signing,
    });
    let rows: Vec<_> = rows.collect();
    let what = match &reasons.why {
        None => String::new(),
        Some(Why::Block(rule)) => {
            let fired = checks.fired.iter().find(|f| f.rule == *rule);
            fired.map_or_else(String::new, |f| f.text.get(lang).to_owned())
        }
        Some(Why::Amendment) => {
            let number = open
                .case
                .visit
                .order(open.case.side)
                .and_then(|o| o.newest())
                .map_or(1, |r| r.number);
            match lang {
                Lang::En => format!(
                    "Revision {number} stays as it was signed. Why is revision {} needed?",
                    number + 1
                ),
                Lang::De => format!(
                    "Revision {number} bleibt, wie sie unterschrieben ist. Warum ist Revision {} nötig?",
                    number + 1
                ),
            }
        }
    };
    ui::ReasonView {
        asks: reasons.why.is_some(),
        amends: reasons.why == Some(Why::Amendment),
        what: what.into(),
        offered: models(offered(clinic, lang).into_iter().map(Into::into).collect()),
        problem: reasons.problem.as_str().into(),
        blocks: models(rows),
    }
}

#[cfg(test)]
mod tests;
