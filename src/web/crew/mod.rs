//! The crew's pages, on a shared tablet.

pub mod board;
