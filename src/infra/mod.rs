//! What the program needs of the machine.

pub mod logging;
