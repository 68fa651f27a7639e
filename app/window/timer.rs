//! The timer of the cast: from the dip of the first slab to removal and on to the photographs.
//! The times are in the visit, so the timer survives the program.

use super::questions::{put_off_words, record_mut};
use super::text::models;
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::aids::{Plaster, Stage, Timers};
use plinthside_visit::{CastRecord, Lang, Text, Visit, When};

fn record(visit: &Visit, side: Side) -> Option<&CastRecord> {
    visit.cast(side).map(|cast| &cast.record)
}

/// The plaster chosen, by its name in either language; none until it is chosen.
fn plaster<'a>(visit: &Visit, side: Side, timers: &'a Timers) -> Option<&'a Plaster> {
    let material = &record(visit, side)?.material;
    timers
        .plaster
        .iter()
        .find(|p| [&p.label.en, &p.label.de, &p.id].contains(&material))
}

/// Chooses a plaster, before it is wet.
pub fn choose_plaster(visit: &mut Visit, side: Side, timers: &Timers, index: usize, lang: Lang) {
    let record = record_mut(visit, side);
    if record.dipped_at.is_none()
        && let Some(plaster) = timers.plaster.get(index)
    {
        record.material = plaster.label.get(lang).to_owned();
    }
}

/// The first slab is dipped. Whoever works here casts and has marked, unless somebody else was named.
pub fn start(visit: &mut Visit, side: Side, by: &str, now: When) {
    visit.deferred = None;
    let record = record_mut(visit, side);
    record.dipped_at.get_or_insert(now);
    for who in [&mut record.cast_by, &mut record.marked_by] {
        if who.is_empty() {
            by.clone_into(who);
        }
    }
}

/// The cast is off.
pub fn remove(visit: &mut Visit, side: Side, now: When) {
    let record = record_mut(visit, side);
    if record.dipped_at.is_some() {
        record.removed_at.get_or_insert(now);
    }
}

/// How far the step has come.
pub fn fill(visit: &Visit, side: Side) -> ui::Fill {
    match record(visit, side).map(|r| (r.dipped_at, r.removed_at)) {
        Some((Some(_), Some(_))) => ui::Fill::Complete,
        Some((Some(_), None)) => ui::Fill::Started,
        _ => ui::Fill::Empty,
    }
}

/// Since when the plaster is wet or the cast off, and the stages from then on; `None` before the
/// dip. Without a chosen plaster the slowest times count: late is safe, early is not.
pub fn stages(visit: &Visit, side: Side, timers: &Timers) -> Option<(When, Vec<Stage>)> {
    let record = record(visit, side)?;
    let dipped = record.dipped_at?;
    if let Some(removed) = record.removed_at {
        return Some((removed, timers.off_the_leg(removed)));
    }
    let slowest = || timers.plaster.iter().max_by_key(|p| p.remove_s);
    let plaster = plaster(visit, side, timers).or_else(slowest)?;
    Some((dipped, timers.on_the_leg(plaster, dipped)))
}

/// The timer as the screen shows it.
pub fn view(
    visit: &Visit,
    side: Side,
    timers: &Timers,
    now: When,
    intended: String,
    mut cautions: Vec<ui::Remark>,
    lang: Lang,
) -> ui::CastView {
    let chosen = plaster(visit, side, timers);
    let item = |p: &Plaster| ui::ChoiceItem {
        text: p.label.get(lang).into(),
        note: p.source.line(lang).into(),
        chosen: chosen.is_some_and(|c| c.id == p.id),
    };
    let mut view = ui::CastView {
        intended: intended.into(),
        plasters: models(timers.plaster.iter().map(item).collect()),
        elapsed: "0:00".into(),
        ..Default::default()
    };
    if let Some(why) = &visit.deferred {
        let said = Text::new("Casting was put off", "Das Gipsen ist verschoben");
        cautions.push(ui::Remark {
            text: format!("{}: {}", said.get(lang), put_off_words(why, lang)).into(),
            source: Default::default(),
            tone: ui::Tone::Caution,
        });
    }
    let Some((since, stages)) = stages(visit, side, timers) else {
        view.cautions = models(cautions);
        return view;
    };
    let on_the_leg = record(visit, side).is_some_and(|r| r.removed_at.is_none());
    if on_the_leg && now < timers.uncovered_until(since) {
        cautions.push(ui::Remark {
            text: timers.heat.say.get(lang).into(),
            source: timers.heat.source.line(lang).into(),
            tone: ui::Tone::Caution,
        });
    }
    view.stage = if on_the_leg { 1 } else { 2 };
    view.elapsed = clock((now - since).num_seconds()).into();
    if let Some((stage, left)) = Stage::at(&stages, now) {
        view.now_text = stage.kind.label(lang).into();
        view.left = left.map(clock).unwrap_or_default().into();
    }
    // The open last stage is drawn a quarter as long as all before it.
    let seconds = |at: When| (at - since).num_seconds() as f32;
    let end = 1.25
        * stages
            .iter()
            .filter_map(|s| s.until)
            .map(seconds)
            .fold(1.0, f32::max);
    let drawn = stages.iter().map(|s| ui::TimerStage {
        text: s.kind.label(lang).into(),
        from: (seconds(s.from) / end).clamp(0.0, 1.0),
        to: s
            .until
            .map_or(1.0, |until| (seconds(until) / end).clamp(0.0, 1.0)),
    });
    view.stages = models(drawn.collect());
    view.at = (seconds(now) / end).clamp(0.0, 0.999);
    view.cautions = models(cautions);
    view
}

/// Longer than any plaster sets on a leg, minutes.
const SETTING_MIN: i64 = 60;

/// Whether plaster is setting on the leg.
pub fn is_setting(record: &CastRecord, now: When) -> bool {
    let dipped = record.dipped_at.filter(|_| record.removed_at.is_none());
    dipped.is_some_and(|at| (now - at).num_minutes() < SETTING_MIN)
}

/// The foot by word, in front of what its timer says.
pub fn foot(side: Side, lang: Lang) -> &'static str {
    match (side, lang) {
        (Side::Left, Lang::En) => "left",
        (Side::Left, Lang::De) => "links",
        (Side::Right, Lang::En) => "right",
        (Side::Right, Lang::De) => "rechts",
    }
}

/// A running timer in a few words, for the screens that are not about its foot; empty when none
/// runs: from the last stage on nothing is waited for.
pub fn brief(visit: &Visit, side: Side, timers: &Timers, now: When, lang: Lang) -> String {
    let running = stages(visit, side, timers).and_then(|(_, stages)| {
        let (stage, left) = Stage::at(&stages, now)?;
        let waited = left.is_some() || is_setting(record(visit, side)?, now);
        waited.then(|| said(side, stage, left, lang))
    });
    running.unwrap_or_default()
}

/// "left: hold still · 1:48".
pub fn said(side: Side, stage: &Stage, left_s: Option<i64>, lang: Lang) -> String {
    let said = format!("{}: {}", foot(side, lang), stage.kind.label(lang));
    match left_s {
        Some(left_s) => format!("{said} · {}", clock(left_s)),
        None => said,
    }
}

/// 192 → "3:12"; hours when there are any; never below 0 when a clock was set back.
fn clock(seconds: i64) -> String {
    let seconds = seconds.max(0);
    let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if h > 0 {
        format!("{h}:{m:02}:{s:02}")
    } else {
        format!("{m}:{s:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slint::Model;

    fn at(s: i64) -> When {
        chrono::DateTime::from_timestamp(1_800_000_000 + s, 0)
            .map(|t| t.fixed_offset())
            .unwrap_or_default()
    }

    #[test]
    fn runs_from_dip_over_removal_to_the_photographs() {
        let timers = Timers::shipped().expect("the shipped times");
        let mut visit = Visit::new("v", at(0), vec![Side::Left]);
        let show = |visit: &Visit, s| {
            view(
                visit,
                Side::Left,
                &timers,
                at(s),
                String::new(),
                vec![],
                Lang::En,
            )
        };
        assert_eq!(
            (show(&visit, 9).stage, show(&visit, 9).elapsed.as_str()),
            (0, "0:00")
        );
        choose_plaster(&mut visit, Side::Left, &timers, 0, Lang::De);
        assert!(
            show(&visit, 9)
                .plasters
                .row_data(0)
                .is_some_and(|p| p.chosen)
        );
        start(&mut visit, Side::Left, "Ines Calloway", at(10));
        choose_plaster(&mut visit, Side::Left, &timers, 1, Lang::De); // too late: it is wet
        start(&mut visit, Side::Left, "Ines Calloway", at(50)); // a second tap changes nothing
        let fast = &timers.plaster[0];
        let moulding = show(&visit, 10 + i64::from(fast.mould_s) - 5);
        assert_eq!(
            (
                moulding.stage,
                moulding.now_text.as_str(),
                moulding.left.as_str()
            ),
            (1, "lay on and mould", "0:05")
        );
        assert_eq!(moulding.stages.row_count(), 4);
        assert_eq!(moulding.cautions.row_count(), 1, "the heat is named");
        let ready = show(&visit, 10 + i64::from(fast.remove_s) + 1);
        assert_eq!(
            (ready.now_text.as_str(), ready.left.as_str()),
            ("may be taken off", "")
        );
        remove(&mut visit, Side::Left, at(700));
        let standing = show(&visit, 760);
        assert_eq!(
            (
                standing.stage,
                standing.elapsed.as_str(),
                standing.now_text.as_str()
            ),
            (2, "1:00", "let it stand")
        );
        assert_eq!(fill(&visit, Side::Left), ui::Fill::Complete);
        // A clock set back shows no nonsense.
        assert_eq!(show(&visit, 0).elapsed, "0:00");
    }
}
