//! The one address under which tablets know the server. What a tablet has not handed in yet
//! belongs to scheme, host and port together, so none of them may change.

use std::fmt;
use std::net::IpAddr;
use std::path::Path;
use std::str::FromStr;

use rustls::pki_types::ServerName;

use super::{FOLDER, TlsError};
use crate::infra::private;

/// The file that remembers it.
const FILE: &str = "origin";

/// A host name or an IP address, as browsers write it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Host(ServerName<'static>);

impl Host {
    /// For checking certificates.
    pub fn name(&self) -> &ServerName<'static> {
        &self.0
    }

    /// The address, where it is one.
    pub fn ip(&self) -> Option<IpAddr> {
        match self.0 {
            ServerName::IpAddress(ip) => Some(ip.into()),
            _ => None,
        }
    }
}

impl FromStr for Host {
    type Err = TlsError;

    fn from_str(s: &str) -> Result<Self, TlsError> {
        let lower = s.trim().to_ascii_lowercase();
        let bare = lower.strip_prefix('[').and_then(|s| s.strip_suffix(']')).unwrap_or(&lower);
        ServerName::try_from(bare.to_owned()).ok().filter(|_| !bare.ends_with('.')).map(Self).ok_or_else(
            || {
                TlsError::Refused(format!(
                    "“{}” is not a host name; give the name alone, such as airmuster.station.example",
                    s.trim()
                ))
            },
        )
    }
}

impl fmt::Display for Host {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.ip() {
            Some(IpAddr::V6(ip)) => write!(f, "[{ip}]"),
            Some(ip) => ip.fmt(f),
            None => f.write_str(&self.0.to_str()),
        }
    }
}

/// Host and port; the scheme is always https.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The host.
    pub host: Host,
    /// The port. 0, a port that the system chooses, is nobody's address and goes with any.
    pub port: u16,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.port {
            443 => write!(f, "https://{}", self.host),
            port => write!(f, "https://{}:{port}", self.host),
        }
    }
}

impl Origin {
    /// What a data folder remembers.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn remembered(data: &Path) -> Result<Option<Self>, TlsError> {
        let path = data.join(FOLDER).join(FILE);
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(TlsError::at(&path)(e)),
        };
        let origin = text
            .trim()
            .rsplit_once(' ')
            .and_then(|(host, port)| Some(Self { host: host.parse().ok()?, port: port.parse().ok()? }));
        let wrong = || TlsError::Refused(format!("{} should hold a host name and a port", path.display()));
        origin.map(Some).ok_or_else(wrong)
    }

    /// Refuses an origin that is not the one that a data folder remembers; gives that one.
    ///
    /// # Errors
    /// When it is another, or cannot be read.
    pub fn check(&self, data: &Path) -> Result<Option<Self>, TlsError> {
        let known = Self::remembered(data)?;
        if let Some(known) = &known {
            let port = known.port == self.port || known.port == 0 || self.port == 0;
            if known.host != self.host || !port {
                return Err(TlsError::Refused(format!(
                    "tablets know this server as {known}, and what they have not handed in yet belongs to \
                     that address: under {self} they would start empty. Go back to the old address. If it \
                     must change, let every tablet hand in first, then move the folder {} away; every \
                     tablet installs a new authority then.",
                    data.join(FOLDER).display()
                )));
            }
        }
        Ok(known)
    }

    /// Remembers this origin from the first start on, and refuses another afterwards.
    ///
    /// # Errors
    /// When the data folder remembers another, or cannot be written.
    pub fn settle(&self, data: &Path) -> Result<(), TlsError> {
        if self.check(data)?.is_some_and(|known| known.port != 0 || self.port == 0) {
            return Ok(());
        }
        private::write(&data.join(FOLDER), FILE, format!("{} {}\n", self.host, self.port).as_bytes())
            .map_err(TlsError::at(&data.join(FOLDER).join(FILE)))
    }
}
