//! Tablets: the key with which one signs what it hands in, and how one is given up.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::{Digest, NotThat};

/// A P-256 public key as an uncompressed point: 4, x, y (SEC 1, version 2.0, section 2.3.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TabletKey(pub [u8; 65]);

impl fmt::Display for TabletKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl FromStr for TabletKey {
    type Err = NotThat;
    fn from_str(s: &str) -> Result<Self, NotThat> {
        let wrong = || NotThat { text: s.to_owned(), what: "a P-256 point in 130 hexadecimal digits" };
        if s.len() != 130
            || !s.starts_with("04")
            || !s.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
        {
            return Err(wrong());
        }
        let mut out = [0; 65];
        for (i, byte) in out.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&s[2 * i..2 * i + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Self(out))
    }
}

/// What a tablet signs for a record: a name for this use of the key, the tablet's id and the
/// record's SHA-256, a line each. The same text is made in `static/key.js`.
pub fn signed_text(tablet: &str, record: &Digest) -> String {
    format!("airmuster record 1\n{tablet}\n{record}")
}

/// Up to where a tablet that is given up is still believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trusted {
    /// The tablet's incarnation whose numbers are meant.
    pub incarnation: Uuid,
    /// The last of its numbers that is believed.
    pub number: u64,
}

/// A tablet is given up: its session has ended, and what it wrote later only raises.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TabletRevoked {
    /// The tablet's id.
    pub tablet: String,
    /// Up to where it is believed; without, nothing that arrives from now on is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trusted: Option<Trusted>,
    /// Why.
    pub why: String,
}

/// How a tablet's records do not follow one another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case", deny_unknown_fields)]
pub enum Misfit {
    /// These numbers never arrived, both ends included.
    Missing {
        /// The first.
        from: u64,
        /// The last.
        to: u64,
    },
    /// Different records with the same number.
    Twice {
        /// The number.
        number: u64,
    },
    /// This record names another one before it than the one that is here.
    Breaks {
        /// Its number.
        number: u64,
    },
    /// The tablet lost its storage, and began to count anew.
    BeganAnew {
        /// The last number of the storage before, as far as it is here.
        last: u64,
    },
}

impl fmt::Display for Misfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { from, to } if from == to => write!(f, "number {from} never arrived"),
            Self::Missing { from, to } => write!(f, "numbers {from} to {to} never arrived"),
            Self::Twice { number } => write!(f, "number {number} arrived as two different records"),
            Self::Breaks { number: 1 } => write!(f, "number 1 names a record before it"),
            Self::Breaks { number } => {
                write!(f, "number {number} does not follow the number {} that is here", number - 1)
            }
            Self::BeganAnew { last } => {
                write!(f, "its storage was lost after number {last}, and it counts from 1 again")
            }
        }
    }
}

impl Misfit {
    /// Whether looking into this has looked into the other too: the same, or what is left of a row of
    /// missing numbers of which some have arrived.
    pub fn covers(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Missing { from, to }, Self::Missing { from: first, to: last }) => {
                from <= first && last <= to
            }
            _ => self == other,
        }
    }
}

/// An officer has found out what became of records that do not follow one another. It brings none of
/// them back; it says who looked, and what came of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GapDealt {
    /// The tablet, as its records name it.
    pub tablet: String,
    /// Which life of its storage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub incarnation: Option<Uuid>,
    /// What did not fit.
    pub what: Misfit,
    /// What was found out, and what was done about it.
    pub why: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_reads_back_as_it_was_written_and_nothing_else_is_one() {
        let text = format!("04{}", "1f".repeat(64));
        assert_eq!(text.parse::<TabletKey>().map(|k| k.to_string()), Ok(text.clone()));
        for other in ["", "04", &text[2..], &text.to_uppercase(), &text.replacen("04", "02", 1)] {
            assert!(other.parse::<TabletKey>().is_err(), "{other}");
        }
    }

    #[test]
    fn what_is_signed_names_its_use_the_tablet_and_the_record() {
        let digest = Digest::of(b"abc");
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(signed_text("t-1", &digest), format!("airmuster record 1\nt-1\n{abc}"));
    }

    #[test]
    fn who_has_looked_into_missing_numbers_has_looked_into_what_is_left_of_them() {
        let missing = |from, to| Misfit::Missing { from, to };
        let dealt = missing(3, 7);
        assert!([missing(3, 7), missing(4, 6), missing(3, 3)].iter().all(|left| dealt.covers(left)));
        assert!([missing(2, 7), missing(3, 8), missing(9, 9)].iter().all(|other| !dealt.covers(other)));
        let twice = Misfit::Twice { number: 3 };
        assert!(twice.covers(&twice) && !twice.covers(&Misfit::Twice { number: 4 }));
        assert!(!dealt.covers(&twice));
    }
}
