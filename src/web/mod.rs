//! The web shell: routes, handlers, and the views they fill.

pub mod view;
