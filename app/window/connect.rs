//! Every intent of the screens, answered.

use super::desk::Desk;
use super::printing::Want;
use super::questions::Ask;
use super::session::Session;
use super::work::{Job, Opening};
use super::{Inner, timer};
use plinthside_ui::{App, Backend, PaperKind, Screen};
use plinthside_visit::Lang;
use slint::{CloseRequestResponse, ComponentHandle};
use std::rc::Rc;
use std::time::Duration;

/// Connects every callback. The handlers hold the window only weakly.
pub fn connect(app: &App, inner: &Rc<Inner>) {
    program(app, inner);
    settings(app, inner);
    desk(app, inner);
    visits(app, inner);
    photographs(app, inner);
    closing(app, inner);
    questions(app, inner);
    cast(app, inner);
    order(app, inner);
    papers(app, inner);
    follow(app, inner);
    record(app, inner);
    help(app, inner);
    printing(app, inner);
    reasons(app, inner);
    super::exchange::connect(app, inner);
    check(app, inner);
    marks(app, inner);
}

/// A handler that does nothing once the window is gone.
macro_rules! with {
    ($inner:ident, |$i:ident $(, $arg:ident)*| $body:expr) => {{
        let weak = Rc::downgrade($inner);
        move |$($arg),*| {
            if let Some($i) = weak.upgrade() {
                $body
            }
        }
    }};
}

pub(super) use with;

fn program(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_go(with!(inner, |i, screen| i.change(|s| s.go(screen))));
    backend.on_work_done(with!(inner, |i| i.take_told()));
    backend.on_cancel_work(with!(inner, |i| i.worker.cancel()));
    backend.on_set_dark(with!(inner, |i, dark| i.change(|s| {
        s.look.dark = dark;
        s.keep_look();
    })));
    backend.on_set_sound(with!(inner, |i, on| i.change(|s| {
        s.look.sound = on;
        s.keep_look();
    })));
    backend.on_set_text_scale(with!(inner, |i, percent| i.change(|s| {
        s.look.text_percent = u32::try_from(percent).unwrap_or(100).clamp(100, 150);
        s.keep_look();
    })));
    backend.on_set_language(with!(inner, |i, code| i.change(|s| {
        s.look.lang = if code == "de" { Lang::De } else { Lang::En };
        s.keep_look();
    })));
}

/// The clinic's own settings.
fn settings(app: &App, inner: &Rc<Inner>) {
    let settings = app.global::<plinthside_ui::Settings>();
    settings.on_open(with!(inner, |i, page| i.change(|s| s.settings_open(page))));
    settings.on_choose(with!(inner, |i, row| i
        .change(|s| s.settings_choose(row as usize))));
    settings.on_mark(with!(inner, |i, row| i.change(|s| s.settings_mark(row as usize))));
    settings.on_add(with!(inner, |i| i.change(Session::settings_add)));
    settings.on_remove(with!(inner, |i| i.change(Session::settings_remove)));
    settings.on_back(with!(inner, |i| i.change(Session::settings_back)));
    settings.on_load_rules(with!(inner, |i, path| i
        .change(|s| s.load_rules(path.as_str().as_ref()))));
    settings.on_drop_rules(with!(inner, |i| i.change(Session::drop_rules)));
    settings.on_export_rules(with!(inner, |i| i.change(Session::export_rules)));
    settings.on_save_mat(with!(inner, |i| i.change(Session::save_mat)));
    settings.on_print_mat(with!(inner, |i| {
        let want = i.session.borrow().print_mat();
        i.want_print(Some(want));
        i.change(Session::mat_is_printed);
    }));
    settings.on_keep_mat(with!(inner, |i| i.change(Session::keep_mat)));
}

/// Opening, making and locking the store; taking up what an earlier session left.
fn desk(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_unlock(with!(inner, |i, passphrase| i.try_door(&passphrase, None)));
    backend.on_create_store(with!(
        inner,
        |i, passphrase, again, clinic, telephone, person| {
            if passphrase == again {
                i.try_door(
                    &passphrase,
                    Some(super::desk::new_clinic(&clinic, &telephone, &person)),
                );
            } else {
                i.change(|s| {
                    if let Desk::Closed(door) = &mut s.desk {
                        door.problem = super::desk::not_alike(s.look.lang);
                    }
                });
            }
        }
    ));
    backend.on_lock(with!(inner, |i| i.change(Session::lock)));
    backend.on_recover(with!(inner, |i, index| i.change(|s| s.recover(index as usize))));
    backend.on_discard(with!(inner, |i, index| i.change(|s| s.discard(index as usize))));
}

fn visits(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_search(with!(inner, |i, text| i.change(|s| {
        s.list.query = text.into();
        s.refresh_list();
    })));
    backend.on_open_case(with!(inner, |i, index| i.change(|s| {
        if let Some(id) = s.listed(index as usize) {
            s.open_visit(&id, None, Screen::Check);
        }
    })));
    backend.on_new_visit(with!(inner, |i, left, right| i.change(|s| {
        s.begin_visit(super::desk::sides(left, right), None);
    })));
    backend.on_visit_again(with!(inner, |i| i.change(Session::visit_again)));
    backend.on_turn_to(with!(inner, |i, side| i
        .change(|s| s.turn_to(super::desk::side(side)))));
    backend.on_close_visit(with!(inner, |i| i.change(|s| {
        s.put_away();
        s.screen = Screen::Cases;
    })));
}

fn photographs(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_choose_offered(with!(inner, |i, index| i
        .change(|s| s.taking.choose(index as usize))));
    backend
        .on_set_photo_folder(with!(inner, |i, folder| i.change(|s| s.set_photo_folder(&folder))));
    backend.on_touch_shutter(with!(inner, |i| i.change(|s| {
        s.taking.problems.clear();
        s.taking.touch_shutter(std::time::Instant::now());
    })));
    backend.on_look_for_tags(with!(inner, |i| i.mark(|m| {
        m.look_again();
        false
    })));
    backend.on_leave_photo_out(with!(inner, |i, index| i.change(|s| {
        if let Some(open) = &mut s.open {
            open.case.leave_out(index as usize);
        }
    })));
    backend.on_take_photographs(with!(inner, |i| {
        i.change(|s| s.taking.problems.clear());
        let paths = i.session.borrow().wanted_photographs();
        i.take_in(paths);
    }));
}

impl Inner {
    /// Tries a passphrase, off the screen's thread: it takes half a second by design.
    fn try_door(&self, passphrase: &str, create: Option<plinthside_visit::Clinic>) {
        let mut job = None;
        self.change(|s| {
            let person = create
                .as_ref()
                .and_then(|clinic| clinic.prescribers.first())
                .map_or_else(String::new, |p| p.name.clone());
            if let Desk::Closed(door) = &mut s.desk
                && let (Some(place), false) = (&door.place, door.trying)
            {
                door.trying = true;
                door.problem.clear();
                job = Some(Opening {
                    path: place.path.clone(),
                    passphrase: passphrase.to_owned().into(),
                    create: create.map(|clinic| (clinic, person)),
                });
            }
        });
        if let Some(opening) = job {
            self.worker.post(Job::Open(Box::new(opening)));
        }
    }
}

/// A window with entries that the disk has refused closes only when that is asked for twice.
fn closing(app: &App, inner: &Rc<Inner>) {
    let weak = Rc::downgrade(inner);
    app.window().on_close_requested(move || {
        let held = weak.upgrade().is_some_and(|inner| {
            let held = !inner.session.borrow_mut().may_close();
            if held {
                inner.show();
            }
            held
        });
        match held {
            true => CloseRequestResponse::KeepWindowShown,
            false => CloseRequestResponse::HideWindow,
        }
    });
}

fn questions(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_choose_question(with!(inner, |i, index| i.ask(Ask::Question(index as usize))));
    backend.on_step_value(with!(inner, |i, steps| i.ask(Ask::Step(steps))));
    backend.on_set_value(with!(inner, |i, value| i.ask(Ask::Set(f64::from(value)))));
    backend.on_measure_again(with!(inner, |i| i.ask(Ask::Again)));
    backend.on_choose_repeat(with!(inner, |i, index| i.ask(Ask::Repeat(index as usize))));
    backend.on_choose_answer(with!(inner, |i, index| i.ask(Ask::Answer(index as usize))));
    backend.on_type_answer(with!(inner, |i, text| i.ask(Ask::Type(text.into()))));
    backend.on_undo(with!(inner, |i| i.ask(Ask::Undo)));
    backend.on_next_question(with!(inner, |i| i.ask(Ask::Next)));
    backend.on_confirm_together(with!(inner, |i| i.ask(Ask::Together)));
    backend.on_all_well(with!(inner, |i| i.ask(Ask::AllWell)));
    backend.on_position_as_before(with!(inner, |i| i.change(Session::position_as_before)));
}

fn cast(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_choose_plaster(with!(inner, |i, index| i.change(|s| {
        let lang = s.look.lang;
        let Session { open, tables, .. } = s;
        if let Some(open) = open {
            timer::choose_plaster(
                &mut open.case.visit,
                open.case.side,
                &tables.timers,
                index as usize,
                lang,
            );
        }
    })));
    backend.on_start_timer(with!(inner, |i| i.change(|s| {
        let Session { open, person, .. } = s;
        if let Some(open) = open {
            let case = &mut open.case;
            timer::start(&mut case.visit, case.side, person, crate::clock::now());
        }
    })));
    backend.on_put_off(with!(inner, |i| i.change(Session::put_off)));
    backend.on_cast_removed(with!(inner, |i| i.change(|s| {
        if let Some(open) = &mut s.open {
            timer::remove(&mut open.case.visit, open.case.side, crate::clock::now());
        }
    })));
    // The clock of the timer; it costs nothing on the other screens.
    let tick = slint::Timer::default();
    tick.start(
        slint::TimerMode::Repeated,
        Duration::from_millis(500),
        with!(inner, |i| {
            i.tick();
        }),
    );
    *inner.tick.borrow_mut() = Some(tick);
}

fn order(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_fill_order(with!(inner, |i| i.change(Session::fill_order)));
    backend.on_sign_order(with!(inner, |i| i.change(Session::sign_order)));
    backend.on_keep_as_usual(with!(inner, |i| i.change(Session::keep_as_usual)));
}

fn papers(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_bind_code(with!(inner, |i| i.change(Session::bind_own_code)));
    backend.on_save_label(with!(inner, |i| i.write_papers(vec![PaperKind::Label])));
    backend.on_write_papers(with!(inner, |i| i.hand_over()));
}

fn follow(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_begin_act(with!(inner, |i, act| i.change(|s| s.begin_act(act))));
    backend.on_record_act(with!(inner, |i| i.change(Session::record_act)));
    backend.on_leave_act(with!(inner, |i| i.change(Session::leave_act)));
    backend.on_show_leaflet(with!(inner, |i, open| i.change(|s| s.show_leaflet(open))));
    backend.on_write_leaflet(with!(inner, |i| i.write_papers(vec![PaperKind::Leaflet])));
}

fn help(app: &App, inner: &Rc<Inner>) {
    let help = app.global::<plinthside_ui::Help>();
    help.on_open(with!(inner, |i| i.change(Session::open_help)));
    help.on_write_card(with!(inner, |i| i.change(Session::write_card)));
    help.on_leave(with!(inner, |i| i.change(Session::leave_help)));
}

fn record(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_go_back(with!(inner, |i| i.change(Session::go_back)));
    backend.on_tell_earlier(with!(inner, |i| i.change(|s| s.tell_history(true))));
    backend.on_show_then(with!(inner, |i, index| i.change(|s| s.show_then(index))));
    backend.on_ask_erase(with!(inner, |i, ask| i.change(|s| s.ask_erase(ask))));
    backend.on_erase_visit(with!(inner, |i| i.change(Session::erase_visit)));
    backend.on_choose_version(with!(inner, |i, conflict, choice| i
        .change(|s| s.choose_version(conflict as usize, choice as usize))));
    backend.on_settle_versions(with!(inner, |i, conflict| i
        .change(|s| s.settle_versions(conflict as usize))));
}

fn printing(app: &App, inner: &Rc<Inner>) {
    let printing = app.global::<plinthside_ui::Printing>();
    printing.on_print(with!(inner, |i, paper| {
        i.change(|s| s.prints.problem.clear());
        let want = i.session.borrow().print(paper);
        i.want_print(want);
    }));
    printing.on_choose_printer(with!(inner, |i, labels, index| i.change(|s| {
        let clinic = s.clinic();
        s.prints.choose(&clinic, labels, index as usize);
    })));
    let of = |i: &Rc<Inner>, job: i32, want: fn(String) -> Want| {
        let id = i
            .session
            .borrow()
            .prints
            .jobs
            .get(job as usize)
            .map(|job| job.id.clone());
        i.want_print(id.map(want));
    };
    printing.on_cancel(with!(inner, |i, job| of(&i, job, Want::Cancel)));
    printing.on_again(with!(inner, |i, job| of(&i, job, Want::Again)));
    printing.on_settle(with!(inner, |i, job| of(&i, job, Want::Settle)));
    printing.on_label_do(with!(inner, |i, doing| i.change(|s| s.label_do(doing))));
    printing.on_label_typed(with!(inner, |i, text| i.change(|s| s.label_typed(&text))));
    printing.on_label_void(with!(inner, |i, reason| i
        .change(|s| s.void_label(reason as usize))));
    printing.on_label_pictured(with!(inner, |i, index| {
        let session = i.session.borrow();
        let path = session.label_picture(index as usize);
        if let (Some(open), Some(path)) = (&session.open, path) {
            let case = open.serial;
            i.worker.post(Job::ReadLabel { case, path });
        }
    }));
}

fn reasons(app: &App, inner: &Rc<Inner>) {
    let reasons = app.global::<plinthside_ui::Reasons>();
    reasons.on_open(with!(inner, |i| i.change(Session::show_reasons)));
    reasons.on_ask(with!(inner, |i, block| i.change(|s| s.ask_reason(block as usize))));
    reasons.on_amend(with!(inner, |i| i.change(Session::ask_amendment)));
    reasons.on_drop_amendment(with!(inner, |i| i.change(Session::drop_amendment)));
    reasons.on_give(with!(inner, |i, reason| i.change(|s| s.give_reason(&reason))));
    reasons.on_take_back(with!(inner, |i, block| i
        .change(|s| s.take_reason_back(block as usize))));
    reasons.on_leave(with!(inner, |i| i.change(Session::leave_reasons)));
}

fn check(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_show_inner_face(with!(inner, |i, inner_face| i.change(|s| {
        if let Some(open) = &mut s.open {
            open.inner = inner_face;
        }
    })));
    backend.on_keep_cast(with!(inner, |i| i.change(Session::keep_cast)));
    backend.on_cast_again(with!(inner, |i| i.change(Session::cast_again)));
}

fn marks(app: &App, inner: &Rc<Inner>) {
    let backend = app.global::<Backend>();
    backend.on_tap_photo(with!(inner, |i, x, y| i
        .mark(|m| m.tap([f64::from(x), f64::from(y)]))));
    backend.on_nudge_mark(with!(inner, |i, dx, dy| i
        .mark(|m| m.nudge(f64::from(dx), f64::from(dy)))));
    backend.on_remove_tap(with!(inner, |i| i.mark(super::Marking::remove)));
    backend.on_undo_mark(with!(inner, |i| i.mark(super::Marking::undo)));
    backend.on_seek_marks(with!(inner, |i| i.seek_marks()));
    backend.on_choose_mark(with!(inner, |i, index| i.mark(|m| {
        m.choose_mark(index as usize);
        false
    })));
    backend.on_choose_photo(with!(inner, |i, index| i.mark(|m| {
        m.choose_photo(index as usize);
        false
    })));
}
