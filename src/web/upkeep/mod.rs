//! Upkeep: what falls due, cylinders and facepieces as things of their own, fills, air.

pub mod done;
pub mod fills;
pub mod model;
pub mod months;
pub mod periods;
pub mod qualified;
pub mod release;
pub mod seal;
pub mod source;
pub mod thing;

use airmuster_domain::record::{Asset, AssetKind};
use airmuster_domain::upkeep::Of;

use super::error::WebError;
use super::serving::App;
use super::view::Link;
use crate::service::ticket::thing_words;
use crate::service::upkeep::{Ledger, ThingFile};

/// A thing's page.
pub fn asset_href(asset: &Asset) -> String {
    match asset.kind {
        AssetKind::Unit => format!("/units/{}", asset.number),
        AssetKind::Facepiece | AssetKind::Cylinder => format!("/assets/{asset}"),
    }
}

/// A thing, leading to its page.
pub fn asset_link(asset: &Asset) -> Link {
    Link { text: thing_words(asset), href: asset_href(asset) }
}

/// What upkeep is done to, leading to its page.
fn of_link(ledger: &Ledger, of: &Of) -> Link {
    let href = match of {
        Of::Asset(asset) => asset_href(asset),
        Of::Source(id) => format!("/sources/{id}"),
        Of::Member(..) => "/qualifications".to_owned(),
    };
    Link { text: ledger.words(of), href }
}

/// A family of profiles as the kinds of unit that are in it; its id where the table in force has none.
fn family_words(ledger: &Ledger, family: &str) -> String {
    let profiles = ledger.fleet.table.iter().flat_map(|t| t.profiles.values());
    let titles: Vec<&str> = profiles.filter(|p| p.family == family).map(|p| p.title.as_str()).collect();
    if titles.is_empty() { family.to_owned() } else { titles.join("; ") }
}

/// Everything about a thing, or that there is none.
async fn file(app: &App, asset: &str) -> Result<ThingFile, WebError> {
    let asset: Asset = asset.parse().map_err(|_| WebError::NotFound)?;
    ThingFile::load(&app.store, app.clock.now(), &asset).await?.ok_or(WebError::NotFound)
}

/// A decimal number as entered, in whole parts of so many places: `20.9` with two places is 2090.
fn parts(text: &str, places: u32) -> Option<u32> {
    let text = text.trim().replace(',', ".");
    let (whole, rest) = text.split_once('.').unwrap_or((&text, ""));
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    let wide = places as usize;
    if whole.is_empty() || !digits(whole) || !digits(rest) || rest.len() > wide {
        return None;
    }
    format!("{whole}{rest:0<wide$}").parse().ok()
}

#[cfg(test)]
mod tests {
    use super::parts;

    #[test]
    fn a_decimal_number_is_read_exactly_or_not_at_all() {
        assert_eq!(parts("20.95", 2), Some(2095));
        assert_eq!(parts(" 20,9 ", 2), Some(2090));
        assert_eq!(parts("5", 2), Some(500));
        assert_eq!(parts("0.5", 1), Some(5));
        for bad in ["", ".5", "1.234", "-1", "1e3", "4,500.0", "9999999999"] {
            assert_eq!(parts(bad, 2), None, "{bad}");
        }
    }
}
