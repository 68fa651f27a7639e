//! Help on the step in hand, and the card that lies at the couch.

use super::session::Session;
use super::text::{models, said};
use crate::error::AppError;
use crate::{clock, files, papers};
use plinthside_paper::Paper;
use plinthside_ui::{self as ui, Screen};
use plinthside_visit::aids::{CheckLists, Help};
use plinthside_visit::{Lang, Text};

/// The screen that help was opened from, and what became of the card.
#[derive(Debug, Default)]
pub struct Helping {
    from: Option<Screen>,
    card: Option<Result<String, String>>,
}

/// Key of a step's help; none where there is no help.
#[must_use]
pub fn key(screen: Screen) -> Option<&'static str> {
    Some(match screen {
        Screen::Person => "person",
        Screen::Examine => "examine",
        Screen::Position => "position",
        Screen::Cast => "cast",
        Screen::Photographs => "photographs",
        Screen::Mark => "mark",
        Screen::Check => "check",
        Screen::Inspect => "inspect",
        Screen::Ruler => "ruler",
        Screen::Order | Screen::Reasons => "order",
        Screen::Label => "label",
        Screen::HandOver => "hand-over",
        Screen::FollowUp => "follow-up",
        _ => return None,
    })
}

impl Session {
    /// Opens help on the screen in hand.
    pub fn open_help(&mut self) {
        if key(self.screen).is_some() {
            self.help = Helping {
                from: Some(self.screen),
                card: None,
            };
            self.screen = Screen::Help;
        }
    }

    /// Back to where help was opened.
    pub fn leave_help(&mut self) {
        self.go(self.help.from.unwrap_or(Screen::Person));
    }

    /// Writes the card to the folder of the papers.
    pub fn write_card(&mut self) {
        let (clinic, lang) = (self.clinic(), self.look.lang);
        let path = self.folder.join("couch-card.pdf");
        let write = || -> Result<(), AppError> {
            files::make_folder(&self.folder)?;
            let card = papers::couch_card(&clinic, Paper::A4, lang, clock::today())?;
            files::write(&path, &card.pdf()?)
        };
        let written = write().map(|()| path.display().to_string());
        self.help.card = Some(written.map_err(|problem| problem.to_string()));
    }
}

/// What the screen shows of it.
#[must_use]
pub fn view(help: &Helping, lang: Lang) -> ui::HelpView {
    let mut view = ui::HelpView::default();
    // Tests read the shipped texts; without them the card is still there.
    let texts = Help::shipped().ok().zip(CheckLists::shipped().ok());
    let step = help.from.and_then(key);
    if let Some(((texts, lists), key)) = texts.zip(step) {
        let step = texts.step(key);
        let lines = step.into_iter().flat_map(|step| &step.lines);
        let lines = lines.map(|line| ui::Remark {
            text: line.say.get(lang).into(),
            source: line
                .source
                .as_ref()
                .map_or_else(Default::default, |source| source.line(lang).into()),
            tone: ui::Tone::Plain,
        });
        view.lines = models(lines.collect());
        let named = step.into_iter().flat_map(|step| &step.lists);
        let shown = named.filter_map(|id| lists.list(id)).map(|list| {
            let items = list.items.iter().map(|item| item.say.get(lang).into());
            ui::HelpList {
                title: list.title.get(lang).into(),
                items: models(items.collect()),
            }
        });
        view.lists = models(shown.collect());
    }
    view.from = help.from.unwrap_or(Screen::Person);
    (view.said, view.tone) = match &help.card {
        None => Default::default(),
        Some(Ok(path)) => {
            let said = Text::new(
                format!("Written to {path}."),
                format!("Geschrieben nach {path}."),
            );
            (said.get(lang).into(), ui::Tone::Good)
        }
        Some(Err(problem)) => (said(problem, lang).into(), ui::Tone::Stop),
    };
    view
}
