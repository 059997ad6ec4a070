//! Who may try a PIN, and how often: five tries are free, then the wait grows, and after twenty
//! wrong ones an officer must act. Counted for the member and for the tablet, and apart for PINs
//! that come with seals: a queue of old typos locks nobody out of the pages.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use airmuster_domain::Millis;
use airmuster_domain::record::{PinStop, Stamp, encode, is_number};

use super::intake::{CLIENT, DESK, Intake, IntakeError, Origin};
use super::pin::{PinError, Pins};
use crate::clock::Clock;
use crate::store::{Failures, Store, StoreError, Tried};

/// Wrong PINs that cost nothing.
const FREE: i64 = 5;
/// Wrong PINs after which an officer must act.
pub const MOST: i64 = 20;
/// The wait after the last free one; it doubles with each.
const FIRST_WAIT: Millis = 10_000;
/// The longest wait.
const LONGEST_WAIT: Millis = 15 * 60_000;

/// What may be done now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum May {
    Try,
    Wait(Millis),
    Stop,
}

/// What so many wrong PINs mean for the next one.
fn after(failures: Failures, now: Millis) -> May {
    if failures.count < FREE {
        return May::Try;
    }
    if failures.count >= MOST {
        return May::Stop;
    }
    let wait = (FIRST_WAIT << (failures.count - FREE).clamp(0, 20)).min(LONGEST_WAIT);
    let from = failures.last.saturating_add(wait);
    // A clock that was set back must not make the wait longer than it is.
    if now >= from || now < failures.last { May::Try } else { May::Wait(from) }
}

/// Where PINs are tried.
#[derive(Debug, Clone)]
pub struct Door {
    store: Store,
    clock: Clock,
    pins: Pins,
    intake: Intake,
    busy: Arc<Mutex<HashMap<String, i64>>>,
}

impl Door {
    /// For these PINs; what is stopped is written into the logbook through `intake`.
    pub fn new(store: Store, clock: Clock, pins: Pins, intake: Intake) -> Self {
        Self { store, clock, pins, intake, busy: Arc::default() }
    }

    /// Whether this is the member's PIN, given on this tablet, where it has a name.
    ///
    /// # Errors
    /// [`PinError::Wrong`] when it is not; [`PinError::Wait`] and [`PinError::Stopped`] when it was
    /// not even looked at. All of it the same whether or not there is such a member.
    pub async fn try_pin(&self, member: &str, pin: &str, tablet: Option<&str>) -> Result<(), PinError> {
        // What nobody can be called is one stranger.
        let member = if is_number(member) { member } else { "?" };
        let tablet = tablet.unwrap_or_default();
        let now = self.clock.now();
        // Tries that are under way count as wrong until they are known to be right, so that many
        // at once gain nothing.
        let turn = Turn::take(&self.busy, member, tablet);
        let tried = self.store.tried(member, tablet, false).await?;
        match turn.may(tried, now) {
            May::Try => {}
            May::Wait(until) => return Err(PinError::Wait(until)),
            May::Stop => return Err(PinError::Stopped),
        }
        match self.pins.check(member, pin).await {
            Ok(()) => {
                if tried.any {
                    self.forget(member, tablet).await?;
                }
                Ok(())
            }
            Err(PinError::Wrong) => {
                self.count(member, tablet, false).await?;
                Err(PinError::Wrong)
            }
            Err(e) => Err(e),
        }
    }

    /// Whether a PIN that came sealed may be looked at; not while an officer has to act.
    pub async fn may_open(&self, member: &str, tablet: &str) -> Result<bool, StoreError> {
        let tried = self.store.tried(member, tablet, true).await?;
        Ok(tried.member.count < MOST && tried.tablet.count < MOST)
    }

    /// Whether a PIN that came sealed proves the member's signature. Counting is the caller's.
    pub async fn prove(&self, member: &str, pin: &[u8]) -> Result<(), PinError> {
        self.pins.prove(member, pin, self.clock.now()).await
    }

    /// The right PIN was given: earlier typos of this member there are forgotten.
    pub async fn forget(&self, member: &str, tablet: &str) -> Result<(), StoreError> {
        let mut write = self.store.begin().await?;
        write.forget_failures(member, tablet).await?;
        write.commit().await
    }

    async fn count(&self, member: &str, tablet: &str, sealed: bool) -> Result<(), StoreError> {
        let mut write = self.store.begin().await?;
        let tried = write.note_failure(member, tablet, sealed, self.clock.now()).await?;
        write.commit().await?;
        self.tell(member, tablet, tried).await
    }

    /// Writes into the logbook what has just been stopped.
    ///
    /// # Errors
    /// Never because of the logbook: the stop holds all the same.
    pub async fn tell(&self, member: &str, tablet: &str, tried: Tried) -> Result<(), StoreError> {
        let known = self.store.pin_hash(member).await?.is_some();
        let of_member = (tried.member.count == MOST && known).then(|| PinStop::of_member(member));
        let of_tablet = (tried.tablet.count == MOST).then(|| PinStop::of_tablet(tablet));
        for stop in [of_member, of_tablet].into_iter().flatten() {
            let stamp = Stamp {
                id: self.clock.id(),
                tablet: DESK.to_owned(),
                at: self.clock.now(),
                client: CLIENT.to_owned(),
                ..Stamp::default()
            };
            if let Err(e) = self.intake.submit(encode("pin_stopped", &stamp, &stop), Origin::Server).await {
                tracing::error!(error = %e, "that PINs are stopped could not be written down");
            }
        }
        Ok(())
    }

    /// An officer, who has signed in, lets a member or a tablet try again.
    pub async fn allow(&self, by: &str, stop: &PinStop) -> Result<(), IntakeError> {
        let stamp = Stamp {
            id: self.clock.id(),
            tablet: DESK.to_owned(),
            at: self.clock.now(),
            client: CLIENT.to_owned(),
            by: Some(by.to_owned()),
            ..Stamp::default()
        };
        self.intake.submit(encode("pin_allowed", &stamp, stop), Origin::Desk).await?;
        let mut write = self.store.begin().await?;
        write.allow_again(stop.member.as_deref(), stop.tablet.as_deref()).await?;
        Ok(write.commit().await?)
    }
}

/// A try that is under way.
struct Turn {
    busy: Arc<Mutex<HashMap<String, i64>>>,
    names: [String; 2],
    others: [i64; 2],
}

impl Turn {
    fn take(busy: &Arc<Mutex<HashMap<String, i64>>>, member: &str, tablet: &str) -> Self {
        let names = [format!("member {member}"), format!("tablet {tablet}")];
        let mut count = busy.lock().unwrap_or_else(PoisonError::into_inner);
        let others = names.each_ref().map(|name| {
            let n = count.entry(name.clone()).or_default();
            *n += 1;
            *n - 1
        });
        drop(count);
        Self { busy: Arc::clone(busy), names, others }
    }

    fn may(&self, tried: Tried, now: Millis) -> May {
        let with = |f: Failures, others: i64| match others {
            0 => f,
            _ => Failures { count: (f.count + others).min(MOST.max(f.count + 1) - 1), last: now },
        };
        let member = after(with(tried.member, self.others[0]), now);
        // What has no name is not one tablet.
        let tablet = match self.names[1].as_str() {
            "tablet " => May::Try,
            _ => after(with(tried.tablet, self.others[1]), now),
        };
        let stopped = tried.member.count.max(tried.tablet.count) >= MOST;
        if stopped { May::Stop } else { member.max(tablet) }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut count = self.busy.lock().unwrap_or_else(PoisonError::into_inner);
        for name in &self.names {
            if let Some(n) = count.get_mut(name) {
                *n -= 1;
                if *n == 0 {
                    count.remove(name);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn failed(count: i64) -> Failures {
        Failures { count, last: 1000 }
    }

    #[test]
    fn five_are_free_then_the_wait_doubles_and_twenty_are_the_end() {
        for n in 0..FREE {
            assert_eq!(after(failed(n), 1000), May::Try);
        }
        for (n, seconds) in [(5, 10), (6, 20), (7, 40), (8, 80), (11, 640), (12, 900), (19, 900)] {
            let until = 1000 + seconds * 1000;
            assert_eq!(after(failed(n), 1000), May::Wait(until), "{n}");
            assert_eq!(after(failed(n), until), May::Try, "{n}");
        }
        assert_eq!(after(failed(20), Millis::MAX), May::Stop);
    }

    #[test]
    fn tries_under_way_count_as_wrong_ones() {
        let busy = Arc::default();
        let turns: Vec<Turn> = (0..8).map(|_| Turn::take(&busy, "ana", "t")).collect();
        let may: Vec<May> = turns.iter().map(|t| t.may(Tried::default(), 1000)).collect();
        assert_eq!(may[..5], [May::Try; 5]);
        assert!(may[5..].iter().all(|m| matches!(m, May::Wait(_))), "{may:?}");
        drop(turns);
        assert_eq!(Turn::take(&busy, "ana", "t").may(Tried::default(), 1000), May::Try);
    }
}
