//! The intents of the screens of other devices and packages, and the thread behind them.

use super::super::connect::with;
use super::super::session::Session;
use super::super::work::Job;
use super::super::{Desk, Inner};
use super::carrier::{Carrier, Want};
use super::packages;
use plinthside_ui::{App, Backend, Data, Exchange};
use slint::ComponentHandle;
use std::rc::Rc;

/// Connects every callback.
pub fn connect(app: &App, inner: &Rc<Inner>) {
    let exchange = app.global::<Exchange>();
    exchange.on_open(with!(inner, |i, page| i.carry(|s| s.exchange_open(page))));
    exchange.on_back(with!(inner, |i| i.change(|s| s.exchange_back())));
    exchange.on_choose_target(with!(inner, |i, row| i.change(|s| s.choose_target(row))));
    exchange.on_keep_target(with!(inner, |i, name, address, user, secret, pem| i.carry(
        |s| {
            let kept = s.keep_target([&name, &address, &user, &secret, &pem]);
            kept.then_some(Want::Look)
        }
    )));
    exchange.on_remove_target(with!(inner, |i| i.change(|s| s.remove_target())));
    exchange.on_sync(with!(inner, |i| i.carry(|s| {
        s.exchange.hush();
        Some(Want::Sync)
    })));
    exchange.on_cancel(with!(inner, |i| {
        if let Some(carrier) = &*i.carrier.borrow() {
            carrier.stop();
        }
    }));
    exchange.on_begin(with!(inner, |i| i.carry(|s| {
        s.begin_practice();
        Some(Want::Look)
    })));
    exchange.on_meet_at(with!(inner, |i, row| i.carry(|s| s.meet_at(row as usize))));
    exchange.on_join(with!(inner, |i, code| i.carry(|s| s.join(&code))));
    exchange.on_ask_strike(with!(inner, |i, row| i.change(|s| s.ask_strike(row as usize))));
    exchange.on_strike(with!(inner, |i| i.carry(|s| {
        s.strike();
        Some(Want::Look)
    })));
    exchange.on_change_key(with!(inner, |i| i.carry(|s| {
        s.change_key();
        Some(Want::Look)
    })));
    exchange.on_choose_setting(with!(inner, |i, row, choice| i
        .change(|s| s.choose_setting(row as usize, choice as usize))));
    exchange.on_settle_setting(with!(inner, |i, row| i.carry(|s| {
        s.settle_setting(row as usize);
        Some(Want::Look)
    })));
    exchange.on_look(with!(inner, |i, path| i.change(|s| s.package_look(&path))));
    exchange.on_choose_package(with!(inner, |i, row| i.change(|s| s.package_choose(row as usize))));
    exchange.on_open_package(with!(inner, |i, path, key| {
        let mut opening = None;
        i.change(|s| opening = s.package_wanted(&path, &key));
        if let Some(opening) = opening {
            i.worker.post(Job::OpenPackage(Box::new(opening)));
        }
    }));
}

/// Files dropped on the window are taken in as photographs or opened as packages. The window system tells of them where it
/// has such a thing; a window drawn in memory never does.
#[cfg(not(target_os = "android"))]
pub fn accept_drops(app: &App, inner: &Rc<Inner>) {
    use slint::winit_030::{EventResult, WinitWindowAccessor, winit::event::WindowEvent};
    let weak = Rc::downgrade(inner);
    app.window().on_winit_window_event(move |_, event| {
        if let (WindowEvent::DroppedFile(path), Some(inner)) = (event, weak.upgrade()) {
            inner.dropped(path);
        }
        EventResult::Propagate
    });
}

/// Nothing is dropped on a window that has the whole screen.
#[cfg(target_os = "android")]
pub fn accept_drops(_app: &App, _inner: &Rc<Inner>) {}

impl Inner {
    /// Changes the session and wants of the thread what that asks for.
    fn carry(&self, change: impl FnOnce(&mut Session) -> Option<Want>) {
        let mut want = None;
        self.change(|s| want = change(s));
        if let (Some(carrier), Some(want)) = (&*self.carrier.borrow(), want) {
            carrier.want(want);
        }
    }

    /// The thread lives as long as the store is open.
    pub(in crate::window) fn want_carrier(&self) {
        let (open, every) = {
            let session = self.session.borrow();
            let open = matches!(session.desk, Desk::Open(_));
            (open, session.exchange.every)
        };
        let mut carrier = self.carrier.borrow_mut();
        if !open {
            *carrier = None;
        } else if carrier.is_none() {
            let weak = self.app.clone();
            *carrier = Some(Carrier::new(every, move || {
                // Fails only when the window is gone.
                let _ =
                    weak.upgrade_in_event_loop(|app| app.global::<Backend>().invoke_work_done());
            }));
        }
    }

    /// Lends the store to the thread and takes what it tells; `true` if there is more to show than
    /// its progress.
    pub(in crate::window) fn take_carried(&self) -> bool {
        let mut session = self.session.borrow_mut();
        let told = {
            let carrier = self.carrier.borrow();
            let (Some(carrier), Some(records)) = (&*carrier, session.records()) else {
                return false;
            };
            carrier.take(records.store())
        };
        if told.is_empty() {
            return false;
        }
        let new = told
            .into_iter()
            .fold(false, |new, told| session.exchange_take(told) | new);
        if let (false, Some(app)) = (new, self.app.upgrade()) {
            show_progress(&app, &session);
        }
        new
    }
}

/// Shows how far it is, and nothing else.
pub fn show_progress(app: &App, session: &Session) {
    let lang = session.look.lang;
    app.global::<Exchange>()
        .set_progress(session.exchange.progress(lang));
    let status = session.exchange.status(lang);
    app.global::<Data>()
        .set_status(super::super::text::models(status));
}

/// Shows the two screens.
pub fn show(app: &App, session: &mut Session) {
    use plinthside_ui::Screen;
    show_progress(app, session);
    let exchange = app.global::<Exchange>();
    match session.screen {
        Screen::Exchange => exchange.set_view(super::view::view(session)),
        Screen::Package => {
            exchange.set_package(packages::view(&session.packages, session.look.lang));
        }
        _ => {}
    }
}
