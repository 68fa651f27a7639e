//! Answers that are asked together and were copied together are confirmed together.

use super::Asking;
use plinthside_visit::Lang;
use std::ops::Range;

impl<T: Clone + PartialEq, At: Copy> Asking<T, At> {
    /// The question in hand and those right behind it that belong to it and are copied, too.
    fn together(&self, of: &T, at: At) -> Range<usize> {
        let Some(group) = self.now().map(|q| q.group()) else {
            return 0..0;
        };
        let rest = self.questions.iter().skip(self.chosen);
        let count = rest.take_while(|q| q.group() == group && q.copied(of, at));
        self.chosen..self.chosen + count.count()
    }

    /// What would be confirmed with the question in hand, in words.
    pub(super) fn with_it(&self, of: &T, at: At, lang: Lang) -> Vec<String> {
        let together = self.questions[self.together(of, at)].iter().skip(1);
        together
            .map(|q| format!("{} {}", q.label(lang), q.shown(of, at, lang)))
            .collect()
    }

    /// Says that all of them still hold.
    pub(super) fn confirm_together(&mut self, of: &mut T, at: At) {
        let (before, together) = (of.clone(), self.together(of, at));
        for question in &self.questions[together.clone()] {
            question.confirm(of, at);
        }
        self.changed(before, of);
        self.chosen = together.end.saturating_sub(1).max(self.chosen);
    }
}
