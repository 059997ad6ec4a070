//! When a member leaves: the roles go by a record, the personal fields for good. The id stays, and
//! with it everything that the member has signed.

use airmuster_domain::Millis;
use airmuster_domain::record::{Register, Stamp, encode};
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
    let mut write = store.begin().await?;
    write.erase_person(member).await?;
    write.commit().await?;
    store.leave_nothing().await?;
    Ok(())
}
