//! The administrator's pages.

pub mod member;
pub mod register;
pub mod rules;
pub mod settings;
pub mod tables;
pub mod tokens;
