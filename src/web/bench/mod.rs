//! The technician's pages.

pub mod clear;
pub mod joining;
pub mod labels;
pub mod moving;
pub mod notices;
pub mod parts;
pub mod queue;
pub mod retire;
pub mod returning;
pub mod ticket;
pub mod watch;

use airmuster_domain::record::{Asset, AssetKind, Place};
use airmuster_domain::role::Role;

use super::present::capital;
use super::view::Link;
use crate::service::fleet::Fleet;
use crate::service::ticket::thing_words;

/// Who sees the bench and says where units are.
pub const BENCH: &[Role] = &[Role::Technician, Role::Officer, Role::Administrator];

/// A thing on the bench, leading to the page of its unit; a thing with no unit leads to its ticket.
fn thing(asset: &Asset, place: Option<&Place>, ticket: u64) -> Link {
    let href = match (asset.kind, place) {
        (AssetKind::Unit, _) => format!("/units/{}", asset.number),
        (_, Some(Place::With { unit })) => format!("/units/{unit}"),
        _ => format!("/tickets/{ticket}"),
    };
    Link { text: thing_words(asset), href }
}

/// What kind of thing it is; for one that goes with a unit, where it is.
fn kind_words(fleet: &Fleet, asset: &Asset, place: Option<&Place>) -> String {
    let profile = fleet.units.get(&asset.number).map(|u| u.row.profile.as_str());
    match (asset.kind, profile) {
        (AssetKind::Unit, Some(profile)) => {
            capital(&fleet.profile(profile).map_or_else(|| profile.to_owned(), |p| p.title.clone()))
        }
        (AssetKind::Unit, None) => "Not in the register".to_owned(),
        _ => place.map_or("Not placed".to_owned(), |p| capital(&fleet.words_of(p))),
    }
}
