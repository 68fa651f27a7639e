//! The window: one session behind it, one module a screen, long work on a thread of its own.
//!
//! Intents arrive through the callbacks of `Backend`, change the [`session::Session`], and the
//! session is shown anew. Nothing here judges: results and verdicts come from core.

mod advice;
mod check;
mod connect;
mod demo;
mod handing;
mod marking;
mod questions;
mod session;
mod show;
mod text;
mod timer;
mod work;

pub use advice::Tables;
pub use marking::{Marking, Photo};
pub use session::{Case, Look, Session};

use crate::error::AppError;
use plinthside_ui::{App, Backend, Data};
use plinthside_visit::data::DataError;
use plinthside_visit::{Clinic, Lang};
use slint::ComponentHandle;
use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;
use work::{Job, Measuring, Told, Worker};

/// Why the window could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum WindowError {
    /// No screen, or no way to draw on it.
    #[error(
        "the window can't be opened: {0}; `plinthside demo --headless DIR` works without a screen"
    )]
    Screen(#[from] slint::PlatformError),
    /// A table can't be read.
    #[error(transparent)]
    Table(#[from] DataError),
    /// The demo data can't be read.
    #[error(transparent)]
    Demo(#[from] demo::DemoError),
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
    tick: RefCell<Option<slint::Timer>>,
}

/// Opens the window on the invented clinic; its papers go to a folder of the demonstration.
///
/// # Errors
/// There is no screen.
pub fn open_demo() -> Result<(), AppError> {
    let opened = demo::demo()
        .map_err(WindowError::from)
        .and_then(|(clinic, cases)| {
            open(
                cases,
                clinic,
                Look::of_environment(),
                PathBuf::from("plinthside-demo"),
                true,
            )
        });
    opened.map_err(|e| AppError::Request(e.to_string()))
}

/// Opens the window on some visits and returns when it is closed. `demo` says on screen that
/// nothing is kept.
///
/// # Errors
/// There is no screen.
pub fn open(
    cases: Vec<Case>,
    clinic: Clinic,
    look: Look,
    folder: PathBuf,
    demo: bool,
) -> Result<(), WindowError> {
    let window = Window::new(Session::new(
        cases,
        clinic,
        look,
        Tables::shipped()?,
        folder,
    ))?;
    window.app.global::<Data>().set_demo(demo);
    window.app.run()?;
    Ok(())
}

/// The case a job belonged to.
fn case_of(session: &mut Session, case: usize) -> Option<&mut Case> {
    session.cases.get_mut(case).map(|open| &mut open.case)
}

impl Window {
    /// Makes the window without showing it.
    ///
    /// # Errors
    /// There is no screen.
    pub fn new(session: Session) -> Result<Self, WindowError> {
        let app = App::new()?;
        let data = app.global::<Data>();
        data.set_saved(Default::default());
        data.set_status(text::models(Vec::new()));
        data.set_version(env!("CARGO_PKG_VERSION").into());
        let weak = app.as_weak();
        let worker = Worker::new(move || {
            // Fails only when the window is gone.
            let _ = weak.upgrade_in_event_loop(|app| app.global::<Backend>().invoke_work_done());
        });
        let inner = Rc::new(Inner {
            app: app.as_weak(),
            session: RefCell::new(session),
            worker,
            tick: RefCell::default(),
        });
        connect::connect(&app, &inner);
        // Fails only for a language that is not bundled; English stands then.
        let german = inner.session.borrow().look.lang == Lang::De;
        let _ = slint::select_bundled_translation(if german { "de" } else { "" });
        inner.detect_all();
        inner.show();
        Ok(Self { app, inner })
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
            show::show(&app, &mut self.session.borrow_mut());
            self.want_photo();
            self.want_label();
        }
    }

    /// Changes the session and shows it.
    fn change(&self, change: impl FnOnce(&mut Session)) {
        change(&mut self.session.borrow_mut());
        self.show();
    }

    /// Changes the list of questions on the screen.
    fn ask(
        &self,
        change: impl FnOnce(
            &mut questions::Asking,
            &mut plinthside_visit::Visit,
            plinthside_measure::marks::Side,
        ),
    ) {
        self.change(|s| {
            let screen = s.screen;
            if let Some((asking, visit, side)) = s.open().and_then(|open| open.asking(screen)) {
                change(asking, visit, side);
            }
        });
    }

    /// Changes the marks of the open case and measures anew if the change says so.
    fn mark(&self, change: impl FnOnce(&mut Marking) -> bool) {
        let mut case = None;
        self.change(|s| {
            let current = s.current;
            if s.open()
                .and_then(|open| open.case.marking.as_mut())
                .is_some_and(change)
            {
                case = Some(current);
            }
        });
        if let Some(case) = case {
            self.measure(case);
        }
    }

    /// Tags of every photograph that has none yet.
    fn detect_all(&self) {
        for (case, open) in self.session.borrow().cases.iter().enumerate() {
            let Some(marking) = &open.case.marking else {
                continue;
            };
            let todo = marking
                .photos
                .iter()
                .enumerate()
                .filter(|(_, p)| p.tags.is_none() && p.problem.is_empty());
            let photos: Vec<_> = todo.map(|(i, p)| (i, p.clone())).collect();
            if !photos.is_empty() {
                self.worker.post(Job::Detect { case, photos });
            }
        }
    }

    /// Decodes the photograph on the marking screen if it is not decoded yet.
    fn want_photo(&self) {
        let mut session = self.session.borrow_mut();
        if session.screen != plinthside_ui::Screen::Mark {
            return;
        }
        let case = session.current;
        let wanted = case_of(&mut session, case).and_then(|case| case.marking.as_mut()?.wanted());
        if let Some((index, photo)) = wanted {
            self.worker.post(Job::Decode { case, index, photo });
        }
    }

    /// Sets the label for the label screen if the visit has changed since.
    fn want_label(&self) {
        let mut session = self.session.borrow_mut();
        if session.screen != plinthside_ui::Screen::Label {
            return;
        }
        let (case, source) = (session.current, session.source());
        let stale = session
            .open()
            .zip(source)
            .and_then(|(open, source)| open.papers.stale(source));
        if let Some(source) = stale {
            self.worker.post(Job::Label {
                case,
                source: Box::new(source),
            });
        }
    }

    /// Writes papers of the open case.
    fn write_papers(&self, papers: Vec<plinthside_ui::PaperKind>) {
        let session = self.session.borrow();
        if let Some(source) = session.source() {
            let (case, folder) = (session.current, session.folder.clone());
            self.worker.post(Job::Papers {
                case,
                source: Box::new(source),
                papers,
                folder,
            });
        }
    }

    /// Measures the open case anew after its marks changed.
    fn measure(&self, case: usize) {
        let session = self.session.borrow();
        let Some(case_data) = session.cases.get(case).map(|open| &open.case) else {
            return;
        };
        let Some(marking) = &case_data.marking else {
            return;
        };
        let tags: Vec<_> = marking
            .photos
            .iter()
            .filter_map(|p| p.tags.clone())
            .collect();
        let known = |photo: &str| tags.iter().any(|t| t.photo == photo);
        let mut marks = case_data.marks.clone();
        marks.views = marking
            .taps()
            .iter()
            .filter(|t| known(&t.photo))
            .cloned()
            .collect();
        marks.outlines.retain(|outline| known(&outline.photo));
        let photos = marking.photos.iter().map(|p| p.sha256.clone()).collect();
        self.worker.post(Job::Measure(Box::new(Measuring {
            case,
            mat: marking.mat.clone(),
            tags,
            marks,
            photos,
            by: case_data.visit.clinician.clone(),
        })));
    }

    fn take_told(&self) {
        let told = self.worker.take();
        if told.is_empty() {
            return;
        }
        let mut measure = Vec::new();
        {
            let mut session = self.session.borrow_mut();
            for told in told {
                self.take_one(&mut session, told, &mut measure);
            }
        }
        for case in measure {
            self.measure(case);
        }
        self.show();
    }

    fn take_one(&self, session: &mut Session, told: Told, measure: &mut Vec<usize>) {
        match told {
            Told::Tags {
                case,
                index,
                found,
                done,
                of,
            } => {
                if let Some(photo) =
                    case_of(session, case).and_then(|c| c.marking.as_mut()?.photos.get_mut(index))
                {
                    match found {
                        Ok(tags) => photo.tags = Some(tags),
                        Err(problem) => photo.problem = problem,
                    }
                }
                if let Some(app) = self.app.upgrade() {
                    app.global::<Data>().set_progress(plinthside_ui::Progress {
                        running: done < of,
                        what: plinthside_ui::Work::ReadingPhotographs,
                        done: done as i32,
                        of: of as i32,
                    });
                }
                if done == of {
                    measure.push(case);
                }
            }
            Told::Decoded { case, index, photo } => {
                let Some(marking) = case_of(session, case).and_then(|c| c.marking.as_mut()) else {
                    return;
                };
                match photo {
                    Ok(decoded) => marking.decoded(index, decoded),
                    Err(problem) => marking.refused(index, problem),
                }
            }
            Told::Label { case, png } => {
                if let Some(open) = session.cases.get_mut(case) {
                    open.papers.take_label(png);
                }
            }
            Told::Written { case, written } => {
                if let Some(open) = session.cases.get_mut(case) {
                    open.papers.take_written(written);
                }
            }
            Told::Measured { case, measured } => {
                if let Some(case) = case_of(session, case) {
                    case.measured(measured);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
