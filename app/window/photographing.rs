//! Photographs of the open cast: where they come from and which are taken in.

use super::Inner;
use super::advice;
use super::session::Session;
use super::taking::is_picture;
use super::work::Job;
use crate::photographs::Look;
use crate::sources::mat_of;
use plinthside_ui as ui;
use plinthside_visit::rules::Stops;
use plinthside_visit::{CastSources, Text};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

/// The four corners that a cast is photographed from.
const ENOUGH: usize = 4;
/// What the folder of pictures is kept under, on this device only.
const FOLDER: &str = "photo-folder";
/// Files dropped together are told one after another, within this time.
const DROPPED_TOGETHER: Duration = Duration::from_millis(100);

impl Session {
    /// A whole set was taken in: on to the marks, where there are enough and none was refused.
    pub fn photographs_taken(&mut self) {
        let enough = self
            .sources()
            .is_some_and(|s| s.photographs.len() >= ENOUGH);
        if enough && self.taking.problems.is_empty() && self.screen == ui::Screen::Photographs {
            self.screen = ui::Screen::Mark;
        }
    }

    /// Looks for pictures and for a camera.
    pub(super) fn look_for_photographs(&mut self) {
        self.taking.look();
        self.taking.look_for_camera(Instant::now());
        self.taking.shutter_at = None;
    }

    /// What the open cast is measured from.
    #[must_use]
    pub fn sources(&self) -> Option<&CastSources> {
        let case = &self.open.as_ref()?.case;
        case.visit.cast(case.side).map(|cast| &cast.sources)
    }

    /// What photographs of the open cast are looked through for: labels, and the tags of its mat,
    /// or of one of our own where it is not known yet.
    #[must_use]
    pub fn look_for(&self) -> Look {
        let clinic = self.clinic();
        let mat = self.sources().map(|sources| mat_of(&clinic, sources));
        let look = match mat {
            Some(Ok(Some(mat))) => Look::for_mat(&mat),
            _ => Look::default(),
        };
        Look {
            codes: true,
            ..look
        }
    }

    /// When the open cast was dipped: older pictures are of something else.
    #[must_use]
    pub fn since(&self) -> Option<SystemTime> {
        let case = &self.open.as_ref()?.case;
        let record = &case.visit.cast(case.side)?.record;
        record.dipped_at.map(SystemTime::from)
    }

    /// Pictures to take in.
    #[must_use]
    pub fn wanted_photographs(&self) -> Vec<PathBuf> {
        self.taking.wanted(self.sources(), self.since())
    }

    /// Looks for pictures in another folder from now on, after the next start too.
    pub fn set_photo_folder(&mut self, folder: &str) {
        self.taking.folder = folder.into();
        self.taking.look();
        let kept = folder.as_bytes().to_vec();
        self.try_records(|records| Ok(records.store().set_local(FOLDER, Some(&kept))?));
    }

    /// The folder chosen at an earlier start, if one was.
    pub(super) fn take_up_photo_folder(&mut self) {
        let kept = self
            .records()
            .and_then(|records| records.store().local(FOLDER).ok().flatten());
        if let Some(folder) = kept.and_then(|bytes| String::from_utf8(bytes).ok()) {
            self.taking.folder = folder.into();
        }
    }

    /// Whether pictures may be taken in now: a visit is open at its photographs, and nothing stands
    /// in the way. Says so where not.
    fn takes_dropped(&mut self) -> bool {
        let lang = self.look.lang;
        let here = match (&self.open, self.screen) {
            (Some(open), ui::Screen::Photographs) => {
                let checks = advice::checks(&open.case, &self.tables);
                advice::stopping(&checks, Stops::Photographs, lang).is_empty()
            }
            _ => false,
        };
        if here {
            self.taking.problems.clear();
        } else {
            let why = Text::new(
                "Photographs are taken in on the step Photographs of a visit, where nothing stands in their way: open it and drop them there.",
                "Fotos werden beim Schritt Fotos eines Besuchs übernommen, wenn dort nichts im Weg steht: bitte dort fallen lassen.",
            );
            why.get(lang).clone_into(&mut self.trouble);
        }
        here
    }
}

impl Inner {
    /// Takes a file that was dropped on the window: a picture into the open cast, anything else is
    /// looked at as a package.
    pub(super) fn dropped(&self, path: &Path) {
        if !is_picture(path) {
            self.change(|s| s.package_given(path));
            return;
        }
        self.dropped.borrow_mut().push(path.to_owned());
        let weak = self.this.clone();
        slint::Timer::single_shot(DROPPED_TOGETHER, move || {
            if let Some(inner) = weak.upgrade() {
                inner.take_dropped();
            }
        });
    }

    fn take_dropped(&self) {
        let paths = std::mem::take(&mut *self.dropped.borrow_mut());
        if paths.is_empty() {
            return;
        }
        let mut takes = false;
        self.change(|s| takes = s.takes_dropped());
        if takes {
            self.take_in(paths);
        }
    }

    /// Reads photographs to be taken into the open cast.
    pub(super) fn take_in(&self, paths: Vec<PathBuf>) {
        let session = self.session.borrow();
        if let (Some(open), false) = (&session.open, paths.is_empty()) {
            self.worker.post(Job::Take {
                case: open.serial,
                paths,
                look: session.look_for(),
            });
        }
    }
}
