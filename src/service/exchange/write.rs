//! Tables given out: CSV as RFC 4180 has it, no cell of which a spreadsheet takes for a formula.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::record::{Asset, Cadence, Place, Register, Spot};
use airmuster_domain::shift::ShiftClock;

use super::columns::{self, Template};
use super::sheet::guarded;
use crate::store::{CheckRow, Ticket};

/// A table as rows of text: what is given out as CSV or JSON, and what screens list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sheet {
    /// The headings.
    pub headings: Vec<String>,
    /// The rows, each with a cell for every heading.
    pub rows: Vec<Vec<String>>,
}

impl Sheet {
    /// Rows under headings.
    pub fn new(headings: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> Self {
        let headings = headings.iter().map(|&h| h.to_owned()).collect();
        Self { headings, rows: rows.into_iter().collect() }
    }

    /// As CSV, with its headings.
    pub fn csv(self) -> Vec<u8> {
        self.csv_part(true)
    }

    /// As CSV; the headings only before the first of several parts.
    pub fn csv_part(self, first: bool) -> Vec<u8> {
        let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        // Writing into memory does not fail, and every row has as many cells as there are headings.
        if first {
            let _ = out.write_record(&self.headings);
        }
        for row in self.rows {
            let _ = out.write_record(row.iter().map(|cell| guarded(cell)));
        }
        out.into_inner().unwrap_or_default()
    }

    /// As JSON: a list of objects by heading.
    pub fn json(self) -> serde_json::Value {
        let object = |row: Vec<String>| {
            let cells = self.headings.iter().cloned().zip(row.into_iter().map(serde_json::Value::String));
            serde_json::Value::Object(cells.collect())
        };
        self.rows.into_iter().map(object).collect()
    }

    /// What a row has under a heading; empty where there is no such heading.
    pub fn cell<'a>(&self, row: &'a [String], heading: &str) -> &'a str {
        let at = self.headings.iter().position(|h| h == heading);
        at.and_then(|at| row.get(at)).map_or("", String::as_str)
    }
}

/// The register in the tables in which it can be taken in. Names only where they are given.
pub fn register(entries: &[Register], names: Option<&BTreeMap<String, String>>) -> Vec<(String, Vec<u8>)> {
    let tables = columns::KEPT.into_iter();
    tables.map(|t| (t.file(), sheet(t, entries, names).csv())).collect()
}

/// One table of the register. Names only where they are given.
pub fn sheet(template: &Template, entries: &[Register], names: Option<&BTreeMap<String, String>>) -> Sheet {
    let parts: BTreeSet<&String> = match template.family {
        Some(_) => entries
            .iter()
            .filter_map(|e| if let Register::Unit { serials, .. } = e { Some(serials.keys()) } else { None })
            .flatten()
            .collect(),
        None => BTreeSet::new(),
    };
    let mut headings: Vec<String> = template.columns.iter().map(|c| c.name.to_owned()).collect();
    headings.extend(parts.iter().map(|p| format!("{} {p}", template.family.unwrap_or_default())));
    let mut more = More::default();
    for entry in entries {
        match entry {
            Register::Holder { asset, place } => drop(more.places.insert(asset, place)),
            Register::FacepieceModel { number, make, model, style } => {
                more.models.insert(number, [make, model, style]);
            }
            Register::Cadence { at, cadence: Some(cadence) } => drop(more.cadences.insert(at, *cadence)),
            _ => {}
        }
    }
    let rows = entries.iter().filter_map(|e| row(template, e, &more, names, &parts)).collect();
    Sheet { headings, rows }
}

/// What other entries say about those that have a row of their own.
#[derive(Default)]
struct More<'a> {
    places: BTreeMap<&'a Asset, &'a Place>,
    models: BTreeMap<&'a String, [&'a String; 3]>,
    cadences: BTreeMap<&'a Spot, Cadence>,
}

impl More<'_> {
    fn checked(&self, at: &Spot) -> String {
        self.cadences.get(at).map_or("", |c| c.words()).to_owned()
    }
}

/// The cells of an entry, if it is one of this table.
fn row(
    template: &Template,
    entry: &Register,
    more: &More<'_>,
    names: Option<&BTreeMap<String, String>>,
    parts: &BTreeSet<&String>,
) -> Option<Vec<String>> {
    let s = str::to_owned;
    let place = |asset: Asset| more.places.get(&asset).copied();
    Some(match (template.name, entry) {
        ("stations", Register::Station { id, name, order }) => {
            vec![id.clone(), name.clone(), order.to_string()]
        }
        ("rigs", Register::Rig { id, name, station, order }) => {
            let checked = more.checked(&Spot::Rig { rig: id.clone() });
            vec![id.clone(), name.clone(), station.clone(), order.to_string(), checked]
        }
        ("seats", Register::Seat { id, rig, name, kit, order }) => {
            let checked = more.checked(&Spot::Seat { seat: id.clone() });
            vec![id.clone(), rig.clone(), name.clone(), yes(*kit), order.to_string(), checked]
        }
        ("units", Register::Unit { number, profile, cadence, serials, .. }) => {
            let [seat, spare, away] = match place(Asset::unit(number)) {
                Some(Place::Seat { seat }) => [seat.clone(), s(""), s("")],
                Some(Place::Spare { station }) => [s(""), station.clone(), s("")],
                Some(Place::Bench) => [s(""), s(""), s("bench")],
                Some(Place::Repairer) => [s(""), s(""), s("repairer")],
                _ => [s(""), s(""), s("")],
            };
            let mut row =
                vec![number.clone(), profile.clone(), s(cadence.words()), yes(true), seat, spare, away];
            row.extend(parts.iter().map(|p| serials.get(*p).cloned().unwrap_or_default()));
            row
        }
        ("facepieces", Register::Facepiece { number, size }) => {
            let [make, model, style] =
                more.models.get(number).map_or_else(Default::default, |m| m.map(Clone::clone));
            vec![number.clone(), size.clone(), make, model, style, with(place(Asset::facepiece(number)))]
        }
        ("cylinders", Register::Cylinder { number, rated }) => {
            vec![number.clone(), rated.to_string(), with(place(Asset::cylinder(number)))]
        }
        ("members", Register::Member { id, roles, qualified }) => {
            let name = names.and_then(|n| n.get(id)).cloned().unwrap_or_default();
            vec![id.clone(), name, roles.join(" "), qualified.join(" ")]
        }
        _ => return None,
    })
}

/// How often, in the word of a table.
fn yes(yes: bool) -> String {
    if yes { "yes" } else { "no" }.to_owned()
}

fn with(place: Option<&Place>) -> String {
    match place {
        Some(Place::With { unit }) => unit.clone(),
        _ => String::new(),
    }
}

/// Checks, one a row.
pub fn checks(rows: &[CheckRow], clock: &ShiftClock) -> Sheet {
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
    Sheet { headings: headings.map(str::to_owned).into(), rows: rows.iter().map(row).collect() }
}

/// Tickets, one a row.
pub fn tickets(rows: &[Ticket], clock: &ShiftClock) -> Sheet {
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
    let headings = ["ticket", "kind", "number", "opened", "stage", "since"].map(str::to_owned).into();
    Sheet { headings, rows: rows.iter().map(row).collect() }
}
