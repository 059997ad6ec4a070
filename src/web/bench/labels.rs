//! Labels for units, cylinders and facepieces, in sheets: the number, and a QR code to the page.

use airmuster_domain::record::{Asset, AssetKind, Place};
use axum::extract::State;
use axum::http::HeaderMap;
use axum_extra::extract::Query;
use serde::Deserialize;

use crate::report::qr;
use crate::service::upkeep::Ledger;
use crate::web::error::WebError;
use crate::web::html::Html;
use crate::web::present::capital;
use crate::web::serving::{App, own_address};
use crate::web::upkeep::asset_href;
use crate::web::upkeep::thing::kind_words;
use crate::web::view::print::{Label, Labels};
use crate::web::view::ticket::StageOption;

/// What is asked for.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Input {
    kind: String,
    station: String,
    /// Numbers alone, with spaces or commas between them.
    numbers: String,
}

/// `GET /labels`.
pub async fn show_labels(
    State(app): State<App>,
    headers: HeaderMap,
    Query(input): Query<Input>,
) -> Result<Html<Labels>, WebError> {
    let ledger = Ledger::load(&app.store, app.clock.now()).await?;
    let fleet = &ledger.fleet;
    let kinds = [AssetKind::Unit, AssetKind::Cylinder, AssetKind::Facepiece];
    let kind = kinds.into_iter().find(|k| k.words() == input.kind).unwrap_or(AssetKind::Unit);
    let split = |c: char| c.is_whitespace() || c == ',' || c == ';';
    let wanted: Vec<&str> = input.numbers.split(split).filter(|n| !n.is_empty()).collect();
    let mut labels = Vec::new();
    for (asset, thing) in ledger.upkeep.things.iter().filter(|(a, t)| a.kind == kind && !t.gone) {
        let known = thing.profile.is_some() || thing.rated.is_some() || !thing.size.is_empty();
        let named = wanted.is_empty() || wanted.iter().any(|n| n.eq_ignore_ascii_case(&asset.number));
        if !known || !named || !is_at(&app, &ledger, asset, &input.station).await? {
            continue;
        }
        let profile = fleet.units.get(&asset.number).and_then(|u| fleet.profile(&u.row.profile));
        labels.push(Label {
            kind: capital(kind.words()),
            number: asset.number.clone(),
            words: match (kind, profile) {
                (AssetKind::Unit, Some(p)) => capital(&p.title),
                _ => capital(&kind_words(thing)),
            },
            code: own_address(&app, &headers, &asset_href(asset)).and_then(|a| qr::svg(&a)),
        });
    }
    let option = |value: &str, label: String, chosen: &str| StageOption {
        value: value.to_owned(),
        label,
        selected: value == chosen,
    };
    let stations = fleet.stations.iter().map(|s| option(&s.id, s.name.clone(), &input.station)).collect();
    Ok(Html(Labels {
        department: fleet.department.name.clone(),
        kinds: kinds.map(|k| option(k.words(), format!("{}s", capital(k.words())), kind.words())).to_vec(),
        stations,
        address: own_address(&app, &headers, "").unwrap_or_default(),
        labels,
        numbers: input.numbers,
    }))
}

/// Whether a thing belongs to a station; to any, where none is asked for.
async fn is_at(app: &App, ledger: &Ledger, asset: &Asset, station: &str) -> Result<bool, WebError> {
    if station.is_empty() {
        return Ok(true);
    }
    let fleet = &ledger.fleet;
    let unit = match app.store.place(asset).await? {
        Some(Place::With { unit }) => unit,
        Some(place) => return Ok(fleet.station_at(&place).is_some_and(|s| s.id == station)),
        None => return Ok(false),
    };
    let row = fleet.units.get(&unit).map(|u| &u.row);
    Ok(row.and_then(|r| fleet.station_of(r)).is_some_and(|s| s.id == station))
}
