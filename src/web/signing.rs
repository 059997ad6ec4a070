//! Signing: a member, the PIN that proves it, and the record that is made of it.

use airmuster_domain::record::{Stamp, encode};
use serde::Serialize;
use uuid::Uuid;

use super::error::WebError;
use super::serving::App;
use super::view::ProblemLine;
use crate::service::intake::{CLIENT, DESK};
use crate::service::pin::PinError;
use crate::service::{IntakeError, Origin, Receipt};

/// Whether this is the member's PIN; if not, what to say at the field `member` or `pin`.
pub async fn check_pin(app: &App, member: &str, pin: &str) -> Result<Result<(), ProblemLine>, WebError> {
    check_pin_at(app, ("member", "pin"), member, pin).await
}

/// As [`check_pin`], where the two fields have other names.
pub async fn check_pin_at(
    app: &App,
    (member_field, pin_field): (&str, &str),
    member: &str,
    pin: &str,
) -> Result<Result<(), ProblemLine>, WebError> {
    let say = |field: &str, text: &str| Ok(Err(problem(field, text)));
    if member.is_empty() {
        return say(member_field, "Choose your name.");
    }
    if pin.is_empty() {
        return say(pin_field, "Give your PIN.");
    }
    match app.pins.check(member, pin).await {
        Ok(()) => Ok(Ok(())),
        Err(PinError::Wrong | PinError::Shape) => {
            say(pin_field, "Name and PIN do not go together. Look at the name, then give the PIN again.")
        }
        Err(e) => Err(e.into()),
    }
}

/// A line of what to put right.
pub fn problem(field: &str, text: impl Into<String>) -> ProblemLine {
    ProblemLine { field: field.to_owned(), text: text.into() }
}

/// Hands in a desk record of a member who has signed, or whose session has been checked.
pub async fn hand_in_desk(
    app: &App,
    kind: &str,
    by: &str,
    body: &impl Serialize,
) -> Result<Receipt, IntakeError> {
    let bytes = encode(kind, &stamp(app, app.clock.id(), by), body);
    app.intake.submit(bytes, Origin::Desk).await
}

/// Hands in a field record from a form, once: the form carries the id, so that going back and
/// sending again is seen.
pub async fn hand_in_field(
    app: &App,
    kind: &str,
    id: Uuid,
    by: &str,
    body: &impl Serialize,
) -> Result<Receipt, IntakeError> {
    let bytes = encode(kind, &stamp(app, id, by), body);
    app.intake.submit_once(bytes, Origin::Tablet { proven: Some(by.to_owned()) }).await
}

fn stamp(app: &App, id: Uuid, by: &str) -> Stamp {
    Stamp {
        id,
        tablet: DESK.to_owned(),
        at: app.clock.now(),
        client: CLIENT.to_owned(),
        by: Some(by.to_owned()),
        ..Stamp::default()
    }
}
