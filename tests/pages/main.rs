//! The pages, asked for in process: what they say, what they keep, and whom they let in.

mod browser;
mod district;
mod officer;
mod repair;
mod rights;
mod unit;
