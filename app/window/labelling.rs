//! The tie between bag and cast on the label screen: a new code, a pre-printed label bound by
//! photograph or typing, a spoilt one made void, the packed bag proven.

use super::session::Session;
use super::text::{models, said, sentence};
use crate::labels::{self, Bound};
use crate::visits::Foot;
use plinthside_measure::marks::Side;
use plinthside_paper::CastCode;
use plinthside_store::{BoundBy, LabelEvent};
use plinthside_ui::{self as ui, LabelDoing};
use plinthside_visit::{Lang, Text, Visit};
use std::path::PathBuf;

/// So many of the newest pictures are offered to read a label in.
const OFFERED: usize = 6;

/// What the label screen is doing with labels.
#[derive(Default)]
pub struct Labelling {
    doing: LabelDoing,
    said: String,
    /// Identity stops: nothing goes on until this is cleared up.
    stop: String,
    /// The bag was proven.
    pub proven: bool,
}

impl Labelling {
    fn say(&mut self, text: &Text, lang: Lang) {
        self.said = text.get(lang).to_owned();
        self.stop.clear();
        self.doing = LabelDoing::Nothing;
    }

    fn stop(&mut self, why: String) {
        self.stop = why;
        self.said.clear();
    }
}

impl Session {
    /// Begins or leaves binding, proving or making void.
    pub fn label_do(&mut self, doing: LabelDoing) {
        self.taking.look();
        let Some(open) = &mut self.open else { return };
        open.labelling.doing = doing;
        open.labelling.said.clear();
        open.labelling.stop.clear();
    }

    /// Binds the label that lies beside the cast in its photographs; where none was read, a new
    /// code, which the label is printed with.
    pub fn bind_own_code(&mut self) {
        let seen = self.open.as_ref().and_then(|open| {
            let cast = open.case.visit.cast(open.case.side)?;
            cast.record.label_seen.parse::<CastCode>().ok()
        });
        if let Some(code) = seen {
            self.bind(code, BoundBy::Photograph);
            return;
        }
        match labels::mint(1) {
            Ok(codes) => {
                for code in codes {
                    self.bind(code, BoundBy::Printing);
                }
            }
            Err(problem) => {
                if let Some(open) = &mut self.open {
                    open.labelling.stop(problem.to_string());
                }
            }
        }
    }

    /// The picture that a label is read in, of those offered.
    pub fn label_picture(&self, index: usize) -> Option<PathBuf> {
        self.taking.offered.get(index).map(|o| o.path.clone())
    }

    /// A code was typed.
    pub fn label_typed(&mut self, text: &str) {
        let Some(records) = self.records() else {
            return;
        };
        let code = labels::typed(records.store(), text).map_err(|e| e.to_string());
        self.label_read(code, BoundBy::Typing);
    }

    /// A label was read, or could not be: it is bound, or the bag is proven by it.
    pub fn label_read(&mut self, code: Result<CastCode, String>, how: BoundBy) {
        let Some(open) = &mut self.open else { return };
        match (code, open.labelling.doing) {
            (Err(problem), _) => open.labelling.stop(problem),
            (Ok(code), LabelDoing::Binding) => self.bind(code, how),
            (Ok(code), LabelDoing::Proving) => self.prove(code),
            (Ok(_), _) => {}
        }
    }

    fn bind(&mut self, code: CastCode, how: BoundBy) {
        let (by, lang) = (self.person.clone(), self.look.lang);
        let Some(mut open) = self.open.take() else {
            return;
        };
        let side = open.case.side;
        let super::desk::Desk::Open(records) = &mut self.desk else {
            self.open = Some(open);
            return;
        };
        let bound = labels::bind(records.store(), &mut open.case.visit, side, code, how, &by);
        match bound {
            Ok(Bound::Unheard) if how != BoundBy::Printing => open.labelling.say(
                &Text::new(
                    "Bound. This label was not printed on a device known here: check that it is one of the clinic's own.",
                    "Zugeordnet. Dieses Etikett wurde auf keinem hier bekannten Gerät gedruckt: prüfen, ob es ein eigenes der Praxis ist.",
                ),
                lang,
            ),
            Ok(_) => open.labelling.say(&Text::new("The label is bound to this cast.", "Das Etikett gehört jetzt zu diesem Abdruck."), lang),
            Err(problem) => open.labelling.stop(problem.to_string()),
        }
        self.open = Some(open);
    }

    /// Whether the bag of one foot was proven by the label of its newest revision.
    pub(super) fn is_proven(&mut self, visit: &Visit, side: Side) -> bool {
        let revision = visit.order(side).and_then(|order| order.newest());
        let revision = revision.map_or(1, |revision| revision.number);
        let proofs = self.try_records(|records| Ok(records.store().bag_proofs(&visit.id)?));
        let of_foot = |proof: &LabelEvent| {
            proof
                .to
                .as_ref()
                .is_some_and(|to| to.side == side.to_string() && to.revision == revision)
        };
        let last = proofs.into_iter().flatten().rfind(of_foot);
        last.is_some_and(|proof| proof.note.is_empty())
    }

    fn prove(&mut self, code: CastCode) {
        let (by, lang, clinic) = (self.person.clone(), self.look.lang, self.clinic());
        let Some(mut open) = self.open.take() else {
            return;
        };
        let super::desk::Desk::Open(records) = &mut self.desk else {
            self.open = Some(open);
            return;
        };
        let foot = Foot {
            clinic: &clinic,
            visit: &open.case.visit,
            side: open.case.side,
        };
        match labels::prove(records.store(), code, Some(&foot), &by) {
            Ok(proof) if proof.is_right() => {
                open.labelling.proven = true;
                open.labelling.say(
                    &Text::new(
                        "The bag is right: this label stands for this cast, this side and this revision.",
                        "Der Beutel stimmt: Das Etikett gehört zu diesem Abdruck, dieser Seite und dieser Revision.",
                    ),
                    lang,
                );
            }
            Ok(proof) => {
                open.labelling.proven = false;
                let problems = proof
                    .problems
                    .iter()
                    .map(|p| sentence(&p.to_string(), lang));
                open.labelling.stop(problems.collect::<Vec<_>>().join(" "));
            }
            Err(problem) => open.labelling.stop(problem.to_string()),
        }
        self.open = Some(open);
    }

    /// Makes the bound label void: torn, lost, or on the wrong bag. The cast needs another.
    pub fn void_label(&mut self, why: usize) {
        let (by, lang) = (self.person.clone(), self.look.lang);
        let Some(mut open) = self.open.take() else {
            return;
        };
        let code = open
            .case
            .visit
            .cast(open.case.side)
            .and_then(|c| c.code.clone());
        if let (Some(code), Some(why)) = (code, void_reasons().get(why)) {
            let voided = self.try_records(|records| {
                Ok(records.store().void_label(&code, why.get(lang), &by)?)
            });
            if voided.is_some() {
                open.labelling.proven = false;
                let cast = open.case.cast_mut();
                cast.code = None;
                cast.record.label_seen.clear();
                open.labelling.say(
                    &Text::new(
                        format!("{code} is void. Cross it out on the plaster, and bind another label."),
                        format!("{code} ist ungültig. Auf dem Gips durchstreichen und ein anderes Etikett zuordnen."),
                    ),
                    lang,
                );
            }
        }
        self.open = Some(open);
    }

    /// What the label screen shows of it.
    pub fn labelling_view(&self) -> ui::LabellingView {
        let lang = self.look.lang;
        let Some(open) = &self.open else {
            return ui::LabellingView::default();
        };
        let labelling = &open.labelling;
        let pictures = self
            .taking
            .offered
            .iter()
            .take(OFFERED)
            .map(|o| ui::ChoiceItem {
                text: o.name.as_str().into(),
                note: chrono::DateTime::<chrono::Local>::from(o.at)
                    .format(Text::new("%-d %b, %H:%M:%S", "%d.%m., %H:%M:%S").get(lang))
                    .to_string()
                    .into(),
                chosen: false,
            });
        ui::LabellingView {
            doing: labelling.doing,
            said: labelling.said.as_str().into(),
            stop: said(&labelling.stop, lang).into(),
            proven: labelling.proven,
            folder: self.taking.folder.display().to_string().into(),
            pictures: models(pictures.collect()),
            reasons: models(void_reasons().iter().map(|t| t.get(lang).into()).collect()),
        }
    }
}

fn void_reasons() -> [Text; 3] {
    [
        Text::new("torn or unreadable", "zerrissen oder unlesbar"),
        Text::new("lost", "verloren"),
        Text::new("stuck on the wrong bag", "auf dem falschen Beutel"),
    ]
}

#[cfg(test)]
mod tests;
