//! A line that is typed, and never required.

use super::{Kind, Question};
use plinthside_measure::marks::Side;
use plinthside_visit::{Lang, Text, Visit};

/// Where the line stands in a visit; one accessor serves reading, on a copy, and writing.
type Place = fn(&mut Visit, Side) -> &mut String;

struct Line {
    key: &'static str,
    label: Text,
    place: Place,
}

/// A line of text somewhere in a visit.
pub(super) fn line(key: &'static str, en: &str, de: &str, place: Place) -> Box<dyn Question> {
    let label = Text::new(en, de);
    Box::new(Line { key, label, place })
}

impl Question for Line {
    fn key(&self) -> String {
        self.key.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn is_optional(&self) -> bool {
        true
    }

    fn shown(&self, visit: &Visit, side: Side, _lang: Lang) -> String {
        (self.place)(&mut visit.clone(), side).clone()
    }

    fn type_in(&self, visit: &mut Visit, side: Side, text: &str) -> Option<Text> {
        text.trim().clone_into((self.place)(visit, side));
        None
    }
}
