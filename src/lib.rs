//! airmuster: breathing-apparatus checks, standings and repairs for a fire department.

pub mod cli;
pub mod clock;
pub mod config;
pub mod demo;
pub mod infra;
pub mod report;
pub mod service;
pub mod store;
pub mod web;
