//! The officer's pages.

pub mod import;
pub mod roster;
pub mod settle;
