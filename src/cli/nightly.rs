//! What runs beside the server for years: nightly backups, and figures for a monitoring system.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::task::JoinHandle;

use super::Failure;
use crate::clock::Clock;
use crate::config::File;
use crate::service::nightly::Nightly;
use crate::store::Store;
use crate::web::Notice;

/// How many backups stay when nothing is said: a month.
const KEEP: u16 = 31;
/// How often it is looked whether one is due.
const LOOK: Duration = Duration::from_mins(10);

#[derive(Debug, clap::Args)]
pub(super) struct Upkeep {
    /// Folder for nightly backups; without it there are none
    #[arg(long, env = "AIRMUSTER_BACKUPS", value_name = "DIR")]
    backups: Option<PathBuf>,
    /// Second folder, best on another machine, to which each backup is copied; it must be there
    #[arg(long, env = "AIRMUSTER_BACKUPS_COPY", value_name = "DIR")]
    backups_copy: Option<PathBuf>,
    /// How many of the newest backups stay, beside the first of each month [default: 31]
    #[arg(long, env = "AIRMUSTER_BACKUPS_KEEP", value_name = "COUNT")]
    backups_keep: Option<u16>,
    /// Address for /metrics; only this machine may ask, so it must be a loopback one
    #[arg(long, env = "AIRMUSTER_METRICS_LISTEN", value_name = "ADDR")]
    metrics_listen: Option<SocketAddr>,
}

/// The settings as they hold.
#[derive(Debug, Default)]
pub(super) struct Beside {
    pub nightly: Option<Nightly>,
    pub metrics: Option<SocketAddr>,
}

impl Upkeep {
    /// With what the settings file says where nothing was given.
    pub(super) fn or(self, file: &File) -> Result<Beside, Failure> {
        let copy = self.backups_copy.or_else(|| file.backups_copy.clone());
        let keep = usize::from(self.backups_keep.or(file.backups_keep).unwrap_or(KEEP));
        let nightly = match (self.backups.or_else(|| file.backups.clone()), copy) {
            (Some(folder), copy) => Some(Nightly { folder, copy, keep }),
            (None, Some(_)) => {
                return Err(Failure::input("--backups-copy goes with --backups; name that folder too"));
            }
            (None, None) => None,
        };
        let metrics = self.metrics_listen.or(file.metrics_listen);
        if let Some(addr) = metrics.filter(|a| !a.ip().is_loopback()) {
            return Err(Failure::input(format!(
                "{addr} can be reached from elsewhere; --metrics-listen takes a loopback address like 127.0.0.1:8462"
            )));
        }
        Ok(Beside { nightly, metrics })
    }
}

/// Makes backups until it is stopped. What every page is to say while they fail comes with it.
pub(super) fn start(nightly: Nightly, store: Store, clock: Clock) -> (JoinHandle<()>, Notice) {
    let trouble: Arc<Mutex<Option<String>>> = Arc::default();
    let told = Arc::clone(&trouble);
    let task = tokio::spawn(async move {
        let mut every = tokio::time::interval(LOOK);
        loop {
            every.tick().await;
            let outcome = nightly.run(&store, &clock).await;
            if let Ok(Some(file)) = &outcome {
                tracing::info!(file = %file.display(), "backup made and proved");
            }
            let say = outcome.err().map(|e| {
                tracing::error!(error = %e, "the nightly backup failed");
                format!("The nightly backup failed; tell whoever looks after the server. {e}.")
            });
            *trouble.lock().unwrap_or_else(PoisonError::into_inner) = say;
        }
    });
    (task, Notice::new(move || told.lock().unwrap_or_else(PoisonError::into_inner).clone()))
}
