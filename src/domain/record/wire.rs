//! From bytes to a record and back, and the chain that the bytes stand in.

use std::fmt;
use std::marker::PhantomData;

use serde::de::value::MapAccessDeserializer;
use serde::de::{Error as _, IgnoredAny, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::value::RawValue;
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::Millis;

use super::{Asset, Body, Check, Desk, Digest, Envelope, Field, Record, RecordRef, is_number};

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
pub const DESK_KINDS: [&str; 44] = [
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
    "uncountersigned",
    "outdated",
    "countersigned",
    "pin_stopped",
    "pin_allowed",
    "accepted",
    "retired",
    "ticket_opened",
    "ticket_stage",
    "worked",
    "ticket_joined",
    "ticket_apart",
    "ticket_split",
    "fitting",
    "notice",
    "notice_done",
    "notice_ended",
    "tablet_revoked",
    "gap_dealt",
    "upkeep",
    "fill",
    "cylinder_read",
    "air_sample",
    "condemned",
    "sealed",
    "handed_over",
    "crew",
    "moved",
    "loan",
    "loan_ended",
    "rig_status",
    "acknowledged",
    "person_changed",
    "left",
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
    if let Some(check) = plain_check(bytes) {
        return Ok(check);
    }
    let Sent { envelope, body: raw, more }: Sent<&RawValue> =
        serde_json::from_slice(bytes).map_err(|e| NotARecord::Unreadable(e.to_string()))?;
    check_envelope(&envelope)?;
    if !raw.get().starts_with('{') {
        return Err(NotARecord::Envelope { field: "body", say: "is not an object" });
    }
    let name = RecordRef { id: envelope.id, digest: Digest::of(bytes) };
    let body = if DESK_KINDS.contains(&envelope.kind.as_str()) {
        if envelope.v != VERSION {
            return Err(NotARecord::Envelope { field: "version", say: "is not one that this desk makes" });
        }
        if more.is_some() {
            return Err(NotARecord::Envelope {
                field: "envelope",
                say: "carries more than this desk writes",
            });
        }
        Body::Desk(desk(&envelope.kind, raw).map_err(|e| NotARecord::Unreadable(e.to_string()))?)
    } else {
        Body::Field(field(&envelope, raw, more.as_deref()))
    };
    Ok(Record { name, envelope, body })
}

/// A check with nothing unusual about it, read in one pass: nearly all records are such checks, and the whole
/// logbook is read when it is verified. `None` says nothing of the bytes but that they take the long way.
fn plain_check(bytes: &[u8]) -> Option<Record> {
    if !bytes.starts_with(br#"{"v":1,"kind":"check","#) {
        return None;
    }
    let Sent { envelope, body: Object(check), more }: Sent<Object<Check>> =
        serde_json::from_str(std::str::from_utf8(bytes).ok()?).ok()?;
    let field = Field::Check(check);
    if more.is_some() || check_envelope(&envelope).is_err() || !numbers_fit(&field) {
        return None;
    }
    let name = RecordRef { id: envelope.id, digest: Digest::of(bytes) };
    Some(Record { name, envelope, body: Body::Field(field) })
}

/// What stands in braces: a struct by itself would also be read from a list.
struct Object<T>(T);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Object<T> {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Braces<T>(PhantomData<T>);

        impl<'de, T: Deserialize<'de>> Visitor<'de> for Braces<T> {
            type Value = Object<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }

            fn visit_map<M: MapAccess<'de>>(self, map: M) -> Result<Object<T>, M::Error> {
                T::deserialize(MapAccessDeserializer::new(map)).map(Object)
            }
        }

        d.deserialize_map(Braces(PhantomData))
    }
}

/// A record as it was sent: what every record carries, the rest by kind, and the name of something
/// beside them, if there is any. A later version may carry more than this program knows; that does
/// not make it less of a record.
struct Sent<B> {
    envelope: Envelope,
    body: B,
    more: Option<String>,
}

#[derive(Deserialize)]
#[serde(field_identifier, rename_all = "snake_case")]
enum Name {
    V,
    Kind,
    Id,
    Tablet,
    Incarnation,
    Number,
    Before,
    At,
    Offset,
    Client,
    By,
    WrittenBy,
    Body,
    Other(String),
}

/// By hand, so that the body is passed over once: the whole logbook is read like this when it is
/// verified.
impl<'de, B: Deserialize<'de>> Deserialize<'de> for Sent<B> {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        struct Outside<B>(PhantomData<B>);

        impl<'de, B: Deserialize<'de>> Visitor<'de> for Outside<B> {
            type Value = Sent<B>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a record")
            }

            fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<Sent<B>, M::Error> {
                let (mut v, mut kind, mut id, mut tablet, mut at, mut body) =
                    (None, None, None, None, None, None);
                let (mut incarnation, mut number, mut before, mut offset) = (None, None, None, None);
                let (mut client, mut by, mut written_by, mut more) = (None, None, None, None);
                while let Some(name) = map.next_key()? {
                    let map = &mut map;
                    match name {
                        Name::V => put(&mut v, map, "v")?,
                        Name::Kind => put(&mut kind, map, "kind")?,
                        Name::Id => put(&mut id, map, "id")?,
                        Name::Tablet => put(&mut tablet, map, "tablet")?,
                        Name::Incarnation => put(&mut incarnation, map, "incarnation")?,
                        Name::Number => put(&mut number, map, "number")?,
                        Name::Before => put(&mut before, map, "before")?,
                        Name::At => put(&mut at, map, "at")?,
                        Name::Offset => put(&mut offset, map, "offset")?,
                        Name::Client => put(&mut client, map, "client")?,
                        Name::By => put(&mut by, map, "by")?,
                        Name::WrittenBy => put(&mut written_by, map, "written_by")?,
                        Name::Body => put(&mut body, map, "body")?,
                        Name::Other(name) => {
                            map.next_value::<IgnoredAny>()?;
                            more = Some(name);
                        }
                    }
                }
                let missing = M::Error::missing_field;
                let envelope = Envelope {
                    v: v.ok_or_else(|| missing("v"))?,
                    kind: kind.ok_or_else(|| missing("kind"))?,
                    id: id.ok_or_else(|| missing("id"))?,
                    tablet: tablet.ok_or_else(|| missing("tablet"))?,
                    incarnation: incarnation.flatten(),
                    number: number.flatten(),
                    before: before.flatten(),
                    at: at.ok_or_else(|| missing("at"))?,
                    offset: offset.flatten(),
                    client: client.unwrap_or_default(),
                    by: by.flatten(),
                    written_by: written_by.flatten(),
                };
                Ok(Sent { envelope, body: body.ok_or_else(|| missing("body"))?, more })
            }
        }

        d.deserialize_map(Outside(PhantomData))
    }
}

fn put<'de, T: Deserialize<'de>, M: MapAccess<'de>>(
    slot: &mut Option<T>,
    map: &mut M,
    name: &'static str,
) -> Result<(), M::Error> {
    match slot.replace(map.next_value()?) {
        None => Ok(()),
        Some(_) => Err(M::Error::duplicate_field(name)),
    }
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
    Ok(())
}

fn field(e: &Envelope, raw: &RawValue, more: Option<&str>) -> Field {
    let unknown = |why: String| Field::Unknown { asset: about(raw), why };
    if e.v != VERSION {
        return unknown(format!("version {} of “{}” is not known to this program", e.v, e.kind));
    }
    if let Some(name) = more {
        return unknown(format!("it carries “{name}”, which this program does not know"));
    }
    let text = raw.get();
    let read = match e.kind.as_str() {
        "check" => serde_json::from_str(text).map(Field::Check),
        "taken_out" => serde_json::from_str(text).map(Field::TakenOut),
        "hold" => serde_json::from_str(text).map(Field::Hold),
        "used" => serde_json::from_str(text).map(Field::Used),
        "note" => serde_json::from_str(text).map(Field::Note),
        "photo" => serde_json::from_str(text).map(Field::Photo),
        "rig_accepted" => serde_json::from_str(text).map(Field::RigAccepted),
        other => return unknown(format!("“{other}” is not a kind known to this program")),
    };
    match read {
        Ok(f) if numbers_fit(&f) => f,
        Ok(_) => unknown("it names a thing by a number that no thing can have".to_owned()),
        Err(e) => unknown(format!("it cannot be read: {e}")),
    }
}

fn numbers_fit(f: &Field) -> bool {
    match f {
        Field::Check(c) => {
            is_number(&c.unit)
                && c.facepiece.iter().chain(&c.cylinder).all(|n| is_number(n))
                && c.answers.iter().filter_map(|a| a.item.as_ref()).all(|n| is_number(n))
        }
        Field::Used(u) => std::iter::once(&u.unit).chain(&u.wearer).chain(&u.cylinders).all(|n| is_number(n)),
        _ => true,
    }
}

/// What a body that cannot be read is about, where it says so.
fn about(raw: &RawValue) -> Option<Asset> {
    let body: serde_json::Value = serde_json::from_str(raw.get()).ok()?;
    let text = |key: &str| body.get(key).and_then(serde_json::Value::as_str);
    text("asset")
        .and_then(|a| a.parse().ok())
        .or_else(|| text("unit").filter(|n| is_number(n)).map(Asset::unit))
}

fn desk(kind: &str, raw: &RawValue) -> serde_json::Result<Desk> {
    use serde_json::from_str as read;
    let raw = raw.get();
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
        "uncountersigned" => read(raw).map(Desk::Uncountersigned),
        "outdated" => read(raw).map(Desk::Outdated),
        "countersigned" => read(raw).map(Desk::Countersigned),
        "pin_stopped" => read(raw).map(Desk::PinStopped),
        "pin_allowed" => read(raw).map(Desk::PinAllowed),
        "accepted" => read(raw).map(Desk::Accepted),
        "retired" => read(raw).map(Desk::Retired),
        "ticket_opened" => read(raw).map(Desk::TicketOpened),
        "ticket_stage" => read(raw).map(Desk::TicketStage),
        "worked" => read(raw).map(Desk::Worked),
        "ticket_joined" => read(raw).map(Desk::TicketJoined),
        "ticket_apart" => read(raw).map(Desk::TicketApart),
        "ticket_split" => read(raw).map(Desk::TicketSplit),
        "fitting" => read(raw).map(Desk::Fitting),
        "notice" => read(raw).map(Desk::Notice),
        "notice_done" => read(raw).map(Desk::NoticeDone),
        "notice_ended" => read(raw).map(Desk::NoticeEnded),
        "tablet_revoked" => read(raw).map(Desk::TabletRevoked),
        "gap_dealt" => read(raw).map(Desk::GapDealt),
        "upkeep" => read(raw).map(Desk::Upkeep),
        "fill" => read(raw).map(Desk::Fill),
        "cylinder_read" => read(raw).map(Desk::CylinderRead),
        "air_sample" => read(raw).map(Desk::AirSample),
        "condemned" => read(raw).map(Desk::Condemned),
        "sealed" => read(raw).map(Desk::Sealed),
        "handed_over" => read(raw).map(Desk::HandedOver),
        "crew" => read(raw).map(Desk::Crew),
        "moved" => read(raw).map(Desk::Moved),
        "loan" => read(raw).map(Desk::Loan),
        "loan_ended" => read(raw).map(Desk::LoanEnded),
        "rig_status" => read(raw).map(Desk::RigStatus),
        "acknowledged" => read(raw).map(Desk::Acknowledged),
        "person_changed" => read(raw).map(Desk::PersonChanged),
        "left" => read(raw).map(Desk::Left),
        other => Err(serde::de::Error::custom(format!("“{other}” is not made at the desk"))),
    }
}

/// Writes a record of the current version: the bytes that are handed in.
///
/// # Panics
/// Never: what is written here has only text keys and plain values.
pub fn encode(kind: &str, stamp: &Stamp, body: &impl Serialize) -> Vec<u8> {
    #[derive(Serialize)]
    struct Written<'a, B> {
        #[serde(flatten)]
        envelope: Envelope,
        body: &'a B,
    }
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
    };
    serde_json::to_vec(&Written { envelope, body }).unwrap_or_default()
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
