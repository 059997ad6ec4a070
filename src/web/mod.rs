//! The web shell: routes, handlers, and the views they fill.

mod admin;
mod api;
mod assets;
mod auth;
mod bench;
mod crew;
mod entered;
mod error;
mod handshake;
mod html;
mod layers;
mod lists;
mod metrics;
mod officer;
mod offline;
mod photos;
mod present;
mod reading;
mod routes;
mod serving;
mod shelf;
mod signing;
mod telling;
mod trust;
mod upkeep;
pub mod view;

pub use auth::Who;
pub use routes::{Route, list as routes};
pub use serving::{Notice, Secure, Serving, app_router, demo_router};
pub use trust::Authority;
