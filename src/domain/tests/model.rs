//! Every reachable state of a small world: two tablets that hand in what they wrote in any order,
//! some of it late, some never; one unit; one proving check and its contested twin; and a desk that
//! does whatever the records in the logbook let it name, in every order.
//!
//! Whether a finding is cleared is kept by the oracle (`common/oracle.rs`), not by the program.
//!
//! Mutants that this turns red: a proving check that still counts when contested or doubted, a
//! return that clears the whole unit, a settlement or a good check that clears a finding, a check
//! that counts before its time.

use std::cell::RefCell;
use std::sync::LazyLock;

use crate::common::oracle::{Against, Oracle};
use crate::common::*;
use airmuster_domain::record::{Asset, Body, Desk, Doubt, Outcome, Record, Settlement};
use airmuster_domain::standing::{Account, Standing, State as Word, Tables};
use stateright::{Checker, Model, Property};

/// A tablet's records in the order in which they are written, and the desk's possible deeds with
/// the field records that must be in the logbook before them.
struct World {
    tablets: [Vec<Record>; 2],
    desk: Vec<(Record, Vec<Record>)>,
    registered: Record,
}

/// How many deeds the desk does at most.
const DEEDS: usize = 5;

static WORLD: LazyLock<World> = LazyLock::new(|| {
    let one = Asset::unit("1");
    let apart = gauges("4400 psi", "3900 psi");
    let good = check(1, "1").record();
    let broken = check(2, "1").only(std::slice::from_ref(&apart)).outcome(Outcome::BrokenOff, 3).record();
    let bad = check(3, "1").say(&[apart]).record();
    let low = check(4, "1").say(&[pressure("3900 psi")]).record();
    let proof = proving(5, "1").record();
    let twin = proving(5, "1").at(NOON + 1).record();
    let key = |kind: &str, r: &Record, step: &str| format!("{kind}/{}/{step}/1/-", r.name.digest);
    let findings = [key("finding", &broken, "gauges"), key("finding", &bad, "gauges")];
    // Knows of what was to be put right, and of the findings, and is dated ahead.
    let seen = [findings[0].clone(), findings[1].clone(), key("put-right", &low, "pressure")];
    let knowing = check(6, "1").seen(&seen).record();
    let ahead = check(7, "1").seen(&seen).at(NOON + 30 * MINUTE).record();
    let settle = |n, accepted: &Record| {
        let variants = vec![proof.name.digest, twin.name.digest];
        let accepted = Some(accepted.name.digest);
        let body = Settlement { id: uuid(5), variants, accepted, why: "asked".to_owned() };
        (record("settlement", n, NOON, Some("olga"), &body), vec![proof.clone(), twin.clone()])
    };
    let doubt = |n| {
        let body = Doubt { of: proof.name, why: "its clock".to_owned() };
        (record("doubt", n, NOON, None, &body), vec![proof.clone()])
    };
    let back = |n, keys: &[String], named: &[&Record]| {
        let named = named.iter().copied().cloned().collect();
        (returned(n, one.clone(), keys, proof.name), named)
    };
    World {
        desk: vec![
            back(20, &findings, &[&broken, &bad, &proof]),
            back(21, &findings[..1], &[&broken, &proof]),
            back(22, &findings[1..], &[&bad, &proof]),
            doubt(23),
            doubt(24),
            settle(25, &proof),
            settle(26, &twin),
        ],
        tablets: [vec![broken, bad, low, twin], vec![good, knowing, proof, ahead]],
        registered: register_unit(200, "1", "a", true),
    }
});

thread_local! {
    static TABLES: RefCell<Tables> = RefCell::new(tables());
}

/// How far each tablet has come, which of its records have arrived, and what the desk did.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash)]
struct State {
    written: [usize; 2],
    arrived: [u8; 2],
    desk: Vec<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Action {
    Write(usize),
    Arrive(usize, usize),
    Do(usize),
}

impl State {
    fn fields(&self) -> Vec<&'static Record> {
        let all = WORLD.tablets.iter().zip(self.arrived);
        all.flat_map(|(records, arrived)| {
            records.iter().enumerate().filter(move |(i, _)| arrived >> i & 1 == 1).map(|(_, r)| r)
        })
        .collect()
    }

    fn desk(&self) -> Vec<&'static Record> {
        std::iter::once(&WORLD.registered).chain(self.desk.iter().map(|i| &WORLD.desk[*i].0)).collect()
    }

    fn standing(&self, now: i64) -> Standing {
        let account = TABLES.with_borrow_mut(|t| Account::with(t, self.fields(), &self.desk()));
        account.standing(&Asset::unit("1"), now)
    }

    fn rides(&self, now: i64) -> bool {
        self.standing(now).state == Word::InService
    }

    fn said_against(&self, now: i64) -> Against {
        self.standing(now).grounds.into_iter().map(|g| (g.state, g.raise.key)).collect()
    }

    fn open_findings(&self, now: i64) -> usize {
        Oracle::new(&self.fields(), &self.desk(), now).open_findings(&Asset::unit("1")).len()
    }

    fn returned(&self) -> bool {
        self.desk().iter().any(|r| matches!(r.body, Body::Desk(Desk::Return(_))))
    }
}

/// Now, and when what was dated ahead has come.
const MOMENTS: [i64; 2] = [NOON, NOON + HOUR];

struct Small;

impl Model for Small {
    type State = State;
    type Action = Action;

    fn init_states(&self) -> Vec<State> {
        vec![State::default()]
    }

    fn actions(&self, s: &State, out: &mut Vec<Action>) {
        for (t, records) in WORLD.tablets.iter().enumerate() {
            if s.written[t] < records.len() {
                out.push(Action::Write(t));
            }
            let waiting = (0..s.written[t]).filter(|i| s.arrived[t] >> i & 1 == 0);
            out.extend(waiting.map(|i| Action::Arrive(t, i)));
        }
        if s.desk.len() < DEEDS {
            let there = s.fields();
            let can = |(record, needs): &(Record, Vec<Record>)| {
                !s.desk().contains(&record) && needs.iter().all(|n| there.contains(&n))
            };
            out.extend((0..WORLD.desk.len()).filter(|i| can(&WORLD.desk[*i])).map(Action::Do));
        }
    }

    fn next_state(&self, s: &State, action: Action) -> Option<State> {
        let mut next = s.clone();
        match action {
            Action::Write(t) => next.written[t] += 1,
            Action::Arrive(t, i) => next.arrived[t] |= 1 << i,
            Action::Do(i) => next.desk.push(i),
        }
        Some(next)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always("no unit with an open finding is in service", |_, s: &State| {
                MOMENTS.into_iter().all(|now| !s.rides(now) || s.open_findings(now) == 0)
            }),
            Property::always(
                "what the program holds against the unit is what the table says",
                |_, s: &State| {
                    let against = |now| Oracle::new(&s.fields(), &s.desk(), now).against(&Asset::unit("1"));
                    MOMENTS.into_iter().all(|now| s.said_against(now) == against(now))
                },
            ),
            Property::sometimes("a unit rides before anything was found", |_, s: &State| {
                s.rides(NOON) && s.desk.is_empty()
            }),
            Property::sometimes("a unit with two findings rides after its return", |_, s: &State| {
                s.rides(NOON) && s.returned() && s.arrived[0] & 0b11 == 0b11
            }),
            Property::sometimes("a return is undone by what comes after it", |_, s: &State| {
                s.desk.first() == Some(&0) && s.open_findings(NOON) == 2
            }),
            Property::sometimes("a settlement of the doubt lets it ride again", |_, s: &State| {
                s.desk.starts_with(&[0, 3, 5]) && s.rides(NOON)
            }),
        ]
    }
}

#[test]
fn no_reachable_state_has_a_unit_with_an_uncleared_finding_in_service() {
    let checked = Small.checker().threads(2).spawn_bfs().join();
    checked.assert_properties();
    println!("{} states, {} of them unique", checked.state_count(), checked.unique_state_count());
    // A change that makes the world too small to mean anything is seen.
    assert!(checked.unique_state_count() > 100_000, "{}", checked.unique_state_count());
}
