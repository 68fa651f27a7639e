//! The bench sheet: what was measured, at true scale, for the technician who holds the cast.

mod labels;
mod numbers;
mod views;

use crate::language::Words;
use crate::page::Paper;
use crate::typeset::Document;
use crate::words::{finite, whole};
use crate::{CastCode, PaperError};
use chrono::{Datelike, NaiveDate};
use plinthside_measure::cast::{Results, Source};
use plinthside_visit::Lang;
use plinthside_visit::verdict::{Call, Verdict};
use serde_json::{Value, json};
use views::View;

/// Margins of the page and the room its header, captions and check bars need, mm.
const MARGIN_MM: f64 = 10.0;
const HEAD_MM: f64 = 20.0;
const FOOT_MM: f64 = 16.0;
/// Gap between two views, and the room of a view's title and caption, mm.
const GAP_MM: f64 = 4.0;
const CAPTION_MM: f64 = 19.0;

/// An outline traced on the cast, in the cast frame, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// The mark it surrounds.
    pub mark: String,
    /// Its points in order; the last joins the first.
    pub cast_mm: Vec<[f64; 3]>,
}

/// Everything a bench sheet shows.
#[derive(Debug, Clone)]
pub struct Bench<'a> {
    /// What was measured.
    pub results: &'a Results,
    /// Outlines traced on the cast.
    pub outlines: &'a [Outline],
    /// The verdict, once given.
    pub verdict: Option<&'a Verdict>,
    /// Cautions for whoever handles or builds on the cast.
    pub cautions: &'a [String],
    /// The cast code, once bound.
    pub code: Option<CastCode>,
    /// Revision of the order.
    pub revision: u32,
    /// What is ordered, in a line or two.
    pub ordered: &'a str,
    /// Name of the clinic.
    pub clinic: &'a str,
    /// Its telephone number.
    pub telephone: &'a str,
    /// Language it is printed in; what was typed stays as typed.
    pub lang: Lang,
    /// Date of the measurement.
    pub date: NaiveDate,
}

/// The bench sheet on A4 or Letter. A view that does not fit the paper at true scale goes on an
/// A3 page of its own; one that does not fit that either is left out and said so. Nothing is
/// ever drawn smaller.
///
/// # Errors
/// [`PaperError::NotANumber`] for a measurement that is not finite.
pub fn bench(bench: &Bench<'_>, paper: Paper) -> Result<Document, PaperError> {
    let results = bench.results;
    for point in &results.points {
        finite(point.mark.as_str(), &point.cast_mm)?;
        finite(point.mark.as_str(), &point.total_sd_mm)?;
    }
    for outline in bench.outlines {
        outline
            .cast_mm
            .iter()
            .try_for_each(|p| finite(&outline.mark, p))?;
    }
    let w = Words(bench.lang);
    let views = views::all(results, bench.outlines, w)?;
    let (pages, left_out) = lay_out(views, paper, w);
    let (width, height) = paper.mm();
    Document::set(
        "bench.typ",
        &w.onto(json!({
            "width": width, "height": height, "margin": MARGIN_MM,
            "side": results.side,
            "code": bench.code.map(|c| c.to_string()),
            "revision": bench.revision,
            "ordered": bench.ordered,
            "clinic": bench.clinic, "telephone": bench.telephone,
            "date": w.date(bench.date),
            "year": bench.date.year(), "month": bench.date.month(), "day": bench.date.day(),
            "reference": w.say(results.reference.words()),
            "instrument": match results.source {
                Source::Photographs => w.say("± camera alone, ± with marking"),
                Source::Ruler => w.say("± ruler alone, ± with marking"),
            },
            "verdict": bench.verdict.map(|v| verdict(v, w)),
            "side_check": side_check(results, w),
            "cautions": bench.cautions,
            "warnings": results.warnings.iter().map(|s| w.say(s)).collect::<Vec<_>>(),
            "left_out": left_out,
            "hinges": numbers::hinges(results, w)?,
            "angles": numbers::quantities(results, w)?,
            "comparisons": numbers::comparisons(results, w)?,
            "calliper": numbers::calliper(results, w)?,
            "points": numbers::points(results, w),
            "pages": pages,
        })),
    )
}

/// The verdict with the amount of every finding that is not simply kept.
fn verdict(verdict: &Verdict, w: Words) -> Value {
    let text = |t: &plinthside_visit::Text| t.get(w.0).to_owned();
    let findings: Vec<_> = verdict
        .findings
        .iter()
        .filter(|f| f.call > Call::Keep)
        .map(|f| {
            let advice = f.advice.map(|a| text(&a.text()));
            let parts = [Some(text(&f.text)), advice, Some(text(&f.remedy))];
            let said: Vec<String> = parts
                .into_iter()
                .flatten()
                .filter(|s| !s.is_empty())
                .collect();
            // The verdict's own word is not said twice.
            let call = (f.call != verdict.call).then(|| text(&f.call.text()));
            json!({"call": call, "tone": tone(f.call), "words": said.join("; ")})
        })
        .collect();
    json!({
        "words": text(&verdict.call.text()),
        "tone": tone(verdict.call),
        "findings": findings,
        "not_judged": verdict.not_judged.iter().map(text).collect::<Vec<_>>(),
    })
}

fn tone(call: Call) -> &'static str {
    match call {
        Call::Note => "plain",
        Call::Keep => "good",
        Call::Correct | Call::ReMark => "caution",
        Call::Recast => "stop",
    }
}

fn side_check(results: &Results, w: Words) -> Value {
    use plinthside_measure::cast::SideOutcome;
    let check = &results.side_check;
    let tone = match check.outcome {
        SideOutcome::Agrees => "good",
        _ if check.stops => "stop",
        _ => "caution",
    };
    let sentences: Vec<String> = check.sentences.iter().map(|s| w.say(s)).collect();
    json!({"tone": tone, "sentences": sentences})
}

/// Views onto pages, in order, side by side where two fit; never scaled.
fn lay_out(views: Vec<View>, paper: Paper, w: Words) -> (Vec<Value>, Vec<String>) {
    let (width, height) = paper.mm();
    let room = |width: f64, height: f64| {
        (
            width - 2.0 * MARGIN_MM,
            height - 2.0 * MARGIN_MM - HEAD_MM - FOOT_MM,
        )
    };
    let mut pages: Vec<(f64, f64, Vec<View>)> = Vec::new();
    let mut left_out = Vec::new();
    for view in views {
        let needs = (view.width, view.height + CAPTION_MM);
        let fits = |(w, h): (f64, f64)| needs.0 <= w && needs.1 <= h;
        if let Some((w, h, list)) = pages.last_mut() {
            let used: f64 = list.iter().map(|v| v.width + GAP_MM).sum();
            let (rw, rh) = room(*w, *h);
            if used + needs.0 <= rw && needs.1 <= rh {
                list.push(view);
                continue;
            }
        }
        let (a3w, a3h) = Paper::A3.mm();
        let choices = [(width, height), (height, width), (a3w, a3h), (a3h, a3w)];
        match choices.into_iter().find(|&(w, h)| fits(room(w, h))) {
            Some((w, h)) => pages.push((w, h, vec![view])),
            None => left_out.push(w.with(
                "The view “{}” needs {} × {} mm and does not fit an A3 page at true scale: it is not drawn. Check the mark that lies far off.",
                &[&view.title, &whole(needs.0), &whole(needs.1)],
            )),
        }
    }
    let pages = pages
        .into_iter()
        .map(|(width, height, views)| json!({"width": width, "height": height, "views": views}))
        .collect();
    (pages, left_out)
}
