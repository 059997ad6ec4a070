//! Tablets: the code with which one is enrolled, the key by which its records are believed, and
//! giving one up.

use std::sync::Arc;

use airmuster_domain::Millis;
use airmuster_domain::record::{Record, Register, Stamp, TabletKey, TabletRevoked, encode, signed_text};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ring::hmac;
use ring::signature::{ECDSA_P256_SHA256_FIXED, UnparsedPublicKey};

use super::intake::{CLIENT, DESK, Intake, IntakeError, Origin};
use crate::clock::Clock;
use crate::store::{Code, Store, StoreError, TabletRow};

/// A code can be used for a quarter of an hour.
pub const CODE_LIFE: Millis = 15 * 60 * 1000;

/// A code does not outlive so many wrong ones. With eight digits, guessing then finds one of N open
/// codes with a chance of N in ten million.
const MOST_WRONG: i64 = 10;

/// Who hands in a record of which it is to be shown that a tablet wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Bearer {
    /// A signed-in member.
    Member(String),
    /// An enrolled tablet, in its session.
    Tablet(String),
    /// A visitor of the demo.
    Guest,
    /// A file that an officer takes in, or whoever holds the machine itself.
    File,
    /// Nobody in particular: the record must speak for itself.
    Nobody,
}

/// What to make of a record that a tablet is said to have written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Weighed {
    /// It is taken; `signed` by the tablet's own key, or on the word of who hands it in.
    Believed {
        /// Whether the tablet's key says so.
        signed: bool,
    },
    /// It is taken, raises and never releases, until an officer has settled it.
    Doubted {
        /// Why, in words.
        why: &'static str,
        /// Whether the tablet's key says so.
        signed: bool,
    },
    /// It is not taken from this bearer.
    NotAdmitted(&'static str),
}

/// Weighs a record against what is known of the tablet that it names. `repeated`: another record
/// has the same number of that tablet.
pub fn weigh(
    known: Option<&TabletRow>,
    record: &Record,
    bearer: &Bearer,
    signature: Option<&[u8]>,
    repeated: bool,
) -> Weighed {
    let vouched = matches!(bearer, Bearer::Member(_) | Bearer::Guest | Bearer::File);
    if record.envelope.tablet == DESK {
        return Weighed::Doubted {
            why: "it says that the server wrote it, and it was handed in",
            signed: false,
        };
    }
    let Some(tablet) = known else {
        return if vouched {
            Weighed::Believed { signed: false }
        } else {
            Weighed::NotAdmitted(
                "it was written before this tablet was enrolled; sign in here and it is handed in, or save it to a file for an officer",
            )
        };
    };
    let signed = tablet.key.as_ref().zip(signature).is_some_and(|(key, s)| is_signed(key, record, s));
    let own = matches!(bearer, Bearer::Tablet(id) if *id == tablet.id);
    if !(signed || own || vouched) {
        return Weighed::NotAdmitted("it is not signed by the tablet that it names; sign in to hand it in");
    }
    if tablet.key.is_some() && !signed {
        return Weighed::Doubted { why: "it is not signed by the tablet that it names", signed };
    }
    if tablet.revoked_at.is_some() {
        let e = &record.envelope;
        let in_trust = |t: &airmuster_domain::record::Trusted| {
            e.incarnation == Some(t.incarnation) && e.number.is_some_and(|n| n <= t.number)
        };
        if !signed || repeated || !tablet.trusted.as_ref().is_some_and(in_trust) {
            return Weighed::Doubted {
                why: "its tablet was given up, and nothing shows that it was written before",
                signed,
            };
        }
    }
    Weighed::Believed { signed }
}

/// Whether the key signed this record.
pub fn is_signed(key: &TabletKey, record: &Record, signature: &[u8]) -> bool {
    let text = signed_text(&record.envelope.tablet, &record.name.digest);
    verifies(key, &text, signature)
}

fn verifies(key: &TabletKey, text: &str, signature: &[u8]) -> bool {
    UnparsedPublicKey::new(&ECDSA_P256_SHA256_FIXED, &key.0[..]).verify(text.as_bytes(), signature).is_ok()
}

/// A signature as it travels: base64url (RFC 4648, section 5) without padding.
pub fn read_signature(text: &str) -> Option<Vec<u8>> {
    URL_SAFE_NO_PAD.decode(text).ok().filter(|s| s.len() == 64)
}

/// Why a tablet was not enrolled or given up.
#[derive(Debug, thiserror::Error)]
pub enum TabletError {
    /// Not a code that is open.
    #[error("this code is not open")]
    NoSuchCode,
    /// The key that was offered is not shown to be the tablet's.
    #[error("the tablet could not show that the key is its own")]
    NotItsKey,
    /// The register's word.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A key that a tablet offers, and its signature over the code, which shows that it has the other
/// half.
#[derive(Debug, Clone)]
pub struct Offered {
    /// The key.
    pub key: TabletKey,
    /// Over `airmuster enrolment 1`, a line's end, and the code's digits.
    pub proof: Vec<u8>,
}

/// A tablet that has just been enrolled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Enrolled {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its station.
    pub station: String,
    /// Whether it signs with a key of its own.
    pub signs: bool,
}

/// Enrols tablets.
#[derive(Debug, Clone)]
pub struct Tablets {
    store: Store,
    clock: Clock,
    intake: Intake,
    /// Codes are kept hashed with this, which only the running program knows: from a copy of the
    /// database none can be found by trying all of them.
    pepper: Arc<hmac::Key>,
}

impl Tablets {
    /// Of this store. Codes of an earlier run of the program are not open any more.
    pub fn new(store: Store, clock: Clock, intake: Intake) -> Self {
        let pepper = Arc::new(hmac::Key::new(hmac::HMAC_SHA256, &clock.random::<32>()));
        Self { store, clock, intake, pepper }
    }

    /// Makes a code for a tablet of this name at this station: eight digits.
    pub async fn make_code(
        &self,
        name: &str,
        station: &str,
        by: &str,
    ) -> Result<(String, Millis), TabletError> {
        let now = self.clock.now();
        let digits = format!("{:08}", u64::from_be_bytes(self.clock.random()) % 100_000_000);
        let code = Code {
            name: name.to_owned(),
            station: station.to_owned(),
            made_by: by.to_owned(),
            ends_at: now + CODE_LIFE,
        };
        let mut write = self.store.begin().await?;
        write.open_code(&self.hash(&digits), &code, now).await?;
        write.commit().await?;
        Ok((digits, code.ends_at))
    }

    /// Enrols a tablet by a code, which is used up. `token_hash` is what its session is known by.
    ///
    /// # Errors
    /// When the code is not open, the key not its own, or its maker may not enrol any more.
    pub async fn enrol(
        &self,
        typed: &str,
        offered: Option<Offered>,
        token_hash: &[u8; 32],
    ) -> Result<Enrolled, TabletError> {
        let digits: String = typed.chars().filter(char::is_ascii_digit).collect();
        let key = match offered {
            Some(Offered { key, proof }) => {
                if !verifies(&key, &format!("airmuster enrolment 1\n{digits}"), &proof) {
                    return Err(TabletError::NotItsKey);
                }
                Some(key)
            }
            None => None,
        };
        let now = self.clock.now();
        let mut write = self.store.begin().await?;
        let code = write.use_code(&self.hash(&digits), MOST_WRONG, now).await?;
        write.commit().await?;
        let Some(Code { name, station, made_by, .. }) = code else { return Err(TabletError::NoSuchCode) };
        // Not the name that people know it by, which may be given again.
        let id = format!("tablet-{:012x}", u64::from_be_bytes(self.clock.random()) >> 16);
        let body = Register::Tablet { id: id.clone(), name: name.clone(), station: station.clone(), key };
        let stamp = Stamp {
            id: self.clock.id(),
            tablet: DESK.to_owned(),
            at: now,
            client: CLIENT.to_owned(),
            by: Some(made_by),
            ..Stamp::default()
        };
        self.intake.submit(encode("register", &stamp, &body), Origin::Desk).await?;
        let mut write = self.store.begin().await?;
        write.admit_tablet(&id, token_hash, now).await?;
        write.commit().await?;
        Ok(Enrolled { id, name, station, signs: key.is_some() })
    }

    /// Gives a tablet up: its session ends in the same moment.
    pub async fn revoke(&self, revoked: &TabletRevoked, by: &str) -> Result<(), TabletError> {
        let stamp = Stamp {
            id: self.clock.id(),
            tablet: DESK.to_owned(),
            at: self.clock.now(),
            client: CLIENT.to_owned(),
            by: Some(by.to_owned()),
            ..Stamp::default()
        };
        self.intake.submit(encode("tablet_revoked", &stamp, revoked), Origin::Desk).await?;
        Ok(())
    }

    fn hash(&self, digits: &str) -> [u8; 32] {
        let tag = hmac::sign(&self.pepper, digits.as_bytes());
        let mut out = [0; 32];
        out.copy_from_slice(tag.as_ref());
        out
    }
}
