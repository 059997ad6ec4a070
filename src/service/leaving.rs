//! When a member leaves: the roles go by a record, the personal fields for good. The id stays, and
//! with it everything that the member has signed.

use airmuster_domain::Millis;
use airmuster_domain::record::{Register, Stamp, encode};
use airmuster_domain::role::Role;
use uuid::Uuid;

use super::intake::{CLIENT, DESK};
use super::{Intake, IntakeError, Origin};
use crate::store::{Store, StoreError};

/// Why a member could not be forgotten.
#[derive(Debug, thiserror::Error)]
pub enum LeavingError {
    /// Nobody has this id.
    #[error("there is no member “{0}” in the register")]
    Nobody(String),
    /// The register did not take that the roles end.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Ends a member's roles and erases name, PIN and sign-ins, at the machine's own console.
///
/// What somebody wrote about the member in words of their own is in the logbook and stays; so does
/// what older backups hold, until they are thrown away.
///
/// # Errors
/// See [`LeavingError`]. The personal fields are erased last: it can be done again.
pub async fn forget(
    store: &Store,
    intake: &Intake,
    member: &str,
    id: Uuid,
    now: Millis,
) -> Result<(), LeavingError> {
    let signer = store.signer(member).await?.ok_or_else(|| LeavingError::Nobody(member.to_owned()))?;
    if !(signer.roles.is_empty() && signer.qualified.is_empty()) {
        let none = Register::Member { id: member.to_owned(), roles: Vec::new(), qualified: Vec::new() };
        let stamp =
            Stamp { id, tablet: DESK.to_owned(), at: now, client: CLIENT.to_owned(), ..Stamp::default() };
        intake.submit(encode("register", &stamp, &none), Origin::Console).await?;
    }
    erase(store, member).await?;
    Ok(())
}

/// Erases name, PIN, sign-ins, fit tests and clearance, in the files too.
pub async fn erase(store: &Store, member: &str) -> Result<(), StoreError> {
    let mut write = store.begin().await?;
    write.erase_person(member).await?;
    write.commit().await?;
    store.leave_nothing().await
}

/// What leaving would end.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ending {
    /// Seats in the running shift and later ones.
    pub seats: Vec<String>,
    /// Families of profiles that the member is qualified for.
    pub qualified: Vec<String>,
    /// Whether the member has a role, and so may sign.
    pub active: bool,
}

/// What leaving would end for a member, as of now.
pub async fn ending(store: &Store, now: Millis, member: &str) -> Result<Ending, StoreError> {
    let shift = store.department().await?.clock.current_start(now);
    let signer = store.signer(member).await?.unwrap_or_default();
    Ok(Ending {
        seats: store.seats_of(member, shift).await?,
        qualified: signer.qualified.into_iter().collect(),
        active: !signer.roles.is_empty(),
    })
}

/// Whether nobody else could keep the register: the only administrator who can sign in.
pub async fn is_last_administrator(store: &Store, member: &str) -> Result<bool, StoreError> {
    let mut others = false;
    let mut this = false;
    for signer in store.signers().await?.iter().filter(|s| s.roles.contains(&Role::Administrator)) {
        if signer.id == member {
            this = true;
        } else if store.pin_hash(&signer.id).await?.is_some() {
            others = true;
        }
    }
    Ok(this && !others)
}
