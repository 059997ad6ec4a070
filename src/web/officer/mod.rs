//! The officer's pages.

pub mod accept;
pub mod attest;
pub mod cadences;
pub mod correct;
pub mod countersign;
pub mod crew;
pub mod fitness;
pub mod gaps;
pub mod import;
pub mod kept;
pub mod late;
pub mod loans;
pub mod past;
pub mod pins;
pub mod roster;
pub mod settle;
pub mod sheet;
pub mod shift;
pub mod status;
pub mod swap;
pub mod tablets;
pub mod teams;
pub mod wall;
pub mod words;
