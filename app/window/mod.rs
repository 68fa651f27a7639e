//! The window: one session behind it, one module a screen, long work on a thread of its own.
//!
//! Intents arrive through the callbacks of `Backend`, change the [`session::Session`], and the
//! session is shown anew. Nothing here judges: results and verdicts come from core.

mod about;
mod account;
mod advice;
mod answers;
mod as_before;
mod case_list;
mod check;
mod connect;
mod cues;
mod deciding;
mod desk;
mod exchange;
mod follow;
mod handing;
mod hearing;
mod help;
mod history;
mod labelling;
mod look;
mod marking;
mod open;
mod ordering;
mod photographing;
mod places;
mod posts;
mod printing;
mod questions;
mod reasons;
mod session;
mod settings;
mod show;
mod take;
mod taking;
mod text;
mod timer;
mod told;
mod versions;
mod work;

pub use advice::Tables;
pub use desk::{Desk, Door};
pub use look::Look;
pub use marking::{Marking, Photo};
pub use open::{Case, Open};
pub use session::Session;

use crate::error::AppError;
use crate::invented;
use crate::records::Place;
use crate::sound::SystemVoice;
use plinthside_store::Kdf;
use plinthside_ui::{App, Backend, Data};
use plinthside_visit::Lang;
use slint::{ComponentHandle, ModelRc};
use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::{Rc, Weak};
use std::time::Instant;
use work::{Job, Worker};

/// Why the window could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum WindowError {
    /// No screen, or no way to draw on it.
    #[error(
        "the window can't be opened: {}; `plinthside demo --headless DIR` works without a screen",
        told(.0)
    )]
    Screen(#[from] slint::PlatformError),
}

/// What the window system says of it, without the way through the libraries that stands before it.
fn told(problem: &slint::PlatformError) -> String {
    let text = problem.to_string();
    let line = text.lines().max_by_key(|line| line.len());
    let last = line.and_then(|line| line.rsplit(": ").next());
    last.unwrap_or_default().trim_end_matches('.').to_owned()
}

/// An open window.
pub struct Window {
    app: App,
    inner: Rc<Inner>,
}

/// What the callbacks share.
struct Inner {
    app: slint::Weak<App>,
    session: RefCell<Session>,
    worker: Worker,
    list: Rc<case_list::CaseList>,
    /// The printing thread, while the store is open.
    press: RefCell<Option<printing::Press>>,
    /// The thread that synchronises, while the store is open.
    carrier: RefCell<Option<exchange::Carrier>>,
    tick: RefCell<Option<slint::Timer>>,
    /// Pictures dropped on the window, until all that were dropped together are told.
    dropped: RefCell<Vec<PathBuf>>,
    this: Weak<Self>,
}

/// Opens the window on the user's own store, behind its door, or on a sealed package before it.
///
/// # Errors
/// There is no screen.
pub fn open_own(place: Place, package: Option<&Path>) -> Result<(), AppError> {
    let mut session = own_session(place, papers_folder())?;
    if let Some(package) = package {
        session.package_given(package);
    }
    Ok(Window::new(session)?.run()?)
}

/// A session on the user's own store, behind its door; papers go to `folder`.
///
/// # Errors
/// None in a released program: tests read every table.
pub fn own_session(place: Place, folder: PathBuf) -> Result<Session, AppError> {
    let tables = Tables::shipped()?;
    let desk = Desk::Closed(Door::new(place));
    let mut session = Session::new(desk, Look::of_environment(), tables, folder);
    session.taking.folder = pictures_folder();
    session.voice = Box::new(SystemVoice::find());
    Ok(session)
}

/// Opens the window on the invented clinic, in a store that is thrown away with it; its papers go
/// to a folder of the demonstration.
///
/// # Errors
/// There is no screen, or no room for the store.
pub fn open_demo() -> Result<(), AppError> {
    let folder = tempfile::tempdir().map_err(|source| AppError::Write {
        path: std::env::temp_dir(),
        source,
    })?;
    let papers = PathBuf::from("plinthside-demo");
    let mut session = demo_session(folder.path(), papers)?;
    session.voice = Box::new(SystemVoice::find());
    Ok(Window::new(session)?.run()?)
}

/// A session on the invented clinic, its store in `folder`.
///
/// # Errors
/// No room for the store.
pub fn demo_session(folder: &Path, papers: PathBuf) -> Result<Session, AppError> {
    let tables = Tables::shipped()?;
    let store = folder.join("demo.store");
    let records = invented::store(&store, Some(Kdf::LEAST))?.for_demo();
    let desk = Desk::Closed(Door::default());
    let mut session = Session::new(desk, Look::of_environment(), tables, papers);
    session.taking.folder = pictures_folder();
    session.enter(Box::new(records));
    Ok(session)
}

/// Where papers go unless somebody says otherwise.
fn papers_folder() -> PathBuf {
    let folders = directories::UserDirs::new();
    let documents = folders
        .as_ref()
        .and_then(|f| f.document_dir().or(Some(f.home_dir())));
    documents.unwrap_or(Path::new(".")).join("Plinthside")
}

/// Where a camera's pictures arrive unless somebody says otherwise.
fn pictures_folder() -> PathBuf {
    let folders = directories::UserDirs::new();
    let pictures = folders
        .as_ref()
        .and_then(|f| f.picture_dir().or(Some(f.home_dir())));
    pictures.unwrap_or(Path::new(".")).to_owned()
}

impl Window {
    /// Makes the window without showing it.
    ///
    /// # Errors
    /// There is no screen.
    pub fn new(session: Session) -> Result<Self, WindowError> {
        let app = App::new()?;
        // The name of the desktop entry: by it a desktop finds the icon and groups the windows.
        slint::set_xdg_app_id("plinthside")?;
        let data = app.global::<Data>();
        data.set_saved(Default::default());
        data.set_version(env!("CARGO_PKG_VERSION").into());
        data.set_licences(text::models(about::licences()));
        let weak = app.as_weak();
        let worker = Worker::new(move || {
            // Fails only when the window is gone.
            let _ = weak.upgrade_in_event_loop(|app| app.global::<Backend>().invoke_work_done());
        });
        let inner = Rc::new_cyclic(|weak| Inner {
            app: app.as_weak(),
            session: RefCell::new(session),
            worker,
            list: Rc::new(case_list::CaseList::new(weak.clone())),
            press: RefCell::default(),
            carrier: RefCell::default(),
            tick: RefCell::default(),
            dropped: RefCell::default(),
            this: weak.clone(),
        });
        data.set_cases(ModelRc::from(inner.list.clone()));
        connect::connect(&app, &inner);
        exchange::accept_drops(&app, &inner);
        inner.show();
        Ok(Self { app, inner })
    }

    /// Shows the window until it is closed; the open visit is put away then.
    ///
    /// # Errors
    /// There is no screen.
    pub fn run(&self) -> Result<(), WindowError> {
        self.app.run()?;
        self.inner.session.borrow_mut().put_away();
        Ok(())
    }

    /// What is measured on the cast of the open visit, for tests.
    #[must_use]
    pub fn results(&self) -> Option<plinthside_measure::cast::Results> {
        self.inner
            .session
            .borrow()
            .open
            .as_ref()?
            .case
            .results
            .clone()
    }

    /// The window's component, for tests.
    #[must_use]
    pub fn app(&self) -> &App {
        &self.app
    }

    /// Takes what the worker has told; the event loop does this by itself.
    pub fn pump(&self) {
        self.inner.take_told();
    }
}

impl Inner {
    fn show(&self) {
        if let Some(app) = self.app.upgrade() {
            self.speak(&app);
            self.want_photographs();
            let (version, count) = {
                let mut session = self.session.borrow_mut();
                show::show(&app, &mut session);
                (session.list.version, session.list.count)
            };
            self.list.refresh(version, count);
            self.want_press();
            self.want_carrier();
            self.want_photo();
            self.want_label();
        }
    }

    /// Speaks the language of the look, if the screen still speaks another.
    fn speak(&self, app: &App) {
        let lang = match self.session.borrow().look.lang {
            Lang::De => "de",
            Lang::En => "en",
        };
        if app.global::<Data>().get_language() != lang {
            // Fails only for a language that is not bundled; the old one stands then.
            let _ = slint::select_bundled_translation(if lang == "de" { "de" } else { "" });
        }
    }

    /// Changes the session, saves what was entered and shows it.
    fn change(&self, change: impl FnOnce(&mut Session)) {
        {
            let mut session = self.session.borrow_mut();
            session.touch();
            session.close_asked = false;
            change(&mut session);
            session.save();
        }
        self.show();
    }

    /// Changes the list of questions on the screen.
    fn ask(&self, ask: questions::Ask) {
        self.change(|s| s.ask(ask));
    }

    /// Changes the marks of the open case and measures anew if the change says so.
    fn mark(&self, change: impl FnOnce(&mut Marking) -> bool) {
        let mut marked = false;
        self.change(|s| {
            if let Some(open) = &mut s.open
                && open.case.marking.as_mut().is_some_and(change)
            {
                open.case.keep_taps();
                marked = true;
            }
        });
        if marked {
            self.measure();
        }
    }

    /// Twice a second: the timer runs, new pictures are offered to be taken in or to read a label in,
    /// an idle store is locked.
    fn tick(&self) {
        use plinthside_ui::Screen;
        let (shoots, show) = {
            let mut session = self.session.borrow_mut();
            session.sound_timer();
            let shoots = session.sound_shutter().map(|case| Job::Shoot {
                case,
                look: session.look_for(),
            });
            let show = session.lock_if_idle()
                || shoots.is_some()
                || match session.screen {
                    Screen::Cast => true,
                    Screen::Photographs => {
                        session.taking.look()
                            | session.taking.look_for_missing_camera(Instant::now())
                            || session.taking.shutter_at.is_some()
                    }
                    Screen::Label => session.taking.look(),
                    _ => false,
                };
            if let Some(app) = self.app.upgrade() {
                show::show_other_timer(&app, &session);
            }
            (shoots, show)
        };
        if let Some(shoot) = shoots {
            self.worker.post(shoot);
        }
        if show {
            self.show();
        }
    }
}

#[cfg(test)]
mod by_ruler;
#[cfg(test)]
mod examine_tests;
#[cfg(test)]
mod finger;
#[cfg(test)]
mod follow_tests;
#[cfg(test)]
mod german_tests;
#[cfg(test)]
mod record_tests;
#[cfg(test)]
mod scenarios;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod trouble_tests;
#[cfg(test)]
mod whole_visit;
