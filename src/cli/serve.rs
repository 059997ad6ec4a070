//! `airmuster serve` and `airmuster demo`.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use super::secure::{self, welcome};
use super::{DataFolder, Failure, mail, nightly};
use crate::clock::Clock;
use crate::config::{File, LISTEN, LogFormat};
use crate::infra::{logging, seal_key};
use crate::service::pin::Cost;
use crate::service::seal::SealKey;
use crate::store::Store;
use crate::{demo, web};

#[derive(Debug, clap::Args)]
struct Settings {
    /// Address to listen on [default: 127.0.0.1:8460]
    #[arg(long, env = "AIRMUSTER_LISTEN", value_name = "ADDR")]
    listen: Option<SocketAddr>,
    /// What to log, like info or airmuster=debug [default: info]
    #[arg(long, env = "AIRMUSTER_LOG", value_name = "FILTER")]
    log: Option<String>,
    /// How to write the log [default: text]
    #[arg(long, env = "AIRMUSTER_LOG_FORMAT", value_name = "FORMAT")]
    log_format: Option<LogFormat>,
    /// Settings file [default: airmuster.toml in the data folder, if there is one]
    #[arg(long, env = "AIRMUSTER_CONFIG", value_name = "FILE")]
    config: Option<PathBuf>,
}

/// The key to which tablets seal PINs.
fn seal_key(data: &Path, clock: &Clock) -> Result<SealKey, Failure> {
    let bytes = seal_key::keep(data, || SealKey::new(clock).secret())?;
    SealKey::from_secret(&bytes).map_err(|_| {
        Failure::input(
            "the file keys/seal in the data folder is not a key; put it back from a copy, or move it away: \
             PINs that tablets have sealed to it must then be given again",
        )
    })
}

impl Settings {
    /// Starts logging and gives the address, and what else is in the settings file.
    fn start(self, data: &Path) -> Result<(SocketAddr, File), Failure> {
        let file = File::read(self.config.as_deref(), data).map_err(|e| Failure::input(e.to_string()))?;
        logging::start(
            self.log.as_deref().or(file.log.as_deref()),
            self.log_format.or(file.log_format).unwrap_or_default(),
        )
        .map_err(Failure::input)?;
        let listen = match self.listen.or(file.listen) {
            Some(addr) => addr,
            None => LISTEN.parse()?,
        };
        Ok((listen, file))
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Serve {
    #[command(flatten)]
    data: DataFolder,
    #[command(flatten)]
    settings: Settings,
    #[command(flatten)]
    tls: secure::Flags,
    #[command(flatten)]
    beside: nightly::Upkeep,
    #[command(flatten)]
    mail: mail::MailFlags,
    /// Serve the demo's data to other machines, although everybody knows its PINs
    #[arg(long)]
    i_know_this_is_a_demo: bool,
}

impl Serve {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let (listen, file) = self.settings.start(&self.data.data)?;
        let beside = self.beside.or(&file)?;
        let mail = self.mail.or(&file)?;
        let https = self.tls.or(file).https(&self.data.data, listen, clock)?;
        let store = self.data.open(clock).await?;
        if demo::is_in(&store).await? && !listen.ip().is_loopback() && !self.i_know_this_is_a_demo {
            return Err(Failure::input(
                "this is the demo's data, whose PINs everybody knows; serve it on a loopback address, or \
                 add --i-know-this-is-a-demo",
            ));
        }
        let begun = store.has_somebody().await?;
        let key = seal_key(&self.data.data, clock)?;
        let mut serving = web::Serving::bind(store.clone(), clock.clone(), Cost::Full, key, listen).await?;
        if let Some(listen) = beside.metrics {
            serving = serving.measured(listen).await?;
        }
        let mail = mail.map(|m| mail::start(m, store.clone(), clock.clone()));
        let backups = beside.nightly.map(|n| nightly::start(n, store, clock.clone()));
        match https {
            None => println!("airmuster is at http://{}", serving.address()),
            Some(https) => {
                let host = https.host();
                let secure = https.at(serving.address().port())?;
                let (address, authority) = (secure.address.clone(), secure.authority.clone());
                serving = serving.secured(secure).await?;
                println!("{}", welcome(&host, &address, authority.as_ref(), serving.beside()));
            }
        }
        if !begun {
            tracing::warn!(
                "nobody can sign in yet: open /first-start on this machine, or run airmuster init"
            );
        }
        let mut tasks: Vec<_> = mail.into_iter().collect();
        if let Some((task, notice)) = backups {
            tasks.push(task);
            serving = serving.noticed(notice);
        }
        let served = serving.run().await;
        tasks.iter().for_each(tokio::task::JoinHandle::abort);
        Ok(served?)
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Demo {
    /// Folder for the demo's database [default: a temporary one, gone when the demo stops]
    #[arg(long, env = "AIRMUSTER_DATA", value_name = "DIR")]
    data: Option<PathBuf>,
    #[command(flatten)]
    settings: Settings,
}

impl Demo {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        // Held until the end: dropping it removes the folder.
        let temporary = match self.data {
            Some(_) => None,
            None => Some(tempfile::tempdir()?),
        };
        let dir = match (&self.data, &temporary) {
            (Some(dir), _) => dir.clone(),
            (None, Some(t)) => t.path().to_owned(),
            (None, None) => return Err(Failure::other("there is no folder for the demo")),
        };
        let (listen, _) = self.settings.start(&dir)?;
        let store = Store::open(&dir, clock.id()).await?;
        let district = demo::fill(&store, clock).await?;
        let key = seal_key(&dir, clock)?;
        let serving =
            web::Serving::bind(store, clock.clone(), Cost::Least, key, listen).await?.open_to_guests();
        println!("{}", district.welcome(serving.address()));
        Ok(serving.run().await?)
    }
}
