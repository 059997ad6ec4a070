//! `airmuster keys backup` and `restore`: what only this server has, apart from its data.

use std::path::{Path, PathBuf};

use super::{DataFolder, Failure, print};
use crate::clock::Clock;
use crate::infra::key_backup::{self, KeyError};

#[derive(Debug, clap::Subcommand)]
pub(super) enum Keys {
    /// Write the keys into one file, encrypted under a passphrase read from standard input
    Backup(Named),
    /// Put the keys of such a file into a data folder that has none; passphrase on standard input
    Restore(Named),
}

#[derive(Debug, clap::Args)]
pub(super) struct Named {
    #[command(flatten)]
    data: DataFolder,
    /// The file of keys; keep it apart from the backups
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

impl Keys {
    pub(super) fn run(self, clock: &Clock) -> Result<(), Failure> {
        let passphrase = std::io::read_to_string(std::io::stdin())?;
        let passphrase = passphrase.lines().next().unwrap_or_default().trim();
        let told = |done: &str, keys: Result<Vec<String>, KeyError>, file: &Path| {
            let keys = keys.map_err(|e| Failure::input(e.to_string()))?;
            print(format_args!("{done} {}: {}", file.display(), keys.join(", ")))
        };
        match self {
            Self::Backup(n) => {
                told("in", key_backup::back_up(&n.data.data, &n.file, passphrase, clock), &n.file)
            }
            Self::Restore(n) => told("from", key_backup::restore(&n.data.data, &n.file, passphrase), &n.file),
        }
    }
}
