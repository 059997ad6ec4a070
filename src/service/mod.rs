//! Use cases: what a form, a tablet, the demo and the command line have in common.

pub mod backup;
pub mod bench;
pub mod checking;
pub mod correcting;
pub mod desk;
pub mod door;
pub mod doubt;
pub mod drift;
pub mod exchange;
pub mod first;
pub mod fleet;
pub mod gaps;
pub mod history;
pub mod intake;
pub mod leaving;
pub mod muster;
pub mod new_pin;
pub mod nightly;
pub mod notices;
pub mod outbox;
pub mod pack;
pub mod past;
pub mod photos;
pub mod pin;
pub mod ruling;
pub mod seal;
pub mod sealed;
pub mod shortcuts;
pub mod swap;
pub mod tablets;
pub mod ticket;
pub mod tokens;
pub mod unit;
pub mod upkeep;
pub mod verify;

pub use intake::{Intake, IntakeError, Origin, Receipt, Status};
