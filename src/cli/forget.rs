//! `airmuster forget`: erases the personal fields of a member who has left.

use super::{DataFolder, Failure};
use crate::clock::Clock;
use crate::service::Intake;
use crate::service::leaving::{LeavingError, forget};

#[derive(Debug, clap::Args)]
pub(super) struct Forget {
    #[command(flatten)]
    data: DataFolder,
    /// The member's id, as the register knows it
    #[arg(value_name = "ID")]
    member: String,
}

impl Forget {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let store = self.data.open_existing(clock).await?;
        let (intake, writer) = Intake::start(store.clone(), clock.clone());
        let done = forget(&store, &intake, &self.member, clock.id(), clock.now()).await;
        drop(intake);
        writer.await?;
        store.close().await;
        match done {
            Ok(()) => {
                println!(
                    "{}: roles ended; name, PIN and sign-ins erased. Backups made before still hold them.",
                    self.member
                );
                Ok(())
            }
            Err(e @ LeavingError::Nobody(_)) => Err(Failure::input(e.to_string())),
            Err(e) => Err(e.into()),
        }
    }
}
