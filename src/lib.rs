//! airmuster: breathing-apparatus checks, standings and repairs for a fire department.

pub mod web;
