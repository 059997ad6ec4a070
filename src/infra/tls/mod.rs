//! HTTPS by itself: a certificate from a local authority, or the department's own.

mod authority;
mod origin;
mod own;
#[cfg(test)]
mod tests;

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use airmuster_domain::Millis;
use rustls::ServerConfig;
use rustls::crypto::{CryptoProvider, ring};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;

use crate::clock::Clock;

pub use authority::Authority;
pub use origin::{Host, Origin};
pub use own::Own;

/// The folder in the data folder with the authority and the origin.
const FOLDER: &str = "tls";

const SECOND: Millis = 1000;
const MINUTE: Millis = 60 * SECOND;
const DAY: Millis = 24 * 60 * MINUTE;

/// From when on every page says that a certificate ends.
const WARN: Millis = 30 * DAY;

/// Why there is no HTTPS, in a sentence for whoever starts the program.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// What was asked for cannot be.
    #[error("{0}")]
    Refused(String),
    /// A file cannot be read or written.
    #[error("{0} cannot be used: {1}")]
    File(PathBuf, std::io::Error),
    /// A certificate cannot be made or read.
    #[error("a certificate cannot be made: {0}")]
    Making(#[from] rcgen::Error),
    /// What was made or read is no use for TLS.
    #[error("a certificate cannot be used: {0}")]
    Using(#[from] rustls::Error),
}

impl TlsError {
    fn at(path: &Path) -> impl FnOnce(std::io::Error) -> Self {
        move |e| Self::File(path.to_owned(), e)
    }
}

/// Where certificates come from.
#[derive(Debug)]
pub enum Source {
    /// The authority in the data folder.
    Local(Box<Authority>),
    /// Files that the department looks after.
    Own(Own),
}

/// A certificate in use.
#[derive(Debug)]
struct Current {
    key: Arc<CertifiedKey>,
    /// It is used without a further look while the clock is in here.
    good: Range<Millis>,
    /// When a person must have replaced something.
    ends: Millis,
}

/// The server's certificate, replaced in time without a restart: at the first connection after
/// two thirds of its life, or after its files have changed.
#[derive(Debug)]
pub struct Certificate {
    source: Source,
    clock: Clock,
    current: RwLock<Current>,
    /// The day on which the log was last told that it ends.
    told: RwLock<Option<Millis>>,
}

impl Certificate {
    /// Makes or reads the first certificate, and tries it as a browser would.
    ///
    /// # Errors
    /// When no browser would take it.
    pub fn new(source: Source, clock: Clock) -> Result<Arc<Self>, TlsError> {
        let current = source.certificate(clock.now())?;
        let this = Self { source, clock, current: RwLock::new(current), told: RwLock::new(None) };
        this.tell_log();
        Ok(Arc::new(this))
    }

    /// Where it comes from.
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// How connections are answered: TLS 1.3 with this certificate, HTTP/1.1 inside.
    ///
    /// # Errors
    /// When the provider of the cryptography does not know TLS 1.3.
    pub fn config(self: &Arc<Self>) -> Result<Arc<ServerConfig>, TlsError> {
        // Named here, because a process with two providers in it has no default one.
        let mut config = ServerConfig::builder_with_provider(provider())
            .with_protocol_versions(&[&rustls::version::TLS13])?
            .with_no_client_auth()
            .with_cert_resolver(Arc::<Self>::clone(self));
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Arc::new(config))
    }

    /// What every page says from thirty days before something ends that a person must replace.
    pub fn notice(&self) -> Option<String> {
        let ends = self.current.read().unwrap_or_else(PoisonError::into_inner).ends;
        let left = ends - self.clock.now();
        if left >= WARN {
            return None;
        }
        let what = match self.source {
            Source::Local(_) => "The certificate authority of this server",
            Source::Own(_) => "The certificate of this server",
        };
        let when = match left / DAY {
            _ if left <= 0 => "has ended".to_owned(),
            0 => "ends within a day".to_owned(),
            1 => "ends in 1 day".to_owned(),
            n => format!("ends in {n} days"),
        };
        Some(format!("{what} {when}; tablets cannot reach it then. Tell the administrator."))
    }

    fn fresh(&self) -> Arc<CertifiedKey> {
        let now = self.clock.now();
        {
            let current = self.current.read().unwrap_or_else(PoisonError::into_inner);
            if current.good.contains(&now) {
                return Arc::clone(&current.key);
            }
        }
        let mut current = self.current.write().unwrap_or_else(PoisonError::into_inner);
        if !current.good.contains(&now) {
            match self.source.certificate(now) {
                Ok(new) => {
                    if new.key.cert != current.key.cert {
                        tracing::info!("a new certificate is in use");
                    }
                    *current = new;
                }
                Err(e) => {
                    // The old one may still be good; look again soon, not at every connection.
                    tracing::error!(error = %e, "the certificate could not be renewed");
                    current.good = now..now + MINUTE;
                }
            }
        }
        Arc::clone(&current.key)
    }

    /// Logs the notice, once a day.
    fn tell_log(&self) {
        let today = self.clock.now().div_euclid(DAY);
        let Some(notice) = self.notice() else { return };
        let mut told = self.told.write().unwrap_or_else(PoisonError::into_inner);
        if told.replace(today) != Some(today) {
            tracing::warn!("{notice}");
        }
    }
}

impl ResolvesServerCert for Certificate {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        let key = self.fresh();
        self.tell_log();
        Some(key)
    }
}

impl Source {
    fn certificate(&self, now: Millis) -> Result<Current, TlsError> {
        match self {
            Self::Local(authority) => authority.certificate(now),
            Self::Own(own) => own.certificate(now),
        }
    }
}

/// The one provider of cryptography.
fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}
