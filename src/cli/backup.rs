//! `airmuster backup`, `restore` and `import-outbox`.

use std::path::PathBuf;

use super::{DataFolder, Failure, read_input, watched};
use crate::clock::Clock;
use crate::service::backup::{back_up, restore};
use crate::service::{Intake, outbox};

#[derive(Debug, clap::Args)]
pub(super) struct Backup {
    #[command(flatten)]
    data: DataFolder,
    /// The file to write; it must not exist yet
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

impl Backup {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let store = self.data.open_existing(clock).await?;
        let head = watched(Box::pin(back_up(&store, clock, &self.file))).await?;
        store.close().await;
        println!("{} records in {}, proved\nhead {}", head.seq, self.file.display(), head.hash);
        Ok(())
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct Restore {
    #[command(flatten)]
    data: DataFolder,
    /// The backup
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

impl Restore {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let head = watched(Box::pin(restore(&self.file, &self.data.data, clock))).await?;
        println!(
            "{} records restored; tablets hand in again what they still have\nhead {} epoch {}",
            head.seq, head.hash, head.epoch
        );
        Ok(())
    }
}

#[derive(Debug, clap::Args)]
pub(super) struct ImportOutbox {
    #[command(flatten)]
    data: DataFolder,
    /// The file that a tablet has saved, or - for standard input
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

impl ImportOutbox {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let records = outbox::read(&read_input(&self.file)?).map_err(|e| Failure::input(e.to_string()))?;
        let store = self.data.open_existing(clock).await?;
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let mut refused = 0;
        for (nth, record) in (1..).zip(records) {
            let origin = record.origin();
            let outbox::Carried { text, seal, .. } = record;
            match intake.submit_sealed(text.into_bytes(), seal, origin).await {
                Ok(receipt) => println!("{}", serde_json::to_string(&receipt)?),
                Err(e) => {
                    refused += 1;
                    eprintln!("airmuster: record {nth}: {e}");
                }
            }
        }
        drop(intake);
        writer.await?;
        store.close().await;
        if refused > 0 { Err(Failure::input(format!("{refused} of them not taken in"))) } else { Ok(()) }
    }
}
