//! The file in which a tablet saves what it could not hand in.
//!
//! `{"airmuster_outbox": 1, "records": ["…", "…"]}`: each record as the text that would have been
//! sent, so that its hash stays what it is. Importing it twice stores nothing twice. Beside them may
//! stand `"signatures": ["…", null]`, what the tablet's key says of each, and `"seals": ["…", null]`,
//! the seals of the members' signatures.

use serde::Deserialize;

use super::intake::Origin;
use super::seal;
use super::tablets::{Bearer, read_signature};

/// Records of one file at most.
const MOST: usize = 10_000;

/// Why a file is not an outbox.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAnOutbox {
    /// Not the JSON that a tablet saves.
    #[error("this is not a file that a tablet has saved: {0}")]
    Unreadable(String),
    /// Another version of the file.
    #[error("this file is of version {0}; this program reads version 1")]
    Version(u32),
    /// Too many at once.
    #[error("this file has {0} records; at most {MOST} are taken at once")]
    TooMany(usize),
}

/// A record in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Carried {
    /// As it would have been sent.
    pub text: String,
    /// The signature of the tablet's key, where it has one that can be read.
    pub signature: Option<Vec<u8>>,
    /// The seal of its member's signature, where it has one that can be read.
    pub seal: Option<Vec<u8>>,
}

impl Carried {
    /// Whoever carries a file is not the one who signed.
    pub fn origin(&self) -> Origin {
        Origin::HandedIn { bearer: Bearer::File, signature: self.signature.clone() }
    }
}

/// The records of a file, each as it would have been sent.
///
/// # Errors
/// When it is not such a file.
pub fn read(text: &str) -> Result<Vec<Carried>, NotAnOutbox> {
    #[derive(Deserialize)]
    struct File {
        airmuster_outbox: u32,
        records: Vec<String>,
        #[serde(default)]
        signatures: Vec<Option<String>>,
        #[serde(default)]
        seals: Vec<Option<String>>,
    }
    let file: File = serde_json::from_str(text).map_err(|e| NotAnOutbox::Unreadable(e.to_string()))?;
    if file.airmuster_outbox != 1 {
        return Err(NotAnOutbox::Version(file.airmuster_outbox));
    }
    if file.records.len() > MOST {
        return Err(NotAnOutbox::TooMany(file.records.len()));
    }
    let mut signatures = file.signatures.into_iter();
    let mut seals = file.seals.into_iter();
    let carried = file.records.into_iter().map(|text| Carried {
        text,
        signature: signatures.next().flatten().and_then(|s| read_signature(&s)),
        seal: seals.next().flatten().and_then(|s| seal::read(&s).ok()),
    });
    Ok(carried.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn records_come_out_as_the_text_that_went_in() {
        let record = r#"{"v":1, "kind":"note"}"#;
        let file = serde_json::json!({ "airmuster_outbox": 1, "records": [record] }).to_string();
        let carried = Carried { text: record.to_owned(), signature: None, seal: None };
        assert_eq!(read(&file).unwrap(), [carried]);
    }

    #[test]
    fn each_record_has_the_signature_that_stands_at_its_place() {
        let signature = "A".repeat(86);
        let file = serde_json::json!({
            "airmuster_outbox": 1, "records": ["a", "b", "c"], "signatures": [null, signature],
        });
        let read = read(&file.to_string()).unwrap();
        assert_eq!(read.iter().map(|c| c.signature.is_some()).collect::<Vec<_>>(), [false, true, false]);
    }

    #[test]
    fn another_file_is_told_apart() {
        assert!(matches!(read("{}"), Err(NotAnOutbox::Unreadable(_))));
        assert_eq!(read(r#"{"airmuster_outbox":2,"records":[]}"#), Err(NotAnOutbox::Version(2)));
    }
}
