//! The card that lies at the couch: what is to be done and timed, and room to write it all down
//! when the tablet is dark.

use crate::PaperError;
use crate::language::Words;
use crate::page::Paper;
use crate::typeset::Document;
use chrono::{Datelike, NaiveDate};
use plinthside_visit::aids::{CheckLists, Help, Timers};
use plinthside_visit::{Clinic, Lang};
use serde_json::json;

/// A card to be printed.
#[derive(Debug, Clone, Copy)]
pub struct CouchCard<'a> {
    /// Whose card it is.
    pub clinic: &'a Clinic,
    /// The check lists, each in a box.
    pub lists: &'a CheckLists,
    /// Times of the plasters.
    pub timers: &'a Timers,
    /// Help on the steps: what plaster can do to skin stands on the card.
    pub help: &'a Help,
    /// Language it is printed in.
    pub lang: Lang,
    /// Date of printing.
    pub date: NaiveDate,
}

/// The card on one page of A4 or Letter.
///
/// # Errors
/// [`PaperError::Typesetting`] should the page fail.
pub fn couch_card(card: &CouchCard<'_>, paper: Paper) -> Result<Document, PaperError> {
    let (width, height) = paper.mm();
    let (w, lang, date) = (Words(card.lang), card.lang, card.date);
    let lists: Vec<_> = card
        .lists
        .list
        .iter()
        .map(|list| {
            let items: Vec<_> = list.items.iter().map(|item| item.say.get(lang)).collect();
            json!({ "title": list.title.get(lang), "items": items })
        })
        .collect();
    let clock = |s: u32| format!("{}:{:02}", s / 60, s % 60);
    let plasters: Vec<_> = card
        .timers
        .plaster
        .iter()
        .map(|plaster| {
            json!({
                "label": plaster.label.get(lang), "source": plaster.source.line(lang),
                "mould": clock(plaster.mould_s), "hold": clock(plaster.hold_s),
                "remove": clock(plaster.remove_s),
            })
        })
        .collect();
    let said = |text: &plinthside_visit::Text, source: &plinthside_visit::source::Source| json!({ "say": text.get(lang), "source": source.line(lang) });
    let (heat, wait) = (&card.timers.heat, &card.timers.photographs);
    let casting = card.help.step("cast").map_or(&[][..], |step| &step.lines);
    let cautions = casting
        .iter()
        .filter_map(|line| Some(said(&line.say, line.source.as_ref()?)));
    Document::set(
        "card.typ",
        &w.onto(json!({
            "width": width, "height": height,
            "clinic": card.clinic.name, "telephone": card.clinic.telephone,
            "lists": lists, "plasters": plasters,
            "cautions": cautions.collect::<Vec<_>>(),
            "notes": [said(&heat.say, &heat.source), said(&wait.say, &wait.source)],
            "date": w.date(date),
            "year": date.year(), "month": date.month(), "day": date.day(),
        })),
    )
}
