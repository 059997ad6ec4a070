//! The officer's pages.

pub mod roster;
pub mod settle;
