//! Day by day: who checks what and when, what the district is called out to, and what the story
//! has in store for the day.

use std::collections::BTreeMap;

use airmuster_domain::Millis;
use airmuster_domain::record::{Condition, Crew, Occasion, Outcome, Place, Used};
use airmuster_domain::rules::Purpose;
use airmuster_domain::shift::ShiftClock;
use chrono::Datelike as _;
use rand::Rng as _;

use super::acts::{self, Act};
use super::district::{self, RIGS, STATIONS, seat_id, station_of};
use super::keeper::{DAY, How, Keeper, MINUTE};
use super::pen::{Batch, SEED};
use super::people::{Person, on_duty};
use super::story;
use super::upkeep::Kept;

/// How many days the demo's history is long: eighteen months.
pub const DAYS: i64 = 548;

/// The story's last day is a shift that began at least this long ago, so that all of it has happened.
const SETTLED: Millis = 180 * MINUTE;

/// How many days count as recent: in them every record arrives when it was written.
const RECENT: i64 = 60;

/// For so many days a roster has been kept.
const ROSTERED: i64 = 40;

/// What follows from something, like moving a cylinder after a check, does so within this time.
const FOLLOWS: Millis = 25 * MINUTE;

/// What is going to happen.
enum Coming {
    /// The check that is due.
    Check { unit: &'static str, by: &'static str, purpose: Purpose },
    /// Back from a call.
    Used { unit: &'static str, by: &'static str, what: String, training: bool, condition: Condition },
    /// Washed.
    Cleaned { unit: &'static str },
    /// The crew is put on the engine.
    Crew { station: usize, shift: Millis },
    /// Something that the story tells.
    Told(&'static Act),
    /// Upkeep.
    Kept(Kept),
}

/// Everything that happened, in the order in which it did.
pub struct History {
    keeper: Keeper,
    coming: BTreeMap<(Millis, u32), Coming>,
    entered: u32,
    now: Millis,
    last_day: Millis,
    /// Days until the story's last one; below zero for a shift that has begun since.
    ago: i64,
    calls: u32,
}

impl History {
    /// The history of so many days until `now`.
    ///
    /// # Errors
    /// When the department's own settings cannot be read.
    pub fn new(now: Millis, days: i64) -> Result<Self, String> {
        Self::seeded(now, days, SEED)
    }

    /// Another history of the same district: what happens by chance happens otherwise.
    ///
    /// # Errors
    /// See [`History::new`].
    pub fn seeded(now: Millis, days: i64, seed: u64) -> Result<Self, String> {
        let clock =
            ShiftClock::read(district::ZONE, district::SHIFT_START, 24, district::MARGIN, district::MARGIN)?;
        let last_day = clock.current_start(now - SETTLED);
        let begin = last_day - days * DAY - 2 * DAY;
        let mut keeper = Keeper::new(clock, begin, last_day, seed);
        district::enter(&mut keeper.pen, begin);
        super::upkeep::enter(&mut keeper, begin, last_day);
        let turn = (0..3).map(|n| begin + n * DAY).find(|t| day_number(&keeper, *t).rem_euclid(3) == 0);
        let first = keeper.clock.current_start(turn.unwrap_or(begin) + 12 * 60 * MINUTE);
        district::enter_turns(&mut keeper.pen, begin, first);
        district::enter_reserve(&mut keeper.pen, begin);
        keeper.pen.cut();
        keeper.pen.older_until = last_day - RECENT * DAY;
        let mut this =
            Self { keeper, coming: BTreeMap::new(), entered: 0, now, last_day, ago: days, calls: 140 };
        for case in story::cases().filter(|c| c.iter().all(|e| e.ago < days)) {
            for e in case {
                this.comes(this.day(e.ago) + e.minute * MINUTE, Coming::Told(&e.act));
            }
        }
        Ok(this)
    }

    /// When the shift so many days before the last one began, by the clocks of that day.
    fn day(&self, ago: i64) -> Millis {
        self.keeper.clock.current_start(self.last_day - ago * DAY + 120 * MINUTE)
    }

    fn comes(&mut self, at: Millis, what: Coming) {
        self.entered += 1;
        self.coming.insert((at, self.entered), what);
    }

    /// The checks of a day, and now and then a call.
    fn plan(&mut self, start: Millis) {
        for kept in super::upkeep::on(&self.keeper, self.ago) {
            self.comes(start + 190 * MINUTE, Coming::Kept(kept));
        }
        let told: Vec<&str> = self
            .coming
            .range((start, 0)..(start + DAY, 0))
            .filter_map(|(_, c)| match c {
                Coming::Told(act) => acts::in_place_of_a_check(act),
                _ => None,
            })
            .collect();
        for (i, station) in STATIONS.iter().enumerate() {
            let crew = on_duty(i, day_number(&self.keeper, start));
            if self.ago < ROSTERED {
                self.comes(
                    start + (4 + i64::try_from(i).unwrap_or(0)) * MINUTE,
                    Coming::Crew { station: i, shift: start },
                );
            }
            let seats = self.in_seats(i, false);
            let offset: [i64; 3] = std::array::from_fn(|_| self.keeper.pen.rng.random_range(-14..6));
            for (n, unit) in seats.iter().copied().enumerate().filter(|(_, u)| !told.contains(u)) {
                let (who, turn) = (n % 3, i64::try_from(n / 3).unwrap_or(0) + 1);
                let at = start + (offset[who] + turn * 12) * MINUTE + self.within(3);
                let by = crew[who].id;
                self.comes(at, Coming::Check { unit, by, purpose: Purpose::ShiftStart });
            }
            if (self.ago + [3, 2, 5][i]) % 7 == 0 {
                let spares = self
                    .keeper
                    .units
                    .iter()
                    .filter(|(_, u)| matches!(&u.place, Place::Spare { station: s } if s == station.id));
                let mut weekly: Vec<&'static str> = spares.map(|(n, _)| *n).collect();
                weekly.extend(self.in_seats(i, true));
                weekly.retain(|u| !told.contains(u));
                for (turn, unit) in (1..).zip(weekly) {
                    let at = start + (145 + turn * 16) * MINUTE + self.within(4);
                    let by = crew[usize::try_from(turn).unwrap_or(0) % 3].id;
                    self.comes(at, Coming::Check { unit, by, purpose: Purpose::Periodic });
                }
            }
        }
        if self.ago > 6 && self.keeper.pen.rng.random_ratio(1, 8) {
            self.plan_call(start);
        }
    }

    fn within(&mut self, minutes: i64) -> Millis {
        self.keeper.pen.rng.random_range(0..minutes * MINUTE)
    }

    /// The units in a station's seats, or in its packs, in the order of the rigs.
    fn in_seats(&self, station: usize, packs: bool) -> Vec<&'static str> {
        let mut out = Vec::new();
        for rig in RIGS.iter().filter(|r| r.station == station) {
            let mut ids: Vec<String> = rig.seats.iter().map(|(s, ..)| seat_id(rig.id, s)).collect();
            if packs {
                ids = vec![seat_id(rig.id, "pack")];
            }
            for id in ids {
                let here = |p: &Place| matches!(p, Place::Seat { seat } if *seat == id);
                out.extend(self.keeper.units.iter().find(|(_, u)| here(&u.place)).map(|(n, _)| *n));
            }
        }
        out
    }

    /// A call: some units of a rig are used, washed and checked before the night is over.
    fn plan_call(&mut self, start: Millis) {
        let rng = &mut self.keeper.pen.rng;
        let rig = &RIGS[rng.random_range(0..RIGS.len())];
        let (what, training) = story::call(rng);
        let units = rng.random_range(2..=rig.seats.len().min(3));
        let at = start + rng.random_range(200..1_250) * MINUTE;
        let soiled = !training || rng.random_ratio(1, 4);
        self.calls += rng.random_range(3..12);
        let year = self.keeper.clock.local(at).year() % 100;
        let what = if training { what } else { format!("call {year}-{:04}, {what}", self.calls) };
        let crew = on_duty(rig.station, day_number(&self.keeper, start));
        for (turn, (_, _, unit)) in (0..).zip(rig.seats.iter().take(units)) {
            let condition = if soiled { Condition::Soiled } else { Condition::Clean };
            let back = at + turn * 2 * MINUTE;
            let by = crew[usize::try_from(turn).unwrap_or(0)].id;
            self.comes(back, Coming::Used { unit, by, what: what.clone(), training, condition });
            if soiled {
                self.comes(back + 38 * MINUTE, Coming::Cleaned { unit });
            }
            let checked = back + 52 * MINUTE + self.within(6);
            self.comes(checked, Coming::Check { unit, by, purpose: Purpose::AfterUse });
        }
    }

    fn happens(&mut self, at: Millis, what: Coming) {
        let ago = self.ago;
        let k = &mut self.keeper;
        match what {
            Coming::Check { unit, by, purpose } if k.may_be_checked(unit) => {
                self.check(at, unit, by, purpose);
            }
            Coming::Check { .. } => {}
            Coming::Used { unit, by: wearer, what, training, condition } => {
                if k.may_be_checked(unit) {
                    let by = officer(k, unit, at);
                    let occasion = match (training, what.contains("burn")) {
                        (false, _) => Occasion::Incident,
                        (true, true) => Occasion::Burn,
                        (true, false) => Occasion::Training,
                    };
                    let cylinders = k.units.get(unit).map(|u| u.cylinder.clone()).into_iter().collect();
                    let (unit, wearer) = (unit.to_owned(), Some(wearer.to_owned()));
                    let occasion = Some(occasion);
                    let (while_out, after_use) = (false, true);
                    let used =
                        Used { unit, what, condition, occasion, wearer, cylinders, while_out, after_use };
                    acts::used(k, at, by, &used);
                }
            }
            Coming::Cleaned { unit } => {
                let by = officer(k, unit, at);
                acts::cleaned(k, at, by, unit, "Washed, rinsed and hung to dry at the station.");
            }
            Coming::Crew { station, shift } => {
                let crew = on_duty(station, day_number(k, shift));
                let rig = district::ENGINES[station].to_owned();
                let seats = district::RIDDEN.iter().zip(crew);
                let seats = seats.map(|(s, p)| (seat_id(&rig, s), p.id.to_owned())).collect();
                k.pen.desk_apart("crew", at, crew[0].id, &Crew { rig, shift, seats });
            }
            Coming::Told(act) => acts::tell(k, at, ago, act),
            Coming::Kept(kept) => super::upkeep::happens(k, at, &kept),
        }
    }

    fn check(&mut self, at: Millis, unit: &'static str, by: &'static str, purpose: Purpose) {
        let k = &mut self.keeper;
        if purpose == Purpose::AfterUse {
            let by = officer(k, unit, at);
            k.change_cylinder(at - 11 * MINUTE, by, unit, None);
        }
        if purpose == Purpose::ShiftStart && self.ago > 3 && k.pen.rng.random_ratio(1, 1_000) {
            // The bell rings; somebody goes on with it later.
            let last =
                ["facepiece-vacuum", "gauge-agreement", "motion-alarm-stages"][k.pen.rng.random_range(0..3)];
            let how = How { end: Some((Outcome::Stopped, last)), ..How::default() };
            k.check(at, unit, Some(by), purpose, &how);
            let later = at + k.pen.rng.random_range(50..130) * MINUTE;
            self.comes(later, Coming::Check { unit, by: officer(&self.keeper, unit, at), purpose });
            return;
        }
        let mut how = How::default();
        if k.pen.rng.random_ratio(1, 70) {
            how.said.push(story::remark(&mut k.pen.rng));
        }
        k.check(at, unit, Some(by), purpose, &how);
    }
}

impl Iterator for History {
    type Item = Vec<Batch>;

    /// What arrived within the next day.
    fn next(&mut self) -> Option<Vec<Batch>> {
        let start = self.day(self.ago);
        let early = i64::from(district::MARGIN) * MINUTE;
        if start - early > self.now {
            self.keeper.pen.cut();
            return Some(self.keeper.pen.take()).filter(|last| !last.is_empty());
        }
        self.plan(start);
        let end = self.day(self.ago - 1) - early;
        // Nothing is handed in before it has happened, nor what follows from it.
        while let Some(first) = self.coming.first_entry().filter(|e| e.key().0 < end.min(self.now - FOLLOWS))
        {
            let ((at, _), what) = first.remove_entry();
            self.happens(at, what);
        }
        self.ago -= 1;
        Some(self.keeper.pen.take())
    }
}

/// Days, counted from any.
fn day_number(keeper: &Keeper, at: Millis) -> i64 {
    i64::from(keeper.clock.local(at).num_days_from_ce())
}

/// The crew on duty where a unit belongs.
pub fn crew(keeper: &Keeper, unit: &str, at: Millis) -> &'static [Person; 3] {
    // A check shortly before the shift's start is that shift's.
    on_duty(station_of(unit), day_number(keeper, at - 390 * MINUTE))
}

/// The officer on duty where a unit belongs.
pub fn officer(keeper: &Keeper, unit: &str, at: Millis) -> &'static str {
    crew(keeper, unit, at)[0].id
}
