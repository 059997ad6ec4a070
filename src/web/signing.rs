//! Signing: a member, the PIN that proves it, and the record that is made of it.

use airmuster_domain::Millis;
use airmuster_domain::record::{Body, Digest, Stamp, encode};
use serde::Serialize;
use uuid::Uuid;

use super::auth::Visitor;
use super::error::WebError;
use super::serving::App;
use super::view::ProblemLine;
use crate::service::intake::{Beside, CLIENT, DESK};
use crate::service::pin::PinError;
use crate::service::{IntakeError, Origin, Receipt};

/// Whether this is the member's PIN; if not, what to say at the field `member` or `pin`.
pub async fn check_pin(
    app: &App,
    visitor: &Visitor,
    member: &str,
    pin: &str,
) -> Result<Result<(), ProblemLine>, WebError> {
    check_pin_at(app, visitor, ("member", "pin"), member, pin).await
}

/// As [`check_pin`], where the two fields have other names.
pub async fn check_pin_at(
    app: &App,
    visitor: &Visitor,
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
    match app.door.try_pin(member, pin, visitor.tablet.as_deref()).await {
        Ok(()) => Ok(Ok(())),
        Err(e) => say(pin_field, &not_taken(app, e)?),
    }
}

/// Why a PIN was not taken, and what to do.
pub fn not_taken(app: &App, e: PinError) -> Result<String, WebError> {
    Ok(match e {
        PinError::Wrong | PinError::Shape => {
            "Name and PIN do not go together. Look at the name, then give the PIN again.".to_owned()
        }
        PinError::Wait(until) => {
            let seconds = ((until - app.clock.now()).max(1) + 999) / 1000;
            let wait = match seconds {
                1..120 => format!("{seconds} seconds"),
                _ => format!("{} minutes", (seconds + 59) / 60),
            };
            format!("Several wrong PINs were given. Wait {wait}, then give the PIN again.")
        }
        PinError::Stopped => {
            "Too many wrong PINs were given: none is taken until an officer allows it again. Tell your officer."
                .to_owned()
        }
        e @ (PinError::Store(_) | PinError::Hash(_)) => return Err(e.into()),
    })
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

/// As [`hand_in_desk`], once: sent again with the same id it is what was handed in the first time.
pub async fn hand_in_desk_once(
    app: &App,
    kind: &str,
    id: Uuid,
    by: &str,
    body: &impl Serialize,
) -> Result<(), IntakeError> {
    match app.intake.submit_once(encode(kind, &stamp(app, id, by), body), Origin::Desk).await {
        Ok(_) | Err(IntakeError::Before(_)) => Ok(()),
        Err(e) => Err(e),
    }
}

/// Hands in several desk records of a member together: all of them or none.
pub async fn hand_in_together(
    app: &App,
    by: &str,
    bodies: &[(&str, serde_json::Value)],
) -> Result<Vec<Receipt>, IntakeError> {
    let bytes =
        |(kind, body): &(&str, serde_json::Value)| encode(kind, &stamp(app, app.clock.id(), by), body);
    let records = bodies.iter().map(bytes).collect();
    app.intake.submit_all(records, Beside::default(), &Origin::Desk).await.map_err(|(_, e)| e)
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

/// The id of one of several records that a form makes, by what that one is about: sent again, it is the same
/// record, whatever else the form says by then.
pub fn id_within(form: Uuid, about: &str) -> Uuid {
    let mut bytes = form.into_bytes();
    // The last six bytes are chance; what comes before them tells version and time.
    for (byte, other) in bytes.iter_mut().skip(10).zip(Digest::of(about.as_bytes()).0) {
        *byte ^= other;
    }
    Uuid::from_bytes(bytes)
}

/// For so long a page tells what was just written.
const JUST: Millis = 5 * 60 * 1000;

/// What the records say that an address names by their numbers, with commas between, while they are new:
/// an address that is opened again days later tells nothing.
pub async fn just_written(app: &App, numbers: &str, most: usize) -> Result<Vec<Body>, WebError> {
    let since = app.clock.now() - JUST;
    let mut out = Vec::new();
    for seq in numbers.split(',').filter_map(|n| n.parse().ok()).take(most) {
        let kept = app.store.record(seq).await?.filter(|k| k.place.received >= since);
        out.extend(kept.map(|k| k.record.body));
    }
    Ok(out)
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
