//! Answers that are asked together and were copied together are confirmed together; what one look
//! finds to be well is said in one touch.

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

    /// The unanswered questions that one look can find to be well, where the one in hand is among
    /// them.
    fn well(&self, of: &T, at: At) -> Vec<usize> {
        let is_open = |i: &usize| {
            let q = &self.questions[*i];
            q.well().is_some() && q.shown(of, at, Lang::En).is_empty()
        };
        let all: Vec<usize> = (0..self.questions.len()).filter(is_open).collect();
        match all.contains(&self.chosen) && all.len() > 1 {
            true => all,
            false => Vec::new(),
        }
    }

    /// What that would be, in words.
    pub(super) fn well_in_words(&self, of: &T, at: At, lang: Lang) -> Vec<String> {
        let said = |i: usize| {
            let q = &self.questions[i];
            let choices = q.choices(of, at, lang);
            let choice = choices.get(q.well()?)?;
            Some(format!("{} {}", q.label(lang), choice.text))
        };
        self.well(of, at).into_iter().filter_map(said).collect()
    }

    /// Says that all of it is well.
    pub(super) fn all_well(&mut self, of: &mut T, at: At) {
        let (before, all) = (of.clone(), self.well(of, at));
        for &i in &all {
            let question = &self.questions[i];
            if let Some(choice) = question.well() {
                question.choose(of, at, choice);
            }
        }
        self.changed(before, of);
        self.chosen = all.into_iter().max().unwrap_or(self.chosen);
    }
}
