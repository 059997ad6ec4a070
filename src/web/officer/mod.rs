//! The officer's pages.

pub mod attest;
pub mod correct;
pub mod gaps;
pub mod import;
pub mod pins;
pub mod roster;
pub mod settle;
pub mod tablets;
