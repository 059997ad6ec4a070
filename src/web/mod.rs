//! The web shell: routes, handlers, and the views they fill.

mod api;
mod assets;
mod auth;
mod bench;
mod crew;
mod entered;
mod error;
mod html;
mod layers;
mod officer;
mod present;
mod routes;
mod serving;
mod signing;
mod telling;
pub mod view;

pub use auth::Who;
pub use routes::{Route, list as routes};
pub use serving::{Serving, app_router};
