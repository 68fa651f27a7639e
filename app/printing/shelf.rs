//! The print queue's place in the clinic's encrypted store.
//!
//! [`StoreShelf`] is for a thread that shares the store; [`FarShelf`] is for one that does not: it
//! asks the thread that has the store and goes on when that has answered, so that a step at the
//! printer is still taken only after the one before it is on the disk.

use plinthside_print::{Shelf, ShelfError};
use plinthside_store::Store;
use std::ops::Deref;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What every name begins with among the values the store keeps for this device alone.
const PREFIX: &str = "print/";

fn failed(problem: impl std::fmt::Display) -> ShelfError {
    ShelfError(problem.to_string())
}

fn names(store: &Store) -> Result<Vec<String>, ShelfError> {
    let names = store.local_names(PREFIX).map_err(failed)?;
    Ok(names
        .into_iter()
        .map(|n| n[PREFIX.len()..].to_owned())
        .collect())
}

fn read(store: &Store, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
    store.local(&format!("{PREFIX}{name}")).map_err(failed)
}

fn set(store: &mut Store, name: &str, bytes: Option<&[u8]>) -> Result<(), ShelfError> {
    let name = format!("{PREFIX}{name}");
    store.set_local(&name, bytes).map_err(failed)
}

/// A shelf in a store that is shared; it is held only for the moment of one read or write.
#[derive(Debug, Clone)]
pub struct StoreShelf<M>(pub M);

impl<M: Deref<Target = Mutex<Store>>> StoreShelf<M> {
    fn store(&self) -> MutexGuard<'_, Store> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl<M: Deref<Target = Mutex<Store>>> Shelf for StoreShelf<M> {
    fn names(&self) -> Result<Vec<String>, ShelfError> {
        names(&self.store())
    }

    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
        read(&self.store(), name)
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError> {
        set(&mut self.store(), name, Some(bytes))
    }

    fn remove(&mut self, name: &str) -> Result<(), ShelfError> {
        set(&mut self.store(), name, None)
    }
}

type Answer<T> = Sender<Result<T, ShelfError>>;

enum Ask {
    Names(Answer<Vec<String>>),
    Read(String, Answer<Option<Vec<u8>>>),
    Set(String, Option<Vec<u8>>, Answer<()>),
}

/// A shelf for a thread without the store.
pub struct FarShelf {
    asks: Sender<Ask>,
    nudge: Box<dyn Fn() + Send>,
}

/// The other end of a [`FarShelf`], for the thread that has the store.
pub struct Keeper(Receiver<Ask>);

/// A shelf and its keeper; `nudge` is called whenever the keeper has something to answer.
#[must_use]
pub fn far_shelf(nudge: impl Fn() + Send + 'static) -> (FarShelf, Keeper) {
    let (asks, asked) = channel();
    let nudge = Box::new(nudge);
    (FarShelf { asks, nudge }, Keeper(asked))
}

impl Keeper {
    /// Answers everything asked since the last time.
    pub fn answer(&self, store: &mut Store) {
        // Whoever asked and does not wait any more needs no answer.
        for ask in self.0.try_iter() {
            match ask {
                Ask::Names(answer) => drop(answer.send(names(store))),
                Ask::Read(name, answer) => drop(answer.send(read(store, &name))),
                Ask::Set(name, bytes, answer) => {
                    drop(answer.send(set(store, &name, bytes.as_deref())));
                }
            }
        }
    }
}

impl FarShelf {
    fn ask<T>(&self, question: impl FnOnce(Answer<T>) -> Ask) -> Result<T, ShelfError> {
        let closed = || failed("the store was closed");
        let (answer, answered) = channel();
        self.asks.send(question(answer)).map_err(|_| closed())?;
        (self.nudge)();
        answered.recv().map_err(|_| closed())?
    }
}

impl Shelf for FarShelf {
    fn names(&self) -> Result<Vec<String>, ShelfError> {
        self.ask(Ask::Names)
    }

    fn read(&self, name: &str) -> Result<Option<Vec<u8>>, ShelfError> {
        self.ask(|answer| Ask::Read(name.to_owned(), answer))
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ShelfError> {
        self.ask(|answer| Ask::Set(name.to_owned(), Some(bytes.to_owned()), answer))
    }

    fn remove(&mut self, name: &str) -> Result<(), ShelfError> {
        self.ask(|answer| Ask::Set(name.to_owned(), None, answer))
    }
}
