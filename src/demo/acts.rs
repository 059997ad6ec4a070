//! What people do in the story, as records: a check that fails, a word, work on the bench, a return.

use airmuster_domain::Millis;
use airmuster_domain::ground::{Act as Clears, Kind, clears};
use airmuster_domain::record::{
    Accepted, Asset, Cadence, Clearing, Occasion, Outcome, Part, Place, Return, Sent, Stage, TakenOut,
    TicketStage, Used, Worked,
};
use airmuster_domain::rules::Purpose;

use super::answers::Wrong;
use super::district;
use super::history::{crew, officer};
use super::keeper::{How, Keeper, MINUTE};
use super::people::{ADMINISTRATOR, JUNIOR_TECHNICIAN, TECHNICIAN};

/// Something that happens at a moment of the story.
pub struct Event {
    /// How many days before its last one.
    pub ago: i64,
    /// Minutes after that day's shift began.
    pub minute: i64,
    pub act: Act,
}

/// What happens. Things are named like `unit:203`; a plain number is a unit's.
pub enum Act {
    /// The crew checks a unit, and something goes wrong. It takes the place of the day's own check.
    Fails(&'static str, Purpose, &'static [Wrong]),
    /// The check ends at the step that fails; nobody signs it.
    BrokenOff(&'static str, &'static str, &'static [Wrong]),
    /// The check ends after a step, for a call.
    Stops(&'static str, &'static str),
    /// A member takes it out of service.
    TakesOut(&'static str, &'static str),
    /// The same on a tablet that is out of reach of the station for so many minutes.
    TakesOutUnheard(&'static str, &'static str, i64),
    /// The officer has it held for an inquiry.
    Holds(&'static str, &'static str),
    /// The administrator ends that.
    Releases(&'static str, &'static str),
    /// Somebody writes something down.
    Notes(&'static str, &'static str),
    /// It comes back from a call.
    Used(&'static str, &'static str, airmuster_domain::record::Condition),
    /// The technician cleans it.
    Cleans(&'static str, &'static str),
    /// The crew checks it after use, and all is well.
    ChecksAfterUse(&'static str),
    /// It is moved.
    Moves(&'static str, To),
    /// Its ticket gets to this stage.
    Stage(&'static str, Stage, &'static str),
    /// Somebody works on it: what was done, parts, readings.
    Works(&'static str, &'static str, &'static str, &'static str),
    /// It is proved on this unit, and returned.
    Returns(&'static str, &'static str, Repair),
    /// For good.
    Retires(&'static str, &'static str),
    /// The cylinder that lies tagged on the bench is retired.
    Condemns(&'static str),
    /// A new unit arrives.
    Arrives(&'static str),
    /// It passes its acceptance.
    Accepts(&'static str, To),
    /// Nobody gets to these any more.
    Leaves(&'static [&'static str]),
}

/// Where to.
#[derive(Clone, Copy)]
pub enum To {
    Seat(&'static str),
    Spare(&'static str),
    With(&'static str),
    Bench,
    Repairer,
}

impl To {
    fn place(self) -> Place {
        match self {
            Self::Seat(s) => Place::Seat { seat: s.to_owned() },
            Self::Spare(s) => Place::Spare { station: s.to_owned() },
            Self::With(u) => Place::With { unit: u.to_owned() },
            Self::Bench => Place::Bench,
            Self::Repairer => Place::Repairer,
        }
    }
}

/// What was done to return something.
pub struct Repair {
    pub on: &'static [Part],
    pub bench_test: Option<&'static str>,
    pub remedy: &'static str,
    /// Whether it is the technician who is not qualified for everything.
    pub junior: bool,
}

/// The unit whose check of the day an act is.
pub fn in_place_of_a_check(act: &Act) -> Option<&'static str> {
    match act {
        Act::Fails(u, ..) | Act::BrokenOff(u, ..) | Act::Stops(u, _) => Some(u),
        _ => None,
    }
}

fn asset(name: &str) -> Asset {
    name.parse().unwrap_or_else(|_| Asset::unit(name))
}

/// Writes down what happens.
pub fn tell(k: &mut Keeper, at: Millis, ago: i64, act: &Act) {
    match *act {
        Act::Fails(unit, purpose, wrong) => {
            let by = crew(k, unit, at)[1].id;
            k.check(at, unit, Some(by), purpose, &How { wrong, ..How::default() });
        }
        Act::BrokenOff(unit, step, wrong) => {
            let how = How { wrong, end: Some((Outcome::BrokenOff, step)), ..How::default() };
            k.check(at, unit, None, Purpose::ShiftStart, &how);
        }
        Act::Stops(unit, step) => {
            let by = crew(k, unit, at)[1].id;
            let how = How { end: Some((Outcome::Stopped, step)), ..How::default() };
            k.check(at, unit, Some(by), Purpose::ShiftStart, &how);
        }
        Act::TakesOut(name, why) => word(k, "taken_out", (at, 0), name, 2, why),
        Act::TakesOutUnheard(name, why, minutes) => {
            word(k, "taken_out", (at, minutes * MINUTE), name, 2, why);
        }
        Act::Holds(name, why) => word(k, "hold", (at, 0), name, 0, why),
        Act::Notes(name, why) => word(k, "note", (at, 0), name, ago.rem_euclid(3), why),
        Act::Releases(name, why) => {
            let clearing = Clearing {
                asset: asset(name),
                clears: k.keys(&asset(name), &[Kind::Held]),
                why: why.to_owned(),
            };
            clear(k, "release", at, ADMINISTRATOR.id, clearing, Clears::Release);
        }
        Act::Used(unit, what, condition) => {
            let by = officer(k, unit, at);
            let (unit, what) = (unit.to_owned(), what.to_owned());
            let occasion = Some(Occasion::Incident);
            used(k, at, by, &Used { unit, what, condition, occasion, after_use: true, ..Used::default() });
        }
        Act::Cleans(unit, why) => cleaned(k, at, TECHNICIAN.id, unit, why),
        Act::ChecksAfterUse(unit) => {
            let (officer, by) = (officer(k, unit, at), crew(k, unit, at)[1].id);
            k.change_cylinder(at - 10 * MINUTE, officer, unit, None);
            k.check(at, unit, Some(by), Purpose::AfterUse, &How::default());
        }
        Act::Moves(name, to) => {
            let by = officer(k, name, at);
            k.put(at, by, &asset(name), to.place());
        }
        Act::Stage(name, stage, note) => {
            if let Some(&ticket) = k.tickets.get(&asset(name)) {
                // Everything that is sent away comes back within two weeks.
                let due_back = (k.clock.local(at) + chrono::Days::new(14)).date_naive();
                let sent = (stage == Stage::AtRepairer).then(|| Sent {
                    repairer: "Basin Instruments".to_owned(),
                    reference: format!("BI-{}", 400 + ticket),
                    due_back,
                    loaner: String::new(),
                });
                let body = TicketStage { ticket, stage, note: note.to_owned(), sent };
                k.pen.desk("ticket_stage", at, Some(TECHNICIAN.id), &body);
            }
        }
        Act::Works(name, text, parts, readings) => {
            if let Some(&ticket) = k.tickets.get(&asset(name)) {
                let [text, parts, readings] = [text, parts, readings].map(str::to_owned);
                let body = Worked { ticket, text, parts, readings };
                k.pen.desk("worked", at, Some(TECHNICIAN.id), &body);
            }
        }
        Act::Returns(name, unit, ref repair) => returns(k, at, name, unit, repair),
        Act::Retires(name, why) => retires(k, at, asset(name), why),
        Act::Condemns(why) => {
            let tagged = k.tickets.keys().find(|a| **a == Asset::cylinder(&a.number)).cloned();
            if let Some(cylinder) = tagged {
                k.tickets.remove(&cylinder);
                let body = TakenOut { asset: cylinder, why: why.to_owned() };
                k.pen.desk("condemned", at, Some(ADMINISTRATOR.id), &body);
                k.weigh();
            }
        }
        Act::Arrives(unit) => {
            district::enter_unit(&mut k.pen, at, unit, Place::Bench, Cadence::Weekly, false);
            super::upkeep::marks_of_new(k, at, unit);
            k.add(unit, Place::Bench, at);
            if let Some(u) = k.units.get_mut(unit) {
                u.left_alone = true;
            }
        }
        Act::Accepts(unit, to) => accepts(k, at, unit, to),
        Act::Leaves(units) => {
            for unit in units {
                if let Some(u) = k.units.get_mut(unit) {
                    u.left_alone = true;
                }
            }
        }
    }
}

/// A member's word about a thing, written at a moment and received so much later.
fn word(k: &mut Keeper, kind: &str, (at, late): (Millis, Millis), name: &str, who: i64, why: &str) {
    let asset = asset(name);
    let station = district::station_of(&asset.number);
    let by = crew(k, &asset.number, at)[usize::try_from(who).unwrap_or(0)].id;
    let id = k.pen.id(at);
    let body = TakenOut { asset, why: why.to_owned() };
    k.pen.field(kind, (at, id), Some(by), district::STATIONS[station].id, &body);
    if late > 0 {
        k.pen.delay(late);
    }
    k.weigh();
}

/// A unit comes back from a call.
pub fn used(k: &mut Keeper, at: Millis, by: &str, used: &Used) {
    let id = k.pen.id(at);
    let tablet = district::STATIONS[district::station_of(&used.unit)].id;
    k.pen.field("used", (at, id), Some(by), tablet, used);
    k.weigh();
}

/// A soiled or contaminated unit was cleaned.
pub fn cleaned(k: &mut Keeper, at: Millis, by: &str, unit: &str, why: &str) {
    let asset = Asset::unit(unit);
    let keys = k.keys(&asset, &[Kind::Soiled, Kind::Contaminated]);
    if !keys.is_empty() {
        let clearing = Clearing { asset, clears: keys, why: why.to_owned() };
        clear(k, "cleaned", at, by, clearing, Clears::Cleaned);
    }
}

fn clear(
    k: &mut Keeper,
    kind: &str,
    at: Millis,
    by: &str,
    clearing: Clearing,
    act: impl FnOnce(std::collections::BTreeSet<String>) -> Clears,
) {
    k.pen.desk(kind, at, Some(by), &clearing);
    let act = act(clearing.clears.into_iter().collect());
    if let Some(open) = k.open.get_mut(&clearing.asset) {
        open.retain(|r| !clears(&act, r));
    }
}

/// The proving check, and a quarter of an hour later the return that it allows.
fn returns(k: &mut Keeper, at: Millis, name: &str, unit: &'static str, repair: &Repair) {
    let by = if repair.junior { JUNIOR_TECHNICIAN } else { TECHNICIAN }.id;
    let test = repair.bench_test.unwrap_or("No work that needs one; last year's sheet is in date.");
    let said = vec![("flow-test", true, test), ("repaired-parts", true, repair.remedy)];
    let Some(proving) = k.check(at, unit, Some(by), Purpose::Proving, &How { said, ..How::default() }) else {
        return;
    };
    let asset = asset(name);
    let body = Return {
        asset: asset.clone(),
        clears: k.keys(&asset, &[Kind::Finding, Kind::TakenOut]),
        proving,
        worked_on: repair.on.to_vec(),
        bench_test: repair.bench_test.map(str::to_owned),
        remedy: repair.remedy.to_owned(),
        reproduced: if repair.on.is_empty() { repair.remedy.to_owned() } else { String::new() },
        second_signer: repair.on.is_empty().then(|| officer(k, unit, at).to_owned()),
    };
    k.pen.desk("return", at + 12 * MINUTE, Some(by), &body);
    let act = Clears::Return {
        asset: asset.clone(),
        clears: body.clears.into_iter().collect(),
        proving: k.done.take(),
    };
    if let Some(open) = k.open.get_mut(&asset) {
        open.retain(|r| !clears(&act, r));
    }
    k.tickets.remove(&asset);
    if repair.on.contains(&Part::Gauge) {
        k.mend(unit);
    }
}

fn retires(k: &mut Keeper, at: Millis, asset: Asset, why: &str) {
    k.tickets.remove(&asset);
    if let Some(u) = k.units.get_mut(asset.number.as_str()) {
        u.left_alone = true;
    }
    k.pen.desk("retired", at, Some(ADMINISTRATOR.id), &TakenOut { asset, why: why.to_owned() });
    k.weigh();
}

fn accepts(k: &mut Keeper, at: Millis, unit: &'static str, to: To) {
    let by = TECHNICIAN.id;
    let said = vec![("flow-test", true, "Maker's certificate, filed with the delivery note.")];
    let Some(check) = k.check(at, unit, Some(by), Purpose::Acceptance, &How { said, ..How::default() })
    else {
        return;
    };
    super::upkeep::tested(k, at + 8 * MINUTE, unit);
    let body = Accepted { unit: unit.to_owned(), check };
    k.pen.desk("accepted", at + 9 * MINUTE, Some(by), &body);
    k.put(at + 20 * MINUTE, by, &Asset::unit(unit), to.place());
    if let Some(u) = k.units.get_mut(unit) {
        u.left_alone = false;
    }
}
