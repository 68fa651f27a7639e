//! Work that the screens want done, posted to the worker.

use super::work::{Job, Measuring};
use super::{Inner, Marking, handing};
use crate::package::ForLab;
use crate::photographs::Look;

impl Inner {
    /// Seeks the marks in all photographs, off the screen's thread.
    pub(super) fn seek_marks(&self) {
        let mut session = self.session.borrow_mut();
        let Some(open) = &mut session.open else {
            return;
        };
        let case = open.serial;
        let Some(marking) = &mut open.case.marking else {
            return;
        };
        if let Some(seeker) = marking.seeker() {
            let photos = marking.photos.clone();
            let seeker = Box::new(seeker);
            self.worker.post(Job::Seek {
                case,
                seeker,
                photos,
            });
        }
    }

    /// Loads the photographs of the open cast where they are to be seen, and looks for tags in
    /// those that have none yet.
    pub(super) fn want_photographs(&self) {
        use plinthside_ui::Screen;
        let mut session = self.session.borrow_mut();
        let screen = session.screen;
        let Some(mut open) = session.open.take() else {
            return;
        };
        let measured = open.case.results.is_some();
        let seen = match screen {
            Screen::Mark | Screen::Photographs => true,
            Screen::Check => !measured,
            _ => false,
        };
        let loads = seen && open.case.wants_photographs();
        if loads {
            session.try_records(|records| open.case.load_photographs(records));
        }
        if seen && let Some(marking) = &mut open.case.marking {
            let (photos, look) = (marking.unseen(), Look::for_mat(&marking.mat));
            if !photos.is_empty() {
                self.worker.post(Job::Detect {
                    case: open.serial,
                    photos,
                    look,
                });
            }
        }
        // All were looked through before: one was left out or came to them.
        let ready = loads && open.case.is_ready_to_measure();
        session.open = Some(open);
        drop(session);
        if ready {
            self.measure();
        }
    }

    /// Decodes the photograph on the marking screen if it is not decoded yet.
    pub(super) fn want_photo(&self) {
        let mut session = self.session.borrow_mut();
        if session.screen != plinthside_ui::Screen::Mark {
            return;
        }
        let Some(open) = &mut session.open else {
            return;
        };
        let case = open.serial;
        if let Some(photo) = open.case.marking.as_mut().and_then(Marking::wanted) {
            let photo = Box::new(photo);
            self.worker.post(Job::Decode { case, photo });
        }
    }

    /// Sets the label for the label screen if the visit has changed since.
    pub(super) fn want_label(&self) {
        let mut session = self.session.borrow_mut();
        if session.screen != plinthside_ui::Screen::Label {
            return;
        }
        let source = session.source();
        let Some(open) = &mut session.open else {
            return;
        };
        let stale = source.and_then(|source| open.papers.stale(source));
        if let Some(source) = stale {
            self.worker.post(Job::Label {
                case: open.serial,
                source: Box::new(source),
            });
        }
    }

    /// Writes papers of the open case.
    pub(super) fn write_papers(&self, papers: Vec<plinthside_ui::PaperKind>) {
        let session = self.session.borrow();
        if let (Some(source), Some(open)) = (session.source(), &session.open) {
            let folder = session.folder.clone();
            self.worker.post(Job::Papers {
                case: open.serial,
                source: Box::new(source),
                papers,
                folder,
            });
        }
    }

    /// Writes the papers of the hand-over, and the sealed package where the lab gave a key.
    pub(super) fn hand_over(&self) {
        self.write_papers(handing::all().collect());
        let mut session = self.session.borrow_mut();
        let (Some(source), Some(case)) =
            (session.source(), session.open.as_ref().map(|o| o.serial))
        else {
            return;
        };
        let Some(lab) = source.lab().filter(|lab| !lab.public_key.is_empty()) else {
            return;
        };
        let gather = |records: &mut _| ForLab::gather(records, &source.foot(), lab.clone());
        let Some(parcel) = session.try_records(gather) else {
            return;
        };
        let folder = session.folder.clone();
        self.worker.post(Job::Seal {
            case,
            source: Box::new(source),
            parcel: Box::new(parcel),
            folder,
        });
    }

    /// Measures the open case anew after its marks changed.
    pub(super) fn measure(&self) {
        let session = self.session.borrow();
        let Some(open) = &session.open else { return };
        let (Some(marking), Some(mut marks)) = (&open.case.marking, open.case.marks()) else {
            return;
        };
        let tags: Vec<_> = marking
            .photos
            .iter()
            .filter_map(|p| p.tags.clone())
            .collect();
        let known = |photo: &str| tags.iter().any(|t| t.photo == photo);
        marks.views.retain(|tap| known(&tap.photo));
        marks.outlines.retain(|outline| known(&outline.photo));
        let photos = marking.photos.iter().map(|p| p.sha256.clone()).collect();
        self.worker.post(Job::Measure(Box::new(Measuring {
            case: open.serial,
            mat: marking.mat.clone(),
            tags,
            marks,
            found: marking.found_views(),
            photos,
            by: session.person.clone(),
        })));
    }
}
