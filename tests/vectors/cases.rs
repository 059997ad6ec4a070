//! The cases that the vectors are made of: for each step, answers at, just inside and just outside
//! each of its limits, in every unit; every way in which an entry can be unreadable; and every
//! order of tries.

use std::collections::BTreeSet;
use std::fmt::Display;
use std::slice::from_ref;

use airmuster_domain::judge::{Answer, Raw, Values};
use airmuster_domain::quantity::{Amount, PressureUnit, Seconds};
use airmuster_domain::rules::{Ask, Band, Form, FormStep, Sequence};

/// The answers of one vector; every other step of the form is answered well where `rest` says so.
pub struct Case {
    pub rest: bool,
    pub answers: Vec<Answer>,
}

const UNITS: [PressureUnit; 4] = [PressureUnit::Psi, PressureUnit::Bar, PressureUnit::Kpa, PressureUnit::Mpa];

/// An answer from the pairs of its fields.
pub fn answer(step: &FormStep, attempt: u8, values: &[(&str, Raw)]) -> Answer {
    Answer {
        step: step.step.id.as_str().into(),
        attempt,
        item: None,
        values: values.iter().map(|(k, v)| ((*k).into(), v.clone())).collect::<Values>(),
        note: None,
    }
}

fn with(answer: Answer, item: &str) -> Answer {
    Answer { item: Some(item.to_owned()), ..answer }
}

fn text(s: impl Display) -> Raw {
    Raw::Text(format!("{s}").into())
}

/// Thousandths as a decimal with all three places, so that `4050.000` is read too.
fn decimal(thousandths: i64) -> String {
    format!("{}.{:03}", thousandths / 1000, thousandths % 1000)
}

fn in_unit(thousandths: i64, unit: PressureUnit) -> Raw {
    text(format!("{} {}", decimal(thousandths.max(0)), unit.symbol()))
}

fn ms(millis: i64) -> Raw {
    text(format!("{} s", decimal(millis.max(0))))
}

/// A good answer to this step.
pub fn good(form: &Form, step: &FormStep) -> Answer {
    let rated = text(form.profile.rated);
    let yes = text("yes");
    match &step.ask {
        Ask::Identity | Ask::Confirm => answer(step, 1, &[("good", yes)]),
        Ask::Reading { above, at_least, at_most } => {
            let walls = [*above, *at_least, *at_most].map(|l| l.map(|l| l.amount(form.profile.rated)));
            let at = walls[2]
                .map_or(rated, |most| in_unit(most.thousandths_of(PressureUnit::Kpa) - 1, PressureUnit::Kpa));
            answer(step, 1, &[("at", at)])
        }
        Ask::Pair { .. } => answer(step, 1, &[("cylinder", rated.clone()), ("remote", rated)]),
        Ask::Drop { within, .. } => {
            answer(step, 1, &[("start", rated.clone()), ("end", rated), ("seconds", text(within))])
        }
        Ask::Hold { at_least } => answer(step, 1, &[("held", text(at_least))]),
        Ask::Stages { want, .. } => {
            answer(step, 1, &[("good", yes), ("count", Raw::Whole(i64::from(want.count)))])
        }
        Ask::Trip(band) => answer(step, 1, &[("at", just_above(form, band))]),
    }
}

/// The first thousandth inside the band of the alarm.
fn just_above(form: &Form, band: &Band) -> Raw {
    let unit = form.profile.rated.unit();
    in_unit(band.at_least.amount(form.profile.rated).thousandths_of(unit) + 1, unit)
}

/// Just below, at and just above a pressure, in each of these units.
fn around(wall: Amount, units: &[PressureUnit]) -> impl Iterator<Item = Raw> {
    units.iter().flat_map(move |&u| (-1..=1).map(move |d| in_unit(wall.thousandths_of(u) + d, u)))
}

fn around_time(t: Seconds) -> impl Iterator<Item = Raw> {
    (-1..=1).map(move |d| ms(t.millis() + d))
}

/// Answers at the limits of a step.
fn boundaries(form: &Form, s: &FormStep, units: &[PressureUnit]) -> Vec<Answer> {
    let rated = form.profile.rated;
    let one = |field: &'static str| move |v: Raw| answer(s, 1, &[(field, v)]);
    match &s.ask {
        Ask::Identity | Ask::Confirm => Vec::new(),
        Ask::Reading { above, at_least, at_most } => [above, at_least, at_most]
            .into_iter()
            .flatten()
            .flat_map(|l| around(l.amount(rated), units))
            .chain(around(form.absurd_above(), units))
            .map(one("at"))
            .collect(),
        Ask::Pair { largest, governs } => {
            let wall = largest[*governs].amount(rated);
            let mut out = Vec::new();
            for &unit in units {
                let full = rated.amount().thousandths_of(unit);
                for d in -1..=1 {
                    let other = full - wall.thousandths_of(unit) + d;
                    let (a, b) = (in_unit(full, unit), in_unit(other, unit));
                    out.push(answer(s, 1, &[("cylinder", a.clone()), ("remote", b.clone())]));
                    out.push(answer(s, 1, &[("cylinder", b), ("remote", a)]));
                }
            }
            let mixed = |a: Raw, b: Raw| answer(s, 1, &[("cylinder", a), ("remote", b)]);
            let far = rated.amount().less(wall);
            for d in -2..=2 {
                out.push(mixed(
                    text(rated),
                    in_unit(far.thousandths_of(PressureUnit::Bar) + d, PressureUnit::Bar),
                ));
                out.push(mixed(
                    in_unit(far.thousandths_of(PressureUnit::Psi) + d, PressureUnit::Psi),
                    text(rated),
                ));
            }
            out
        }
        Ask::Drop { largest, within } => {
            let fall = |a: Raw, b: Raw, s_: Raw| answer(s, 1, &[("start", a), ("end", b), ("seconds", s_)]);
            let wall = largest.amount(rated);
            let mut out: Vec<_> = around(rated.amount().less(wall), units)
                .map(|end| fall(text(rated), end, text(within)))
                .chain(around_time(*within).map(|t| fall(text(rated), text(rated), t)))
                .collect();
            out.extend(around(wall, units).map(|end| fall(text("0 psi"), end, text(within))));
            out.push(fall(text(rated), text("0 bar"), text("0.5 s")));
            out
        }
        Ask::Hold { at_least } => around_time(*at_least).chain([ms(0)]).map(one("held")).collect(),
        Ask::Stages { want, .. } => sequence(s, want),
        Ask::Trip(band) => {
            let low = band.at_least.amount(rated);
            [Some(low), band.remark_above.map(|l| l.amount(rated)), Some(band.out_above.amount(rated))]
                .into_iter()
                .flatten()
                .chain([low.less(band.repeat_within.amount()), Amount::ZERO])
                .flat_map(|wall| around(wall, units))
                .map(one("at"))
                .collect()
        }
    }
}

fn sequence(s: &FormStep, want: &Sequence) -> Vec<Answer> {
    let mut out = Vec::new();
    let yes = ("good", text("yes"));
    let no = ("good", text("no"));
    for n in [want.count - 1, want.count, want.count + 1] {
        let count = ("count", Raw::Whole(n.into()));
        out.push(answer(s, 1, &[yes.clone(), count.clone()]));
        out.push(answer(s, 1, &[no.clone(), count]));
    }
    let times = [("first", want.first_from), ("first", want.first_by), ("full", want.full_by)];
    for (field, at) in times {
        let times = at.into_iter().flat_map(around_time);
        out.extend(times.map(|t| answer(s, 1, &[yes.clone(), (field, t)])));
    }
    for (first, full) in [("10 s", "10 s"), ("10 s", "9.999 s"), ("0.5 s", "0.501 s"), ("20 s", "32 s")] {
        let both = [("first", text(first)), ("full", text(full))];
        out.push(answer(s, 1, &[&both[..], from_ref(&yes)].concat()));
        out.push(answer(s, 1, &[&both[..], &[no.clone(), ("count", text(9))]].concat()));
    }
    // Without a word, a part that is outside its limit decides; otherwise all parts are needed.
    let early = |t: Option<Seconds>| ms(t.map_or(1000, Seconds::millis));
    let inside =
        [("count", text(want.count)), ("first", early(want.first_by)), ("full", early(want.full_by))];
    let outside = [("count", text(want.count + 1)), ("first", text("500 s")), ("full", text("600 s"))];
    for some in 0..8_u8 {
        for field in 0..3 {
            let of = |i: usize| if i == field { outside[i].clone() } else { inside[i].clone() };
            let chosen: Vec<_> = (0..3).filter(|i| some >> i & 1 == 1).collect();
            out.push(answer(s, 1, &chosen.iter().map(|&i| inside[i].clone()).collect::<Vec<_>>()));
            out.push(answer(s, 1, &chosen.iter().map(|&i| of(i)).collect::<Vec<_>>()));
        }
    }
    out
}

/// Ways to write something that is not a pressure, and some that look wrong but can be read.
const PRESSURES: [&str; 30] = [
    "",
    "  ",
    "abc",
    "-5 psi",
    "- 5 psi",
    "-",
    "+5 psi",
    "4000",
    "4,000 psi",
    "4000psi",
    " 4000   PSI ",
    "4000. psi",
    ".5 psi",
    "1.2.3 psi",
    "4000.1234 psi",
    "12345678 psi",
    "1000000 psi",
    "999999.999 kPa",
    "999999 psi",
    "4000 lb",
    "4000 psi psi",
    "–5 psi",
    "٤٠٠ psi",
    "100\u{a0}bar",
    "\u{85}100\u{2003}Bar\u{3000}",
    "1e3 psi",
    "psi",
    "007 MPa",
    "0 psi",
    "100 Kpa\n",
];
const TIMES: [&str; 14] = [
    "",
    "10",
    "10 s",
    "10s",
    "10 min",
    "600 s",
    "600.001 s",
    "1000000 s",
    "-1 s",
    "ten s",
    "10,5 s",
    "10 S",
    "0 s",
    "1.0005 s",
];
const COUNTS: [&str; 13] =
    ["", "3", " 3 ", "+3", "-1", "-0", "20", "21", "300", "3.0", "three", "007", "3 s"];

/// Everything that cannot be read, and its neighbours that can.
fn unreadable(s: &FormStep) -> Vec<Answer> {
    let one = |field: &'static str| move |t: &&str| answer(s, 1, &[(field, text(t))]);
    let mut out: Vec<Answer> = match &s.ask {
        Ask::Identity | Ask::Confirm => Vec::new(),
        Ask::Reading { .. } | Ask::Trip(_) => PRESSURES.iter().map(one("at")).collect(),
        Ask::Pair { .. } => {
            let b = text("100 bar");
            let pair = |a: &str| answer(s, 1, &[("cylinder", text(a)), ("remote", text("11 psi"))]);
            let mut out: Vec<_> = PRESSURES[..12].iter().map(|t| pair(t)).collect();
            out.push(answer(s, 1, &[("cylinder", b.clone())]));
            out.push(answer(s, 1, &[("remote", b.clone())]));
            out.push(answer(s, 1, &[("remote", b.clone()), ("good", text("no"))]));
            out.push(answer(s, 1, &[("remote", b.clone()), ("cylinder", b), ("good", text("no"))]));
            out.push(answer(s, 1, &[("remote", text("x")), ("cylinder", text("y")), ("good", text("z"))]));
            out
        }
        Ask::Drop { .. } => {
            let all = [("start", text("100 bar")), ("end", text("99 bar")), ("seconds", text("60 s"))];
            let mut out = Vec::new();
            for left_out in 0..8 {
                let some: Vec<_> = all
                    .iter()
                    .enumerate()
                    .filter(|(i, _)| left_out >> i & 1 == 0)
                    .map(|(_, f)| f.clone())
                    .collect();
                out.push(answer(s, 1, &some));
                for tap in ["yes", "no"] {
                    out.push(answer(s, 1, &[&some[..], &[("good", text(tap))]].concat()));
                }
            }
            out.extend(
                TIMES.iter().map(|t| answer(s, 1, &[all[0].clone(), all[1].clone(), ("seconds", text(t))])),
            );
            out
        }
        Ask::Hold { .. } => TIMES.iter().map(one("held")).collect(),
        Ask::Stages { .. } => COUNTS
            .iter()
            .map(one("count"))
            .chain(TIMES.iter().map(one("first")))
            .chain(TIMES[..6].iter().map(one("full")))
            .collect(),
    };
    let odd = [
        Raw::Flag(true),
        Raw::Flag(false),
        Raw::Whole(1),
        Raw::Decimal(1.5),
        text("yes"),
        text("no"),
        text("YES"),
        text(""),
        text("true"),
    ];
    out.extend(odd.iter().map(|v| answer(s, 1, &[("good", v.clone())])));
    for field in ["at", "held", "seconds", "first", "count", "colour"] {
        out.push(answer(s, 1, &[("good", text("no")), (field, Raw::Whole(4000))]));
        out.push(answer(
            s,
            1,
            &[(field, Raw::Decimal(0.25)), ("zone", Raw::Flag(true)), ("area", text("x"))],
        ));
    }
    out.extend([0, 9, 10, 255].map(|n| answer(s, n, &[("good", text("no"))])));
    out.push(answer(s, 1, &[]));
    out
}

/// A bad answer to this step, where there is one.
fn bad(form: &Form, s: &FormStep) -> Answer {
    match &s.ask {
        Ask::Trip(_) => answer(s, 1, &[("at", text("0 psi"))]),
        Ask::Reading { above, at_least, .. } if above.or(*at_least).is_some() => {
            answer(s, 1, &[("at", text("1 bar"))])
        }
        Ask::Pair { .. } => {
            answer(s, 1, &[("cylinder", text(form.profile.rated)), ("remote", text("0 bar"))])
        }
        Ask::Hold { .. } => answer(s, 1, &[("held", text("1 s"))]),
        _ => answer(s, 1, &[("good", text("no"))]),
    }
}

fn again(a: &Answer, attempt: u8) -> Answer {
    Answer { attempt, ..a.clone() }
}

/// Second and third tries, with and without another item.
fn tries(form: &Form, s: &FormStep) -> Vec<Vec<Answer>> {
    let (yes, no) = (good(form, s), bad(form, s));
    let mut out = vec![
        vec![no.clone()],
        vec![no.clone(), again(&yes, 2)],
        vec![no.clone(), again(&no, 2)],
        vec![again(&yes, 2), no.clone()],
        vec![no.clone(), again(&no, 2), again(&yes, 3)],
        vec![yes.clone(), again(&no, 2)],
        vec![again(&yes, 2)],
        vec![no.clone(), again(&yes, 1)],
        vec![Answer { note: Some("a note".to_owned()), ..no.clone() }],
    ];
    for items in [["F-1", "F-2"], ["F-1", "F-1"]] {
        let (first, then) = (with(no.clone(), items[0]), |a: &Answer| with(again(a, 2), items[1]));
        out.push(vec![first.clone(), then(&yes)]);
        out.push(vec![first.clone(), then(&no)]);
        out.push(vec![first.clone(), then(&no), with(again(&yes, 3), "F-3")]);
        out.push(vec![first.clone(), again(&yes, 2)]);
        out.push(vec![no.clone(), then(&yes)]);
    }
    if let Ask::Trip(band) = &s.ask {
        let unit = form.profile.rated.unit();
        let low = band.at_least.amount(form.profile.rated).thousandths_of(unit);
        let near = |n: u8| answer(s, n, &[("at", in_unit(low - 1, unit))]);
        let never = |n: u8| answer(s, n, &[("good", text("no"))]);
        out.push(vec![near(1), again(&yes, 2)]);
        out.push(vec![near(1), near(2)]);
        out.push(vec![near(1), again(&no, 2)]);
        out.push(vec![near(1), near(2), again(&yes, 3)]);
        out.push(vec![no.clone(), near(2), again(&yes, 3)]);
        out.push(vec![near(1), never(2)]);
        out.push(vec![near(2)]);
        out.push(vec![with(near(1), "F-1"), with(again(&yes, 2), "F-2")]);
    }
    out
}

/// Steps that differ in this, once each.
fn one_of_each<K: Ord>(form: &Form, key: impl Fn(&FormStep) -> K) -> Vec<&FormStep> {
    let mut seen = BTreeSet::new();
    form.steps.iter().filter(|s| seen.insert(key(s))).collect()
}

/// How much is asked about a form; each adds to the one before.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Depth {
    /// Its limits, in its own unit.
    Limits,
    /// The orders of tries, and every unit.
    Tries,
    /// What cannot be read.
    Everything,
}

/// All cases for a form.
pub fn cases(form: &Form, depth: Depth, random: &mut Random) -> Vec<Case> {
    let with_rest = |answers| Case { rest: true, answers };
    let one = |a| with_rest(vec![a]);
    let units = if depth > Depth::Limits { &UNITS[..] } else { &[form.profile.rated.unit()] };
    let mut out = vec![with_rest(Vec::new()), Case { rest: false, answers: Vec::new() }];
    for s in &form.steps {
        out.extend(boundaries(form, s, units).into_iter().map(one));
    }
    for s in one_of_each(form, |s| (s.ask.id(), s.step.consequence)) {
        out.push(one(answer(s, 1, &[("good", text("no"))])));
    }
    if depth > Depth::Limits {
        let is_trip = |s: &FormStep| matches!(s.ask, Ask::Trip(_));
        let key = |s: &FormStep| (s.step.consequence, s.step.tries, s.may_try_another(), is_trip(s));
        for s in one_of_each(form, key) {
            out.extend(tries(form, s).into_iter().map(with_rest));
        }
    }
    if depth == Depth::Everything {
        for s in one_of_each(form, |s| s.ask.id()) {
            out.extend(unreadable(s).into_iter().map(one));
        }
    }
    let strangers = ["no-such-step", ""].into_iter().map(str::to_owned);
    for step in strangers.chain(form.not_asked.iter().take(2).cloned()) {
        out.push(one(Answer { step: step.into(), ..answer(&form.steps[0], 1, &[("good", text("yes"))]) }));
    }
    out.extend((0..2).map(|_| mixture(form, random)));
    // The same answers come up where two limits are one.
    let mut seen = BTreeSet::new();
    out.retain(|c| seen.insert(format!("{} {:?}", c.rest, c.answers)));
    out
}

/// A part of the form answered at random, good and bad, readable or not, in any order.
fn mixture(form: &Form, random: &mut Random) -> Case {
    let mut answers = Vec::new();
    for s in &form.steps {
        let pick: Vec<Vec<Answer>> = match random.below(6) {
            0 => continue,
            1 => tries(form, s),
            2 if random.below(4) == 0 => unreadable(s).into_iter().map(|a| vec![a]).collect(),
            3 => boundaries(form, s, &UNITS[..1]).into_iter().map(|a| vec![a]).collect(),
            _ => vec![vec![good(form, s)]],
        };
        if !pick.is_empty() {
            let i = random.below(pick.len());
            answers.extend(pick[i].clone());
        }
    }
    for i in (1..answers.len()).rev() {
        answers.swap(i, random.below(i + 1));
    }
    Case { rest: false, answers }
}

/// A small generator of numbers that are the same on every run (xorshift, 64 bits).
pub struct Random(pub u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % (n as u64)).expect("it is below a usize")
    }
}
