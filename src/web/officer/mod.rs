//! The officer's pages.

pub mod correct;
pub mod gaps;
pub mod import;
pub mod roster;
pub mod settle;
pub mod tablets;
