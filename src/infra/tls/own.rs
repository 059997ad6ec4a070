//! The department's own certificate, from files that somebody else renews.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use airmuster_domain::Millis;
use rustls::client::verify_server_name;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::ParsedCertificate;
use rustls::sign::CertifiedKey;
use yasna::tags::TAG_UTCTIME;
use yasna::{ASN1Result, BERReader, Tag};

use super::{Current, Host, MINUTE, SECOND, TlsError, provider};

/// Certificate and key in PEM files.
#[derive(Debug)]
pub struct Own {
    /// The certificate, and those between it and its root.
    pub certificate: PathBuf,
    /// Its key.
    pub key: PathBuf,
    /// The name that it must be for.
    pub host: Host,
}

impl Own {
    /// What the files hold now. They are looked at again a minute later.
    pub(super) fn certificate(&self, now: Millis) -> Result<Current, TlsError> {
        let chain = self.chain()?;
        let leaf = chain.first().ok_or_else(|| refused(&self.certificate, "holds no certificate"))?;
        let ends = ends(leaf).ok_or_else(|| refused(&self.certificate, "holds no certificate"))?;
        if ends <= now {
            return Err(refused(&self.certificate, "holds a certificate that has ended"));
        }
        verify_server_name(&ParsedCertificate::try_from(leaf)?, self.host.name()).map_err(|_| {
            refused(&self.certificate, &format!("holds a certificate for another name than {}", self.host))
        })?;
        let key = PrivateKeyDer::from_pem_file(&self.key)
            .map_err(|e| refused(&self.key, &format!("holds no key that can be read ({e})")))?;
        let key = CertifiedKey::from_der(chain, key, &provider()).map_err(|e| {
            refused(&self.key, &format!("does not go with {} ({e})", self.certificate.display()))
        })?;
        Ok(Current { key: Arc::new(key), good: now..now + MINUTE, ends })
    }

    fn chain(&self) -> Result<Vec<CertificateDer<'static>>, TlsError> {
        CertificateDer::pem_file_iter(&self.certificate)
            .and_then(Iterator::collect)
            .map_err(|e| refused(&self.certificate, &format!("cannot be read ({e})")))
    }
}

fn refused(path: &Path, why: &str) -> TlsError {
    TlsError::Refused(format!("{} {why}", path.display()))
}

/// The end of a certificate's validity (RFC 5280, 4.1).
pub(super) fn ends(certificate: &CertificateDer<'_>) -> Option<Millis> {
    let whole = yasna::parse_der(certificate, elements).ok()?;
    let fields = yasna::parse_der(whole.first()?, elements).ok()?;
    // The version, in a tag of its own, is left out of certificates of version 1.
    let versioned = usize::from(fields.first()?.first() == Some(&0xa0));
    let validity = yasna::parse_der(fields.get(3 + versioned)?, elements).ok()?;
    let until = yasna::parse_der(validity.get(1)?, read_time).ok()?;
    Some(until * SECOND)
}

/// The elements of a sequence, unread.
#[expect(
    clippy::redundant_closure_for_method_calls,
    reason = "the method is not general enough in its lifetimes"
)]
fn elements(reader: BERReader<'_, '_>) -> ASN1Result<Vec<Vec<u8>>> {
    reader.read_sequence(|sequence| {
        let mut out = Vec::new();
        while let Some(element) = sequence.read_optional(|element| element.read_der())? {
            out.push(element);
        }
        Ok(out)
    })
}

fn read_time(reader: BERReader<'_, '_>) -> ASN1Result<i64> {
    let tag: Tag = reader.lookahead_tag()?;
    if tag == TAG_UTCTIME {
        Ok(reader.read_utctime()?.datetime().unix_timestamp())
    } else {
        Ok(reader.read_generalized_time()?.datetime().unix_timestamp())
    }
}
