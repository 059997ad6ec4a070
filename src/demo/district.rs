//! The district's houses, rigs and things, and the records that enter them in the register.
//! The place is invented, and so is everything in it.

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::record::{
    Asset, Cadence, Component, Duty, Fitting, Month, Place, Register, RigStatus, Slot,
};
use chrono::{DateTime, Months};
use rand::Rng as _;

use super::pen::Pen;
use super::people::{ADMINISTRATOR, TECHNICIAN, everybody};

/// The department's name.
pub const NAME: &str = "Brindle Basin Fire District";
/// Its time zone, and when its shifts start.
pub const ZONE: &str = "America/Denver";
/// Local start of a shift.
pub const SHIFT_START: &str = "07:00";
/// A check this long before the start counts for the shift, and is due this long after it.
pub const MARGIN: u16 = 90;

/// A station.
pub struct Station {
    pub id: &'static str,
    pub name: &'static str,
}

/// In the order of [`super::people::CREWS`].
pub const STATIONS: [Station; 3] = [
    Station { id: "kettle", name: "Kettle Street" },
    Station { id: "millrace", name: "Millrace" },
    Station { id: "tarn", name: "Upper Tarn" },
];

/// A rig, its seats by importance, its rescue-team pack and the two cylinders in its rack.
pub struct Rig {
    pub id: &'static str,
    pub name: &'static str,
    pub station: usize,
    pub seats: &'static [(&'static str, &'static str, &'static str)],
    pub pack: Option<&'static str>,
    pub rack: [&'static str; 2],
}

/// Seat, its name, the unit in it.
type Seats = &'static [(&'static str, &'static str, &'static str)];

const fn rig(
    id: &'static str,
    name: &'static str,
    station: usize,
    seats: Seats,
    pack: Option<&'static str>,
    rack: [&'static str; 2],
) -> Rig {
    Rig { id, name, station, seats, pack, rack }
}

pub const RIGS: [Rig; 7] = [
    rig("engine-1", "Engine 1", 0, &SEATS_E1, None, ["C-161", "C-162"]),
    rig("ladder-1", "Ladder 1", 0, &SEATS_L1, None, ["C-163", "C-164"]),
    rig("rescue-1", "Rescue 1", 0, &SEATS_R1, Some("113"), ["C-165", "C-166"]),
    rig("engine-2", "Engine 2", 1, &SEATS_E2, Some("207"), ["C-261", "C-262"]),
    rig("tender-2", "Tender 2", 1, &SEATS_T2, None, ["C-263", "C-264"]),
    rig("engine-3", "Engine 3", 2, &SEATS_E3, None, ["C-361", "C-362"]),
    rig("squad-3", "Squad 3", 2, &SEATS_S3, None, ["C-363", "C-364"]),
];

type Seat = (&'static str, &'static str, &'static str);
const SEATS_E1: [Seat; 4] = four(["101", "102", "103", "104"]);
const SEATS_L1: [Seat; 4] = four(["105", "106", "107", "108"]);
const SEATS_R1: [Seat; 4] = four(["109", "110", "111", "112"]);
const SEATS_E2: [Seat; 4] = four(["201", "202", "203", "204"]);
const SEATS_T2: [Seat; 2] = [("officer", "Officer", "205"), ("driver", "Driver", "206")];
const SEATS_E3: [Seat; 4] = four(["301", "302", "303", "304"]);
const SEATS_S3: [Seat; 3] =
    [("officer", "Officer", "305"), ("driver", "Driver", "306"), ("3", "Seat 3", "307")];

const fn four([a, b, c, d]: [&'static str; 4]) -> [Seat; 4] {
    [("officer", "Officer", a), ("driver", "Driver", b), ("3", "Seat 3", c), ("4", "Seat 4", d)]
}

/// Spares by station, as they stand at the beginning.
pub const SPARES: [&[&str]; 3] =
    [&["114", "115", "116"], &["208", "209", "210", "211"], &["308", "309", "310"]];

/// Full cylinders that lie ready at each station, apart from the racks.
pub const POOL: [&[&str]; 3] = [
    &["C-151", "C-152", "C-153", "C-154", "C-155", "C-156"],
    &["C-251", "C-252", "C-253", "C-254"],
    &["C-351", "C-352", "C-353", "C-354"],
];

/// Facepieces that belong to no unit.
pub const FACEPIECES: [&[&str]; 3] = [&["F-191", "F-192"], &["F-291", "F-292"], &["F-391", "F-392"]];

/// The older kind.
const OLDER: [&str; 5] = ["205", "206", "210", "211", "310"];

/// The profile of a unit, or of the unit that a thing with the same digits goes with.
pub fn profile(number: &str) -> &'static str {
    if OLDER.contains(&number) {
        "us-4500-quarter"
    } else if station_of(number) == 0 {
        "us-5500-third"
    } else {
        "us-4500-third"
    }
}

/// Numbers begin with the station's.
pub fn station_of(number: &str) -> usize {
    match number.trim_start_matches(|c: char| !c.is_ascii_digit()).as_bytes().first() {
        Some(b'2') => 1,
        Some(b'3') => 2,
        _ => 0,
    }
}

/// The rated pressure of what a station has, in psi.
pub fn rated(number: &str) -> i64 {
    if station_of(number) == 0 { 5500 } else { 4500 }
}

/// A seat's id.
pub fn seat_id(rig: &str, seat: &str) -> String {
    format!("{rig}-{seat}")
}

/// Where a unit stands at the beginning: seats and packs first, then spares.
pub fn units() -> Vec<(&'static str, Place, Cadence)> {
    let mut all = Vec::new();
    for rig in &RIGS {
        for (seat, _, unit) in rig.seats {
            all.push((*unit, Place::Seat { seat: seat_id(rig.id, seat) }, Cadence::EachShift));
        }
        let pack = Place::Seat { seat: seat_id(rig.id, "pack") };
        all.extend(rig.pack.map(|unit| (unit, pack, Cadence::Weekly)));
    }
    for (station, spares) in STATIONS.iter().zip(SPARES) {
        let place = Place::Spare { station: station.id.to_owned() };
        all.extend(spares.iter().map(|unit| (*unit, place.clone(), Cadence::Weekly)));
    }
    all
}

/// Enters everything in the register, at one moment.
pub fn enter(pen: &mut Pen, at: i64) {
    for e in everybody() {
        let strings = |s: &[&str]| s.iter().map(|s| (*s).to_owned()).collect();
        let (roles, qualified) = (strings(e.roles), strings(e.qualified));
        let member = Register::Member { id: e.person.id.to_owned(), roles, qualified };
        // The first one, whoever holds the machine enters; she enters the others.
        let first = e.person.id == ADMINISTRATOR.id;
        pen.desk("register", at, (!first).then_some(ADMINISTRATOR.id), &member);
    }
    register(
        pen,
        at,
        &Register::Department {
            name: NAME.to_owned(),
            zone: ZONE.to_owned(),
            shift_start: SHIFT_START.to_owned(),
            shift_hours: 24,
            early_minutes: MARGIN,
            grace_minutes: MARGIN,
        },
    );
    enter_approvals(pen, at);
    for (order, s) in (1..).zip(&STATIONS) {
        register(pen, at, &Register::Station { id: s.id.to_owned(), name: s.name.to_owned(), order });
    }
    for (order, r) in (1..).zip(&RIGS) {
        enter_rig(pen, at, r, order);
    }
    for (number, place, cadence) in units() {
        enter_unit(pen, at, number, place, cadence, true);
    }
    for (i, s) in STATIONS.iter().enumerate() {
        let place = Place::Spare { station: s.id.to_owned() };
        for n in POOL[i] {
            enter_cylinder(pen, at, n, place.clone());
        }
        for n in FACEPIECES[i] {
            enter_facepiece(pen, at, n, place.clone());
        }
    }
}

/// Who takes turns, and how far it is from house to house. `first` is in a shift of the first platoon.
pub fn enter_turns(pen: &mut Pen, at: i64, first: i64) {
    let turns = ["A", "B", "C"].map(str::to_owned).to_vec();
    pen.desk_apart(
        "register",
        at,
        ADMINISTRATOR.id,
        &Register::Rotation { turns, first, apart: BTreeSet::new() },
    );
    for (from, to, minutes) in [(0, 1, 9), (1, 2, 14), (0, 2, 21)] {
        let [from, to] = [from, to].map(|n: usize| STATIONS[n].id.to_owned());
        pen.desk_apart("register", at, ADMINISTRATOR.id, &Register::Drive { from, to, minutes });
    }
}

/// The rig that stands empty, to take the place of another one.
const RESERVE: (&str, &str, usize) = ("reserve-5", "Reserve 5", 1);

/// Enters the reserve rig: four seats and a rack for two cylinders, and nothing on it.
pub fn enter_reserve(pen: &mut Pen, at: i64) {
    let (id, name, station) = RESERVE;
    let mut enter = |entry: Register| pen.desk_apart("register", at, ADMINISTRATOR.id, &entry);
    let rig = || id.to_owned();
    let station = STATIONS[station].id.to_owned();
    enter(Register::Rig { id: rig(), name: name.to_owned(), station: station.clone(), order: 9 });
    let seats = [("officer", "Officer"), ("driver", "Driver"), ("3", "Seat 3"), ("4", "Seat 4")];
    for (order, (slug, name)) in (1..).zip(seats) {
        enter(Register::Seat { id: seat_id(id, slug), rig: rig(), name: name.to_owned(), kit: false, order });
    }
    for (order, slug) in (2..).zip(["rack-1", "rack-2"]) {
        let name = format!("Spare cylinder {}", order - 1);
        enter(Register::Seat { id: seat_id(id, slug), rig: rig(), name, kit: true, order });
    }
    let status = RigStatus { rig: rig(), station, duty: Duty::Reserve, why: String::new() };
    pen.desk_apart("rig_status", at, ADMINISTRATOR.id, &status);
}

/// The crew of three rides the station's engine.
pub const ENGINES: [&str; 3] = ["engine-1", "engine-2", "engine-3"];

/// The seats that a crew of three rides.
pub const RIDDEN: [&str; 3] = ["officer", "driver", "3"];

fn register(pen: &mut Pen, at: i64, what: &Register) {
    pen.desk("register", at, Some(ADMINISTRATOR.id), what);
}

fn enter_rig(pen: &mut Pen, at: i64, r: &Rig, order: u16) {
    let (id, station) = (r.id.to_owned(), STATIONS[r.station].id.to_owned());
    register(pen, at, &Register::Rig { id, name: r.name.to_owned(), station, order });
    let mut seat = |slug: &str, name: &str, kit: bool, order: u16| {
        let (id, rig, name) = (seat_id(r.id, slug), r.id.to_owned(), name.to_owned());
        register(pen, at, &Register::Seat { id, rig, name, kit, order });
    };
    for (order, (slug, name, _)) in (1..).zip(r.seats) {
        seat(slug, name, false, order);
    }
    if r.pack.is_some() {
        seat("pack", "Rescue-team pack", true, 1);
    }
    for (order, slug) in (2..).zip(["rack-1", "rack-2"]) {
        seat(slug, &format!("Spare cylinder {}", order - 1), true, order);
    }
    for (n, slug) in r.rack.iter().zip(["rack-1", "rack-2"]) {
        enter_cylinder(pen, at, n, Place::Seat { seat: seat_id(r.id, slug) });
    }
}

/// A unit with its parts, its facepiece and its cylinder.
pub fn enter_unit(pen: &mut Pen, at: i64, number: &str, place: Place, cadence: Cadence, in_use: bool) {
    let profile = profile(number).to_owned();
    let parts = [
        ("frame", "FR"),
        ("reducer", "RD"),
        ("regulator", "RG"),
        ("alarm", "AL"),
        ("display", "DS"),
        ("remote gauge", "GA"),
    ];
    let serials: BTreeMap<String, String> = parts
        .into_iter()
        .map(|(part, mark)| (part.to_owned(), format!("{mark}-{}", pen.rng.random_range(10_000..99_999))))
        .collect();
    let labels = serials.clone();
    let body =
        Register::Unit { number: number.to_owned(), profile: profile.clone(), cadence, in_use, serials };
    register(pen, at, &body);
    // Of one that has only just come the labels are yet to be read.
    if number != UNREAD {
        for (name, serial) in labels {
            enter_part(pen, at, number, &profile, &name, serial);
        }
    }
    register(pen, at, &Register::Holder { asset: Asset::unit(number), place });
    let with = Place::With { unit: number.to_owned() };
    enter_facepiece(pen, at, &format!("F-{number}"), with.clone());
    enter_cylinder(pen, at, &format!("C-{number}"), with);
}

/// The unit that stands not yet accepted today: nobody has read the labels of its parts.
const UNREAD: &str = "117";

const PROFILES: [&str; 3] = ["us-4500-quarter", "us-4500-third", "us-5500-third"];

/// What the approval calls a part of a kind of unit.
fn approved(profile: &str, slot: Slot) -> String {
    let series = match profile {
        "us-4500-quarter" => "BB45",
        "us-5500-third" => "BB55-3",
        _ => "BB45-3",
    };
    format!("{series} {}", slot.words())
}

/// Which parts the approvals name.
fn enter_approvals(pen: &mut Pen, at: i64) {
    for profile in PROFILES {
        for slot in Slot::ALL {
            let names = vec![approved(profile, slot)];
            let body = Register::Approval { profile: profile.to_owned(), slot, names };
            pen.desk_apart("register", at, ADMINISTRATOR.id, &body);
        }
    }
}

/// A part's label, as the technician read it.
fn enter_part(pen: &mut Pen, at: i64, number: &str, profile: &str, name: &str, serial: String) {
    let Some(slot) = Slot::named(name) else { return };
    let day = DateTime::from_timestamp_millis(at).unwrap_or_default().date_naive();
    let age = serial.bytes().fold(0_u32, |n, b| n * 7 + u32::from(b)) % 30;
    let made = Month::of(day.checked_sub_months(Months::new(6 + age)).unwrap_or(day));
    let part = Component {
        name: approved(profile, slot),
        serial,
        edition: if profile.ends_with("quarter") { "2007" } else { "2018" }.to_owned(),
        made: Some(made),
        warranty: Some(made.plus(60).last_day()),
    };
    let unit = number.to_owned();
    let body = Fitting { unit, slot, out: None, part: Some(part), was_there: true, why: String::new() };
    pen.desk_apart("fitting", at, TECHNICIAN.id, &body);
}

fn enter_cylinder(pen: &mut Pen, at: i64, number: &str, place: Place) {
    // The number is small enough for any gauge.
    if let Some(rated) = Pressure::whole(rated(number), PressureUnit::Psi) {
        register(pen, at, &Register::Cylinder { number: number.to_owned(), rated });
        register(pen, at, &Register::Holder { asset: Asset::cylinder(number), place });
    }
}

fn enter_facepiece(pen: &mut Pen, at: i64, number: &str, place: Place) {
    let size = ["small", "medium", "medium", "medium", "large"][pen.rng.random_range(0..5)];
    register(pen, at, &Register::Facepiece { number: number.to_owned(), size: size.to_owned() });
    register(pen, at, &Register::Holder { asset: Asset::facepiece(number), place });
}
