//! What a record is: one immutable account of something that happened, kept as the bytes in which
//! it was handed in.
//!
//! *Field records* can be written with no network and are stored whatever they say. *Desk
//! records* are made at the server against the state of that moment. Records of a kind or version
//! that this program does not know are kept and shown; decoders are kept for ever.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::Millis;
use crate::judge::Answer;
use crate::quantity::Pressure;
use crate::rules::Purpose;

/// The largest record taken, in bytes. A check with every note filled in is about 12 kB.
pub const LARGEST: usize = 64 * 1024;

/// The newest version of the records that this program writes.
pub const VERSION: u32 = 1;

/// A SHA-256.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// The hash of these bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// A text that should have been a SHA-256 or the name of a thing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{text}” is not {what}")]
pub struct NotThat {
    text: String,
    what: &'static str,
}

impl FromStr for Digest {
    type Err = NotThat;
    fn from_str(s: &str) -> Result<Self, NotThat> {
        let wrong = || NotThat { text: s.to_owned(), what: "a SHA-256 in 64 lower-case hexadecimal digits" };
        if s.len() != 64 || !s.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b)) {
            return Err(wrong());
        }
        let mut out = [0; 32];
        for (i, byte) in out.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&s[2 * i..2 * i + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Self(out))
    }
}

/// Serialises through `Display` and `FromStr`.
macro_rules! as_text {
    ($t:ty) => {
        impl Serialize for $t {
            fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
                s.collect_str(self)
            }
        }
        impl<'de> Deserialize<'de> for $t {
            fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                let text = <std::borrow::Cow<'de, str>>::deserialize(d)?;
                text.parse().map_err(serde::de::Error::custom)
            }
        }
    };
}
as_text!(Digest);
as_text!(Asset);

/// Names one record for ever: its id and the hash of its bytes, so that nothing can name what is
/// not yet written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordRef {
    /// Made by whoever wrote it.
    pub id: Uuid,
    /// SHA-256 of its bytes.
    pub digest: Digest,
}

/// What kind of thing an asset is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AssetKind {
    /// A breathing apparatus.
    Unit,
    /// A facepiece.
    Facepiece,
    /// A cylinder.
    Cylinder,
}

impl AssetKind {
    /// In plain words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Unit => "unit",
            Self::Facepiece => "facepiece",
            Self::Cylinder => "cylinder",
        }
    }
}

/// A thing with an asset number: `unit:117`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Asset {
    /// What it is.
    pub kind: AssetKind,
    /// Its number, as painted on it.
    pub number: String,
}

impl Asset {
    /// A unit.
    pub fn unit(number: &str) -> Self {
        Self { kind: AssetKind::Unit, number: number.to_owned() }
    }

    /// A facepiece.
    pub fn facepiece(number: &str) -> Self {
        Self { kind: AssetKind::Facepiece, number: number.to_owned() }
    }

    /// A cylinder.
    pub fn cylinder(number: &str) -> Self {
        Self { kind: AssetKind::Cylinder, number: number.to_owned() }
    }
}

impl fmt::Display for Asset {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.kind.words(), self.number)
    }
}

impl FromStr for Asset {
    type Err = NotThat;
    fn from_str(s: &str) -> Result<Self, NotThat> {
        let wrong = || NotThat { text: s.to_owned(), what: "an asset, like unit:117" };
        let (kind, number) = s.split_once(':').ok_or_else(wrong)?;
        let kind = match kind {
            "unit" => AssetKind::Unit,
            "facepiece" => AssetKind::Facepiece,
            "cylinder" => AssetKind::Cylinder,
            _ => return Err(wrong()),
        };
        if !is_number(number) {
            return Err(wrong());
        }
        Ok(Self { kind, number: number.to_owned() })
    }
}

/// Whether a text can be the number painted on a thing: 1 to 32 letters, digits, `.`, `_`, `-`.
pub fn is_number(s: &str) -> bool {
    (1..=32).contains(&s.len()) && s.bytes().all(|b| b.is_ascii_alphanumeric() || b"._-".contains(&b))
}

/// What every record carries, whatever its kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Envelope {
    /// Version of the kind.
    pub v: u32,
    /// What happened: `check`, `taken_out`, `return`, …
    pub kind: String,
    /// Made by whoever wrote it; handing the same record in twice stores it once.
    pub id: Uuid,
    /// The tablet it was written on, or `desk`.
    pub tablet: String,
    /// New when the tablet lost its storage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub incarnation: Option<Uuid>,
    /// Counts the tablet's records from 1, so that a gap is seen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u64>,
    /// The tablet's record before this one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Digest>,
    /// The tablet's clock when it was written.
    pub at: Millis,
    /// What must be added to the tablet's clock, in milliseconds, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<i64>,
    /// The program that wrote it.
    #[serde(default)]
    pub client: String,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Who wrote it down, where that is someone else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written_by: Option<String>,
    /// The rest, by kind.
    pub body: serde_json::Value,
}

impl Envelope {
    /// When it happened by the tablet's clock as corrected, both of which are frozen in the bytes.
    pub fn time(&self) -> Millis {
        self.at.saturating_add(self.offset.unwrap_or(0))
    }
}

/// How a check ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Signed and handed in.
    Complete,
    /// Written down at an out-of-service answer, unsigned: it raises and never counts as done.
    BrokenOff,
    /// The bell rang.
    Stopped,
}

/// A run through the steps for one unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// The unit's number.
    pub unit: String,
    /// The profile it was checked as.
    pub profile: String,
    /// The rule table, by the SHA-256 of its text.
    pub rules: Digest,
    /// The version of the judge that the tablet had.
    pub engine: u32,
    /// Why it was made.
    pub purpose: Purpose,
    /// How it ended.
    pub outcome: Outcome,
    /// The run: the id of the complete check, which broken-off and stopped parts of it share.
    pub run: Uuid,
    /// The facepiece checked with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub facepiece: Option<String>,
    /// The cylinder in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cylinder: Option<String>,
    /// When the first step was shown, by the tablet's clock.
    pub started: Millis,
    /// Grounds that the member was shown before answering.
    #[serde(default)]
    pub seen: Vec<String>,
    /// The answers.
    pub answers: Vec<Answer>,
}

/// In what state a unit came back from use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Nothing to clean.
    Clean,
    /// Dirty.
    Soiled,
    /// Exposed to something harmful: bagged, not in the cab, cleaned before anyone inspects it.
    Contaminated,
}

/// A record written in the field.
#[derive(Debug, Clone, PartialEq)]
pub enum Field {
    /// A check.
    Check(Check),
    /// Taken out of service on a member's word.
    TakenOut(TakenOut),
    /// Held for an inquiry: nothing may be done to it.
    Hold(TakenOut),
    /// Used at an incident, a training or a burn.
    Used(Used),
    /// A note.
    Note(TakenOut),
    /// A kind or version that this program cannot read.
    Unknown {
        /// What it is about, where it says so.
        asset: Option<Asset>,
        /// Why it cannot be read.
        why: String,
    },
}

/// An asset and a reason.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TakenOut {
    /// What it is about.
    pub asset: Asset,
    /// In the member's own words.
    pub why: String,
}

/// A use of a unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Used {
    /// The unit's number.
    pub unit: String,
    /// Which incident, training or burn.
    pub what: String,
    /// In what state it came back.
    pub condition: Condition,
}

/// A record made at the desk.
#[derive(Debug, Clone, PartialEq)]
pub enum Desk {
    /// A change of the register.
    Register(Register),
    /// A rule table, in force from its time on.
    Rules(RulesInForce),
    /// A unit is returned to service.
    Return(Return),
    /// A hold is ended.
    Release(Clearing),
    /// A soiled or contaminated unit was cleaned.
    Cleaned(Clearing),
    /// A contested or doubted record is settled.
    Settlement(Settlement),
    /// A check was made on the wrong unit, or misread.
    Correction(Correction),
    /// A record's time cannot be right.
    Doubt(Doubt),
    /// A new unit is taken into service.
    Accepted(Accepted),
    /// For good.
    Retired(TakenOut),
    /// A ticket was opened.
    TicketOpened(TicketOpened),
    /// A ticket changed its stage.
    TicketStage(TicketStage),
    /// Work on a ticket.
    Worked(Worked),
}

/// A new or changed entry of the register. What a person is called is kept elsewhere.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Register {
    /// The department's settings.
    Department {
        /// Its name.
        name: String,
        /// IANA time zone.
        zone: String,
        /// Local time at which a shift starts, `HH:MM`.
        shift_start: String,
        /// Length of a shift in hours: a divisor of 24, or 24.
        shift_hours: u8,
        /// A check this many minutes before the shift counts for it.
        early_minutes: u16,
        /// A check is due this many minutes after the shift's start.
        grace_minutes: u16,
    },
    /// A station.
    Station {
        /// Short lower-case name.
        id: String,
        /// Its name.
        name: String,
        /// Order of display.
        order: u16,
    },
    /// A rig.
    Rig {
        /// Short lower-case name.
        id: String,
        /// Its name.
        name: String,
        /// The station's id.
        station: String,
        /// Order of display.
        order: u16,
    },
    /// A place on a rig.
    Seat {
        /// Short lower-case name.
        id: String,
        /// The rig's id.
        rig: String,
        /// Its name.
        name: String,
        /// Whether it is a kit's place instead of a riding position.
        #[serde(default)]
        kit: bool,
        /// Order of display; lower is more important.
        order: u16,
    },
    /// A unit.
    Unit {
        /// Its number.
        number: String,
        /// Its profile.
        profile: String,
        /// How often it is checked.
        cadence: Cadence,
        /// Whether it is in use already; a new one is accepted first.
        #[serde(default)]
        in_use: bool,
        /// Serial numbers by part.
        #[serde(default)]
        serials: BTreeMap<String, String>,
    },
    /// A facepiece.
    Facepiece {
        /// Its number.
        number: String,
        /// Its size.
        size: String,
    },
    /// A cylinder.
    Cylinder {
        /// Its number.
        number: String,
        /// Rated pressure.
        rated: Pressure,
    },
    /// A member, by id.
    Member {
        /// The id that records name.
        id: String,
        /// Roles.
        roles: Vec<String>,
        /// Profile families for which the member is a qualified technician.
        #[serde(default)]
        qualified: Vec<String>,
    },
    /// Where an asset is.
    Holder {
        /// The asset.
        asset: Asset,
        /// Where it is.
        place: Place,
    },
}

/// How often a unit is checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cadence {
    /// At the start of each shift.
    EachShift,
    /// Every seven days.
    Weekly,
    /// Every thirty-one days.
    Monthly,
}

/// Where an asset is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "at", rename_all = "snake_case", deny_unknown_fields)]
pub enum Place {
    /// On a rig, in a seat or kit place.
    Seat {
        /// The seat's id.
        seat: String,
    },
    /// A spare at a station.
    Spare {
        /// The station's id.
        station: String,
    },
    /// With a unit: the cylinder in it, the facepiece on it.
    With {
        /// The unit's number.
        unit: String,
    },
    /// On the bench.
    Bench,
    /// At an outside repairer.
    Repairer,
}

/// A rule table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RulesInForce {
    /// The table's text.
    pub text: String,
}

/// What was worked on; it decides how much proof a return needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Second stage.
    Regulator,
    /// First stage.
    Reducer,
    /// Any valve.
    Valve,
    /// Any gauge.
    Gauge,
    /// Any alarm.
    Alarm,
    /// Anything else.
    Other,
}

impl Part {
    /// All parts.
    pub const ALL: [Self; 6] =
        [Self::Regulator, Self::Reducer, Self::Valve, Self::Gauge, Self::Alarm, Self::Other];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Regulator => "regulator",
            Self::Reducer => "reducer",
            Self::Valve => "valve",
            Self::Gauge => "gauge",
            Self::Alarm => "alarm",
            Self::Other => "other",
        }
    }

    /// Whether work on it needs a bench test or a certificate. 29 CFR 1910.134(h)(4)(iii) leaves
    /// reducing and admission valves, regulators and alarms to the maker's trained technicians.
    pub fn needs_bench_test(self) -> bool {
        self != Self::Other
    }
}

/// A return to service.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Return {
    /// What is returned.
    pub asset: Asset,
    /// Exactly these grounds are cleared.
    pub clears: Vec<String>,
    /// The proving check.
    pub proving: RecordRef,
    /// What was worked on; empty: no fault was found.
    pub worked_on: Vec<Part>,
    /// The bench test's result or the repairer's certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bench_test: Option<String>,
    /// What was done.
    pub remedy: String,
    /// The second signer, where no fault was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_signer: Option<String>,
}

/// An asset and the grounds cleared on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clearing {
    /// The asset.
    pub asset: Asset,
    /// The grounds.
    pub clears: Vec<String>,
    /// Why, or what was done.
    pub why: String,
}

/// The officer's word on a contested or doubted record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settlement {
    /// The record's id.
    pub id: Uuid,
    /// Every variant there is.
    pub variants: Vec<Digest>,
    /// The one that holds, if any does. What the others found stays found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accepted: Option<Digest>,
    /// Why.
    pub why: String,
}

/// A correction. It never makes a unit better.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// The check.
    pub of: RecordRef,
    /// Where it was made on another unit than it says: the right one and its profile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub right_unit: Option<(String, String)>,
    /// Why.
    pub why: String,
}

/// A record's time cannot be right.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Doubt {
    /// The record.
    pub of: RecordRef,
    /// What speaks against it.
    pub why: String,
}

/// A new unit is taken into service.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Accepted {
    /// The unit's number.
    pub unit: String,
    /// The acceptance check.
    pub check: RecordRef,
}

/// A repair job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketOpened {
    /// Counted from 1.
    pub ticket: u64,
    /// What is to be repaired.
    pub asset: Asset,
    /// The record that opened it.
    pub because: RecordRef,
}

/// Where a ticket stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Reported.
    Reported,
    /// On the bench.
    OnTheBench,
    /// Waiting for parts.
    WaitingForParts,
    /// At an outside repairer.
    AtRepairer,
    /// Repaired; the proving check is next.
    ReadyToProve,
    /// Returned to service.
    Returned,
    /// The asset was retired.
    Retired,
}

impl Stage {
    /// All stages, in the order of the work.
    pub const ALL: [Self; 7] = [
        Self::Reported,
        Self::OnTheBench,
        Self::WaitingForParts,
        Self::AtRepairer,
        Self::ReadyToProve,
        Self::Returned,
        Self::Retired,
    ];

    /// As written in a record.
    pub fn id(self) -> &'static str {
        match self {
            Self::Reported => "reported",
            Self::OnTheBench => "on_the_bench",
            Self::WaitingForParts => "waiting_for_parts",
            Self::AtRepairer => "at_repairer",
            Self::ReadyToProve => "ready_to_prove",
            Self::Returned => "returned",
            Self::Retired => "retired",
        }
    }

    /// On a screen.
    pub fn words(self) -> &'static str {
        match self {
            Self::Reported => "Reported",
            Self::OnTheBench => "On the bench",
            Self::WaitingForParts => "Waiting for parts",
            Self::AtRepairer => "At an outside repairer",
            Self::ReadyToProve => "Ready to prove",
            Self::Returned => "Returned",
            Self::Retired => "Retired",
        }
    }

    /// Whether the job is over.
    pub fn is_closed(self) -> bool {
        matches!(self, Self::Returned | Self::Retired)
    }

    /// Whether someone else has to act first.
    pub fn stands_aside(self) -> bool {
        matches!(self, Self::WaitingForParts | Self::AtRepairer)
    }
}

/// A ticket changed its stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TicketStage {
    /// The ticket.
    pub ticket: u64,
    /// The new stage.
    pub stage: Stage,
    /// Why.
    #[serde(default)]
    pub note: String,
}

/// Work on a ticket.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Worked {
    /// The ticket.
    pub ticket: u64,
    /// What was done.
    pub text: String,
    /// Parts used.
    #[serde(default)]
    pub parts: String,
    /// Readings taken.
    #[serde(default)]
    pub readings: String,
}

/// What a record says.
#[derive(Debug, Clone, PartialEq)]
pub enum Body {
    /// Written in the field.
    Field(Field),
    /// Made at the desk.
    Desk(Desk),
}

/// A record with its name.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Id and hash of the bytes.
    pub name: RecordRef,
    /// What every record carries. Its body is what it was before decoding, emptied.
    pub envelope: Envelope,
    /// What it says.
    pub body: Body,
}

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
const DESK_KINDS: [&str; 13] = [
    "register",
    "rules",
    "return",
    "release",
    "cleaned",
    "settlement",
    "correction",
    "doubt",
    "accepted",
    "retired",
    "ticket_opened",
    "ticket_stage",
    "worked",
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
    let mut envelope: Envelope =
        serde_json::from_slice(bytes).map_err(|e| NotARecord::Unreadable(e.to_string()))?;
    check_envelope(&envelope)?;
    let name = RecordRef { id: envelope.id, digest: Digest::of(bytes) };
    let raw = envelope.body.take();
    let body = if DESK_KINDS.contains(&envelope.kind.as_str()) {
        if envelope.v != VERSION {
            return Err(NotARecord::Envelope { field: "version", say: "is not one that this desk makes" });
        }
        Body::Desk(desk(&envelope.kind, raw).map_err(|e| NotARecord::Unreadable(e.to_string()))?)
    } else {
        Body::Field(field(&envelope, raw))
    };
    Ok(Record { name, envelope, body })
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

fn field(e: &Envelope, raw: serde_json::Value) -> Field {
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
    let read = match e.kind.as_str() {
        "check" => serde_json::from_value(raw).map(Field::Check),
        "taken_out" => serde_json::from_value(raw).map(Field::TakenOut),
        "hold" => serde_json::from_value(raw).map(Field::Hold),
        "used" => serde_json::from_value(raw).map(Field::Used),
        "note" => serde_json::from_value(raw).map(Field::Note),
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
        "accepted" => read(raw).map(Desk::Accepted),
        "retired" => read(raw).map(Desk::Retired),
        "ticket_opened" => read(raw).map(Desk::TicketOpened),
        "ticket_stage" => read(raw).map(Desk::TicketStage),
        "worked" => read(raw).map(Desk::Worked),
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
