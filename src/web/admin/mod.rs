//! The administrator's pages.

pub mod tables;
