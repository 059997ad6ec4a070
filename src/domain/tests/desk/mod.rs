//! The desk's rules, each on both sides of its border: with everything that it asks for a record is
//! taken; with one thing changed, and nothing else, it is refused in the words that say what to do.
//! Who may do what and what a hold or a retirement forbids stand in `who.rs`, record by record.
#![allow(clippy::unwrap_used, reason = "a test that cannot begin says so")]

mod loans;
mod logbook;
mod parts;
mod places;
mod register;
mod returns;
mod tickets;
mod upkept;
mod who;

use std::collections::{BTreeMap, BTreeSet};

use airmuster_domain::Millis;
use airmuster_domain::desk::{Facts, Signer, may};
use airmuster_domain::ground::{Done, Kind, Raise};
use airmuster_domain::record::{
    Asset, AssetKind, Cadence, Component, Desk, Digest, Fitting, Loan, Marks, Month, Notice, Reach,
    RecordRef, Register, Slot, Spec, Upkept, Work,
};
use airmuster_domain::role::Role;
use airmuster_domain::rules::Purpose;
use airmuster_domain::upkeep::Upkeep;
use chrono::NaiveDate;
use uuid::Uuid;

const TODAY: &str = "2026-01-05";
const DAY: Millis = 86_400_000;

fn s(text: &str) -> String {
    text.to_owned()
}

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn month(text: &str) -> Month {
    text.parse().unwrap()
}

fn name() -> RecordRef {
    RecordRef { id: Uuid::from_u128(6), digest: Digest([6; 32]) }
}

/// Something that speaks against unit 1.
fn raise(kind: Kind) -> Raise {
    Raise {
        asset: Asset::unit("1"),
        key: format!("{}/1", kind.id()),
        kind,
        from: name(),
        run: None,
        step: None,
        item: None,
        at: 0,
        by: None,
        say: s("it failed"),
        entered: String::new(),
        limit: String::new(),
        basis: String::new(),
        on: None,
    }
}

/// A complete good check of unit 1.
fn done(purpose: Purpose) -> Done {
    Done {
        name: name(),
        unit: Asset::unit("1"),
        with: BTreeSet::new(),
        at: 0,
        by: Some(s("tom")),
        purpose,
        profile: s("a"),
        clean: true,
        good: Vec::new(),
        proved: Vec::new(),
        items: BTreeMap::new(),
        seen: BTreeSet::new(),
    }
}

/// One with every role, qualified for the family `f`: who asks cannot be what is wrong.
fn anyone() -> Signer {
    Signer { id: s("tom"), roles: Role::ALL.into(), qualified: [s("f")].into() }
}

/// The state in which nothing is wrong.
fn facts() -> Facts {
    Facts {
        by: Some(anyone()),
        family: Some(s("f")),
        variants: [name().digest].into(),
        today: day(TODAY),
        upkeep: known(),
        slots: Some(vec![Slot::Reducer]),
        ..Facts::default()
    }
}

fn unit(number: &str) -> Register {
    let (number, profile) = (s(number), s("a"));
    Register::Unit { number, profile, cadence: Cadence::EachShift, in_use: true, serials: BTreeMap::new() }
}

fn marks(spec: Spec, made: &str) -> Marks {
    let (made, serial) = (month(made), String::new());
    Marks { volume_ml: 6_800, spec, made, requalified: None, life_until: None, serial }
}

fn part(serial: &str) -> Component {
    let [name, serial, edition] = ["Brindle part", serial, "2018"].map(s);
    Component { name, serial, edition, made: None, warranty: None }
}

/// The label of a part that is on unit 1.
fn entered(slot: Slot, serial: &str) -> Fitting {
    let (unit, why) = (s("1"), String::new());
    Fitting { unit, slot, out: None, part: Some(part(serial)), was_there: true, why }
}

fn upkept(asset: Asset, work: Work) -> Upkept {
    let (reference, note) = (s("sheet 1"), String::new());
    Upkept { asset, work, on: day(TODAY), passed: true, reference, until: None, note }
}

/// A notice about the reducers of units, which are not used until it is dealt with.
fn notice(number: &str) -> Notice {
    let [number, title, source, what] =
        [number, "Reducers that freeze", "letter 7", "exchange the spring"].map(s);
    let reach = Reach {
        kind: AssetKind::Unit,
        only: s("a"),
        slot: Some(Slot::Reducer),
        name: String::new(),
        from: String::new(),
        to: String::new(),
        made_from: None,
        made_to: None,
    };
    Notice { number, title, source, what, by: None, reach }
}

fn lent(unit: &str) -> Loan {
    let [unit, to, reference] = [unit, "Harrow Creek", "sheet 4"].map(s);
    Loan::Lent { unit, to, reference, due_back: day("2026-02-01") }
}

fn borrowed(unit: &str) -> Loan {
    let [unit, profile, from, theirs, reference, station] =
        [unit, "a", "Harrow Creek", "HC-9", "sheet 5", "mill"].map(s);
    Loan::Borrowed { unit, profile, from, theirs, reference, due_back: day("2026-02-01"), station }
}

fn hear(upkeep: &mut Upkeep, desk: &Desk) {
    upkeep.hear(desk, 0);
}

/// Unit 1 with its reducer RD-1 and its flow test, unit 2 bare, facepiece 1, carbon cylinder 1, a
/// source of air, what an approval names, notice n-1 (of reducers, on unit 1), and a borrowed unit.
fn known() -> Upkeep {
    let mut upkeep = Upkeep::default();
    let approval = |slot| Register::Approval { profile: s("a"), slot, names: vec![s("Brindle part")] };
    let [id, name, station] = ["air", "Compressor", "mill"].map(s);
    for entry in [
        unit("1"),
        unit("2"),
        approval(Slot::Reducer),
        approval(Slot::Regulator),
        Register::Facepiece { number: s("1"), size: s("M") },
        Register::Cylinder { number: s("1"), rated: "4500 psi".parse().unwrap() },
        Register::CylinderMarks { number: s("1"), marks: marks(Spec::PermitCarbon, "2024-01") },
        Register::Source { id, name, station },
    ] {
        hear(&mut upkeep, &Desk::Register(entry));
    }
    hear(&mut upkeep, &Desk::Fitting(entered(Slot::Reducer, "RD-1")));
    hear(&mut upkeep, &Desk::Upkeep(upkept(Asset::unit("1"), Work::FlowTest)));
    hear(&mut upkeep, &Desk::Notice(notice("n-1")));
    hear(&mut upkeep, &Desk::Loan(borrowed("L-9")));
    upkeep
}

/// One thing changed in a record or in the state.
type Change<B> = fn(&mut B, &mut Facts);

/// A record that is taken as it is.
struct Whole<B> {
    body: B,
    facts: Facts,
    desk: fn(B) -> Desk,
}

impl<B: Clone> Whole<B> {
    fn of(body: B, facts: Facts, desk: fn(B) -> Desk) -> Self {
        let whole = Self { body, facts, desk };
        assert_eq!(may(&desk(whole.body.clone()), &whole.facts), Ok(()), "as it is");
        whole
    }

    fn with(&self, change: Change<B>) -> (Desk, Facts) {
        let (mut body, mut facts) = (self.body.clone(), self.facts.clone());
        change(&mut body, &mut facts);
        ((self.desk)(body), facts)
    }

    /// Each of these changes alone is refused in these words, because of the state.
    fn refused(&self, changes: &[(&str, &str, Change<B>)]) -> &Self {
        for (what, words, change) in changes {
            let (desk, facts) = self.with(*change);
            let refusal = may(&desk, &facts).expect_err(what);
            assert!(refusal.say.contains(words), "{what}: {}", refusal.say);
            assert!(!refusal.forbidden, "{what}: it is the state that is against it");
        }
        self
    }

    /// Each of these changes alone is refused in these words, because of who asks.
    fn forbidden(&self, changes: &[(&str, &str, Change<B>)]) -> &Self {
        for (what, words, change) in changes {
            let (desk, facts) = self.with(*change);
            let refusal = may(&desk, &facts).expect_err(what);
            assert!(refusal.say.contains(words), "{what}: {}", refusal.say);
            assert!(refusal.forbidden, "{what}: it is who asks that is against it");
        }
        self
    }

    /// Each of these changes leaves it taken.
    fn taken(&self, changes: &[(&str, Change<B>)]) -> &Self {
        for (what, change) in changes {
            let (desk, facts) = self.with(*change);
            assert_eq!(may(&desk, &facts), Ok(()), "{what}");
        }
        self
    }
}
