//! The web shell: routes, handlers, and the views they fill.

mod serving;
pub mod view;

pub use serving::Serving;
