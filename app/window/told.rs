//! What the worker tells, taken into the session.

use super::desk::Desk;
use super::session::Session;
use super::work::Told;
use super::{Inner, take};
use plinthside_ui::{Data, Progress, Work};
use slint::ComponentHandle;

impl Inner {
    /// Takes what the worker has told since the last time.
    pub(super) fn take_told(&self) {
        let printed = self.take_printed() | self.take_carried();
        let told = self.worker.take();
        if told.is_empty() {
            if printed {
                self.show();
            }
            return;
        }
        let mut measure = false;
        {
            let mut session = self.session.borrow_mut();
            for told in told {
                measure |= self.take_one(&mut session, told);
            }
            session.save();
        }
        if measure {
            self.measure();
        }
        self.show();
    }

    fn progress(&self, what: Work, done: usize, of: usize) {
        if let Some(app) = self.app.upgrade() {
            app.global::<Data>().set_progress(Progress {
                running: done < of,
                what,
                done: done as i32,
                of: of as i32,
            });
        }
    }

    /// Takes one thing; `true` if the open case has to be measured now.
    fn take_one(&self, session: &mut Session, told: Told) -> bool {
        match told {
            Told::Opened(records) => {
                match (records, &mut session.desk) {
                    (Ok(records), _) => session.enter(records),
                    (Err(problem), Desk::Closed(door)) => {
                        (door.problem, door.trying) = (problem, false);
                    }
                    (Err(problem), Desk::Open(_)) => session.trouble = problem,
                }
                false
            }
            Told::Taken {
                case,
                photo,
                done,
                of,
            } => {
                self.progress(Work::ReadingPhotographs, done, of);
                take::take(session, case, photo);
                let all = done == of && session.opening(case).is_some();
                if all && of > 1 {
                    session.photographs_taken();
                }
                all
            }
            Told::Tags {
                case,
                sha256,
                found,
                done,
                of,
            } => {
                self.progress(Work::ReadingPhotographs, done, of);
                let Some(open) = session.opening(case) else {
                    return false;
                };
                open.case.found(&sha256, found);
                done == of
            }
            Told::Sought {
                case,
                found,
                done,
                of,
            } => {
                self.progress(Work::SeekingMarks, done, of);
                let open = session.opening(case);
                if let Some(marking) = open.and_then(|open| open.case.marking.as_mut()) {
                    marking.found(found);
                }
                if let Some(open) = session.opening(case) {
                    open.case.keep_taps();
                }
                done == of
            }
            Told::Decoded {
                case,
                sha256,
                photo,
            } => {
                let open = session.opening(case);
                if let Some(marking) = open.and_then(|open| open.case.marking.as_mut()) {
                    match photo {
                        Ok(decoded) => marking.decoded(&sha256, decoded),
                        Err(problem) => marking.refused(&sha256, problem),
                    }
                }
                false
            }
            Told::Label { case, png } => {
                if let Some(open) = session.opening(case) {
                    open.papers.take_label(png);
                }
                false
            }
            Told::LabelRead { case, code } => {
                if session.opening(case).is_some() {
                    session.label_read(code, plinthside_store::BoundBy::Photograph);
                }
                false
            }
            Told::PackageOpened(opened) => {
                session.package_opened(opened.map(|opened| *opened));
                false
            }
            Told::Written { case, written } => {
                if let Some(open) = session.opening(case) {
                    open.papers.take_written(written);
                }
                false
            }
            Told::Sealed { case, lab, file } => {
                session.sealed(case, &lab, file);
                false
            }
            Told::Measured {
                case,
                measured,
                left_out,
            } => {
                if let Some(open) = session.opening(case) {
                    open.case.give_way(&left_out);
                    open.case.measured(measured);
                }
                false
            }
            Told::Stopped { case } => {
                self.progress(Work::Measuring, 1, 1);
                let Some(open) = session.opening(case) else {
                    return false;
                };
                if let Some(marking) = &mut open.case.marking {
                    marking.stop_looking();
                }
                // Marks found before the stop count.
                open.case.is_ready_to_measure()
            }
        }
    }
}
