//! The file in which a tablet saves what it could not hand in.
//!
//! `{"airmuster_outbox": 1, "records": ["…", "…"], "seals": ["…", null]}`: each record as the text
//! that would have been sent, so that its hash stays what it is, and the seal of its signature,
//! where it has one. Importing it twice stores nothing twice.

use serde::Deserialize;

use super::seal;

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

/// A record of a file.
#[derive(Debug, PartialEq, Eq)]
pub struct Carried {
    /// As it would have been sent.
    pub record: String,
    /// The seal of its signature, where it has one that can be read.
    pub seal: Option<Vec<u8>>,
}

/// The records of a file.
///
/// # Errors
/// When it is not such a file.
pub fn read(text: &str) -> Result<Vec<Carried>, NotAnOutbox> {
    #[derive(Deserialize)]
    struct File {
        airmuster_outbox: u32,
        records: Vec<String>,
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
    let seals = file.seals.into_iter().chain(std::iter::repeat(None));
    let carried = file
        .records
        .into_iter()
        .zip(seals)
        .map(|(record, seal)| Carried { record, seal: seal.and_then(|s| seal::read(&s).ok()) });
    Ok(carried.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn records_come_out_as_the_text_that_went_in() {
        let record = r#"{"v":1, "kind":"note"}"#;
        let file = serde_json::json!({ "airmuster_outbox": 1, "records": [record] }).to_string();
        let carried = read(&file).unwrap();
        assert_eq!(carried, [Carried { record: record.to_owned(), seal: None }]);
    }

    #[test]
    fn another_file_is_told_apart() {
        assert!(matches!(read("{}"), Err(NotAnOutbox::Unreadable(_))));
        assert_eq!(read(r#"{"airmuster_outbox":2,"records":[]}"#), Err(NotAnOutbox::Version(2)));
    }
}
