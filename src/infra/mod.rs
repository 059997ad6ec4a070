//! What the program needs of the machine.

pub mod logging;
mod private;
pub mod tls;
