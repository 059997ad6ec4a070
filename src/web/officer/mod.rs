//! The officer's pages.

pub mod gaps;
pub mod import;
pub mod roster;
pub mod settle;
