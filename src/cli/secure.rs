//! HTTPS on the command line: one host name, and where the certificate comes from.

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::DateTime;

use super::Failure;
use crate::clock::Clock;
use crate::config::File;
use crate::infra::tls::{Authority, Certificate, Host, Origin, Own, Source, TlsError};
use crate::web::{self, Notice, Secure};

#[derive(Debug, clap::Args)]
pub(super) struct Flags {
    /// Serve over HTTPS, with a certificate authority made for this server
    #[arg(long, env = "AIRMUSTER_TLS")]
    tls: bool,
    /// Name or address under which tablets reach the server; asked for once, and kept
    #[arg(long, env = "AIRMUSTER_HOST", value_name = "NAME")]
    host: Option<String>,
    /// The department's own certificate, with those between it and its root (PEM)
    #[arg(long, env = "AIRMUSTER_TLS_CERT", value_name = "FILE")]
    tls_cert: Option<PathBuf>,
    /// The key of that certificate (PEM)
    #[arg(long, env = "AIRMUSTER_TLS_KEY", value_name = "FILE")]
    tls_key: Option<PathBuf>,
    /// Address for plain http beside HTTPS, which explains how tablets come to trust the server
    /// [default: the next port; none with --tls-cert]
    #[arg(long, env = "AIRMUSTER_HTTP_LISTEN", value_name = "ADDR")]
    http_listen: Option<SocketAddr>,
}

/// What is ready before anything listens.
pub(super) struct Https {
    origin: Origin,
    certificate: Arc<Certificate>,
    beside: Option<SocketAddr>,
}

impl Flags {
    /// Takes from the settings file what was not given.
    pub(super) fn or(self, file: File) -> Self {
        Self {
            tls: self.tls || file.tls.unwrap_or(false),
            host: self.host.or(file.host),
            tls_cert: self.tls_cert.or(file.tls_cert),
            tls_key: self.tls_key.or(file.tls_key),
            http_listen: self.http_listen.or(file.http_listen),
        }
    }

    /// Settles the address and gets the certificate; nothing, if plain http was asked for.
    pub(super) fn https(
        self,
        data: &Path,
        listen: SocketAddr,
        clock: &Clock,
    ) -> Result<Option<Https>, Failure> {
        let own = match (self.tls_cert, self.tls_key) {
            (Some(certificate), Some(key)) => Some((certificate, key)),
            (None, None) => None,
            (Some(_), None) => return Err(Failure::input("--tls-cert needs --tls-key beside it")),
            (None, Some(_)) => return Err(Failure::input("--tls-key needs --tls-cert beside it")),
        };
        if !self.tls && own.is_none() {
            let alone = [("--host", self.host.is_some()), ("--http-listen", self.http_listen.is_some())];
            if let Some((flag, _)) = alone.iter().find(|(_, given)| *given) {
                return Err(Failure::input(format!("{flag} goes with HTTPS only; add --tls")));
            }
            warn_of_plain_http(data, listen).map_err(failure)?;
            return Ok(None);
        }
        let beside = self.http_listen.or_else(|| own.is_none().then(|| next_port(listen)).flatten());
        if beside == Some(listen) && listen.port() != 0 {
            return Err(Failure::input(format!(
                "{listen} can be for HTTPS or for plain http, not for both; choose another --http-listen"
            )));
        }
        let host = match (self.host, Origin::remembered(data).map_err(failure)?) {
            (Some(host), _) => host.parse().map_err(failure)?,
            (None, Some(known)) => known.host,
            (None, None) => ask_for_host()?,
        };
        let origin = Origin { host, port: listen.port() };
        let certificate = certificate(&origin, own, data, clock).map_err(failure)?;
        Ok(Some(Https { origin, certificate, beside }))
    }
}

/// The certificate for an origin that may be served: remembered, or new and remembered from now on.
fn certificate(
    origin: &Origin,
    own: Option<(PathBuf, PathBuf)>,
    data: &Path,
    clock: &Clock,
) -> Result<Arc<Certificate>, TlsError> {
    let host = origin.host.clone();
    origin.check(data)?;
    let source = match own {
        Some((certificate, key)) => Source::Own(Own { certificate, key, host }),
        None => Source::Local(Box::new(Authority::open(data, &host, clock.now())?)),
    };
    let certificate = Certificate::new(source, clock.clone())?;
    // Last: what did not work is not kept.
    origin.settle(data)?;
    Ok(certificate)
}

impl Https {
    /// The name under which tablets reach the server.
    pub(super) fn host(&self) -> Host {
        self.origin.host.clone()
    }

    /// What the web needs, now that the port is known.
    pub(super) fn at(self, port: u16) -> Result<Secure, TlsError> {
        let authority = match self.certificate.source() {
            Source::Own(_) => None,
            Source::Local(authority) => Some(web::Authority {
                der: authority.der().to_vec(),
                pem: authority.pem().to_owned(),
                ends: DateTime::from_timestamp_millis(authority.ends())
                    .unwrap_or_default()
                    .format("%-d %B %Y")
                    .to_string(),
            }),
        };
        let config = self.certificate.config()?;
        let certificate = self.certificate;
        Ok(Secure {
            config,
            address: Origin { port, ..self.origin }.to_string(),
            authority,
            beside: self.beside,
            notice: Notice::new(move || certificate.notice()),
        })
    }
}

/// What was asked for is bad input; a file that cannot be written is not.
fn failure(e: TlsError) -> Failure {
    match e {
        TlsError::Refused(say) => Failure::input(say),
        e => e.into(),
    }
}

/// What is printed at the start.
pub(super) fn welcome(
    host: &Host,
    address: &str,
    authority: Option<&web::Authority>,
    beside: Option<SocketAddr>,
) -> String {
    let mut lines = vec![format!("airmuster is at {address}")];
    if let (Some(authority), Some(beside)) = (authority, beside) {
        // Where only this machine can look, the name may lead elsewhere.
        let from = if beside.ip().is_loopback() {
            format!("http://{beside}")
        } else {
            format!("http://{host}:{}", beside.port())
        };
        lines.push(format!(
            "Tablets install its certificate authority from {from}, once. Its SHA-256 fingerprint, to \
             compare there:"
        ));
        let groups = authority.fingerprint();
        lines.extend(groups.chunks(8).map(|line| format!("  {}", line.join(" "))));
    }
    lines.join("\n")
}

fn next_port(listen: SocketAddr) -> Option<SocketAddr> {
    let port = match listen.port() {
        0 => 0,
        port => port.checked_add(1)?,
    };
    Some(SocketAddr::new(listen.ip(), port))
}

fn warn_of_plain_http(data: &Path, listen: SocketAddr) -> Result<(), TlsError> {
    if let Some(known) = Origin::remembered(data)? {
        tracing::warn!("tablets know this server as {known}; without --tls they cannot reach it");
    } else if !listen.ip().is_loopback() {
        tracing::warn!("over plain http tablets cannot keep checks while the network is away; add --tls");
    }
    Ok(())
}

fn ask_for_host() -> Result<Host, Failure> {
    let (mut input, mut output) = (std::io::stdin().lock(), std::io::stderr().lock());
    if !(input.is_terminal() && output.is_terminal()) {
        return Err(Failure::input(
            "HTTPS needs the one name under which tablets reach this server, for good; give it with --host NAME",
        ));
    }
    writeln!(
        output,
        "Under which name do tablets reach this server? Choose one that can stay: what a tablet has not \
         handed in yet belongs to this name."
    )?;
    loop {
        write!(output, "Name: ")?;
        output.flush()?;
        let mut line = String::new();
        if input.read_line(&mut line)? == 0 {
            return Err(Failure::input("no name was given"));
        }
        match line.parse() {
            Ok(host) => return Ok(host),
            Err(e) => writeln!(output, "{e}")?,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_start_tells_an_address_that_a_tablet_can_open() {
        let host: Host = "airmuster.station.example".parse().unwrap();
        let authority = web::Authority { der: vec![1], pem: String::new(), ends: String::new() };
        for (beside, told) in [
            ("0.0.0.0:8461", "from http://airmuster.station.example:8461, once"),
            ("[::]:8461", "from http://airmuster.station.example:8461, once"),
            ("127.0.0.1:8461", "from http://127.0.0.1:8461, once"),
        ] {
            let said = welcome(&host, "https://x", Some(&authority), Some(beside.parse().unwrap()));
            assert!(said.contains(told), "{said}");
        }
        assert_eq!(welcome(&host, "https://x", None, None), "airmuster is at https://x");
    }
}
