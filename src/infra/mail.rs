//! Sending mail over SMTP.

use lettre::message::Mailbox;
use lettre::transport::smtp::authentication::Credentials;
use lettre::{AsyncSmtpTransport, AsyncTransport as _, Message, Tokio1Executor};

/// Why a mail cannot be sent.
#[derive(Debug, thiserror::Error)]
pub enum MailError {
    /// A setting.
    #[error("{0}: {1}")]
    Setting(&'static str, String),
    /// The server is not the one that its certificate would have to name, or nobody vouches for it.
    #[error(
        "the mail server’s certificate was refused ({0}), and nothing was sent; it has to name the host of \
         mail_server, and an authority that this machine trusts has to vouch for it"
    )]
    Certificate(String),
    /// The server, or the way to it.
    #[error("the mail server did not take it: {0}")]
    Server(lettre::transport::smtp::Error),
    /// The mail itself.
    #[error("the mail cannot be written: {0}")]
    Message(#[from] lettre::error::Error),
}

/// What mail is sent through.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// `smtps://host:465`, `smtp://host:587?tls=required`, or without TLS, to this machine alone,
    /// `smtp://127.0.0.1:25`.
    pub server: String,
    /// From whom.
    pub from: String,
    /// To whom.
    pub to: Vec<String>,
    /// Who signs in at the mail server, with the password.
    pub credentials: Option<(String, String)>,
}

/// A way to send mail.
#[derive(Debug, Clone)]
pub struct Mailer {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
    to: Vec<Mailbox>,
}

impl Mailer {
    /// Reads the settings; nothing is asked of the server yet.
    ///
    /// # Errors
    /// [`MailError::Setting`] with the one that cannot be read.
    pub fn new(s: &Settings) -> Result<Self, MailError> {
        if !is_protected(&s.server) {
            let say = "without TLS a mail goes to this machine alone; write smtps://HOST:465 or \
                       smtp://HOST:587?tls=required";
            return Err(MailError::Setting("mail_server", say.to_owned()));
        }
        let server = AsyncSmtpTransport::<Tokio1Executor>::from_url(&s.server)
            .map_err(|e| MailError::Setting("mail_server", e.to_string()))?;
        let server = match &s.credentials {
            Some((user, password)) => server.credentials(Credentials::new(user.clone(), password.clone())),
            None => server,
        };
        let address = |setting, text: &str| {
            text.trim().parse::<Mailbox>().map_err(|e| MailError::Setting(setting, format!("“{text}”: {e}")))
        };
        let to: Vec<Mailbox> = s.to.iter().map(|t| address("mail_to", t)).collect::<Result<_, _>>()?;
        if to.is_empty() {
            return Err(MailError::Setting("mail_to", "name at least one address".to_owned()));
        }
        let timeout = Some(std::time::Duration::from_secs(30));
        Ok(Self { transport: server.timeout(timeout).build(), from: address("mail_from", &s.from)?, to })
    }

    /// Sends a mail in plain words.
    ///
    /// # Errors
    /// When the server does not take it.
    pub async fn send(&self, subject: &str, text: String) -> Result<(), MailError> {
        let mut message = Message::builder().from(self.from.clone()).subject(subject);
        for to in &self.to {
            message = message.to(to.clone());
        }
        self.transport.send(message.body(text)?).await?;
        Ok(())
    }
}

impl From<lettre::transport::smtp::Error> for MailError {
    fn from(e: lettre::transport::smtp::Error) -> Self {
        match refused_certificate(&e) {
            Some(why) => Self::Certificate(why),
            None => Self::Server(e),
        }
    }
}

/// Why a certificate was refused, somewhere beneath an error.
fn refused_certificate(e: &(dyn std::error::Error + 'static)) -> Option<String> {
    if let Some(rustls::Error::InvalidCertificate(why)) = e.downcast_ref::<rustls::Error>() {
        return Some(why.to_string());
    }
    // What an I/O error wraps is not told as its source.
    let within = e.downcast_ref::<std::io::Error>().and_then(std::io::Error::get_ref);
    match within {
        Some(within) => refused_certificate(within),
        None => refused_certificate(e.source()?),
    }
}

/// Whether nobody on the way can read what is sent, the password first of all. An address that cannot
/// be read passes: what is wrong with it is told by whoever reads it.
fn is_protected(server: &str) -> bool {
    let Some(rest) = server.strip_prefix("smtp://") else { return true };
    let (place, asked) = rest.split_once('?').unwrap_or((rest, ""));
    let place = place.split('/').next().unwrap_or_default();
    let place = place.rsplit_once('@').map_or(place, |(_, host)| host);
    let host = match place.strip_prefix('[') {
        Some(v6) => v6.split(']').next().unwrap_or_default(),
        None => place.split(':').next().unwrap_or_default(),
    };
    let here = host == "localhost" || host.parse::<std::net::IpAddr>().is_ok_and(|ip| ip.is_loopback());
    here || asked.split('&').any(|part| part == "tls=required")
}
