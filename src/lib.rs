//! airmuster: breathing-apparatus checks, standings and repairs for a fire department.

pub mod clock;
pub mod store;
pub mod web;
