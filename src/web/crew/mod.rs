//! The crew's pages, on a shared tablet.

mod after;
pub mod board;
pub mod check;
mod filling;
mod input;
pub mod out;
pub mod record;
pub mod sign;
pub mod spares;
pub mod unit;
pub mod unproven;
pub mod used;
pub mod verdict;
