//! Notices by mail: their settings, and the task that sends them.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::time::Duration;

use tokio::task::JoinHandle;

use super::Failure;
use crate::clock::Clock;
use crate::config::File;
use crate::infra::mail::{Mailer, Settings};
use crate::service::notices::{About, gather};
use crate::store::Store;

/// How often it is looked whether there is something to tell.
const LOOK: Duration = Duration::from_secs(30);

#[derive(Debug, clap::Args)]
pub(super) struct MailFlags {
    /// URL of the mail server for notices; without it no mail is sent
    #[arg(long = "mail-server", env = "AIRMUSTER_MAIL_SERVER", value_name = "URL")]
    server: Option<String>,
    /// From whom notices come
    #[arg(long = "mail-from", env = "AIRMUSTER_MAIL_FROM", value_name = "ADDRESS")]
    from: Option<String>,
    /// To whom they go, with commas between
    #[arg(long = "mail-to", env = "AIRMUSTER_MAIL_TO", value_name = "ADDRESSES")]
    to: Option<String>,
    /// What they are about, with commas between [default: out-of-service,seat-open,check-late]
    #[arg(long = "mail-about", env = "AIRMUSTER_MAIL_ABOUT", value_name = "WHAT")]
    about: Option<String>,
    /// Who signs in at the mail server
    #[arg(long = "mail-user", env = "AIRMUSTER_MAIL_USER", value_name = "NAME")]
    user: Option<String>,
    /// File with that user's password
    #[arg(long = "mail-password-file", env = "AIRMUSTER_MAIL_PASSWORD_FILE", value_name = "FILE")]
    password_file: Option<PathBuf>,
}

/// What is told, and how.
#[derive(Debug)]
pub(super) struct Mail {
    mailer: Mailer,
    about: BTreeSet<About>,
}

impl MailFlags {
    /// With what the settings file says where nothing was given; nothing where no server is named.
    pub(super) fn or(self, file: &File) -> Result<Option<Mail>, Failure> {
        settings(&File {
            mail_server: self.server.or_else(|| file.mail_server.clone()),
            mail_from: self.from.or_else(|| file.mail_from.clone()),
            mail_to: self.to.or_else(|| file.mail_to.clone()),
            mail_about: self.about.or_else(|| file.mail_about.clone()),
            mail_user: self.user.or_else(|| file.mail_user.clone()),
            mail_password_file: self.password_file.or_else(|| file.mail_password_file.clone()),
            ..File::default()
        })
        .map_err(Failure::input)
    }
}

/// Reads the settings as they hold.
///
/// # Errors
/// With the one that cannot be used, in words.
pub(super) fn settings(s: &File) -> Result<Option<Mail>, String> {
    let Some(server) = s.mail_server.clone() else {
        let named = s.mail_from.is_some() || s.mail_to.is_some() || s.mail_user.is_some();
        return if named {
            Err("mail_from, mail_to and mail_user go with mail_server; name that too".to_owned())
        } else {
            Ok(None)
        };
    };
    let list = |text: &str| -> Vec<String> {
        text.split(',').map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned).collect()
    };
    let about = match &s.mail_about {
        None => About::ALL.into(),
        Some(text) => list(text)
            .iter()
            .map(|id| {
                About::from_id(id)
                    .ok_or(format!("mail_about: “{id}” is none of out-of-service, seat-open, check-late"))
            })
            .collect::<Result<BTreeSet<_>, _>>()?,
    };
    let credentials = match (&s.mail_user, &s.mail_password_file) {
        (None, None) => None,
        (Some(user), Some(path)) => {
            let text = std::fs::read_to_string(path)
                .map_err(|e| format!("mail_password_file: {} cannot be read: {e}", path.display()))?;
            Some((user.clone(), text.trim_end().to_owned()))
        }
        _ => return Err("mail_user and mail_password_file go together; name both".to_owned()),
    };
    let settings = Settings {
        server,
        from: s.mail_from.clone().ok_or("mail_from: say from whom notices come")?,
        to: list(s.mail_to.as_deref().unwrap_or_default()),
        credentials,
    };
    let mailer = Mailer::new(&settings).map_err(|e| e.to_string())?;
    Ok(Some(Mail { mailer, about }))
}

/// Sends notices until it is stopped. What the mail server does not take is sent again.
pub(super) fn start(mail: Mail, store: Store, clock: Clock) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut every = tokio::time::interval(LOOK);
        loop {
            every.tick().await;
            if let Err(e) = tell(&mail, &store, &clock).await {
                tracing::error!(error = %e, "notices could not be sent; they are tried again");
            }
        }
    })
}

async fn tell(
    mail: &Mail,
    store: &Store,
    clock: &Clock,
) -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
    let notices = gather(store, clock.now(), &mail.about).await?;
    if notices.is_empty() {
        return Ok(());
    }
    if !notices.subject.is_empty() {
        mail.mailer.send(&notices.subject, notices.text.clone()).await?;
        tracing::info!(subject = %notices.subject, "notices were sent");
    }
    Ok(notices.note(store, clock.now()).await?)
}
