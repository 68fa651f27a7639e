//! The thread that synchronises: when it is wanted, and by itself when a known target answers. It
//! borrows the store for moments and never holds it while a target is waited for.

use crate::lent::{FarStore, Keeper, far_store};
use crate::outbox;
use crate::records::device_name;
use crate::records::receipts::{self, Answered};
use plinthside_exchange::{
    Devices, ExchangeError, Holder, Invitation, Progress, Report, Sync, TargetSpec, Targets,
    answers, connect,
};
use plinthside_store::Store;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

/// Between two looks while a code is shown, or while this device waits to be let in.
const WAITING: Duration = Duration::from_secs(5);
/// So long a code is looked after.
const PATIENCE: Duration = Duration::from_mins(15);
/// Between two times that progress is told.
const STEP: Duration = Duration::from_millis(200);
/// Between two looks for the answers of labs, where nobody asked.
const ANSWERS: Duration = Duration::from_mins(10);
/// So long nothing runs by itself after somebody has stopped it.
const REST: Duration = Duration::from_mins(15);
/// A target that refused is asked again after twice as long, so many times over.
const MOST_DOUBLINGS: u32 = 5;

/// What is wanted of the thread.
pub enum Want {
    /// Synchronise with every target now.
    Sync,
    /// Look at once which targets answer.
    Look,
    /// Leave a code at a target.
    Invite(String),
    /// Join with a code at a target.
    Join {
        /// The target.
        target: String,
        /// As typed.
        code: String,
    },
}

/// What the thread tells.
pub enum Told {
    /// A target is being synchronised with.
    Under {
        /// Which.
        target: String,
        /// How far it is, as soon as that is known.
        progress: Option<Progress>,
    },
    /// A target is not there.
    Away(String),
    /// What came of synchronising with a target.
    Ended {
        /// Which.
        target: String,
        /// What was done, or why not.
        done: Result<Box<Done>, String>,
    },
    /// A code, or why there is none.
    Invited(Result<Invitation, String>),
    /// The device that showed the code, or why this one has not joined.
    Joined(Result<String, String>),
    /// It could not even be begun: the store says why.
    Failed(String),
}

/// What synchronising with one target brought.
pub struct Done {
    /// The two ways.
    pub report: Report,
    /// Packages that were laid there for their labs.
    pub laid: Vec<String>,
    /// Answers of labs that lay there.
    pub answers: Vec<Answered>,
    /// In words: packages that could not be laid there, answers that cannot be read.
    pub unread: Vec<String>,
}

/// The thread; it ends when this is dropped.
pub struct Carrier {
    wants: Sender<Want>,
    told: Receiver<Told>,
    keeper: Keeper,
    stop: Arc<AtomicBool>,
}

impl Carrier {
    /// Starts the thread, which looks at the targets at once and then every so often; `nudge` is
    /// called from it whenever there is something to answer or take.
    #[must_use]
    pub fn new(every: Duration, nudge: impl Fn() + Send + Clone + 'static) -> Self {
        let (wants, wanted) = channel();
        let (tell, told) = channel();
        let (store, keeper) = far_store(nudge.clone());
        let stop = Arc::new(AtomicBool::new(false));
        let thread = Thread {
            store,
            stop: Arc::clone(&stop),
            every,
            tell: Box::new(move |told| {
                let heard = tell.send(told).is_ok();
                nudge();
                heard
            }),
            refused: BTreeMap::new(),
            expects: None,
            rests_until: None,
            answers_at: BTreeMap::new(),
        };
        std::thread::spawn(move || thread.run(&wanted));
        Self {
            wants,
            told,
            keeper,
            stop,
        }
    }

    /// Wants something done.
    pub fn want(&self, want: Want) {
        // The thread ends only with this.
        let _ = self.wants.send(want);
    }

    /// Stops after the file in hand.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// Answers what is asked of the store, and takes what was told.
    pub fn take(&self, store: &mut Store) -> Vec<Told> {
        self.keeper.answer(store);
        self.told.try_iter().collect()
    }
}

impl Drop for Carrier {
    fn drop(&mut self) {
        self.stop();
    }
}

struct Thread {
    store: FarStore,
    stop: Arc<AtomicBool>,
    every: Duration,
    tell: Box<dyn Fn(Told) -> bool + Send>,
    /// Targets that refused: how often, and when they are asked again.
    refused: BTreeMap<String, (u32, Instant)>,
    /// Who is expected to be let in, and until when.
    expects: Option<(Expected, Instant)>,
    /// Somebody has stopped it: nothing runs by itself until then.
    rests_until: Option<Instant>,
    /// When the answers of labs were looked for last, by target.
    answers_at: BTreeMap<String, Instant>,
}

/// Who is expected to be let in.
#[derive(Clone, Copy, PartialEq)]
enum Expected {
    /// Somebody who has the code shown here.
    Another,
    /// This device, by the one that showed its code.
    This,
}

/// Nobody listens any more.
struct Gone;

impl Thread {
    fn run(mut self, wanted: &Receiver<Want>) {
        let mut pause = Duration::ZERO;
        loop {
            let want = match wanted.recv_timeout(pause) {
                Ok(want) => Some(want),
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => return,
            };
            if self.act(want).is_err() {
                return;
            }
            self.expects = self.expects.filter(|(_, until)| *until > Instant::now());
            pause = match self.expects {
                Some(_) => WAITING.min(self.every),
                None => self.every,
            };
        }
    }

    fn tell(&self, told: Told) -> Result<(), Gone> {
        if (self.tell)(told) { Ok(()) } else { Err(Gone) }
    }

    fn act(&mut self, want: Option<Want>) -> Result<(), Gone> {
        match &want {
            None | Some(Want::Look) => {
                if self.rests_until.is_some_and(|until| until > Instant::now()) {
                    return Ok(());
                }
            }
            _ => self.rests_until = None,
        }
        self.stop.store(false, Ordering::Relaxed);
        match want {
            None | Some(Want::Look) => {
                if want.is_some() {
                    self.refused.clear();
                }
                match self.answering() {
                    Ok(specs) => specs.iter().try_for_each(|spec| {
                        let due = self.refused.get(&spec.name);
                        match due.is_some_and(|(_, at)| *at > Instant::now()) {
                            true => Ok(()),
                            false => self.meet(spec, false),
                        }
                    }),
                    // Closed meanwhile, or no practice yet: nothing runs by itself.
                    Err(ExchangeError::Locked | ExchangeError::NoPractice) => Ok(()),
                    Err(problem) => self.tell(Told::Failed(problem.to_string())),
                }
            }
            Some(Want::Sync) => match Targets(&self.store).list() {
                Ok(specs) => specs.iter().try_for_each(|spec| self.meet(spec, true)),
                Err(problem) => self.tell(Told::Failed(problem.to_string())),
            },
            Some(Want::Invite(target)) => {
                let invited = self.invite(&target);
                self.expect(Expected::Another, invited.is_ok());
                self.tell(Told::Invited(invited.map_err(|e| e.to_string())))
            }
            Some(Want::Join { target, code }) => {
                let joined = self.join(&target, &code);
                self.expect(Expected::This, joined.is_ok());
                self.tell(Told::Joined(joined.map_err(|e| e.to_string())))
            }
        }
    }

    fn expect(&mut self, who: Expected, begun: bool) {
        if begun {
            self.expects = Some((who, Instant::now() + PATIENCE));
        }
    }

    /// Targets that are there now; those that are not are told of. Nothing is looked at before
    /// this device belongs to a practice.
    fn answering(&self) -> Result<Vec<TargetSpec>, ExchangeError> {
        let mut specs = Targets(&self.store).list()?;
        if specs.is_empty() {
            return Ok(specs);
        }
        Devices(&self.store).list()?;
        specs.retain(|spec| {
            let there = answers(spec);
            there || self.tell(Told::Away(spec.name.clone())).is_err()
        });
        Ok(specs)
    }

    /// Synchronises with one target and reads what labs have answered there.
    fn meet(&mut self, spec: &TargetSpec, by_hand: bool) -> Result<(), Gone> {
        if self.stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        let target = spec.name.clone();
        if by_hand {
            self.tell(Told::Under {
                target: target.clone(),
                progress: None,
            })?;
        }
        let done = self.synchronise(spec, by_hand);
        match &done {
            Ok(done) => {
                self.refused.remove(&target);
                let report = &done.report;
                if report.cancelled {
                    self.rests_until = Some(Instant::now() + REST);
                }
                self.expects = self.expects.filter(|(who, _)| match who {
                    Expected::Another => report.admitted.is_empty(),
                    Expected::This => report.waiting_for.is_some(),
                });
            }
            Err(_) => {
                let (times, _) = self
                    .refused
                    .get(&target)
                    .copied()
                    .unwrap_or((0, Instant::now()));
                let pause = self.every * 2_u32.pow(times.min(MOST_DOUBLINGS));
                let again = (times + 1, Instant::now() + pause);
                self.refused.insert(target.clone(), again);
            }
        }
        if matches!(done, Err(ExchangeError::Locked)) {
            return Ok(());
        }
        let done = done.map(Box::new).map_err(|e| e.to_string());
        self.tell(Told::Ended { target, done })
    }

    fn synchronise(&mut self, spec: &TargetSpec, by_hand: bool) -> Result<Done, ExchangeError> {
        let mut told_at: Option<Instant> = None;
        let (target, report) = plinthside_exchange::meet(
            &self.store,
            spec,
            Sync {
                address: &spec.url,
                cancel: &self.stop,
                progress: &mut |progress| {
                    if told_at.is_none_or(|at| at.elapsed() >= STEP) {
                        told_at = Some(Instant::now());
                        // Who does not listen any more has locked the store: that ends it.
                        (self.tell)(Told::Under {
                            target: spec.name.clone(),
                            progress: Some(progress),
                        });
                    }
                },
                photographs: true,
            },
        )?;
        let mut done = Done {
            report,
            laid: Vec::new(),
            answers: Vec::new(),
            unread: Vec::new(),
        };
        if !done.report.cancelled {
            if done.report.erasures_received > 0 {
                self.store.with(outbox::forget_erased)??;
            }
            let delivery = outbox::deliver(&self.store, spec, target.as_ref())?;
            (done.laid, done.unread) = (delivery.laid, delivery.told);
        }
        let looked = self.answers_at.get(&spec.name);
        let due = by_hand || looked.is_none_or(|at| at.elapsed() >= ANSWERS);
        if due && !done.report.cancelled {
            self.answers_at.insert(spec.name.clone(), Instant::now());
            let (answers, unread) = receipts::read(&self.store, target.as_ref())?;
            done.answers = answers;
            done.unread.extend(unread);
        }
        Ok(done)
    }

    fn invite(&self, target: &str) -> Result<Invitation, ExchangeError> {
        let spec = Targets(&self.store).named(target)?;
        Devices(&self.store).begin_if_none(&device_name())?;
        let target = connect(&spec)?;
        Devices(&self.store).invite(target.as_ref())
    }

    fn join(&self, target: &str, code: &str) -> Result<String, ExchangeError> {
        let spec = Targets(&self.store).named(target)?;
        let target = connect(&spec)?;
        Devices(&self.store).join(target.as_ref(), code, &device_name())
    }
}
