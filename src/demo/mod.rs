//! An invented fire district in an invented place, handed in through intake.

use std::net::SocketAddr;

use crate::clock::Clock;
use crate::store::{Store, StoreError};

/// What there is to try.
#[derive(Debug)]
pub struct District;

impl District {
    /// Where to go and whom to sign in as.
    pub fn welcome(&self, address: SocketAddr) -> String {
        format!("airmuster is at http://{address}")
    }
}

/// Fills an empty database.
pub async fn fill(_store: &Store, _clock: &Clock) -> Result<District, StoreError> {
    Ok(District)
}
