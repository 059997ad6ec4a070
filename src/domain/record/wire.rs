//! From bytes to a record and back, and the chain that the bytes stand in.

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::Millis;

use super::{Asset, Body, Desk, Digest, Envelope, Field, Record, RecordRef, is_number};

/// The largest record taken, in bytes. A check with every note filled in is about 12 kB.
pub const LARGEST: usize = 64 * 1024;

/// The newest version of the records that this program writes.
pub const VERSION: u32 = 1;

/// Why bytes are not a record at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotARecord {
    /// Too large.
    #[error("it is {0} bytes long; a record has at most {LARGEST}")]
    TooLarge(usize),
    /// Not JSON, or without what every record carries.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
    /// Something in the envelope.
    #[error("its {field} {say}")]
    Envelope {
        /// Which field.
        field: &'static str,
        /// What is wrong.
        say: &'static str,
    },
}

/// Kinds made at the desk, in their current version.
const DESK_KINDS: [&str; 22] = [
    "register",
    "rules",
    "return",
    "release",
    "cleaned",
    "settlement",
    "correction",
    "doubt",
    "unproven",
    "signature",
    "pin_stopped",
    "pin_allowed",
    "accepted",
    "retired",
    "ticket_opened",
    "ticket_stage",
    "worked",
    "crew",
    "moved",
    "rig_status",
    "acknowledged",
    "person_changed",
];

/// Reads a record from the bytes in which it was handed in.
///
/// A field record of an unknown kind, a later version, or with a body that cannot be read is a
/// record all the same: [`Field::Unknown`].
///
/// # Errors
/// When the bytes are not a record at all, or are a desk record that cannot be read.
pub fn decode(bytes: &[u8]) -> Result<Record, NotARecord> {
    if bytes.len() > LARGEST {
        return Err(NotARecord::TooLarge(bytes.len()));
    }
    let Sent { mut envelope, more } =
        serde_json::from_slice(bytes).map_err(|e| NotARecord::Unreadable(e.to_string()))?;
    check_envelope(&envelope)?;
    let name = RecordRef { id: envelope.id, digest: Digest::of(bytes) };
    let raw = envelope.body.take();
    let body = if DESK_KINDS.contains(&envelope.kind.as_str()) {
        if envelope.v != VERSION {
            return Err(NotARecord::Envelope { field: "version", say: "is not one that this desk makes" });
        }
        if !more.is_empty() {
            return Err(NotARecord::Envelope {
                field: "envelope",
                say: "carries more than this desk writes",
            });
        }
        Body::Desk(desk(&envelope.kind, raw).map_err(|e| NotARecord::Unreadable(e.to_string()))?)
    } else {
        Body::Field(field(&envelope, raw, more.keys().next()))
    };
    Ok(Record { name, envelope, body })
}

/// An envelope and what else stands beside it. A later version may carry more than this program
/// knows; that does not make it less of a record.
#[derive(Deserialize)]
struct Sent {
    #[serde(flatten)]
    envelope: Envelope,
    #[serde(flatten)]
    more: serde_json::Map<String, serde_json::Value>,
}

fn check_envelope(e: &Envelope) -> Result<(), NotARecord> {
    let short = |s: &str, most: usize| !s.is_empty() && s.len() <= most && !s.contains(char::is_control);
    let wrong = |field, say| Err(NotARecord::Envelope { field, say });
    if !short(&e.kind, 40) {
        return wrong("kind", "is empty or longer than 40 bytes");
    }
    if !short(&e.tablet, 40) {
        return wrong("tablet", "is empty or longer than 40 bytes");
    }
    if e.id.is_nil() {
        return wrong("id", "is all zeros");
    }
    if [&e.by, &e.written_by].into_iter().flatten().any(|s| !short(s, 40)) {
        return wrong("signer", "is empty or longer than 40 bytes");
    }
    if e.client.len() > 80 {
        return wrong("client", "is longer than 80 bytes");
    }
    if e.number == Some(0) {
        return wrong("number", "is counted from 1");
    }
    if !e.body.is_object() {
        return wrong("body", "is not an object");
    }
    Ok(())
}

fn field(e: &Envelope, raw: serde_json::Value, more: Option<&String>) -> Field {
    // Where a record cannot be read, what it is about may still be.
    let about = |raw: &serde_json::Value| {
        let text = |key: &str| raw.get(key).and_then(serde_json::Value::as_str);
        text("asset")
            .and_then(|a| a.parse().ok())
            .or_else(|| text("unit").filter(|n| is_number(n)).map(Asset::unit))
    };
    let asset = about(&raw);
    let unknown = |why: String| Field::Unknown { asset: asset.clone(), why };
    if e.v != VERSION {
        return unknown(format!("version {} of “{}” is not known to this program", e.v, e.kind));
    }
    if let Some(name) = more {
        return unknown(format!("it carries “{name}”, which this program does not know"));
    }
    let read = match e.kind.as_str() {
        "check" => serde_json::from_value(raw).map(Field::Check),
        "taken_out" => serde_json::from_value(raw).map(Field::TakenOut),
        "hold" => serde_json::from_value(raw).map(Field::Hold),
        "used" => serde_json::from_value(raw).map(Field::Used),
        "note" => serde_json::from_value(raw).map(Field::Note),
        "photo" => serde_json::from_value(raw).map(Field::Photo),
        "rig_accepted" => serde_json::from_value(raw).map(Field::RigAccepted),
        other => return unknown(format!("“{other}” is not a kind known to this program")),
    };
    let numbers_fit = |f: &Field| match f {
        Field::Check(c) => {
            is_number(&c.unit)
                && c.facepiece.iter().chain(&c.cylinder).all(|n| is_number(n))
                && c.answers.iter().filter_map(|a| a.item.as_ref()).all(|n| is_number(n))
        }
        Field::Used(u) => is_number(&u.unit),
        _ => true,
    };
    match read {
        Ok(f) if numbers_fit(&f) => f,
        Ok(_) => unknown("it names a thing by a number that no thing can have".to_owned()),
        Err(e) => unknown(format!("it cannot be read: {e}")),
    }
}

fn desk(kind: &str, raw: serde_json::Value) -> serde_json::Result<Desk> {
    use serde_json::from_value as read;
    match kind {
        "register" => read(raw).map(Desk::Register),
        "rules" => read(raw).map(Desk::Rules),
        "return" => read(raw).map(Desk::Return),
        "release" => read(raw).map(Desk::Release),
        "cleaned" => read(raw).map(Desk::Cleaned),
        "settlement" => read(raw).map(Desk::Settlement),
        "correction" => read(raw).map(Desk::Correction),
        "doubt" => read(raw).map(Desk::Doubt),
        "unproven" => read(raw).map(Desk::Unproven),
        "signature" => read(raw).map(Desk::Signature),
        "pin_stopped" => read(raw).map(Desk::PinStopped),
        "pin_allowed" => read(raw).map(Desk::PinAllowed),
        "accepted" => read(raw).map(Desk::Accepted),
        "retired" => read(raw).map(Desk::Retired),
        "ticket_opened" => read(raw).map(Desk::TicketOpened),
        "ticket_stage" => read(raw).map(Desk::TicketStage),
        "worked" => read(raw).map(Desk::Worked),
        "crew" => read(raw).map(Desk::Crew),
        "moved" => read(raw).map(Desk::Moved),
        "rig_status" => read(raw).map(Desk::RigStatus),
        "acknowledged" => read(raw).map(Desk::Acknowledged),
        "person_changed" => read(raw).map(Desk::PersonChanged),
        other => Err(serde::de::Error::custom(format!("“{other}” is not made at the desk"))),
    }
}

/// Writes a record of the current version: the bytes that are handed in.
///
/// # Panics
/// Never: what is written here has only text keys and plain values.
pub fn encode(kind: &str, stamp: &Stamp, body: &impl Serialize) -> Vec<u8> {
    let body = serde_json::to_value(body).unwrap_or_default();
    let envelope = Envelope {
        v: VERSION,
        kind: kind.to_owned(),
        id: stamp.id,
        tablet: stamp.tablet.clone(),
        incarnation: stamp.incarnation,
        number: stamp.number,
        before: stamp.before,
        at: stamp.at,
        offset: None,
        client: stamp.client.clone(),
        by: stamp.by.clone(),
        written_by: stamp.written_by.clone(),
        body,
    };
    serde_json::to_vec(&envelope).unwrap_or_default()
}

/// What a record is stamped with when it is written at the server.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stamp {
    /// The record's id.
    pub id: Uuid,
    /// The tablet, or `desk`.
    pub tablet: String,
    /// The tablet's incarnation.
    pub incarnation: Option<Uuid>,
    /// The tablet's count.
    pub number: Option<u64>,
    /// The tablet's record before.
    pub before: Option<Digest>,
    /// When.
    pub at: Millis,
    /// The program.
    pub client: String,
    /// Who did it.
    pub by: Option<String>,
    /// Who wrote it down.
    pub written_by: Option<String>,
}

/// The hash of a link of the logbook's chain:
/// SHA-256(previous ‖ seq ‖ received ‖ tablet length ‖ tablet ‖ length ‖ bytes), numbers as
/// 8 bytes, most significant first.
pub fn link(previous: &Digest, seq: u64, received: Millis, tablet: &str, bytes: &[u8]) -> Digest {
    let mut h = Sha256::new();
    h.update(previous.0);
    h.update(seq.to_be_bytes());
    h.update(received.to_be_bytes());
    h.update((tablet.len() as u64).to_be_bytes());
    h.update(tablet.as_bytes());
    h.update((bytes.len() as u64).to_be_bytes());
    h.update(bytes);
    Digest(h.finalize().into())
}

/// What stands before the first link.
pub const CHAIN_START: Digest = Digest([0; 32]);
