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

/// A third of the time of `verify` went into the allocator of glibc, and that of musl, with which the packaged
/// program is linked, is slower still.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;
