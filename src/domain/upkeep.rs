//! Upkeep: what is known of each unit, facepiece, cylinder and source of air, what falls due when,
//! and what follows where it has lapsed. Everything here follows from the sequence of desk records
//! and, for what has lapsed, from today's date: [`Upkeep::hear`] takes in one record after the other.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Months, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::Millis;
use crate::ground::{Kind, Raise};
use crate::notice::Noticed;
use crate::quantity::Pressure;
use crate::record::{
    AirSample, Asset, AssetKind, Component, Desk, Digest, Fill, Fitting, Lapse, Loan, LoanEnded, Marks,
    Month, Notice, Period, Place, RecordRef, Register, Slot, Spec, Upkept, Work,
};
use crate::standing::State;

/// What is known of a unit, facepiece or cylinder.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Thing {
    /// A unit's profile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub profile: Option<String>,
    /// A cylinder's rated pressure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rated: Option<Pressure>,
    /// A cylinder's marks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marks: Option<Marks>,
    /// A facepiece's size.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub size: String,
    /// Who makes a facepiece.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub make: String,
    /// A facepiece's model.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub model: String,
    /// A facepiece's style.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub style: String,
    /// The unit that it is fitted to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub with: Option<String>,
    /// Since when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Millis>,
    /// The last day on which each kind of upkeep was done and passed.
    #[serde(default)]
    pub done: BTreeMap<Work, NaiveDate>,
    /// Since when a kind of upkeep stands as failed.
    #[serde(default)]
    pub failed: BTreeMap<Work, NaiveDate>,
    /// The last fill.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub filled: Option<Filled>,
    /// The last reading where it lay ready.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read: Option<ReadAt>,
    /// The sample that put its air in doubt.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bad_air: Option<BadAir>,
    /// Retired or condemned.
    #[serde(default)]
    pub gone: bool,
    /// A unit's parts.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub parts: BTreeMap<Slot, Fitted>,
    /// A unit that is with an outside repairer or another department; a facepiece or cylinder that
    /// was, and has been on no unit since.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub away: bool,
    /// Only a check made since then says that it is fit to ride: a unit's since it went away or came
    /// back, a facepiece's or cylinder's since it was put on its unit after having been away.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub check_from: Option<Millis>,
    /// To whom a unit is lent, or from whom it is borrowed, while it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loan: Option<Loan>,
    /// The department that a borrowed unit belongs to, also once it was given back.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub owner: String,
}

/// A part on a unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fitted {
    /// As its label has it.
    pub part: Component,
    /// Since when it is known to be there.
    pub at: Millis,
}

/// For so long after it was put on a unit a thing that had been away asks for a check on the next
/// one too: the longest time between two checks of a unit (31 days).
const ASKED_AGAIN: Millis = 31 * 86_400_000;

/// A cylinder's last fill.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Filled {
    /// When.
    pub at: Millis,
    /// From which source.
    pub source: String,
    /// To what pressure.
    pub pressure: Pressure,
}

/// A reading of a cylinder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadAt {
    /// When.
    pub at: Millis,
    /// As read.
    pub pressure: Pressure,
}

/// Why a cylinder's air is in doubt.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BadAir {
    /// The source.
    pub source: String,
    /// The day of the sample that failed.
    pub on: NaiveDate,
    /// What was wrong with it.
    pub why: String,
    /// When the cylinder was first filled from it since the last good sample.
    pub since: Millis,
}

/// A source of breathing air: a compressor, a cascade.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Source {
    /// Its name.
    pub name: String,
    /// The station where it stands.
    pub station: String,
    /// The day of the last sample.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sampled: Option<NaiveDate>,
    /// The day of the last good one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub good: Option<NaiveDate>,
    /// What was wrong with the last one, where it failed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failed: Option<String>,
    /// Cylinders filled from it since the last good sample, and when first.
    #[serde(default)]
    pub filled: BTreeMap<String, Millis>,
}

/// Something that falls due.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Due {
    /// The last day on which it is in time.
    pub by: NaiveDate,
    /// What.
    pub work: Work,
    /// To what.
    pub on: Of,
}

/// What upkeep is done to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Of {
    /// A unit, facepiece or cylinder.
    Asset(Asset),
    /// A source of air, by its id.
    Source(String),
    /// A technician, by id, and the family of profiles.
    Member(String, String),
}

/// Everything known of upkeep.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Upkeep {
    /// Units, facepieces and cylinders.
    pub things: BTreeMap<Asset, Thing>,
    /// Sources of air by their ids.
    pub sources: BTreeMap<String, Source>,
    /// Until when technicians' qualifications hold, by member and family of profiles.
    pub qualified: BTreeMap<String, BTreeMap<String, NaiveDate>>,
    /// The department's periods, the newest last.
    pub periods: Vec<Period>,
    /// Which parts the approval names, by profile and place on the unit.
    pub approvals: BTreeMap<String, BTreeMap<Slot, Vec<String>>>,
    /// Notices, by number.
    pub notices: BTreeMap<String, Noticed>,
}

/// Why a sample is not Grade D air, one line a reason; none: it is. 29 CFR 1910.134(i)(1)(ii):
/// oxygen 19.5 to 23.5 % by volume, condensed hydrocarbon at most 5 mg/m³, carbon monoxide at most
/// 10 ppm, carbon dioxide at most 1,000 ppm, no noticeable odour.
pub fn grade_d(s: &AirSample) -> Vec<String> {
    let mut out = Vec::new();
    if !(1950..=2350).contains(&s.oxygen) {
        out.push(format!("oxygen {} %, must be 19.5 to 23.5 %", decimal(s.oxygen, 2)));
    }
    if s.oil > 500 {
        out.push(format!("condensed hydrocarbon {} mg/m³, at most 5", decimal(s.oil, 2)));
    }
    if s.monoxide > 100 {
        out.push(format!("carbon monoxide {} ppm, at most 10", decimal(s.monoxide, 1)));
    }
    if s.dioxide > 1000 {
        out.push(format!("carbon dioxide {} ppm, at most 1,000", s.dioxide));
    }
    if s.odour {
        out.push("a noticeable odour".to_owned());
    }
    out
}

/// A number kept in whole parts: 2095 with two places is `20.95`, 500 is `5`.
pub fn decimal(parts: u32, places: u32) -> String {
    let unit = 10_u32.pow(places);
    let rest = format!("{:0width$}", parts % unit, width = places as usize);
    match rest.trim_end_matches('0') {
        "" => (parts / unit).to_string(),
        rest => format!("{}.{rest}", parts / unit),
    }
}

/// A day as it is said: `31 Mar 2026`.
pub fn day_words(day: NaiveDate) -> String {
    day.format("%-d %b %Y").to_string()
}

/// The day of a moment by UTC.
fn day_of(at: Millis) -> NaiveDate {
    DateTime::from_timestamp_millis(at).unwrap_or_default().date_naive()
}

impl Thing {
    /// The month with which a cylinder's life ends.
    pub fn life_until(&self) -> Option<Month> {
        let m = self.marks.as_ref()?;
        m.life_until.or_else(|| m.spec.life_months().map(|n| m.made.plus(n)))
    }
}

impl Upkeep {
    /// Takes in one desk record, dated `at`.
    pub fn hear(&mut self, desk: &Desk, at: Millis) {
        match desk {
            Desk::Register(r) => self.hear_register(r, at),
            Desk::Upkeep(u) => self.hear_done(u),
            Desk::Fill(f) => self.hear_fill(f, at),
            Desk::CylinderRead(r) => {
                self.thing(&Asset::cylinder(&r.cylinder)).read = Some(ReadAt { at, pressure: r.pressure });
            }
            Desk::AirSample(s) => self.hear_sample(s),
            Desk::Retired(t) | Desk::Condemned(t) => self.thing(&t.asset).gone = true,
            Desk::Moved(m) => {
                for one in &m.moves {
                    self.hear_place(&one.asset, &one.to, at);
                }
            }
            Desk::Loan(l) => self.hear_loan(l, at),
            Desk::LoanEnded(e) => self.hear_back(e, at),
            Desk::Fitting(f) => self.hear_fitting(f, at),
            Desk::Notice(n) => {
                let noticed = Noticed { notice: n.clone(), done: BTreeMap::new(), ended: false };
                self.notices.insert(n.number.clone(), noticed);
            }
            Desk::NoticeDone(d) => {
                let thing = self.things.get(&d.asset).cloned().unwrap_or_default();
                if let Some(noticed) = self.notices.get_mut(&d.notice) {
                    noticed.done.insert(noticed.key(&d.asset, &thing), d.what.clone());
                }
            }
            Desk::NoticeEnded(e) => {
                if let Some(noticed) = self.notices.get_mut(&e.notice) {
                    noticed.ended = true;
                }
            }
            Desk::Left(l) => drop(self.qualified.insert(l.member.clone(), BTreeMap::new())),
            _ => {}
        }
    }

    /// The things that a desk record speaks of here; none where it has nothing to say of upkeep.
    /// [`Desk::AirSample`] speaks of every cylinder that its source holds as filled.
    pub fn about(&self, desk: &Desk) -> Option<Vec<Asset>> {
        Some(match desk {
            Desk::Register(r) => match r {
                Register::Unit { number, .. } => vec![Asset::unit(number)],
                Register::Cylinder { number, .. } | Register::CylinderMarks { number, .. } => {
                    vec![Asset::cylinder(number)]
                }
                Register::Facepiece { number, .. } | Register::FacepieceModel { number, .. } => {
                    vec![Asset::facepiece(number)]
                }
                Register::Holder { asset, .. } => vec![asset.clone()],
                Register::Source { .. }
                | Register::Period(_)
                | Register::Qualification { .. }
                | Register::Approval { .. } => Vec::new(),
                _ => return None,
            },
            Desk::Upkeep(u) => vec![u.asset.clone()],
            Desk::Fill(f) => vec![Asset::cylinder(&f.cylinder)],
            Desk::CylinderRead(r) => vec![Asset::cylinder(&r.cylinder)],
            Desk::AirSample(s) => {
                let filled = self.sources.get(&s.source).into_iter().flat_map(|s| s.filled.keys());
                filled.map(|n| Asset::cylinder(n)).collect()
            }
            Desk::Retired(t) | Desk::Condemned(t) => vec![t.asset.clone()],
            Desk::Moved(m) => m.moves.iter().map(|one| one.asset.clone()).collect(),
            Desk::Loan(l) => vec![l.unit()],
            Desk::LoanEnded(e) => vec![Asset::unit(&e.unit)],
            Desk::Fitting(f) => vec![Asset::unit(&f.unit)],
            Desk::Accepted(a) => vec![Asset::unit(&a.unit)],
            Desk::NoticeDone(d) => vec![d.asset.clone()],
            Desk::Notice(_) | Desk::NoticeEnded(_) | Desk::Left(_) => Vec::new(),
            _ => return None,
        })
    }

    fn thing(&mut self, asset: &Asset) -> &mut Thing {
        self.things.entry(asset.clone()).or_default()
    }

    /// Something was put somewhere.
    fn hear_place(&mut self, asset: &Asset, place: &Place, at: Millis) {
        let thing = self.thing(asset);
        let with = match place {
            Place::With { unit } => Some(unit.clone()),
            _ => None,
        };
        let away = matches!(place, Place::Repairer | Place::Away);
        match (asset.kind, with.is_some()) {
            // On the way back too: nothing that was written meanwhile says how it came back.
            (AssetKind::Unit, _) if away || thing.away => {
                thing.check_from = Some(at);
                thing.away = away;
            }
            (AssetKind::Unit, _) => {}
            (_, true) if thing.away => {
                thing.check_from = Some(at);
                thing.away = false;
            }
            (_, true) if with == thing.with => {}
            // Nobody here knows whether it was checked on the unit that it was on.
            (_, true) => {
                let lately = |from: &Millis| at.saturating_sub(*from) < ASKED_AGAIN;
                thing.check_from = thing.check_from.filter(lately).map(|_| at);
            }
            (_, false) => thing.away |= away,
        }
        if with != thing.with {
            thing.since = with.as_ref().map(|_| at);
        }
        thing.with = with;
    }

    fn hear_loan(&mut self, loan: &Loan, at: Millis) {
        let unit = loan.unit();
        let thing = self.thing(&unit);
        thing.loan = Some(loan.clone());
        if let Loan::Borrowed { from, .. } = loan {
            thing.owner.clone_from(from);
            // Nobody here knows where it was until now.
            thing.away = true;
        }
        for entry in loan.entries() {
            self.hear_register(&entry, at);
        }
    }

    fn hear_back(&mut self, ended: &LoanEnded, at: Millis) {
        self.thing(&Asset::unit(&ended.unit)).loan = None;
        for entry in ended.entries() {
            self.hear_register(&entry, at);
        }
        // What was with a lent unit was away too, on whichever unit it is used next.
        if ended.station.is_some() {
            for thing in self.things.values_mut().filter(|t| t.with.as_ref() == Some(&ended.unit)) {
                thing.check_from = Some(at);
            }
        }
    }

    fn hear_fitting(&mut self, f: &Fitting, at: Millis) {
        let thing = self.thing(&Asset::unit(&f.unit));
        match &f.part {
            None => {
                thing.parts.remove(&f.slot);
            }
            Some(part) => {
                let before = thing.parts.get(&f.slot).filter(|b| f.was_there && b.part.serial == part.serial);
                let at = before.map_or(at, |b| b.at);
                thing.parts.insert(f.slot, Fitted { part: part.clone(), at });
            }
        }
    }

    fn hear_register(&mut self, r: &Register, at: Millis) {
        match r {
            Register::Unit { number, profile, serials, .. } => {
                let thing = self.thing(&Asset::unit(number));
                thing.profile = Some(profile.clone());
                for (name, serial) in serials.iter().filter(|(_, s)| !s.trim().is_empty()) {
                    let Some(slot) = Slot::named(name) else { continue };
                    // What was fitted since is known better.
                    thing.parts.entry(slot).or_insert_with(|| Fitted {
                        part: Component { serial: serial.clone(), ..Component::default() },
                        at,
                    });
                }
            }
            Register::Cylinder { number, rated } => {
                self.thing(&Asset::cylinder(number)).rated = Some(*rated);
            }
            Register::CylinderMarks { number, marks } => {
                self.thing(&Asset::cylinder(number)).marks = Some(marks.clone());
            }
            Register::Facepiece { number, size } => {
                self.thing(&Asset::facepiece(number)).size.clone_from(size);
            }
            Register::FacepieceModel { number, make, model, style } => {
                let thing = self.thing(&Asset::facepiece(number));
                thing.make.clone_from(make);
                thing.model.clone_from(model);
                thing.style.clone_from(style);
            }
            Register::Holder { asset, place } => self.hear_place(asset, place, at),
            Register::Approval { profile, slot, names } => {
                self.approvals.entry(profile.clone()).or_default().insert(*slot, names.clone());
            }
            Register::Source { id, name, station } => {
                let source = self.sources.entry(id.clone()).or_default();
                source.name.clone_from(name);
                source.station.clone_from(station);
            }
            Register::Qualification { member, family, until, .. } => {
                self.qualified.entry(member.clone()).or_default().insert(family.clone(), *until);
            }
            Register::Period(p) => {
                self.periods.retain(|q| (q.work, &q.only) != (p.work, &p.only));
                self.periods.push(p.clone());
            }
            _ => {}
        }
    }

    fn hear_done(&mut self, u: &Upkept) {
        let thing = self.thing(&u.asset);
        if !u.passed {
            thing.failed.insert(u.work, u.on);
            return;
        }
        // What was done before it failed does not mend it.
        if thing.failed.get(&u.work).is_some_and(|failed| *failed <= u.on) {
            thing.failed.remove(&u.work);
        }
        let last = thing.done.entry(u.work).or_insert(u.on);
        *last = u.on.max(*last);
        match (u.work, &mut thing.marks) {
            (Work::Requalification, Some(m)) => m.requalified = m.requalified.max(Some(Month::of(u.on))),
            (Work::LifeExtension, Some(m)) => m.life_until = u.until.or(m.life_until),
            (Work::AirReplaced, _) => thing.bad_air = None,
            _ => {}
        }
    }

    fn hear_fill(&mut self, f: &Fill, at: Millis) {
        let filled = Filled { at, source: f.source.clone(), pressure: f.pressure };
        self.thing(&Asset::cylinder(&f.cylinder)).filled = Some(filled);
        let source = self.sources.entry(f.source.clone()).or_default();
        source.filled.entry(f.cylinder.clone()).or_insert(at);
    }

    fn hear_sample(&mut self, s: &AirSample) {
        let source = self.sources.entry(s.source.clone()).or_default();
        source.sampled = source.sampled.max(Some(s.on));
        let why = grade_d(s);
        if why.is_empty() {
            source.failed = None;
            source.good = source.good.max(Some(s.on));
            // A fill on the day of the sample, by any clock, is not known to be before it.
            source.filled.retain(|_, at| day_of(*at).succ_opt().is_none_or(|next| next >= s.on));
            return;
        }
        let why = why.join("; ");
        source.failed = Some(why.clone());
        let filled = source.filled.clone();
        for (number, since) in filled {
            let bad = BadAir { source: s.source.clone(), on: s.on, why: why.clone(), since };
            self.thing(&Asset::cylinder(&number)).bad_air = Some(bad);
        }
    }

    /// The department's setting, the closest first: for this profile or specification, for all.
    fn period(&self, work: Work, only: &str) -> Option<&Period> {
        let of = |key: &str| self.periods.iter().rfind(|p| p.work == work && p.only == key);
        of(only).or_else(|| of(""))
    }

    /// Months from one to the next, for a profile or specification. Annual flow test: maker's practice
    /// and NFPA 1852 (from memory); batteries and facepiece service once a year: common practice, no
    /// published source; air once in three months: WAC 296-305-04001(6); cylinders: [`Spec::months`].
    pub fn months(&self, work: Work, only: &str) -> u32 {
        let usual = match work {
            Work::Requalification => Spec::from_id(only).map_or(60, Spec::months),
            Work::AirSample => 3,
            _ => 12,
        };
        let set = self.period(work, only).map_or(usual, |p| p.months);
        let most = Spec::from_id(only).filter(|_| work == Work::Requalification).map(Spec::most_months);
        set.min(most.unwrap_or(u32::MAX))
    }

    /// What follows when it has lapsed: as the department says; without a word of it a lapsed flow
    /// test takes a unit out of service, and everything else is said.
    pub fn lapse(&self, work: Work, only: &str) -> Lapse {
        let usual = if work == Work::FlowTest { Lapse::OutOfService } else { Lapse::Said };
        self.period(work, only).map_or(usual, |p| p.lapse)
    }

    fn only(thing: &Thing, work: Work) -> &str {
        match work {
            Work::Requalification => thing.marks.as_ref().map_or("", |m| m.spec.id()),
            _ => thing.profile.as_deref().unwrap_or_default(),
        }
    }

    /// The last day on which this upkeep of an asset is in time; none where nothing is known to
    /// count from, or it does not fall due on it.
    pub fn due(&self, asset: &Asset, work: Work) -> Option<NaiveDate> {
        let thing = self.things.get(asset).filter(|t| !t.gone && work.on() == Some(asset.kind))?;
        let months = self.months(work, Self::only(thing, work));
        match work {
            Work::Requalification => {
                let m = thing.marks.as_ref()?;
                Some(m.requalified.unwrap_or(m.made).plus(months).last_day())
            }
            Work::EndOfLife => thing.life_until().map(Month::last_day),
            _ => after(*thing.done.get(&work)?, months),
        }
    }

    /// Since when a technician's qualification no longer holds; none while it does, or where nobody has
    /// said until when. 29 CFR 1910.134(h)(4) leaves repairs to those who are trained for them.
    pub fn unqualified(&self, member: &str, family: &str, today: NaiveDate) -> Option<NaiveDate> {
        self.qualified.get(member)?.get(family).copied().filter(|until| *until < today)
    }

    /// The last day on which a source's sample is in time.
    pub fn sample_due(&self, source: &str) -> Option<NaiveDate> {
        after(self.sources.get(source)?.sampled?, self.months(Work::AirSample, ""))
    }

    /// Upkeep of which nothing is known to count from: it is to be entered.
    pub fn unknown(&self) -> Vec<(Of, Work)> {
        let things = self.things.iter().filter(|(_, t)| !t.gone).flat_map(|(asset, t)| {
            let lacks = move |work: &Work| {
                let own = work.on() == Some(asset.kind);
                own && *work != Work::EndOfLife && self.due(asset, *work).is_none()
            };
            let registered = t.profile.is_some() || t.rated.is_some() || !t.size.is_empty();
            Work::DUE
                .into_iter()
                .filter(move |w| registered && lacks(w))
                .map(|w| (Of::Asset(asset.clone()), w))
        });
        let sources = self.sources.iter().filter(|(_, s)| s.sampled.is_none());
        things.chain(sources.map(|(id, _)| (Of::Source(id.clone()), Work::AirSample))).collect()
    }

    /// Everything that falls due until a day, each time that it does, the first first. What has
    /// lapsed stands at its own day; what follows is counted as if it were done today, or in time.
    pub fn forecast(&self, today: NaiveDate, until: NaiveDate) -> Vec<Due> {
        let mut out = Vec::new();
        for asset in self.things.keys() {
            let thing = &self.things[asset];
            let last = self.due(asset, Work::EndOfLife);
            for work in Work::DUE {
                let Some(first) = self.due(asset, work) else { continue };
                let months = match work {
                    Work::EndOfLife => u32::MAX,
                    _ => self.months(work, Self::only(thing, work)),
                };
                let ends = if work == Work::Requalification { last } else { None };
                let whole = work == Work::Requalification;
                repeat(
                    &mut out,
                    &Of::Asset(asset.clone()),
                    work,
                    (first, months, whole),
                    (today, until, ends),
                );
            }
        }
        for id in self.sources.keys() {
            let Some(first) = self.sample_due(id) else { continue };
            let months = self.months(Work::AirSample, "");
            repeat(
                &mut out,
                &Of::Source(id.clone()),
                Work::AirSample,
                (first, months, false),
                (today, until, None),
            );
        }
        for (member, families) in &self.qualified {
            for (family, by) in families.iter().filter(|(_, by)| **by <= until) {
                let on = Of::Member(member.clone(), family.clone());
                out.push(Due { by: *by, work: Work::Qualification, on });
            }
        }
        out.sort();
        out
    }

    /// Why a cylinder may not be filled from a source today, one line a reason. A cylinder past its
    /// requalification is not filled: 49 CFR 180.205(c) and 180.207(a)(2); one that is past its life is
    /// not even requalified (180.207(a)(3)); a condemned one is never filled again (180.203).
    pub fn no_fill(&self, cylinder: &str, source: &str, today: NaiveDate) -> Vec<String> {
        let asset = Asset::cylinder(cylinder);
        let mut out = self.no_fill_for(&asset, today);
        match self.sources.get(source) {
            None => out.push("choose the source of the air".to_owned()),
            Some(s) => out.extend(s.failed.as_ref().map(|why| {
                format!("the last air sample of {} failed ({why}); fill from another source", s.name)
            })),
        }
        out
    }

    /// Why a cylinder may not be filled today, whatever the source.
    pub fn no_fill_for(&self, asset: &Asset, today: NaiveDate) -> Vec<String> {
        let Some(thing) = self.things.get(asset).filter(|t| t.rated.is_some()) else {
            return vec![format!("no cylinder {} is in the register", asset.number)];
        };
        let n = &asset.number;
        let mut out = Vec::new();
        if thing.gone {
            return vec![format!("{n} is condemned or retired; it is never filled again")];
        }
        let lapsed = |work: Work| self.due(asset, work).filter(|by| *by < today);
        if thing.marks.is_none() {
            out.push(format!("its marks are not in the register; enter what is stamped on {n} first"));
        }
        if let Some(by) = lapsed(Work::EndOfLife) {
            out.push(format!("{n} is past its life, which ended on {}", day_words(by)));
        }
        if let Some(by) = lapsed(Work::Requalification) {
            out.push(format!("{n} was due for requalification by {}", day_words(by)));
        }
        if let Some(on) = thing.failed.get(&Work::Requalification) {
            out.push(format!("{n} failed its requalification on {}", day_words(*on)));
        }
        if let Some(bad) = &thing.bad_air {
            let name = self.sources.get(&bad.source).map_or(&bad.source, |s| &s.name);
            out.push(format!(
                "{n} was filled from {name}, whose sample of {} failed; empty and flush it first",
                day_words(bad.on)
            ));
        }
        let stopped = self.noticed(asset, thing, today).filter(|r| r.kind == Kind::StopUsing);
        out.extend(stopped.map(|r| format!("{n}: {}", r.say)));
        out
    }

    /// What upkeep says against an asset today. Computed whenever asked, never stored.
    pub fn grounds(&self, asset: &Asset, today: NaiveDate) -> Vec<Raise> {
        self.grounds_with(asset, today, &[], |_| Vec::new())
    }

    /// As [`Upkeep::grounds`], knowing what records hold against the asset itself (`own`) and against each
    /// facepiece or cylinder fitted to it (`open`): a unit does not ride with what is condemned, held,
    /// tagged or in doubt.
    ///
    /// What failed in a check of the unit that it has been on since is left out for that day and the next.
    /// There the ground [`Kind::AnotherItem`] says so, until a good answer with another one clears it: that
    /// is the crew's exchange, of which the register has to hear before it knows the wrong one for long.
    pub fn grounds_with(
        &self,
        asset: &Asset,
        today: NaiveDate,
        own: &[Raise],
        open: impl Fn(&Asset) -> Vec<Raise>,
    ) -> Vec<Raise> {
        let fitted: Vec<_> = match asset.kind {
            AssetKind::Unit => self.fitted_to(&asset.number).collect(),
            AssetKind::Facepiece | AssetKind::Cylinder => Vec::new(),
        };
        self.grounds_among(asset, today, own, &fitted, open)
    }

    /// As [`Upkeep::grounds_with`], knowing what is fitted to the asset: for many at once.
    pub fn grounds_among(
        &self,
        asset: &Asset,
        today: NaiveDate,
        own: &[Raise],
        fitted: &[(&Asset, &Thing)],
        open: impl Fn(&Asset) -> Vec<Raise>,
    ) -> Vec<Raise> {
        let mut out = self.own_grounds(asset, today);
        if asset.kind == AssetKind::Unit {
            let unit = self.things.get(asset);
            if let Some((thing, from)) = unit.and_then(|t| t.check_from.map(|from| (t, from))) {
                let say = away_words(thing);
                // While it is lent no check made here says anything of it.
                let lent = matches!(thing.loan, Some(Loan::Lent { .. }));
                out.push(Raise {
                    at: if lent { Millis::MAX } else { from },
                    ..raise(asset, Kind::BeenAway, &format!("away/{asset}"), say, "")
                });
            }
            for &(item, thing) in fitted {
                if let Some(from) = thing.check_from {
                    let (kind, n) = (item.kind.words(), &item.number);
                    let say = format!("its {kind} {n} was away: check them together before they ride");
                    let key = format!("away/{item}");
                    out.push(Raise { at: from, ..raise(asset, Kind::BeenAway, &key, say, "") });
                }
                // Whoever holds a unit for an inquiry is not told to take something off it.
                if own.iter().any(|r| r.kind == Kind::Held) {
                    continue;
                }
                let exchanged = |r: &Raise| {
                    r.on.as_ref() == Some(&asset.number)
                        && thing.since.is_none_or(|since| r.at >= since)
                        && (today - day_of(r.at)).num_days() <= 1
                };
                let mut against = open(item);
                against.retain(|r| !exchanged(r));
                if let Some((say, basis)) = self.fitted_out(item, thing, today, &against) {
                    out.push(raise(asset, Kind::FittedOut, &format!("fitted/{item}"), say, &basis));
                }
            }
        }
        out
    }

    /// The facepieces and cylinders that are on a unit.
    pub fn fitted_to<'a>(&'a self, unit: &'a str) -> impl Iterator<Item = (&'a Asset, &'a Thing)> {
        self.things.iter().filter(move |(_, t)| t.with.as_deref() == Some(unit))
    }

    /// The facepieces and cylinders that are on units, by the unit's number, as [`Upkeep::fitted_to`] has them.
    pub fn all_fitted(&self) -> HashMap<&str, Vec<(&Asset, &Thing)>> {
        let mut out: HashMap<&str, Vec<_>> = HashMap::new();
        for (item, thing) in &self.things {
            if let Some(unit) = &thing.with {
                out.entry(unit).or_default().push((item, thing));
            }
        }
        out
    }

    /// Why a unit does not ride with this on it, and on what that rests: the worst that there is.
    fn fitted_out(
        &self,
        item: &Asset,
        thing: &Thing,
        today: NaiveDate,
        open: &[Raise],
    ) -> Option<(String, String)> {
        let its = format!("its {} {}", item.kind.words(), item.number);
        if thing.gone || open.iter().any(|r| r.kind == Kind::Retired) {
            return Some((format!("{its} is condemned or retired; fit another one"), String::new()));
        }
        let own = self.own_grounds(item, today);
        let out = own.iter().chain(open).filter(|r| r.kind.terms().state >= State::OutOfService);
        // Of several that are as bad the first, so that the sentence does not hang on an order of rows.
        let worst = out.min_by_key(|r| (std::cmp::Reverse(r.kind.terms().state), r.kind, &r.key))?;
        let say = match worst.kind {
            Kind::Held => format!("{its} is held for an inquiry: {}; fit another one", worst.say),
            // A crew may have exchanged it in its check.
            Kind::Finding => {
                format!("{its}: {}; fit another one, or write down which one is on it", worst.say)
            }
            _ => format!("{its}: {}; fit another one", worst.say),
        };
        Some((say, worst.basis.clone()))
    }

    /// What notices say against a thing today.
    fn noticed<'a>(
        &'a self,
        asset: &'a Asset,
        thing: &'a Thing,
        today: NaiveDate,
    ) -> impl Iterator<Item = Raise> + 'a {
        let open = self.notices.values().filter(|n| n.dealt_with(asset, thing).is_none());
        open.filter_map(move |n| {
            let what = n.reaches(asset, thing)?;
            let what = if what.is_empty() { what } else { format!(" ({what})") };
            let Notice { number, title, source, by, .. } = &n.notice;
            let (kind, say) = match by {
                None => (Kind::StopUsing, format!("notice {number}, {title}{what}: do not use it")),
                Some(by) if *by < today => {
                    let by = day_words(*by);
                    (Kind::StopUsing, format!("notice {number}, {title}{what}: was to be inspected by {by}"))
                }
                Some(by) => {
                    let by = day_words(*by);
                    (Kind::InspectBy, format!("notice {number}, {title}{what}: inspect it by {by}"))
                }
            };
            Some(raise(asset, kind, &format!("notice/{number}/{asset}"), say, source))
        })
    }

    /// Everything that a notice reaches: what it is known by, and what was done where it was dealt with.
    pub fn reached(&self, number: &str) -> Vec<(Asset, String, Option<String>)> {
        let Some(noticed) = self.notices.get(number) else { return Vec::new() };
        let one = |(asset, thing): (&Asset, &Thing)| {
            let what = noticed.reaches(asset, thing)?;
            Some((asset.clone(), what, noticed.dealt_with(asset, thing).map(str::to_owned)))
        };
        self.things.iter().filter_map(one).collect()
    }

    fn own_grounds(&self, asset: &Asset, today: NaiveDate) -> Vec<Raise> {
        let Some(thing) = self.things.get(asset).filter(|t| !t.gone) else {
            return Vec::new();
        };
        let mut out = Vec::new();
        for work in Work::DUE {
            let key = format!("{}/{asset}", work.id());
            if let Some(on) = thing.failed.get(&work) {
                let say = format!("{} failed on {}", work.words(), day_words(*on));
                out.push(raise(asset, Kind::Lapsed, &key, say, ""));
                continue;
            }
            let Some(by) = self.due(asset, work).filter(|by| *by < today) else { continue };
            let by = day_words(by);
            out.push(match work {
                Work::Requalification => raise(
                    asset,
                    Kind::NotToBeFilled,
                    &key,
                    format!(
                        "requalification was due by {by}: it may be used until it is empty, and is not filled; at or below the recharge level, change it"
                    ),
                    "49 CFR 180.205(c), 180.207(a)(2)",
                ),
                Work::EndOfLife => {
                    raise(asset, Kind::PastLife, &key, format!("its life ended on {by}"), "49 CFR 180.207(a)(3)")
                }
                _ => {
                    let out = self.lapse(work, Self::only(thing, work)) == Lapse::OutOfService;
                    let kind = if out { Kind::Lapsed } else { Kind::Overdue };
                    raise(asset, kind, &key, format!("{} was due by {by}", work.words()), "")
                }
            });
        }
        out.extend(self.noticed(asset, thing, today));
        if let Some(bad) = &thing.bad_air {
            let name = self.sources.get(&bad.source).map_or(&bad.source, |s| &s.name);
            let say =
                format!("filled from {name}, whose sample of {} failed: {}", day_words(bad.on), bad.why);
            out.push(raise(
                asset,
                Kind::BadAir,
                &format!("bad_air/{asset}"),
                say,
                "29 CFR 1910.134(i)(1)(ii)",
            ));
        }
        out
    }
}

/// Where a unit was, or is, and what that asks for.
fn away_words(thing: &Thing) -> String {
    match &thing.loan {
        Some(Loan::Lent { to, due_back, .. }) => format!(
            "it is lent to {to} until {}: it counts nowhere, and is checked before it rides again",
            day_words(*due_back)
        ),
        Some(Loan::Borrowed { from, .. }) => format!("it is on loan from {from}: check it before it rides"),
        None => "it was at an outside repairer or on loan: check it before it rides".to_owned(),
    }
}

fn after(day: NaiveDate, months: u32) -> Option<NaiveDate> {
    day.checked_add_months(Months::new(months))
}

fn repeat(
    out: &mut Vec<Due>,
    on: &Of,
    work: Work,
    (first, months, whole): (NaiveDate, u32, bool),
    (today, until, ends): (NaiveDate, NaiveDate, Option<NaiveDate>),
) {
    let mut by = first;
    // A requalification that would fall after the end of its life never comes.
    while by <= until && ends.is_none_or(|e| by < e || by == first) {
        out.push(Due { by, work, on: on.clone() });
        let Some(next) = after(by.max(today), months.max(1)) else { return };
        by = if whole { Month::of(next).last_day() } else { next };
    }
}

fn raise(asset: &Asset, kind: Kind, key: &str, say: String, basis: &str) -> Raise {
    Raise {
        asset: asset.clone(),
        key: format!("now/{key}"),
        kind,
        from: RecordRef { id: uuid::Uuid::nil(), digest: Digest([0; 32]) },
        run: None,
        step: None,
        item: None,
        at: 0,
        by: None,
        say,
        entered: String::new(),
        limit: String::new(),
        basis: basis.to_owned(),
        on: None,
    }
}
