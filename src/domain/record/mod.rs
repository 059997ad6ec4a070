//! What a record is: one immutable account of something that happened, kept as the bytes in which
//! it was handed in.
//!
//! *Field records* can be written with no network and are stored whatever they say. *Desk
//! records* are made at the server against the state of that moment. Records of a kind or version
//! that this program does not know are kept and shown; decoders are kept for ever.

mod desk;
mod field;
mod loan;
mod muster;
mod parts;
mod register;
mod tablet;
mod upkeep;
mod wire;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::Millis;
use crate::text::as_text;

pub use desk::{
    Accepted, Clearing, Correction, Desk, Doubt, HandOver, LookAgain, Part, PinStop, Return, RulesInForce,
    Seal, Sent, Settlement, Signed, Stage, TicketApart, TicketJoined, TicketOpened, TicketSplit, TicketStage,
    Worked, heads,
};
pub use field::{Check, Condition, Field, Occasion, Outcome, Photo, TakenOut, Used};
pub use loan::{Loan, LoanEnded};
pub use muster::{
    Acknowledged, Crew, Duty, Leaving, Left, Move, Moved, PersonChanged, Personal, Reviewed, RigAccepted,
    RigStatus,
};
pub use parts::{Component, Fitting, Notice, NoticeDone, NoticeEnded, Reach, Slot};
pub use register::{Asked, Cadence, Place, Register, Spot};
pub use tablet::{GapDealt, Misfit, TabletKey, TabletRevoked, Trusted, signed_text};
pub use upkeep::{AirSample, CylinderRead, Fill, Lapse, Marks, Month, Period, Spec, Upkept, Work};
pub use wire::{CHAIN_START, DESK_KINDS, LARGEST, NotARecord, Stamp, VERSION, decode, encode, link};

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
        const HEX: &[u8; 16] = b"0123456789abcdef";
        let mut text = [0; 64];
        for (pair, byte) in text.chunks_exact_mut(2).zip(self.0) {
            pair.copy_from_slice(&[HEX[usize::from(byte >> 4)], HEX[usize::from(byte & 15)]]);
        }
        f.write_str(std::str::from_utf8(&text).map_err(|_| fmt::Error)?)
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
        let nibble = |digit: u8| if digit <= b'9' { digit - b'0' } else { digit - b'a' + 10 };
        for (byte, pair) in out.iter_mut().zip(s.as_bytes().chunks_exact(2)) {
            *byte = nibble(pair[0]) << 4 | nibble(pair[1]);
        }
        Ok(Self(out))
    }
}

as_text!(Digest);
as_text!(Asset);
as_text!(TabletKey);
as_text!(Month);

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
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
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
    #[serde(skip_serializing_if = "Option::is_none")]
    pub incarnation: Option<Uuid>,
    /// Counts the tablet's records from 1, so that a gap is seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub number: Option<u64>,
    /// The tablet's record before this one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<Digest>,
    /// The tablet's clock when it was written.
    pub at: Millis,
    /// What must be added to the tablet's clock, in milliseconds, where it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset: Option<i64>,
    /// The program that wrote it.
    pub client: String,
    /// Who did it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Who wrote it down, where that is someone else.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub written_by: Option<String>,
}

impl Envelope {
    /// When it happened by the tablet's clock as corrected, both of which are frozen in the bytes.
    pub fn time(&self) -> Millis {
        self.at.saturating_add(self.offset.unwrap_or(0))
    }
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
    /// What every record carries.
    pub envelope: Envelope,
    /// What it says.
    pub body: Body,
}

impl Record {
    /// The photograph that it names, where it is about one.
    pub fn photo(&self) -> Option<&Photo> {
        match &self.body {
            Body::Field(Field::Photo(photo)) => Some(photo),
            _ => None,
        }
    }
}
