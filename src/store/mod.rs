//! The database. All SQL is here, and methods speak the domain's types.

mod anew;
mod attempts;
mod backup;
mod entries;
mod error;
mod gaps;
mod history;
mod logbook;
mod muster;
mod open;
mod people;
mod photos;
mod projection;
mod register;
mod seals;
mod standings;
mod tablets;
mod tickets;
mod upkeep;

pub use anew::{Anew, COMPUTED};
pub use attempts::{Failures, Stopped, Tried};
pub use backup::check_pages;
pub use error::StoreError;
pub use gaps::{Life, Misstep};
pub use history::Link;
pub use logbook::{Head, Kept, Place, Row};
pub use muster::{Acceptance, ClearanceRow, FitRow, Gear, Known, LatePull, RigRow, Seated};
pub use open::{FILE, Pragma, Store, Write};
pub use people::{Person, PinHashes, Session};
pub use photos::{Named, PhotosOf, Picture};
pub use projection::Projected;
pub use register::{Department, SeatRow, Station, UnitRow, With};
pub use seals::{Opened, Waiting};
pub use standings::CheckRow;
pub use tablets::{Code, Holding, TabletRow};
pub use tickets::{Repeated, Ticket};
