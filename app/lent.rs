//! The store, lent in moments to a thread that does not have it: what prints, what synchronises.
//! A step there is taken only after the one before it is on the disk, and a closed store stops it.

use plinthside_exchange::{ExchangeError, Holder};
use plinthside_store::Store;
use std::sync::mpsc::{Receiver, Sender, channel};

/// Something short that is done with the store.
type Moment = Box<dyn FnOnce(&mut Store) + Send>;

/// The store of another thread: what is asked waits until that thread has answered.
pub struct FarStore {
    moments: Sender<Moment>,
    nudge: Box<dyn Fn() + Send>,
}

/// The other end of a [`FarStore`], for the thread that has the store.
pub struct Keeper(Receiver<Moment>);

/// A far store and its keeper; `nudge` is called whenever the keeper has something to answer.
#[must_use]
pub fn far_store(nudge: impl Fn() + Send + 'static) -> (FarStore, Keeper) {
    let (moments, asked) = channel();
    let nudge = Box::new(nudge);
    (FarStore { moments, nudge }, Keeper(asked))
}

impl Keeper {
    /// Answers everything asked since the last time.
    pub fn answer(&self, store: &mut Store) {
        for moment in self.0.try_iter() {
            moment(store);
        }
    }
}

impl Holder for FarStore {
    fn with<T: Send + 'static>(
        &self,
        act: impl FnOnce(&mut Store) -> T + Send + 'static,
    ) -> Result<T, ExchangeError> {
        let (answer, answered) = channel();
        let moment: Moment = Box::new(move |store| {
            // Whoever asked and does not wait any more needs no answer.
            let _ = answer.send(act(store));
        });
        self.moments
            .send(moment)
            .map_err(|_| ExchangeError::Locked)?;
        (self.nudge)();
        answered.recv().map_err(|_| ExchangeError::Locked)
    }
}
