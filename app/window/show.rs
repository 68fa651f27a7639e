//! The session as the screen shows it: everything of the current screen is set anew.

use super::advice::{self, Tables};
use super::desk::Desk;
use super::marking::Marking;
use super::open::{Case, Open};
use super::questions::{facts, intended};
use super::session::Session;
use super::{check, follow, handing, help, history, reasons, text, timer, versions};
use crate::visits::Foot;
use chrono::NaiveDate;
use plinthside_measure::marks::Side;
use plinthside_paper::CastCode;
use plinthside_store::Case as Listed;
use plinthside_ui::{self as ui, App, Data, Theme};
use plinthside_visit::order::{OrderState, workshop_matters};
use plinthside_visit::rules::{Checks, Stops};
use plinthside_visit::verdict::Call;
use plinthside_visit::{Clinic, Lang, Text, Visit};
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
    session.refresh_tables();
    show_program(app, session);
    show_other_timer(app, session);
    let since = session.since();
    let clinic = session.clinic();
    let signs = session.prescriber().map_or_else(String::new, |p| p.name);
    let labelling = session.labelling_view();
    let on_its_way = match session.screen {
        ui::Screen::HandOver => session.on_its_way(),
        _ => String::new(),
    };
    let Session {
        open,
        reasons: given,
        help: given_help,
        prints,
        taking,
        screen,
        tables,
        voice,
        ..
    } = session;
    let (screen, lang) = (*screen, look.lang);
    data.set_in_visit(open.is_some());
    let Some(open) = open else {
        data.set_cautions(0);
        return;
    };
    let checks = advice::checks(&open.case, tables);
    data.set_side(side(open.case.side));
    data.set_both_sides(open.case.visit.sides.len() > 1);
    data.set_person(person(open).into());
    data.set_visit(visit_line(open, lang).into());
    data.set_steps(text::models(open.steps(&tables.tolerances)));
    data.set_cautions(advice::count(&checks));
    data.set_helped(help::key(screen).is_some());
    data.set_two_versions(open.versions.count() as i32);
    match screen {
        ui::Screen::Check => {
            let verdict = open.verdict(&tables.tolerances);
            let results = open.case.results.as_ref();
            let mut view = check::view(
                results,
                &verdict,
                &tables.tolerances,
                open.case.decided(),
                open.inner,
                open.stand(&verdict),
                lang,
            );
            view.may_cast_again = open.case.may_cast_again();
            view.may_take_back = open.case.may_take_cast_back();
            if let (Some(_), Some(why)) = (results, &open.case.refused) {
                view.level = ui::Level::ReMark;
                view.sentence = check::older(why, lang).into();
            }
            // Photographs that could not be measured come first: what was checked by hand alone
            // is no judgement on the cast.
            if let (None, Some(marking)) = (results, &open.case.marking) {
                view.level = ui::Level::None;
                view.sentence = text::said(marking.remark(), lang).into();
            }
            data.set_check(view);
        }
        ui::Screen::Photographs => {
            let stops = advice::stopping(&checks, Stops::Photographs, lang);
            let sources = open.case.visit.cast(open.case.side).map(|c| &c.sources);
            let taken = open
                .case
                .marking
                .as_ref()
                .map_or_else(Vec::new, |marking| taken(marking, lang));
            taking.tell_apart(sources);
            let mut view = taking.view(taken, sources, since, stops, lang);
            view.stopped = open.case.marking.as_ref().is_some_and(Marking::is_stopped);
            let advice = open.stand(&open.verdict(&tables.tolerances));
            view.advice = advice
                .map_or_else(String::new, |s| text::said(&s.to_string(), lang))
                .into();
            data.set_taking(view);
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
            let mut view = timer::view(
                visit,
                *side,
                &tables.timers,
                crate::clock::now(),
                intended,
                cautions,
                lang,
            );
            view.sound = match (voice.is_audible(), look.sound) {
                (false, _) => ui::Sound::None,
                (true, on) => {
                    if on {
                        ui::Sound::On
                    } else {
                        ui::Sound::Off
                    }
                }
            };
            data.set_cast(view);
        }
        ui::Screen::Order => {
            data.set_order(question_list(open, screen, tables, &checks, lang));
            data.set_order_state(order_state(open, &checks, &clinic, &signs, lang));
        }
        ui::Screen::Label => {
            let printing = app.global::<ui::Printing>();
            printing.set_labelling(labelling);
            printing.set_view(prints.view(&clinic, true, lang));
            data.set_label(
                open.papers
                    .label_view(&open.case.visit, open.case.side, lang),
            );
        }
        ui::Screen::HandOver => {
            app.global::<ui::Printing>()
                .set_view(prints.view(&clinic, false, lang));
            let source = handing::Source {
                clinic,
                visit: open.case.visit.clone(),
                side: open.case.side,
            };
            data.set_hand_over(open.papers.hand_over_view(
                &source.visit,
                source.side,
                source.lab(),
                &on_its_way,
                lang,
            ));
        }
        ui::Screen::Reasons => app
            .global::<ui::Reasons>()
            .set_view(reasons::view(given, open, &checks, &clinic, lang)),
        ui::Screen::Help => app
            .global::<ui::Help>()
            .set_view(help::view(given_help, lang)),
        ui::Screen::History => data.set_history(history::view(&open.told)),
        ui::Screen::Conflicts => data.set_conflicts(versions::view(open, lang)),
        ui::Screen::FollowUp => {
            open.follow.keep_up(&open.case.visit, open.case.side);
            let mut list = question_list(open, screen, tables, &checks, lang);
            if let Some((asking, ..)) = open.asking(screen) {
                let key = asking.key();
                list.cautions = text::models(follow::compared(open, &key, &tables.norms, lang));
            }
            data.set_follow_questions(list);
            let foot = Foot {
                clinic: &clinic,
                visit: &open.case.visit,
                side: open.case.side,
            };
            let (visit, side) = (&open.case.visit, open.case.side);
            let paper = open.papers.row(ui::PaperKind::Leaflet, visit, side, lang);
            data.set_follow(follow::view(open, foot, paper, lang));
        }
        ui::Screen::Person => {
            let day = open.case.visit.at.map(|at| at.date_naive());
            data.set_visit_is_past(day.is_some_and(|day| day < crate::clock::today()));
            data.set_person_facts(text::models(facts(&open.case.visit, lang)));
            data.set_person_questions(question_list(open, screen, tables, &checks, lang));
        }
        ui::Screen::Inspect => data.set_inspect(question_list(open, screen, tables, &checks, lang)),
        ui::Screen::Ruler => {
            let remark = by_ruler(open, tables, lang);
            let mut list = question_list(open, screen, tables, &checks, lang);
            list.cautions = text::models(vec![remark]);
            data.set_ruler(list);
        }
        ui::Screen::Examine => data.set_examine(question_list(open, screen, tables, &checks, lang)),
        ui::Screen::Position => {
            data.set_position_before(open.position_before().is_some());
            data.set_position(question_list(open, screen, tables, &checks, lang));
        }
        _ => {}
    }
}

/// What ruler and calliper have given so far: the verdict, or what is still missing for one.
fn by_ruler(open: &Open, tables: &Tables, lang: Lang) -> ui::Remark {
    if !open.by_ruler.is_empty() || open.case.results.is_none() {
        let begin = Text::new(
            "Six marks by ruler give the same angles as photographs, with a larger ±.",
            "Sechs Markierungen mit dem Lineal ergeben dieselben Winkel wie Fotos, mit größerem ±.",
        );
        let missing = open.by_ruler.as_str();
        let text = if missing.is_empty() {
            begin.get(lang).to_owned()
        } else {
            text::said(missing, lang)
        };
        return ui::Remark {
            text: text.into(),
            source: Default::default(),
            tone: ui::Tone::Chosen,
        };
    }
    let verdict = open.verdict(&tables.tolerances);
    ui::Remark {
        text: verdict.text.get(lang).into(),
        source: Default::default(),
        tone: match verdict.call {
            Call::Keep => ui::Tone::Good,
            Call::Note => ui::Tone::Chosen,
            Call::Correct | Call::ReMark => ui::Tone::Caution,
            Call::Recast => ui::Tone::Stop,
        },
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
    let mut remarks = advice::about(checks, tables, &key, lang);
    let mut list = asking.view(visit, side, Vec::new(), lang);
    if screen == ui::Screen::Examine {
        let known = advice::publish(&mut list.question, &key, open, tables, lang);
        remarks.extend(known);
    }
    list.cautions = text::models(remarks);
    list
}

fn order_state(
    open: &Open,
    checks: &Checks,
    clinic: &Clinic,
    signs: &str,
    lang: Lang,
) -> ui::OrderView {
    let newest = open
        .case
        .visit
        .order(open.case.side)
        .and_then(|o| o.newest());
    ui::OrderView {
        revision: newest.map_or(1, |r| r.number as i32),
        reason: newest.map_or("", |r| r.reason.as_str()).into(),
        signed: newest.is_some_and(|r| r.signature.is_some()),
        usual: newest.is_some_and(|r| clinic.usual_order == workshop_matters(r)),
        prescriber: signs.into(),
        blocks: text::models(advice::blocks(checks, &open.order, lang)),
        refusal: text::said(&open.refusal, lang).into(),
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

/// The timer that the screen is not about.
pub fn show_other_timer(app: &App, session: &Session) {
    app.global::<Data>()
        .set_other_timer(session.other_timer().into());
}

/// What every screen shows, and the screens outside a visit.
fn show_program(app: &App, session: &mut Session) {
    let data = app.global::<Data>();
    let lang = session.look.lang;
    data.set_person_working(session.person.as_str().into());
    data.set_saved(session.saved_ms.map_or_else(String::new, clock_time).into());
    let mut trouble = text::said(&session.trouble, lang);
    if session.close_asked {
        let held = Text::new(
            "Not everything is saved. Close the window once more to leave without it.",
            "Nicht alles ist gespeichert. Das Fenster noch einmal schließen, um es ohne das zu verlassen.",
        );
        trouble = format!("{trouble}\n{}", held.get(lang)).trim().to_owned();
    }
    data.set_problem(ui::Remark {
        text: trouble.into(),
        source: Default::default(),
        tone: ui::Tone::Stop,
    });
    data.set_query(session.list.query.as_str().into());
    data.set_found(session.list.count as i32);
    data.set_found_more(session.list.more);
    match &session.desk {
        Desk::Closed(door) => data.set_door(ui::DoorView {
            first: door.is_first(),
            place: door
                .place
                .as_ref()
                .map_or_else(String::new, |place| place.path.display().to_string())
                .into(),
            problem: text::said(&door.problem, lang).into(),
            trying: door.trying,
        }),
        Desk::Open(records) => data.set_demo(records.is_demo()),
    }
    if session.screen == ui::Screen::Settings {
        let app = app.global::<ui::Settings>();
        app.set_view(super::settings::view(session));
    }
    super::exchange::show(app, session);
    if session.screen == ui::Screen::Recover {
        let rows = recover_rows(session, lang);
        data.set_unfinished(text::models(rows));
    }
}

/// A moment as the status line says it.
fn clock_time(ms: i64) -> String {
    let at = chrono::DateTime::from_timestamp_millis(ms);
    at.map_or_else(String::new, |at| {
        at.with_timezone(&chrono::Local)
            .format("%H:%M:%S")
            .to_string()
    })
}

fn recover_rows(session: &mut Session, lang: Lang) -> Vec<ui::UnfinishedRow> {
    let unfinished = session.list.unfinished.clone();
    unfinished
        .iter()
        .map(|work| {
            let visit: Option<Visit> = session
                .records()
                .and_then(|records| records.store().read(&work.id).ok())
                .and_then(|value| serde_json::from_value(value).ok());
            let name = visit.map_or_else(
                || work.id.clone(),
                |visit| match visit.person.name.is_empty() {
                    true => visit.person.code,
                    false => visit.person.name,
                },
            );
            let when = Text::new("last entry", "letzter Eintrag")
                .get(lang)
                .to_owned();
            ui::UnfinishedRow {
                name: name.into(),
                detail: format!("{when} {}", clock_time(work.saved_at_ms)).into(),
                entries: work.entries as i32,
                new: work.new,
            }
        })
        .collect()
}

fn taken(marking: &Marking, lang: Lang) -> Vec<ui::TakenPhoto> {
    let photos = marking.photos.iter().map(|photo| ui::TakenPhoto {
        name: photo.name.as_str().into(),
        tags: photo.tags.as_ref().map_or(-1, |t| t.tags.len() as i32),
        problem: text::said(&photo.problem, lang).into(),
        picture: photo
            .small
            .clone()
            .map_or_else(Default::default, slint::Image::from_rgb8),
    });
    photos.collect()
}

/// One page of the list of visits.
pub fn case_rows(session: &mut Session, page: usize) -> Vec<ui::CaseRow> {
    let lang = session.look.lang;
    let Session { desk, list, .. } = session;
    let Desk::Open(records) = desk else {
        return Vec::new();
    };
    let cases = list.page(records, page).unwrap_or_default();
    cases.iter().map(|case| case_row(case, lang)).collect()
}

fn case_row(case: &Listed, lang: Lang) -> ui::CaseRow {
    let name = match case.patient.is_empty() {
        true => &case.person_code,
        false => &case.patient,
    };
    let day = case.at.get(..10).and_then(|day| day.parse().ok());
    let day = day.map(|day: NaiveDate| {
        let form = Text::new("%-d %b %Y", "%d.%m.%Y");
        day.format(form.get(lang)).to_string()
    });
    let code = case.codes.split(' ').next().unwrap_or_default();
    let code = code
        .parse::<CastCode>()
        .map_or_else(|_| String::new(), |c| c.to_string());
    let detail: Vec<String> = [day.unwrap_or_default(), code, case.lab.clone()]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect();
    let states: Vec<String> = case
        .state
        .split(' ')
        .map(|state| match state {
            "visit" => String::new(),
            "deferred" => Text::new("casting put off", "Gipsen verschoben")
                .get(lang)
                .into(),
            state => OrderState::from(state.to_owned()).label(lang).to_owned(),
        })
        .filter(|state| !state.is_empty())
        .collect();
    ui::CaseRow {
        name: name.as_str().into(),
        detail: detail.join(" · ").into(),
        left: case.sides.contains("left"),
        right: case.sides.contains("right"),
        state: match case.conflicts {
            0 => states.join(", ").into(),
            _ => Text::new("two versions: choose", "zwei Fassungen: wählen")
                .get(lang)
                .into(),
        },
        tone: if case.conflicts > 0 {
            ui::Tone::Caution
        } else {
            ui::Tone::Plain
        },
    }
}
