//! Use cases: what a form, a tablet, the demo and the command line have in common.

pub mod checking;
pub mod desk;
pub mod fleet;
pub mod intake;
pub mod pin;
pub mod verify;

pub use intake::{Intake, IntakeError, Origin, Receipt, Status};
