//! Power and network cut at every instant: a job is never lost and never printed twice.
#![allow(clippy::unwrap_used)]

use plinthside_print::{
    About, Images, JobReport, JobState, Media, Payload, PrintDocument, PrinterState, Queue,
    QueueError, Remote, RemoteError, Shelf, ShelfError, Stage, Ticket, Wait,
};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// A job inside the printer.
struct Inside {
    name: String,
    document: Option<Vec<u8>>,
    state: JobState,
    incoming: bool,
}

#[derive(Default)]
struct World {
    files: BTreeMap<String, Vec<u8>>,
    jobs: Vec<Inside>,
    /// Documents that came out of the printer.
    printed: Vec<Vec<u8>>,
    about: About,
    /// It says how much of a document it has.
    counts: bool,
    /// It gets only half of a document, and takes that for the whole.
    tears: bool,
    /// What it answers when it is asked for a job.
    forgets: Option<RemoteError>,
    /// Calls until the power goes, and whether the call it goes in still has its effect.
    power: Option<(usize, bool)>,
    /// The same for the line to the printer, which is back at the next call but one.
    line: Option<(usize, bool)>,
    calls: usize,
}

#[derive(Clone)]
struct Shared(Rc<RefCell<World>>);

impl World {
    /// Whether this call is the one of `cut`: `Some(true)` if its effect still happens.
    fn counts(cut: &mut Option<(usize, bool)>) -> Option<bool> {
        let (left, effect) = cut.as_mut()?;
        if *left == 0 {
            return Some(*effect);
        }
        *left -= 1;
        None
    }
}

impl Shared {
    /// Does something on the shelf, or not when the power is gone; once gone it stays gone.
    fn shelf<T>(&self, act: impl FnOnce(&mut World) -> T) -> Result<T, ShelfError> {
        let mut world = self.0.borrow_mut();
        world.calls += 1;
        match World::counts(&mut world.power) {
            None => Ok(act(&mut world)),
            Some(effect) => {
                if effect {
                    act(&mut world);
                    world.power = Some((0, false));
                }
                Err(ShelfError("power cut".into()))
            }
        }
    }

    fn remote<T>(
        &self,
        act: impl FnOnce(&mut World) -> Result<T, RemoteError>,
    ) -> Result<T, RemoteError> {
        let mut world = self.0.borrow_mut();
        world.calls += 1;
        let gone = || RemoteError::Unreachable("cut off".into());
        let power = World::counts(&mut world.power);
        let cut = World::counts(&mut world.line);
        match power.or(cut) {
            None => act(&mut world),
            Some(effect) => {
                if effect {
                    let _ = act(&mut world);
                }
                world.line = None;
                if power.is_some() {
                    world.power = Some((0, false));
                }
                Err(gone())
            }
        }
    }
}

impl Shelf for Shared {
    fn names(&self) -> Result<Vec<String>, ShelfError> {
        self.shelf(|w| w.files.keys().cloned().collect())
    }
    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
        self.shelf(|w| w.files.get(name).cloned())
    }
    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError> {
        self.shelf(|w| w.files.insert(name.into(), bytes.into()))
            .map(|_| ())
    }
    fn remove(&mut self, name: &str) -> Result<(), ShelfError> {
        self.shelf(|w| w.files.remove(name)).map(|_| ())
    }
}

impl Remote for Shared {
    fn about(&mut self) -> Result<About, RemoteError> {
        self.remote(|w| Ok(w.about.clone()))
    }
    fn create_job(&mut self, ticket: &Ticket, _: &About) -> Result<i32, RemoteError> {
        self.remote(|w| {
            w.jobs.push(Inside {
                name: ticket.name.clone(),
                document: None,
                state: JobState::Pending,
                incoming: true,
            });
            Ok(w.jobs.len() as i32)
        })
    }
    fn send_document(
        &mut self,
        job: i32,
        _: &Ticket,
        payload: &Payload,
    ) -> Result<(), RemoteError> {
        self.remote(|w| {
            let inside = w.jobs.get_mut(job as usize - 1).ok_or(RemoteError::NoJob)?;
            if inside.state == JobState::Canceled {
                return Err(RemoteError::Refused("cancelled".into()));
            }
            let got = payload.bytes.len() / if w.tears { 2 } else { 1 };
            let document = payload.bytes[..got].to_vec();
            inside.document = Some(document.clone());
            inside.incoming = false;
            inside.state = JobState::Completed;
            w.printed.push(document);
            Ok(())
        })
    }
    fn job(&mut self, job: i32, name: &str) -> Result<JobReport, RemoteError> {
        self.remote(|w| {
            if let Some(error) = &w.forgets {
                return Err(error.clone());
            }
            let inside = w.jobs.get(job as usize - 1);
            let inside = inside
                .filter(|inside| inside.name == name)
                .ok_or(RemoteError::NoJob)?;
            Ok(JobReport {
                id: job,
                state: inside.state,
                reasons: if inside.incoming {
                    vec!["job-incoming".into()]
                } else {
                    vec!["none".into()]
                },
                printed: Some(i32::from(inside.document.is_some())),
                k_octets: (w.counts)
                    .then(|| inside.document.as_ref().map_or(0, Vec::len).div_ceil(1024) as i32),
            })
        })
    }
    fn find_job(&mut self, name: &str) -> Result<Option<JobReport>, RemoteError> {
        let found = self.remote(|w| Ok(w.jobs.iter().rposition(|j| j.name == name)))?;
        found.map(|at| self.job(at as i32 + 1, name)).transpose()
    }
    fn cancel_job(&mut self, job: i32, _: &str) -> Result<(), RemoteError> {
        self.remote(|w| {
            if let Some(inside) = w.jobs.get_mut(job as usize - 1)
                && inside.state != JobState::Completed
            {
                inside.state = JobState::Canceled;
            }
            Ok(())
        })
    }
}

fn label() -> Media {
    Media::from_mm([62.0, 100.0]).unwrap()
}

fn world() -> Shared {
    let about = About {
        accepting: true,
        formats: vec!["application/pdf".into()],
        media_supported: vec![label()],
        operations: vec![5, 6],
        ..About::default()
    };
    Shared(Rc::new(RefCell::new(World {
        about,
        counts: true,
        ..World::default()
    })))
}

fn a_pdf() -> Vec<u8> {
    [b"%PDF-1.7 a label".as_slice(), &[7; 5000]].concat()
}

fn document() -> PrintDocument {
    PrintDocument {
        title: "Label".into(),
        page_mm: [62.0, 100.0],
        pdf: Some(a_pdf()),
        images: vec![Images {
            dpi: 203.2,
            pages: vec![vec![1, 2, 3], vec![4]],
        }],
    }
}

fn add(queue: &mut Queue<Shared>) -> Result<String, QueueError> {
    queue.add(
        &document(),
        &"ipp://labels/ipp/print".parse().unwrap(),
        1,
        "Ada",
        1_000,
    )
}

fn look(queue: &mut Queue<Shared>, world: &Shared) -> Result<(), QueueError> {
    queue.advance_with(2_000, |_| Ok(world.clone()))
}

/// Number of calls of one job without any cut.
fn calls() -> usize {
    let world = world();
    let mut queue = Queue::open(world.clone()).unwrap();
    add(&mut queue).unwrap();
    look(&mut queue, &world).unwrap();
    assert_eq!(queue.jobs()[0].stage, Stage::Done);
    let world = world.0.borrow();
    world.calls
}

#[test]
fn the_power_cut_at_every_call() {
    let mut at_add = 0;
    for (at, effect) in (0..calls()).flat_map(|at| [(at, false), (at, true)]) {
        let world = world();
        world.0.borrow_mut().power = Some((at, effect));
        let mut queued = false;
        if let Ok(mut queue) = Queue::open(world.clone()) {
            queued = add(&mut queue).is_ok();
            let _ = look(&mut queue, &world);
        }
        // The device starts again.
        world.0.borrow_mut().power = None;
        let mut queue = Queue::open(world.clone()).unwrap();
        if !queued && queue.jobs().is_empty() {
            at_add += 1;
            assert!(
                world.0.borrow().files.is_empty(),
                "papers of no job stay: {at}"
            );
            continue;
        }
        for _ in 0..3 {
            look(&mut queue, &world).unwrap();
        }
        assert_eq!(queue.jobs()[0].stage, Stage::Done, "{at} {effect}");
        assert_eq!(world.0.borrow().printed, [a_pdf()], "{at} {effect}");
        let left = world.0.borrow().files.len();
        assert!(left <= 4, "papers go when it is printed");
    }
    assert!(at_add > 3);
}

#[test]
fn the_line_cut_at_every_call() {
    for (at, effect) in (0..6).flat_map(|at| [(at, false), (at, true)]) {
        let world = world();
        let mut queue = Queue::open(world.clone()).unwrap();
        add(&mut queue).unwrap();
        world.0.borrow_mut().line = Some((at, effect));
        look(&mut queue, &world).unwrap();
        for _ in 0..3 {
            look(&mut queue, &world).unwrap();
        }
        assert_eq!(queue.jobs()[0].stage, Stage::Done, "{at} {effect}");
        assert_eq!(world.0.borrow().printed.len(), 1, "{at} {effect}");
    }
}

/// The printer loses its memory in the very moment, or will not say: nobody can know, so a person
/// is asked.
#[test]
fn a_printer_that_forgot_the_job_makes_it_unsure_and_nothing_is_sent_again() {
    let refused = || RemoteError::Refused("it asks for a password".into());
    for (effect, error) in [
        (false, RemoteError::NoJob),
        (true, RemoteError::NoJob),
        (false, refused()),
        (true, refused()),
    ] {
        let world = world();
        let mut queue = Queue::open(world.clone()).unwrap();
        let id = add(&mut queue).unwrap();
        // about, create, send.
        world.0.borrow_mut().line = Some((2, effect));
        look(&mut queue, &world).unwrap();
        assert!(matches!(
            queue.jobs()[0].waits_for,
            Some(Wait::Network { .. })
        ));
        world.0.borrow_mut().forgets = Some(error);
        for _ in 0..3 {
            look(&mut queue, &world).unwrap();
        }
        assert!(matches!(queue.jobs()[0].stage, Stage::Unsure { .. }));
        assert_eq!(queue.jobs()[0].waits_for, Some(Wait::Decision));
        assert_eq!(world.0.borrow().printed.len(), usize::from(effect));
        world.0.borrow_mut().forgets = None;
        // The person has looked.
        if effect {
            queue.settle(&id, 3_000).unwrap();
            assert_eq!(queue.jobs()[0].stage, Stage::Done);
        } else {
            queue.again(&id, 3_000).unwrap();
            look(&mut queue, &world).unwrap();
            assert_eq!(queue.jobs()[0].stage, Stage::Done);
        }
        assert_eq!(world.0.borrow().printed.len(), 1);
    }
}

/// The line is cut while the document is on its way, or right after: what a printer got it may
/// print as if it were all. Unless it says that it has all, a person is asked.
#[test]
fn a_document_that_may_be_cut_short_is_never_called_printed() {
    for (counts, tears, done) in [
        (true, false, true),
        (true, true, false),
        (false, false, false),
        (false, true, false),
    ] {
        let world = world();
        world.0.borrow_mut().counts = counts;
        world.0.borrow_mut().tears = tears;
        let mut queue = Queue::open(world.clone()).unwrap();
        add(&mut queue).unwrap();
        // about, create, send.
        world.0.borrow_mut().line = Some((2, true));
        for _ in 0..3 {
            look(&mut queue, &world).unwrap();
        }
        let job = &queue.jobs()[0];
        assert_eq!(job.stage == Stage::Done, done, "{counts} {tears}");
        if !done {
            assert!(job.status().contains("got all of it"), "{}", job.status());
            assert_eq!(job.waits_for, Some(Wait::Decision));
        }
        assert_eq!(world.0.borrow().printed.len(), 1);
    }
}

#[test]
fn each_job_says_what_it_waits_for_and_goes_on_when_that_is_mended() {
    let world = world();
    let mut queue = Queue::open(world.clone()).unwrap();
    let id = add(&mut queue).unwrap();
    assert_eq!(queue.job(&id).unwrap().status(), "waits for its turn");
    let says = |queue: &mut Queue<Shared>, about: &dyn Fn(&mut About)| {
        let good = world.0.borrow().about.clone();
        about(&mut world.0.borrow_mut().about);
        look(queue, &world).unwrap();
        world.0.borrow_mut().about = good;
        queue.jobs()[0].status()
    };
    let paper = says(&mut queue, &|a| {
        a.reasons = vec!["media-empty-error".into()];
    });
    assert!(paper.contains("out of paper or labels"), "{paper}");
    let stopped = says(&mut queue, &|a| a.state = PrinterState::Stopped);
    assert!(stopped.contains("stopped"), "{stopped}");
    let size = says(&mut queue, &|a| {
        a.media_ready = vec![Media::from_mm([100.0, 150.0]).unwrap()];
    });
    assert!(
        size.contains("load 62 × 100 mm; the printer holds 100 × 150 mm"),
        "{size}"
    );
    let closed = says(&mut queue, &|a| a.accepting = false);
    assert!(closed.contains("takes no jobs"), "{closed}");
    world.0.borrow_mut().line = Some((0, false));
    look(&mut queue, &world).unwrap();
    assert!(queue.jobs()[0].status().contains("does not answer"));
    assert!(
        world.0.borrow().jobs.is_empty(),
        "nothing was sent meanwhile"
    );
    look(&mut queue, &world).unwrap();
    assert_eq!(queue.jobs()[0].status(), "printed");

    let id = add(&mut queue).unwrap();
    let never = says(&mut queue, &|a| {
        a.media_supported = vec![Media::from_mm([210.0, 297.0]).unwrap()];
    });
    assert_eq!(never, "printed", "the first job's");
    let wrong = queue.job(&id).unwrap().status();
    assert!(
        wrong.starts_with(
            "not printed: this printer does not take 62 × 100 mm; it takes 210 × 297 mm"
        ),
        "{wrong}"
    );
    queue.again(&id, 5_000).unwrap();
    let format = |a: &mut About| a.formats = vec!["image/urf".into()];
    says(&mut queue, &format);
    assert!(
        queue
            .job(&id)
            .unwrap()
            .status()
            .contains("this printer takes image/urf")
    );
    assert!(queue.again(&id, 5_000).is_ok());
    queue.cancel(&id, 6_000).unwrap();
    assert_eq!(queue.job(&id).unwrap().stage, Stage::Cancelled);
    assert!(queue.cancel(&id, 6_000).is_err() && queue.again(&id, 6_000).is_err());
    queue.forget(&id).unwrap();
    assert!(queue.job(&id).is_none() && queue.cancel("none", 0).is_err());
    assert_eq!(world.0.borrow().printed.len(), 1);
}

#[test]
fn documents_that_cannot_be_printed_are_refused_before_they_are_queued() {
    let world = world();
    let mut queue = Queue::open(world.clone()).unwrap();
    let printer = "labels".parse().unwrap();
    let empty = PrintDocument {
        pdf: None,
        images: Vec::new(),
        ..document()
    };
    assert!(matches!(
        queue.add(&empty, &printer, 1, "Ada", 0),
        Err(QueueError::Document(_))
    ));
    let flat = PrintDocument {
        page_mm: [62.0, f64::NAN],
        ..document()
    };
    assert!(queue.add(&flat, &printer, 1, "Ada", 0).is_err());
    assert!(world.0.borrow().files.is_empty());
}
