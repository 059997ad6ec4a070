//! The first start: the department and its first administrator, made where there is nobody yet who
//! could sign in.

use airmuster_domain::record::{Register, Stamp, encode};

use super::intake::{CLIENT, DESK, Intake, IntakeError, Origin};
use super::new_pin;
use super::pin::{PinError, Pins};
use crate::clock::Clock;
use crate::store::{Store, StoreError};

/// What has to be known.
#[derive(Debug, Clone, Default)]
pub struct First {
    /// The department's name.
    pub department: String,
    /// Its IANA time zone.
    pub zone: String,
    /// The administrator's member number.
    pub member: String,
    /// The administrator's name.
    pub name: String,
    /// The administrator's PIN.
    pub pin: String,
}

/// Why nothing was made.
#[derive(Debug, thiserror::Error)]
pub enum FirstError {
    /// There is somebody already.
    #[error("this department has somebody who can sign in already; who joins is named by them")]
    Begun,
    /// Something is missing or cannot be; the field, and what to do.
    #[error("{1}")]
    Wrong(&'static str, String),
    /// The register's word.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// The PIN cannot be hashed.
    #[error(transparent)]
    Pin(#[from] PinError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Makes the department, unless it is there, and its first administrator.
///
/// # Errors
/// See [`FirstError`]. What was made before the failure is taken up again by the next try.
pub async fn begin(
    store: &Store,
    intake: &Intake,
    pins: &Pins,
    clock: &Clock,
    first: &First,
) -> Result<(), FirstError> {
    if store.has_somebody().await? {
        return Err(FirstError::Begun);
    }
    let filled = |field, text: &str, say: &str| {
        let text = text.trim();
        let fits = !text.is_empty() && text.chars().count() <= 80 && !text.contains(char::is_control);
        if fits { Ok(text.to_owned()) } else { Err(FirstError::Wrong(field, say.to_owned())) }
    };
    let department = filled("department", &first.department, "Give the department's name.")?;
    let zone = filled("zone", &first.zone, "Give the time zone, like America/Chicago.")?;
    let member = filled("member", &first.member, "Give a member number: letters, digits, dots and hyphens.")?;
    let name = filled("name", &first.name, "Give the administrator's name.")?;
    new_pin::may_be_set(&first.pin).map_err(|say| FirstError::Wrong("pin", say.to_owned()))?;
    let hash = pins.hash(&first.pin).await?;
    // A day from seven to seven; the administrator sets it as the department has it.
    let settings = Register::Department {
        name: department,
        zone,
        shift_start: "07:00".to_owned(),
        shift_hours: 24,
        early_minutes: 90,
        grace_minutes: 90,
    };
    if store.department().await?.name.is_empty() {
        enter(intake, clock, &settings).await.map_err(|e| at("zone", e))?;
    }
    let roles = vec!["administrator".to_owned()];
    let administrator = Register::Member { id: member.clone(), roles, qualified: Vec::new() };
    enter(intake, clock, &administrator).await.map_err(|e| at("member", e))?;
    // Last: from now on somebody can sign in, and this way is closed.
    let mut write = store.begin().await?;
    write.set_person(&member, &name, Some((&hash, clock.now()))).await?;
    write.commit().await?;
    Ok(())
}

async fn enter(intake: &Intake, clock: &Clock, entry: &Register) -> Result<(), IntakeError> {
    let stamp = Stamp {
        id: clock.id(),
        tablet: DESK.to_owned(),
        at: clock.now(),
        client: CLIENT.to_owned(),
        ..Stamp::default()
    };
    intake.submit(encode("register", &stamp, entry), Origin::Console).await.map(drop)
}

/// What the register says against an entry is about this field.
fn at(field: &'static str, e: IntakeError) -> FirstError {
    match e {
        IntakeError::Refused(r) => FirstError::Wrong(field, r.say),
        e => FirstError::Intake(e),
    }
}
