//! Tables given out: CSV as RFC 4180 has it, no cell of which a spreadsheet takes for a formula.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::record::{Asset, Cadence, Place, Register};
use airmuster_domain::shift::ShiftClock;

use super::columns::{self, Template};
use super::sheet::guarded;
use crate::store::{CheckRow, Ticket};

/// Writes rows, under headings where there are any.
pub fn csv(headings: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> Vec<u8> {
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing into memory does not fail, and every row has as many cells as there are headings.
    if !headings.is_empty() {
        let _ = out.write_record(headings);
    }
    for row in rows {
        let _ = out.write_record(row.iter().map(|cell| guarded(cell)));
    }
    out.into_inner().unwrap_or_default()
}

/// The register in the tables in which it can be taken in. Names only where they are given.
pub fn register(entries: &[Register], names: Option<&BTreeMap<String, String>>) -> Vec<(String, Vec<u8>)> {
    let tables = [
        &columns::STATIONS,
        &columns::RIGS,
        &columns::SEATS,
        &columns::UNITS,
        &columns::FACEPIECES,
        &columns::CYLINDERS,
        &columns::MEMBERS,
    ];
    tables.into_iter().map(|t| (t.file(), table(t, entries, names))).collect()
}

fn table(template: &Template, entries: &[Register], names: Option<&BTreeMap<String, String>>) -> Vec<u8> {
    let parts: BTreeSet<&String> = match template.family {
        Some(_) => entries
            .iter()
            .filter_map(|e| if let Register::Unit { serials, .. } = e { Some(serials.keys()) } else { None })
            .flatten()
            .collect(),
        None => BTreeSet::new(),
    };
    let family: Vec<String> =
        parts.iter().map(|p| format!("{} {p}", template.family.unwrap_or_default())).collect();
    let mut headings: Vec<&str> = template.columns.iter().map(|c| c.name).collect();
    headings.extend(family.iter().map(String::as_str));
    let place = |asset: &Asset| {
        entries.iter().find_map(|e| match e {
            Register::Holder { asset: a, place } if a == asset => Some(place),
            _ => None,
        })
    };
    let rows = entries.iter().filter_map(|e| {
        let s = str::to_owned;
        Some(match (template.name, e) {
            ("stations", Register::Station { id, name, order }) => {
                vec![id.clone(), name.clone(), order.to_string()]
            }
            ("rigs", Register::Rig { id, name, station, order }) => {
                vec![id.clone(), name.clone(), station.clone(), order.to_string()]
            }
            ("seats", Register::Seat { id, rig, name, kit, order }) => {
                vec![id.clone(), rig.clone(), name.clone(), yes(*kit), order.to_string()]
            }
            ("units", Register::Unit { number, profile, cadence, serials, .. }) => {
                let [seat, spare, away] = match place(&Asset::unit(number)) {
                    Some(Place::Seat { seat }) => [seat.clone(), s(""), s("")],
                    Some(Place::Spare { station }) => [s(""), station.clone(), s("")],
                    Some(Place::Bench) => [s(""), s(""), s("bench")],
                    Some(Place::Repairer) => [s(""), s(""), s("repairer")],
                    _ => [s(""), s(""), s("")],
                };
                let cadence = cadence_words(*cadence);
                let mut row = vec![number.clone(), profile.clone(), s(cadence), yes(true), seat, spare, away];
                row.extend(parts.iter().map(|p| serials.get(*p).cloned().unwrap_or_default()));
                row
            }
            ("facepieces", Register::Facepiece { number, size }) => {
                let kind = entries.iter().find_map(|e| match e {
                    Register::FacepieceModel { number: n, make, model, style } if n == number => {
                        Some([make, model, style].map(Clone::clone))
                    }
                    _ => None,
                });
                let [make, model, style] = kind.unwrap_or_default();
                let on = with(place(&Asset::facepiece(number)));
                vec![number.clone(), size.clone(), make, model, style, on]
            }
            ("cylinders", Register::Cylinder { number, rated }) => {
                vec![number.clone(), rated.to_string(), with(place(&Asset::cylinder(number)))]
            }
            ("members", Register::Member { id, roles, qualified }) => {
                let name = names.and_then(|n| n.get(id)).cloned().unwrap_or_default();
                vec![id.clone(), name, roles.join(" "), qualified.join(" ")]
            }
            _ => return None,
        })
    });
    csv(&headings, rows)
}

/// How often, in the word of a table.
fn cadence_words(cadence: Cadence) -> &'static str {
    match cadence {
        Cadence::EachShift => "each shift",
        Cadence::Weekly => "weekly",
        Cadence::Monthly => "monthly",
    }
}

fn yes(yes: bool) -> String {
    if yes { "yes" } else { "no" }.to_owned()
}

fn with(place: Option<&Place>) -> String {
    match place {
        Some(Place::With { unit }) => unit.clone(),
        _ => String::new(),
    }
}

/// Checks, one a row; the headings only before the first of several parts.
pub fn checks(rows: &[CheckRow], clock: &ShiftClock, first: bool) -> Vec<u8> {
    let headings = [
        "number",
        "unit",
        "date",
        "time",
        "by",
        "purpose",
        "outcome",
        "verdict",
        "pressure",
        "cylinder gauge",
        "remote gauge",
        "low-air alarm",
        "profile",
        "record",
    ];
    let row = |c: &CheckRow| {
        let at = clock.local(c.at);
        let words =
            |p: Option<airmuster_domain::quantity::Pressure>| p.map(|p| p.to_string()).unwrap_or_default();
        vec![
            c.seq.to_string(),
            c.unit.clone(),
            at.format("%Y-%m-%d").to_string(),
            at.format("%H:%M").to_string(),
            c.by.clone().unwrap_or_default(),
            c.purpose.clone(),
            c.outcome.clone(),
            c.verdict.clone().unwrap_or_default(),
            words(c.pressure),
            words(c.gauges.map(|g| g.0)),
            words(c.gauges.map(|g| g.1)),
            words(c.trip),
            c.profile.clone(),
            c.name.id.to_string(),
        ]
    };
    csv(if first { &headings } else { &[] }, rows.iter().map(row))
}

/// Tickets, one a row.
pub fn tickets(rows: &[Ticket], clock: &ShiftClock) -> Vec<u8> {
    let when = |t| clock.local(t).format("%Y-%m-%d %H:%M").to_string();
    let row = |t: &Ticket| {
        vec![
            t.ticket.to_string(),
            t.asset.kind.words().to_owned(),
            t.asset.number.clone(),
            when(t.opened_at),
            t.stage.words().to_owned(),
            when(t.stage_at),
        ]
    };
    csv(&["ticket", "kind", "number", "opened", "stage", "since"], rows.iter().map(row))
}
