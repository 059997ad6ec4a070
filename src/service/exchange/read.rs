//! From rows to entries of the register: every cell against what its column wants, every reference
//! against what is there or comes along.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use airmuster_domain::Millis;
use airmuster_domain::quantity::Pressure;
use airmuster_domain::readiness::FacepieceKind;
use airmuster_domain::record::{Asset, Cadence, Marks, Month, Place, Register, Spec, Spot, is_number};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Table;
use airmuster_domain::shift::ShiftClock;
use chrono::{NaiveDate, NaiveTime, TimeZone as _};

use super::columns::{self, Template};
use super::sheet::{self, Problem, Problems, Row, short};

/// In which order a date like 03/04/2026 is written.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Dates {
    /// Nobody has said; only 2026-04-03 can be read.
    #[default]
    Unsaid,
    /// 3 April.
    DayFirst,
    /// 4 March.
    MonthFirst,
}

/// A check made before, on paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PastCheck {
    /// The unit's number.
    pub unit: String,
    /// When.
    pub at: Millis,
    /// Who made it, where that is known.
    pub by: Option<String>,
    /// What is written down about it.
    pub words: String,
}

/// A fit test that a member passed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fitted {
    /// The member's id.
    pub member: String,
    /// The day.
    pub tested: NaiveDate,
    /// With which facepiece.
    pub kind: FacepieceKind,
}

/// What the department has already, and how its cells are to be read.
#[derive(Debug, Default)]
pub struct Known {
    /// The register.
    pub entries: Vec<Register>,
    /// Names by member id.
    pub names: HashMap<String, String>,
    /// Fit tests.
    pub fits: Vec<Fitted>,
    /// Until when which member is qualified for which family.
    pub until: BTreeMap<(String, String), NaiveDate>,
    /// Units that may not be moved, with the reason.
    pub fixed: BTreeMap<String, &'static str>,
    /// Profiles, and the families that technicians are qualified for.
    pub profiles: BTreeSet<String>,
    /// The families.
    pub families: BTreeSet<String>,
    /// The shift clock: for the time zone.
    pub clock: ShiftClock,
    /// Now: a check cannot have been made later.
    pub now: Millis,
    /// How dates are written.
    pub dates: Dates,
}

impl Known {
    /// Takes the profiles of a rule table over.
    #[must_use]
    pub fn with_table(mut self, table: &Table) -> Self {
        self.profiles = table.profiles.keys().cloned().collect();
        self.families = table.profiles.values().map(|p| p.family.clone()).collect();
        self
    }
}

/// What the files come to.
#[derive(Debug, Default)]
pub struct Read {
    /// New and changed entries, each after those that it leans on.
    pub entries: Vec<Register>,
    /// New and changed names of members.
    pub names: Vec<(String, String)>,
    /// Fit tests that are not there yet.
    pub fits: Vec<Fitted>,
    /// Checks made before.
    pub checks: Vec<PastCheck>,
    /// Rows that say what is there already.
    pub unchanged: usize,
    /// What must be put right first.
    pub problems: Vec<Problem>,
}

/// Reads files by name. Where there are problems, nothing else in the answer is to be used.
pub fn read(files: &[(String, Vec<u8>)], known: &Known) -> Read {
    let mut reading = Reading::new(known);
    let mut given: BTreeMap<&str, &[u8]> = BTreeMap::new();
    for (name, bytes) in files {
        let plain = name.to_lowercase();
        let template = columns::ALL.iter().find(|t| t.file() == plain);
        let say = match template {
            Some(t) if given.insert(t.name, bytes).is_some() => {
                "this file is there twice; give it once".to_owned()
            }
            Some(_) => continue,
            None => {
                let names: Vec<String> = columns::ALL.iter().map(|t| t.file()).collect();
                format!("no table has this name; name it one of {}", names.join(", "))
            }
        };
        let (file, column) = (short(name), String::new());
        reading.problems.push(Problem { file, row: 0, column, say });
    }
    if files.is_empty() {
        let (file, column) = ("files".to_owned(), String::new());
        reading.problems.push(Problem { file, row: 0, column, say: "there is none to be read".to_owned() });
    }
    for template in columns::ALL {
        if let Some(bytes) = given.get(template.name) {
            reading.table(template, bytes);
        }
    }
    reading.finish()
}

/// Where an asset is to be, and which row says so.
type Wanted = (Place, &'static Template, u64);

struct Reading<'a> {
    known: &'a Known,
    // Everything that is there once the files are in.
    stations: BTreeSet<String>,
    rigs: BTreeSet<String>,
    seats: BTreeSet<String>,
    units: BTreeSet<String>,
    cylinders: BTreeSet<String>,
    /// Each with the families that the member is qualified for.
    members: BTreeMap<String, BTreeSet<String>>,
    wanted: BTreeMap<Asset, Wanted>,
    out: Read,
    problems: Vec<Problem>,
}

impl<'a> Reading<'a> {
    fn new(known: &'a Known) -> Self {
        let ids =
            |of: fn(&Register) -> Option<&String>| known.entries.iter().filter_map(of).cloned().collect();
        Self {
            known,
            stations: ids(|e| if let Register::Station { id, .. } = e { Some(id) } else { None }),
            rigs: ids(|e| if let Register::Rig { id, .. } = e { Some(id) } else { None }),
            seats: ids(|e| if let Register::Seat { id, .. } = e { Some(id) } else { None }),
            units: ids(|e| if let Register::Unit { number, .. } = e { Some(number) } else { None }),
            cylinders: ids(|e| if let Register::Cylinder { number, .. } = e { Some(number) } else { None }),
            members: known
                .entries
                .iter()
                .filter_map(|e| match e {
                    Register::Member { id, qualified, .. } => {
                        Some((id.clone(), qualified.iter().cloned().collect()))
                    }
                    _ => None,
                })
                .collect(),
            wanted: BTreeMap::new(),
            out: Read::default(),
            problems: Vec::new(),
        }
    }

    fn table(&mut self, template: &'static Template, bytes: &[u8]) {
        let mut problems = Problems::of(&template.file());
        let rows = sheet::read(template, bytes, &mut problems);
        let mut seen: BTreeMap<String, u64> = BTreeMap::new();
        for (nth, row) in (1..).zip(&rows) {
            let mut cells = Cells { row, problems: &mut problems, good: true };
            // What has no id of its own: several rows may be about one thing.
            match template.name {
                "checks" => {
                    self.check(&mut cells);
                    continue;
                }
                "qualifications" => {
                    self.qualification(&mut cells);
                    continue;
                }
                "fit_tests" => {
                    self.fit_test(&mut cells);
                    continue;
                }
                _ => {}
            }
            let key = template.columns[0].name;
            let id = cells.number(key);
            if let Some(first) = seen.insert(id.clone(), row.number) {
                cells.tell(key, format!("“{id}” is in row {first} already; leave one of them"));
            }
            let mut more = None;
            let entry = match template.name {
                "stations" => self.station(&mut cells, id, nth),
                "rigs" => {
                    more = cells.checked(Spot::Rig { rig: id.clone() });
                    self.rig(&mut cells, id, nth)
                }
                "seats" => {
                    more = cells.checked(Spot::Seat { seat: id.clone() });
                    self.seat(&mut cells, id, nth)
                }
                "units" => self.unit(&mut cells, id),
                "facepieces" => {
                    let (facepiece, model) = self.facepiece(&mut cells, id);
                    more = model;
                    Some(facepiece)
                }
                "cylinders" => self.cylinder(&mut cells, id),
                "marks" => self.marks(&mut cells, id),
                _ => Some(self.member(&mut cells, id)),
            };
            if cells.good {
                entry.into_iter().chain(more).for_each(|entry| self.keep(entry));
            }
        }
        self.problems.extend(problems.finish());
    }

    /// Keeps an entry that says something new.
    fn keep(&mut self, entry: Register) {
        if self.known.entries.contains(&entry) {
            self.out.unchanged += 1;
        } else {
            self.out.entries.push(entry);
        }
    }

    fn station(&mut self, c: &mut Cells, id: String, nth: u16) -> Option<Register> {
        let same = |e: &Register| matches!(e, Register::Station { id: i, .. } if *i == id);
        let kept = self.known.entries.iter().find(|e| same(e)).and_then(order_of);
        let (name, order) = (c.text("name"), c.order(kept, nth)?);
        self.stations.insert(id.clone());
        Some(Register::Station { id, name, order })
    }

    fn rig(&mut self, c: &mut Cells, id: String, nth: u16) -> Option<Register> {
        let same = |e: &Register| matches!(e, Register::Rig { id: i, .. } if *i == id);
        let kept = self.known.entries.iter().find(|e| same(e)).and_then(order_of);
        let (name, station, order) = (c.text("name"), c.text("station"), c.order(kept, nth)?);
        c.must_be_in("station", &station, &self.stations, "stations.csv");
        self.rigs.insert(id.clone());
        Some(Register::Rig { id, name, station, order })
    }

    fn seat(&mut self, c: &mut Cells, id: String, nth: u16) -> Option<Register> {
        let same = |e: &Register| matches!(e, Register::Seat { id: i, .. } if *i == id);
        let kept = self.known.entries.iter().find(|e| same(e)).and_then(order_of);
        let (rig, name, kit) = (c.text("rig"), c.text("name"), c.yes("kit")?);
        let order = c.order(kept, nth)?;
        c.must_be_in("rig", &rig, &self.rigs, "rigs.csv");
        self.seats.insert(id.clone());
        Some(Register::Seat { id, rig, name, kit, order })
    }

    fn unit(&mut self, c: &mut Cells, number: String) -> Option<Register> {
        let profile = c.text("profile");
        if !self.known.profiles.contains(&profile) {
            let names: Vec<&str> = self.known.profiles.iter().map(String::as_str).collect();
            let say = format!(
                "“{}” is not a profile of the rule table in force; use one of {}",
                short(&profile),
                names.join(", ")
            );
            c.tell("profile", say);
        }
        let cadence = c.cadence("cadence");
        let said = c.yes("in use")?;
        let serials = c.row.family().clone();
        let there = self.units.contains(&number);
        if let Some(place) = self.unit_place(c) {
            self.want(c, Asset::unit(&number), place, &columns::UNITS);
        }
        self.units.insert(number.clone());
        // One that is there already has been asked whether it is accepted.
        let in_use = said || there;
        Some(Register::Unit { number, profile, cadence: cadence?, in_use, serials })
    }

    fn unit_place(&self, c: &mut Cells) -> Option<Place> {
        let (seat, spare, away) = (c.text("seat"), c.text("spare at"), c.text("away").to_lowercase());
        if [&seat, &spare, &away].into_iter().filter(|s| !s.is_empty()).count() > 1 {
            c.tell("seat", "a unit is in one place: fill in only one of seat, spare at and away");
            return None;
        }
        if !seat.is_empty() {
            c.must_be_in("seat", &seat, &self.seats, "seats.csv");
            return Some(Place::Seat { seat });
        }
        if !spare.is_empty() {
            c.must_be_in("spare at", &spare, &self.stations, "stations.csv");
            return Some(Place::Spare { station: spare });
        }
        match away.as_str() {
            "" => None,
            "bench" => Some(Place::Bench),
            "repairer" => Some(Place::Repairer),
            _ => {
                c.tell("away", "write bench or repairer, or leave it empty");
                None
            }
        }
    }

    /// The facepiece, and what it is besides its size, where that is said.
    fn facepiece(&mut self, c: &mut Cells, number: String) -> (Register, Option<Register>) {
        let [size, make, model, style] = ["size", "make", "model", "style"].map(|name| c.text(name));
        self.with_unit(c, Asset::facepiece(&number), &columns::FACEPIECES);
        let said = [&make, &model, &style].iter().any(|part| !part.is_empty());
        let kind = Register::FacepieceModel { number: number.clone(), make, model, style };
        (Register::Facepiece { number, size }, said.then_some(kind))
    }

    fn cylinder(&mut self, c: &mut Cells, number: String) -> Option<Register> {
        let rated = match c.row.cell("rated").parse::<Pressure>() {
            Ok(p) => Some(p),
            Err(e) => {
                c.tell("rated", format!("{e}; write it like 4500 psi or 300 bar"));
                None
            }
        };
        self.with_unit(c, Asset::cylinder(&number), &columns::CYLINDERS);
        self.cylinders.insert(number.clone());
        Some(Register::Cylinder { number, rated: rated? })
    }

    fn with_unit(&mut self, c: &mut Cells, asset: Asset, template: &'static Template) {
        let unit = c.text("with unit");
        if !unit.is_empty() {
            c.must_be_in("with unit", &unit, &self.units, "units.csv");
            self.want(c, asset, Place::With { unit }, template);
        }
    }

    fn member(&mut self, c: &mut Cells, id: String) -> Register {
        let words = |text: &str| -> BTreeSet<String> {
            text.split([' ', ',', ';', '+']).filter(|w| !w.is_empty()).map(str::to_owned).collect()
        };
        let mut roles = BTreeSet::new();
        for word in words(&c.text("roles").to_lowercase()) {
            match Role::from_id(&word) {
                Some(role) => drop(roles.insert(role)),
                None => c.tell(
                    "roles",
                    format!(
                        "“{}” is not a role; write crew, officer, technician or administrator",
                        short(&word)
                    ),
                ),
            }
        }
        let qualified = words(&c.text("qualified"));
        for family in qualified.difference(&self.known.families) {
            let families: Vec<&str> = self.known.families.iter().map(String::as_str).collect();
            let say = format!("“{}” is not a kind of unit; use {}", short(family), families.join(", "));
            c.tell("qualified", say);
        }
        let name = c.text("name");
        let named = self.known.names.get(&id);
        if name.is_empty() && named.is_none() {
            c.tell("name", "a member who has no name yet needs one");
        }
        if c.good && !name.is_empty() && named != Some(&name) {
            self.out.names.push((id.clone(), name));
        }
        self.members.insert(id.clone(), qualified.clone());
        let roles = roles.into_iter().map(|r| r.id().to_owned()).collect();
        Register::Member { id, roles, qualified: qualified.into_iter().collect() }
    }

    fn marks(&mut self, c: &mut Cells, number: String) -> Option<Register> {
        c.must_be_in("cylinder", &number, &self.cylinders, "cylinders.csv");
        let spec = Spec::from_id(&c.text("made to").to_lowercase());
        if spec.is_none() {
            let ids = Spec::ALL.map(Spec::id).join(", ");
            c.tell("made to", format!("write one of {ids}"));
        }
        let volume_ml = millilitres(&c.text("litres")).filter(|v| (500..=20_000).contains(v));
        if volume_ml.is_none() {
            c.tell("litres", "write the water volume in litres, like 6.8");
        }
        let made = c.month("made");
        let [requalified, life_until] = ["requalified", "life ends"]
            .map(|column| if c.text(column).is_empty() { None } else { c.month(column) });
        let serial = c.text("serial");
        let marks =
            Marks { volume_ml: volume_ml?, spec: spec?, made: made?, requalified, life_until, serial };
        Some(Register::CylinderMarks { number, marks })
    }

    fn qualification(&mut self, c: &mut Cells) {
        let (member, family) = (c.text("member"), c.text("family"));
        match self.members.get(&member) {
            None => c.tell("member", format!("there is no “{}”; enter it in members.csv", short(&member))),
            Some(qualified) if !qualified.contains(&family) => {
                let say = format!(
                    "{} is not qualified for “{}”; enter it at “qualified” in members.csv first",
                    short(&member),
                    short(&family)
                );
                c.tell("family", say);
            }
            Some(_) => {}
        }
        let until = c.date("until", self.known.dates);
        let Some(until) = until.filter(|_| c.good) else { return };
        if self.known.until.get(&(member.clone(), family.clone())) == Some(&until) {
            self.out.unchanged += 1;
            return;
        }
        let reference = c.text("certificate");
        self.out.entries.push(Register::Qualification { member, family, until, reference });
    }

    fn fit_test(&mut self, c: &mut Cells) {
        let member = c.text("member");
        if !self.members.contains_key(&member) {
            c.tell("member", format!("there is no “{}”; enter it in members.csv", short(&member)));
        }
        let tested = c.date("date", self.known.dates);
        let today = self.known.clock.local(self.known.now).date_naive();
        if tested.is_some_and(|day| day > today) {
            c.tell("date", "this day is still to come; a fit test is entered once it was passed");
        }
        let [make, model, style, size] = ["make", "model", "style", "size"].map(|column| c.text(column));
        let Some(tested) = tested.filter(|_| c.good) else { return };
        let fit = Fitted { member, tested, kind: FacepieceKind { make, model, style, size } };
        if self.known.fits.contains(&fit) || self.out.fits.contains(&fit) {
            self.out.unchanged += 1;
        } else {
            self.out.fits.push(fit);
        }
    }

    fn check(&mut self, c: &mut Cells) {
        let (unit, by) = (c.number("unit"), c.text("by"));
        c.must_be_in("unit", &unit, &self.units, "units.csv");
        if !by.is_empty() && !self.members.contains_key(&by) {
            c.must_be_in("by", &by, &BTreeSet::new(), "members.csv, or leave it empty");
        }
        let date = c.date("date", self.known.dates);
        let time = time(c.row.cell("time"));
        if time.is_none() {
            c.tell("time", "write it like 07:05");
        }
        let (Some(date), Some(time)) = (date, time) else { return };
        let Some(at) = self.known.clock.zone.from_local_datetime(&date.and_time(time)).earliest() else {
            c.tell("time", "there was no such time on that day: the clocks went forward");
            return;
        };
        let at = at.timestamp_millis();
        if at > self.known.now {
            c.tell("date", "this is later than now; a check is entered here only once it was made");
        }
        let (result, remark) = (c.text("result"), c.text("remark"));
        let mut words = format!("Check on paper, taken in from a file: {result}");
        if !remark.is_empty() {
            words = format!("{words}. {remark}");
        }
        if c.good {
            let by = Some(by).filter(|b| !b.is_empty());
            self.out.checks.push(PastCheck { unit, at, by, words });
        }
    }

    fn want(&mut self, c: &mut Cells, asset: Asset, place: Place, template: &'static Template) {
        let now = self.known.entries.iter().find_map(|e| match e {
            Register::Holder { asset: a, place } if *a == asset => Some(place),
            _ => None,
        });
        if now == Some(&place) {
            return;
        }
        if let Some(why) = self.known.fixed.get(&asset.to_string()) {
            c.tell("", format!("{} {} is {why} and stays where it is", asset.kind.words(), asset.number));
            return;
        }
        self.wanted.insert(asset, (place, template, c.row.number));
    }

    /// A place on a rig takes one thing: who would share one is told.
    fn finish(mut self) -> Read {
        let mut taken: BTreeMap<String, Asset> = BTreeMap::new();
        for entry in &self.known.entries {
            if let Register::Holder { asset, place: Place::Seat { seat } } = entry
                && !self.wanted.contains_key(asset)
            {
                taken.insert(seat.clone(), asset.clone());
            }
        }
        for (asset, (place, template, row)) in std::mem::take(&mut self.wanted) {
            if let Place::Seat { seat } = &place {
                if let Some(other) = taken.get(seat) {
                    let say = format!(
                        "{} {} is in “{seat}” as well; put one of them elsewhere",
                        other.kind.words(),
                        other.number
                    );
                    let (file, column) = (template.file(), "seat".to_owned());
                    self.problems.push(Problem { file, row, column, say });
                    continue;
                }
                taken.insert(seat.clone(), asset.clone());
            }
            self.out.entries.push(Register::Holder { asset, place });
        }
        self.out.problems = self.problems;
        self.out
    }
}

fn order_of(entry: &Register) -> Option<u16> {
    match entry {
        Register::Station { order, .. } | Register::Rig { order, .. } | Register::Seat { order, .. } => {
            Some(*order)
        }
        _ => None,
    }
}

/// The cells of a row while they are read.
struct Cells<'a> {
    row: &'a Row,
    problems: &'a mut Problems,
    good: bool,
}

impl Cells<'_> {
    fn tell(&mut self, column: &str, say: impl Into<String>) {
        self.problems.tell(self.row.number, column, say);
        self.good = false;
    }

    fn text(&self, column: &str) -> String {
        self.row.cell(column).to_owned()
    }

    /// A number as painted on a thing, or an id of the same kind.
    fn number(&mut self, column: &str) -> String {
        let text = self.text(column);
        if !is_number(&text) {
            self.tell(
                column,
                format!(
                    "“{}” cannot be used: up to 32 letters from A to Z, digits, dots, hyphens",
                    short(&text)
                ),
            );
        }
        text
    }

    fn date(&mut self, column: &str, dates: Dates) -> Option<NaiveDate> {
        date(self.row.cell(column), dates).map_err(|say| self.tell(column, say)).ok()
    }

    fn month(&mut self, column: &str) -> Option<Month> {
        let read = self.row.cell(column).parse().ok();
        if read.is_none() {
            self.tell(column, "write it as year and month, like 2021-03");
        }
        read
    }

    fn yes(&mut self, column: &str) -> Option<bool> {
        match self.row.cell(column).to_lowercase().as_str() {
            "yes" | "y" | "true" | "x" | "1" => Some(true),
            "no" | "n" | "false" | "0" | "" => Some(false),
            _ => {
                self.tell(column, "write yes or no");
                None
            }
        }
    }

    fn cadence(&mut self, column: &str) -> Option<Cadence> {
        let text = self.row.cell(column).to_lowercase().replace('_', " ");
        let read = Cadence::ALL.into_iter().find(|c| c.words() == text);
        if read.is_none() {
            self.tell(column, "write each shift, weekly, monthly or after use");
        }
        read
    }

    /// How often what stands there is checked; an empty cell says nothing about it.
    fn checked(&mut self, at: Spot) -> Option<Register> {
        if self.row.cell("checked").is_empty() {
            return None;
        }
        self.cadence("checked").map(|cadence| Register::Cadence { at, cadence: Some(cadence) })
    }

    fn order(&mut self, kept: Option<u16>, nth: u16) -> Option<u16> {
        let text = self.row.cell("order");
        if text.is_empty() {
            return Some(kept.unwrap_or(nth));
        }
        let read = text.parse().ok();
        if read.is_none() {
            self.tell("order", "write a whole number from 0 to 65535, or leave it empty");
        }
        read
    }

    fn must_be_in(&mut self, column: &str, id: &str, there: &BTreeSet<String>, file: &str) {
        if !there.contains(id) {
            self.tell(column, format!("there is no “{}”; enter it in {file}", short(id)));
        }
    }
}

/// Litres with up to three places, in thousandths.
fn millilitres(text: &str) -> Option<u32> {
    let (whole, part) = text.split_once(['.', ',']).unwrap_or((text, ""));
    if part.len() > 3 || !(whole.to_owned() + part).bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    format!("{whole}{part:0<3}").parse().ok()
}

fn date(text: &str, dates: Dates) -> Result<NaiveDate, String> {
    let how = "write it like 2026-04-03";
    if let Ok(date) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        return if text.len() == 10 { Ok(date) } else { Err(how.to_owned()) };
    }
    let parts: Vec<&str> = text.split(['/', '.', '-']).collect();
    let [a, b, year] = parts.as_slice() else { return Err(how.to_owned()) };
    let (Ok(a), Ok(b), Ok(year), true) = (a.parse(), b.parse(), year.parse(), year.len() == 4) else {
        return Err(format!("{how}, with all four digits of the year"));
    };
    let (month, day) = match dates {
        Dates::DayFirst => (b, a),
        Dates::MonthFirst => (a, b),
        Dates::Unsaid => {
            return Err(format!("say whether the day or the month comes first, or {how}"));
        }
    };
    NaiveDate::from_ymd_opt(year, month, day).ok_or_else(|| format!("there is no such day; {how}"))
}

fn time(text: &str) -> Option<NaiveTime> {
    ["%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p"]
        .iter()
        .find_map(|how| NaiveTime::parse_from_str(text, how).ok())
}

#[cfg(test)]
mod tests;
