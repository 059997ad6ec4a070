//! Sealed signatures: a PIN that a tablet encrypted to this server, together with the hash of the
//! record that it signs. HPKE of RFC 9180 in base mode: DHKEM(P-256, HKDF-SHA256), HKDF-SHA256,
//! AES-128-GCM. `static/seal.js` makes them; nothing here makes one.
//!
//! A seal is `version ‖ key's name ‖ encapsulated key ‖ ciphertext`. What is sealed is always of the
//! same length: the record's hash, the PIN's length, the PIN, zeros.

use std::fmt;

use airmuster_domain::record::Digest;
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hpke::aead::AesGcm128;
use hpke::kdf::HkdfSha256;
use hpke::kem::DhP256HkdfSha256;
use hpke::{Deserializable, Kem, OpModeR, Serializable, single_shot_open};
use ring::hmac;

use super::pin::LONGEST;
use crate::clock::Clock;

/// The version of the seals that this program opens.
const VERSION: u8 = 1;
/// Bytes of the key's name.
const NAME: usize = 8;
/// Bytes of an uncompressed point of P-256.
const POINT: usize = 65;
/// Bytes of what is sealed.
const PLAIN: usize = 32 + 1 + LONGEST;
/// Bytes of the mark by which AES-GCM knows what was altered.
const TAG: usize = 16;
/// Bytes of a seal.
pub const LENGTH: usize = 1 + NAME + POINT + PLAIN + TAG;

/// Why a seal gives no PIN.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SealError {
    /// Not a seal that this program knows.
    #[error("it cannot be read")]
    Unreadable,
    /// Made for a key that this server does not have, as after a restore without its keys.
    #[error("it was made for a key that this server does not have")]
    OtherKey,
    /// Made for another record or on another tablet, or altered.
    #[error("it does not belong to this record")]
    Foreign,
}

/// A private key that could not be taken.
#[derive(Debug, thiserror::Error)]
#[error("this is not the private key of a seal")]
pub struct NotAKey;

/// The key to which tablets seal.
#[derive(Clone)]
pub struct SealKey {
    secret: <DhP256HkdfSha256 as Kem>::PrivateKey,
    public: Vec<u8>,
    name: [u8; NAME],
}

impl fmt::Debug for SealKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SealKey({})", self.name())
    }
}

impl SealKey {
    /// A new key.
    pub fn new(clock: &Clock) -> Self {
        let (secret, _) = DhP256HkdfSha256::derive_keypair(&clock.random::<32>());
        Self::of(secret)
    }

    /// The key of these 32 bytes.
    pub fn from_secret(bytes: &[u8]) -> Result<Self, NotAKey> {
        Deserializable::from_bytes(bytes).map(Self::of).map_err(|_| NotAKey)
    }

    /// A secret word for one use, which whoever has the key can make again and nobody else can guess.
    pub fn word(&self, of: &str) -> String {
        let key = hmac::Key::new(hmac::HMAC_SHA256, &self.secret.to_bytes());
        URL_SAFE_NO_PAD.encode(&hmac::sign(&key, of.as_bytes()).as_ref()[..16])
    }

    fn of(secret: <DhP256HkdfSha256 as Kem>::PrivateKey) -> Self {
        let public = DhP256HkdfSha256::sk_to_pk(&secret).to_bytes().to_vec();
        let mut name = [0; NAME];
        name.copy_from_slice(&Digest::of(&public).0[..NAME]);
        Self { secret, public, name }
    }

    /// The 32 bytes from which it can be made again. Whoever has them can open every seal.
    pub fn secret(&self) -> Vec<u8> {
        self.secret.to_bytes().to_vec()
    }

    /// The name that seals carry: the beginning of the public key's SHA-256, as base64url.
    pub fn name(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.name)
    }

    /// The public key: an uncompressed point (SEC 1), as base64url.
    pub fn public(&self) -> String {
        URL_SAFE_NO_PAD.encode(&self.public)
    }

    /// The PIN in a seal that was made for this record on this tablet.
    ///
    /// # Errors
    /// See [`SealError`]. Any bytes may be given.
    pub fn open(&self, seal: &[u8], record: &Digest, tablet: &str) -> Result<Vec<u8>, SealError> {
        if seal.len() != LENGTH || seal[0] != VERSION {
            return Err(SealError::Unreadable);
        }
        let (name, rest) = seal[1..].split_at(NAME);
        let (enc, ciphertext) = rest.split_at(POINT);
        if name != self.name {
            return Err(SealError::OtherKey);
        }
        let plain = self.hpke_open(enc, &info(tablet), &record.0, ciphertext)?;
        let (of, rest) = plain.split_at(32);
        let (length, padded) = rest.split_at(1);
        if of != record.0 {
            return Err(SealError::Foreign);
        }
        padded.get(..usize::from(length[0])).map(<[u8]>::to_vec).ok_or(SealError::Unreadable)
    }
}

impl SealKey {
    fn hpke_open(&self, enc: &[u8], info: &[u8], aad: &[u8], sealed: &[u8]) -> Result<Vec<u8>, SealError> {
        let enc = Deserializable::from_bytes(enc).map_err(|_| SealError::Unreadable)?;
        single_shot_open::<AesGcm128, HkdfSha256, DhP256HkdfSha256>(
            &OpModeR::Base,
            &self.secret,
            &enc,
            info,
            sealed,
            aad,
        )
        .map_err(|_| SealError::Foreign)
    }
}

/// What a seal is bound to beside its record: what it is for, and the tablet.
fn info(tablet: &str) -> Vec<u8> {
    [b"airmuster signature 1\0", tablet.as_bytes()].concat()
}

/// A seal as it stands in a header or a file.
///
/// # Errors
/// When it is not base64url of a seal's length.
pub fn read(text: &str) -> Result<Vec<u8>, SealError> {
    if text.len() != LENGTH.div_ceil(3) * 4 - (3 - LENGTH % 3) % 3 {
        return Err(SealError::Unreadable);
    }
    URL_SAFE_NO_PAD.decode(text).map_err(|_| SealError::Unreadable)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn hex(s: &str) -> Vec<u8> {
        (0..s.len()).step_by(2).map(|i| u8::from_str_radix(&s[i..i + 2], 16).unwrap()).collect()
    }

    /// RFC 9180, A.3.1: skRm.
    const RECEIVER: &str = "f3ce7fdae57e1a310d87f1ebbde6f328be0a99cdbcadf4d6589cf29de4b8ffd2";

    fn receiver() -> SealKey {
        SealKey::from_secret(&hex(RECEIVER)).unwrap()
    }

    #[test]
    fn the_example_of_rfc_9180_a_3_1_is_opened() {
        let key = receiver();
        let public = "04fe8c19ce0905191ebc298a9245792531f26f0cece2460639e8bc39cb7f706a826a779b4cf969b8a0e539c7f62fb3d30ad6aa8f80e30f1d128aafd68a2ce72ea0";
        assert_eq!(key.public, hex(public));
        let enc = hex(
            "04a92719c6195d5085104f469a8b9814d5838ff72b60501e2c4466e5e67b325ac98536d7b61a1af4b78e5b7f951c0900be863c403ce65c9bfcb9382657222d18c4",
        );
        let info = hex("4f6465206f6e2061204772656369616e2055726e");
        let sealed =
            hex("5ad590bb8baa577f8619db35a36311226a896e7342a6d836d8b7bcd2f20b6c7f9076ac232e3ab2523f39513434");
        let plain = key.hpke_open(&enc, &info, b"Count-0", &sealed).unwrap();
        assert_eq!(plain, b"Beauty is truth, truth beauty");
        assert_eq!(key.hpke_open(&enc, &info, b"Count-1", &sealed), Err(SealError::Foreign));
    }

    /// Made by `static/seal.js`, in the tablet's place.
    #[derive(serde::Deserialize)]
    struct Made {
        pin: String,
        digest: String,
        tablet: String,
        seal: String,
    }

    fn made() -> Vec<Made> {
        serde_json::from_str(include_str!("../../tests/vectors/seals.json")).unwrap()
    }

    #[test]
    fn what_the_tablets_script_has_sealed_is_opened_here_and_only_for_its_record_and_tablet() {
        let key = receiver();
        let made = made();
        assert!(made.len() >= 4);
        for m in &made {
            let seal = read(&m.seal).unwrap();
            let digest: Digest = m.digest.parse().unwrap();
            assert_eq!(key.open(&seal, &digest, &m.tablet).unwrap(), m.pin.as_bytes());
            assert_eq!(key.open(&seal, &digest, "tablet-9"), Err(SealError::Foreign));
            assert_eq!(key.open(&seal, &Digest::of(b"another"), &m.tablet), Err(SealError::Foreign));
            let other = SealKey::new(&Clock::at(0));
            assert_eq!(other.open(&seal, &digest, &m.tablet), Err(SealError::OtherKey));
        }
    }

    #[test]
    fn a_seal_with_any_one_bit_altered_gives_nothing() {
        let m = &made()[0];
        let (key, digest) = (receiver(), m.digest.parse().unwrap());
        let seal = read(&m.seal).unwrap();
        for bit in 0..seal.len() * 8 {
            let mut altered = seal.clone();
            altered[bit / 8] ^= 1 << (bit % 8);
            assert!(key.open(&altered, &digest, &m.tablet).is_err(), "bit {bit}");
        }
    }

    proptest! {
        #[test]
        fn random_bytes_in_place_of_a_seal_are_refused_and_never_panic(
            bytes in proptest::collection::vec(any::<u8>(), 0..400),
            body in proptest::collection::vec(any::<u8>(), LENGTH - 9),
            text in "\\PC{0,300}",
        ) {
            let key = receiver();
            let digest = Digest::of(&bytes);
            prop_assert!(key.open(&bytes, &digest, "tablet-1").is_err());
            // With the beginning as it should be, so that the curve and the cipher see the rest.
            let mut like = [&[VERSION], &key.name[..], &body[..]].concat();
            prop_assert!(key.open(&like, &digest, "tablet-1").is_err());
            like[1 + NAME] = 4;
            prop_assert!(key.open(&like, &digest, "tablet-1").is_err());
            prop_assert!(read(&text).is_err() || text.len() == 250);
        }
    }
}
