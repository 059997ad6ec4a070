//! The crew's pages, on a shared tablet.

pub mod board;
pub mod check;
mod filling;
mod input;
pub mod sign;
pub mod verdict;
