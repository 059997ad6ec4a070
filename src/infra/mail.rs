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
    /// The server, or the way to it.
    #[error("the mail server did not take it: {0}")]
    Server(#[from] lettre::transport::smtp::Error),
    /// The mail itself.
    #[error("the mail cannot be written: {0}")]
    Message(#[from] lettre::error::Error),
}

/// What mail is sent through.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// `smtps://host:465`, `smtp://host:587?tls=required`, or without TLS `smtp://127.0.0.1:25`.
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
