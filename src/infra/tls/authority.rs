//! A certificate authority for one host name, made on the first start. Tablets install it once;
//! it can vouch for that name and nothing else, so that a stolen key opens no other site.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use airmuster_domain::Millis;
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DnType, ExtendedKeyUsagePurpose, GeneralSubtree, IsCa,
    Issuer, KeyPair, KeyUsagePurpose, NameConstraints, PKCS_ECDSA_P256_SHA256, SanType,
};
use rustls::RootCertStore;
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::ServerCertVerifier as _;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, UnixTime};
use rustls::sign::CertifiedKey;
use time::OffsetDateTime;

use super::own::ends;
use super::{Current, DAY, FOLDER, Host, MINUTE, SECOND, TlsError, provider};
use crate::infra::private;

const KEY: &str = "authority.key";
const CERTIFICATE: &str = "authority.pem";

/// Ten years: installing it on every tablet is work.
const LIFE: Millis = 3650 * DAY;

/// Browsers take server certificates of 397 days at most; a day stays free for how they count.
const LEAF_LIFE: Millis = 396 * DAY;

/// Certificates begin this long ago, for tablets whose clock is slow.
const BACK: Millis = 2 * DAY;

/// 2026-01-01: before this program was written. A machine that believes so has lost its clock.
const TOO_EARLY: Millis = 1_767_225_600_000;

/// The authority: its certificate, and the key that signs with it.
#[derive(Debug)]
pub struct Authority {
    host: Host,
    certificate: CertificateDer<'static>,
    pem: String,
    issuer: Issuer<'static, KeyPair>,
    ends: Millis,
}

impl Authority {
    /// The authority in the data folder, made if there is none yet.
    ///
    /// # Errors
    /// When it cannot be read or made.
    pub fn open(data: &Path, host: &Host, now: Millis) -> Result<Self, TlsError> {
        let dir = data.join(FOLDER);
        let path = dir.join(CERTIFICATE);
        private::folder(&dir).map_err(TlsError::at(&dir))?;
        // Written after the key: where it is, the key is too.
        if !path.exists() {
            make(&dir, host, now)?;
        }
        let pem = std::fs::read_to_string(&path).map_err(TlsError::at(&path))?;
        let unread = || TlsError::Refused(format!("{} holds no certificate", path.display()));
        let certificate = CertificateDer::from_pem_slice(pem.as_bytes()).map_err(|_| unread())?;
        let ends = ends(&certificate).ok_or_else(unread)?;
        let key = dir.join(KEY);
        let key = KeyPair::from_pem(&std::fs::read_to_string(&key).map_err(TlsError::at(&key))?)?;
        let issuer = Issuer::new(params(host, ends)?, key);
        Ok(Self { host: host.clone(), certificate, pem, issuer, ends })
    }

    /// The certificate as tablets install it.
    pub fn der(&self) -> &[u8] {
        &self.certificate
    }

    /// The same in PEM.
    pub fn pem(&self) -> &str {
        &self.pem
    }

    /// Its last moment.
    pub fn ends(&self) -> Millis {
        self.ends
    }

    /// A new certificate for the server. Its key is never written down.
    pub(super) fn certificate(&self, now: Millis) -> Result<Current, TlsError> {
        let from = now - BACK;
        let until = (from + LEAF_LIFE).min(self.ends);
        if until <= now {
            return Err(TlsError::Refused(format!(
                "the certificate authority in the folder {FOLDER} has ended, or this machine's clock is \
                 wrong. To make a new one, move {KEY} and {CERTIFICATE} away; every tablet installs it then."
            )));
        }
        let mut params = CertificateParams::default();
        name(&mut params, "airmuster server");
        params.subject_alt_names = vec![match self.host.ip() {
            Some(ip) => SanType::IpAddress(ip),
            None => SanType::DnsName(self.host.to_string().try_into()?),
        }];
        (params.not_before, params.not_after) = (date(from)?, date(until)?);
        params.is_ca = IsCa::ExplicitNoCa;
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        let key = KeyPair::generate_for(&PKCS_ECDSA_P256_SHA256)?;
        let leaf = params.signed_by(&key, &self.issuer)?.der().clone();
        self.would_be_taken(&leaf, now)?;
        // The authority goes along, so that a client can be told to look for it by its key.
        let chain = vec![leaf, self.certificate.clone()];
        let key = PrivateKeyDer::Pkcs8(key.serialize_der().into());
        let key = CertifiedKey::from_der(chain, key, &provider())?;
        let renew = (from + (until - from) / 3 * 2).max(now + MINUTE);
        Ok(Current { key: Arc::new(key), good: from..renew, ends: self.ends })
    }

    /// Looks at a certificate as a browser that has the authority does: one that was made for
    /// another host, or whose key is another's, is caught here and not on the tablets.
    fn would_be_taken(&self, leaf: &CertificateDer<'_>, now: Millis) -> Result<(), TlsError> {
        let mut roots = RootCertStore::empty();
        roots.add(self.certificate.clone())?;
        let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider())
            .build()
            .map_err(|e| TlsError::Refused(e.to_string()))?;
        let now = UnixTime::since_unix_epoch(Duration::from_millis(now.try_into().unwrap_or(0)));
        match verifier.verify_server_cert(leaf, &[], self.host.name(), &[], now) {
            Ok(_) => Ok(()),
            Err(e) => Err(TlsError::Refused(format!(
                "browsers would not take what the authority in the folder {FOLDER} vouches for ({e}). Bring \
                 back {KEY} and {CERTIFICATE} as they were, or move both away for a new authority; every \
                 tablet installs it then."
            ))),
        }
    }
}

fn make(dir: &Path, host: &Host, now: Millis) -> Result<(), TlsError> {
    if now < TOO_EARLY {
        return Err(TlsError::Refused(
            "this machine's date lies in the past: set it, then start again".to_owned(),
        ));
    }
    let mut params = params(host, now - BACK + LIFE)?;
    params.not_before = date(now - BACK)?;
    let key = KeyPair::generate_for(&PKCS_ECDSA_P256_SHA256)?;
    let certificate = params.self_signed(&key)?;
    let write = |file, text: String| {
        private::write(dir, file, text.as_bytes()).map_err(TlsError::at(&dir.join(file)))
    };
    write(KEY, key.serialize_pem())?;
    write(CERTIFICATE, certificate.pem())
}

/// All of the authority but its beginning and its key.
fn params(host: &Host, ends: Millis) -> Result<CertificateParams, TlsError> {
    let mut params = CertificateParams::default();
    let until = date(ends)?;
    params.not_after = until;
    // A device lists it under this name, which may have 64 letters (RFC 5280, A.1).
    let host_name: String = host.to_string().chars().take(34).collect();
    name(&mut params, &format!("airmuster at {host_name} until {}", until.date()));
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.name_constraints = Some(constraints(host));
    Ok(params)
}

/// RFC 5280, 4.2.1.10: a kind of name that is not mentioned is not constrained, so both kinds are.
fn constraints(host: &Host) -> NameConstraints {
    let net = |ip, prefix| GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(ip, prefix));
    let any_ip = || vec![net([0; 4].into(), 0), net([0; 16].into(), 0)];
    match host.ip() {
        Some(ip) => NameConstraints {
            permitted_subtrees: vec![net(ip, if ip.is_ipv4() { 32 } else { 128 })],
            // The empty name is the root of all.
            excluded_subtrees: vec![GeneralSubtree::DnsName(String::new())],
        },
        None => NameConstraints {
            permitted_subtrees: vec![GeneralSubtree::DnsName(host.to_string())],
            excluded_subtrees: any_ip(),
        },
    }
}

/// A subject that cannot be taken for a host name, which some checks would hold to the constraints.
fn name(params: &mut CertificateParams, name: &str) {
    params.distinguished_name = rcgen::DistinguishedName::new();
    params.distinguished_name.push(DnType::CommonName, name);
}

fn date(t: Millis) -> Result<OffsetDateTime, TlsError> {
    OffsetDateTime::from_unix_timestamp(t.div_euclid(SECOND))
        .map_err(|e| TlsError::Refused(format!("this machine's clock is wrong: {e}")))
}
