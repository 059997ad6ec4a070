//! `airmuster export`: everything that was written, for people and for another box.

use std::path::PathBuf;

use super::{DataFolder, Failure, print, watched};
use crate::clock::Clock;
use crate::service::exchange::export;

#[derive(Debug, clap::Args)]
pub(super) struct Export {
    #[command(flatten)]
    data: DataFolder,
    /// The ZIP file to write; it must not exist yet
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// With what members are called; without it, members are ids only
    #[arg(long)]
    with_names: bool,
}

impl Export {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let store = self.data.open_existing(clock).await?;
        let head = watched(Box::pin(export(&store, clock, &self.file, self.with_names))).await?;
        store.close().await;
        print(format_args!("{} records in {}\nhead {}", head.seq, self.file.display(), head.hash))
    }
}
