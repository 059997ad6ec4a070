//! PINs: argon2id, one at a time, so that hashing never takes the machine away from
//! the forms.

use std::sync::Arc;

use airmuster_domain::Millis;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{Error, PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use tokio::sync::Semaphore;

use crate::clock::Clock;
use crate::store::{PinHashes, Store, StoreError};

/// The shortest PIN: six digits.
pub const SHORTEST: usize = 6;
/// The longest PIN.
pub const LONGEST: usize = 64;

/// Why a PIN was not taken.
#[derive(Debug, thiserror::Error)]
pub enum PinError {
    /// Not the member's PIN, or no such member; which of the two is not said.
    #[error("member and PIN do not match")]
    Wrong,
    /// Too many were wrong: another try is taken from this moment on.
    #[error("too many tries; wait")]
    Wait(Millis),
    /// Far too many were wrong: no try is taken until an officer allows it.
    #[error("too many tries; an officer must allow it again")]
    Stopped,
    /// Not one that may be set.
    #[error("a PIN has {SHORTEST} to {LONGEST} digits")]
    Shape,
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The hash cannot be computed or read.
    #[error("the PIN cannot be checked: {0}")]
    Hash(String),
}

/// Sets and checks PINs.
#[derive(Debug, Clone)]
pub struct Pins {
    store: Store,
    clock: Clock,
    workers: Arc<Semaphore>,
    cost: Cost,
}

/// How much work a hash takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cost {
    /// 19 MiB, two passes: what the OWASP password storage cheat sheet names first for argon2id
    /// (from memory).
    Full,
    /// As little as argon2 allows: for the demo's invented members and for tests.
    Least,
}

impl Pins {
    /// PINs of this store.
    pub fn new(store: Store, clock: Clock, cost: Cost) -> Self {
        Self { store, clock, workers: Arc::new(Semaphore::new(1)), cost }
    }

    /// Whether this is the member's PIN.
    ///
    /// # Errors
    /// [`PinError::Wrong`] when it is not, after the same work whether or not there is such a
    /// member.
    pub async fn check(&self, member: &str, pin: &str) -> Result<(), PinError> {
        let stored = self.store.pin_hash(member).await?;
        let known = stored.is_some();
        let pin = pin.to_owned();
        let cost = self.cost;
        let _turn = self.workers.acquire().await.map_err(|e| PinError::Hash(e.to_string()))?;
        let right = tokio::task::spawn_blocking(move || match stored {
            Some(stored) => verify(&pin, &stored),
            None => hash(&pin, &[0; 16], cost).map(|_| false),
        })
        .await
        .map_err(|e| PinError::Hash(e.to_string()))?
        .map_err(|e| PinError::Hash(e.to_string()))?;
        if right && known { Ok(()) } else { Err(PinError::Wrong) }
    }

    /// Whether a PIN that came sealed proves the member's signature: the one in force, or the one
    /// before it for thirty days. Several tablets may not know of a new one yet.
    ///
    /// # Errors
    /// [`PinError::Wrong`] when it does not.
    pub async fn prove(&self, member: &str, pin: &[u8], now: Millis) -> Result<(), PinError> {
        let PinHashes { pin_hash, previous_hash } = self.store.pin_hashes(member, now).await?;
        let Ok(pin) = String::from_utf8(pin.to_owned()) else { return Err(PinError::Wrong) };
        let _turn = self.workers.acquire().await.map_err(|e| PinError::Hash(e.to_string()))?;
        let right = tokio::task::spawn_blocking(move || {
            for stored in [pin_hash, previous_hash].into_iter().flatten() {
                if verify(&pin, &stored)? {
                    return Ok(true);
                }
            }
            Ok(false)
        })
        .await
        .map_err(|e| PinError::Hash(e.to_string()))?
        .map_err(|e: Error| PinError::Hash(e.to_string()))?;
        if right { Ok(()) } else { Err(PinError::Wrong) }
    }

    /// The hash to store for a PIN.
    pub async fn hash(&self, pin: &str) -> Result<String, PinError> {
        if !(SHORTEST..=LONGEST).contains(&pin.len()) || !pin.bytes().all(|b| b.is_ascii_digit()) {
            return Err(PinError::Shape);
        }
        let (pin, salt, cost) = (pin.to_owned(), self.clock.random::<16>(), self.cost);
        let _turn = self.workers.acquire().await.map_err(|e| PinError::Hash(e.to_string()))?;
        tokio::task::spawn_blocking(move || hash(&pin, &salt, cost))
            .await
            .map_err(|e| PinError::Hash(e.to_string()))?
            .map_err(|e| PinError::Hash(e.to_string()))
    }
}

fn hash(pin: &str, salt: &[u8; 16], cost: Cost) -> Result<String, Error> {
    let params = match cost {
        Cost::Full => Params::new(19 * 1024, 2, 1, None),
        Cost::Least => Params::new(Params::MIN_M_COST, Params::MIN_T_COST, Params::MIN_P_COST, None),
    }
    .map_err(|_| Error::Algorithm)?;
    let hash: PasswordHash = Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
        .hash_password_with_salt(pin.as_bytes(), salt)?;
    Ok(hash.to_string())
}

fn verify(pin: &str, stored: &str) -> Result<bool, Error> {
    let parsed = PasswordHash::new(stored).map_err(|_| Error::EncodingInvalid)?;
    match Argon2::default().verify_password(pin.as_bytes(), &parsed) {
        Ok(()) => Ok(true),
        Err(Error::PasswordInvalid) => Ok(false),
        Err(e) => Err(e),
    }
}
