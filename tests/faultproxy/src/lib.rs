//! A TCP proxy between a client and a server that breaks their exchanges on purpose.
//!
//! It stands where a network stands: neither side knows that it is a test. It follows HTTP/1.1
//! only as far as it must to know where a request and a reply begin and end, passes bytes on as
//! they came, and draws what goes wrong from a seed. Loopback only.

mod control;
mod fake;
mod link;
mod mode;
mod proxy;
pub mod wire;

pub use control::serve as control;
pub use fake::Fake;
pub use mode::{Mode, Rule};
pub use proxy::{Counts, Proxy};
