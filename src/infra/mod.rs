//! What the program needs of the machine.

pub mod key_backup;
pub mod logging;
pub mod mail;
mod private;
pub mod seal_key;
pub mod tls;
