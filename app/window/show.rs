//! The session as the screen shows it: everything of the current screen is set anew.

use super::advice::{self, Tables};
use super::questions::{facts, intended};
use super::session::{Case, Open, Session};
use super::{check, text, timer};
use plinthside_measure::marks::Side;
use plinthside_ui::{self as ui, App, Data, Theme};
use plinthside_visit::rules::{Checks, Stops};
use plinthside_visit::{Clinic, Lang};
use slint::ComponentHandle;

/// Shows the session.
pub fn show(app: &App, session: &mut Session) {
    let data = app.global::<Data>();
    let theme = app.global::<Theme>();
    let look = session.look;
    theme.set_dark(look.dark);
    theme.set_text_scale(look.text_percent as f32 / 100.0);
    data.set_language(if look.lang == Lang::De { "de" } else { "en" }.into());
    data.set_screen(session.screen);
    data.set_cases(text::models(
        session
            .cases
            .iter()
            .map(|open| case_row(open, session))
            .collect(),
    ));
    let Session {
        cases,
        current,
        screen,
        tables,
        clinic,
        folder,
        ..
    } = session;
    let (screen, lang) = (*screen, look.lang);
    let Some(open) = cases.get_mut(*current) else {
        return;
    };
    let checks = advice::checks(&open.case, tables);
    data.set_side(side(open.case.side));
    data.set_person(person(open).into());
    data.set_visit(visit_line(open, lang).into());
    data.set_steps(text::models(open.steps(&tables.tolerances)));
    data.set_cautions(advice::count(&checks));
    match screen {
        ui::Screen::Check => {
            let verdict = open.verdict(&tables.tolerances);
            let results = open.case.results.as_ref();
            let mut view = check::view(
                results,
                &verdict,
                &tables.tolerances,
                open.decided,
                open.inner,
                lang,
            );
            // Photographs that could not be measured come first: what was checked by hand alone
            // is no judgement on the cast.
            if let (None, Some(marking)) = (results, &open.case.marking) {
                view.level = ui::Level::None;
                view.sentence = marking.remark().into();
            }
            data.set_check(view);
        }
        ui::Screen::Mark => {
            if let Some(marking) = &open.case.marking {
                data.set_mark(marking.view(lang));
            }
        }
        ui::Screen::Cast => {
            let Case { visit, side, .. } = &open.case;
            let intended = intended(visit, *side, lang);
            let cautions = advice::stopping(&checks, Stops::Casting, lang);
            data.set_cast(timer::view(
                visit,
                *side,
                &tables.timers,
                crate::clock::now(),
                intended,
                cautions,
                lang,
            ));
        }
        ui::Screen::Order => {
            data.set_order(question_list(open, screen, tables, &checks, lang));
            data.set_order_state(order_state(open, &checks, clinic, lang));
        }
        ui::Screen::Label => {
            data.set_label(open.papers.label_view(&open.case.visit, open.case.side))
        }
        ui::Screen::HandOver => data.set_hand_over(open.papers.hand_over_view(folder)),
        ui::Screen::Person => {
            data.set_person_facts(text::models(facts(&open.case.visit, lang)));
            data.set_person_questions(question_list(open, screen, tables, &checks, lang));
        }
        ui::Screen::Examine => data.set_examine(question_list(open, screen, tables, &checks, lang)),
        ui::Screen::Position => {
            data.set_position(question_list(open, screen, tables, &checks, lang))
        }
        _ => {}
    }
}

fn question_list(
    open: &mut Open,
    screen: ui::Screen,
    tables: &Tables,
    checks: &Checks,
    lang: Lang,
) -> ui::QuestionList {
    let Some((asking, visit, side)) = open.asking(screen) else {
        return Default::default();
    };
    let key = asking.key();
    let mut list = asking.view(visit, side, advice::about(checks, tables, &key, lang), lang);
    if screen == ui::Screen::Examine {
        advice::publish(&mut list.question, &key, &open.case, tables, side, lang);
    }
    list
}

fn order_state(open: &Open, checks: &Checks, clinic: &Clinic, lang: Lang) -> ui::OrderView {
    let newest = open
        .case
        .visit
        .order(open.case.side)
        .and_then(|o| o.newest());
    let prescriber = clinic.prescribers.first().map_or("", |p| p.name.as_str());
    ui::OrderView {
        revision: newest.map_or(1, |r| r.number as i32),
        signed: newest.is_some_and(|r| r.signature.is_some()),
        prescriber: prescriber.into(),
        blocks: text::models(advice::blocks(checks, &open.order, lang)),
        refusal: open.refusal.as_str().into(),
    }
}

fn side(side: Side) -> ui::Side {
    match side {
        Side::Left => ui::Side::Left,
        Side::Right => ui::Side::Right,
    }
}

fn person(open: &Open) -> String {
    let visit = &open.case.visit;
    let name = if visit.person.name.is_empty() {
        &visit.person.code
    } else {
        &visit.person.name
    };
    match visit
        .at
        .and_then(|at| visit.person.age_years(at.date_naive()))
    {
        Some(years) => format!("{name} · {years}"),
        None => name.clone(),
    }
}

fn visit_line(open: &Open, lang: Lang) -> String {
    let visit = &open.case.visit;
    let code = visit.cast(open.case.side).and_then(|c| c.code.clone());
    let day = visit.at.map(|at| {
        at.format(if lang == Lang::De {
            "%d.%m.%Y"
        } else {
            "%-d %b %Y"
        })
        .to_string()
    });
    [code, day]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" · ")
}

fn case_row(open: &Open, session: &Session) -> ui::CaseRow {
    let lang = session.look.lang;
    let (state, tone) = match &open.case.results {
        Some(_) => {
            let call = open.verdict(&session.tables.tolerances).call;
            (call.text().get(lang).to_owned(), check::tone(call))
        }
        None => (String::new(), ui::Tone::Plain),
    };
    ui::CaseRow {
        name: person(open).into(),
        detail: visit_line(open, lang).into(),
        side: side(open.case.side),
        state: state.into(),
        tone,
    }
}
