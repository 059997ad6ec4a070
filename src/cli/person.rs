//! `airmuster person`: what a member is called, and the PIN.

use super::{DataFolder, Failure};
use crate::clock::Clock;
use crate::service::new_pin::may_be_set;
use crate::service::pin::{Cost, Pins};

#[derive(Debug, clap::Args)]
pub(super) struct Person {
    #[command(flatten)]
    data: DataFolder,
    /// The member's id, as the register knows it
    #[arg(value_name = "ID")]
    member: String,
    /// What the member is called
    #[arg(value_name = "NAME")]
    name: String,
}

impl Person {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        let store = self.data.open_existing(clock).await?;
        if store.signer(&self.member).await?.is_none() {
            return Err(Failure::input(format!("there is no member “{}” in the register", self.member)));
        }
        let typed = std::io::read_to_string(std::io::stdin())?;
        let pin = typed.lines().next().unwrap_or_default().trim();
        may_be_set(pin).map_err(Failure::input)?;
        let hash = Pins::new(store.clone(), clock.clone(), Cost::Full)
            .hash(pin)
            .await
            .map_err(|e| Failure::input(e.to_string()))?;
        let mut write = store.begin().await?;
        write.set_person(&self.member, &self.name, Some((&hash, clock.now()))).await?;
        write.commit().await?;
        store.close().await;
        println!("{} can sign as {}", self.name, self.member);
        Ok(())
    }
}
