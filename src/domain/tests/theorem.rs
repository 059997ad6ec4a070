//! The theorem: standing = f(set of field records, sequence of desk records, now). Any order, any
//! repetition and any interleaving of field records with a given desk sequence gives the same
//! standing, grounds and all.
//!
//! Mutants that this turns red: letting the order of arrival choose among variants (a list in
//! place of the set in `Weights`), counting a repeated record twice as another variant,
//! letting a later ground of the same key take an earlier one's place, reading the tables of rules
//! only as far as the desk had come when a check arrived, forgetting in `Weights::wanting` a run in which
//! something was raised, a doubt or a second version.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use std::borrow::Cow;
use std::collections::BTreeMap;

use crate::common::pool::{ASSETS, NOWS, POOL};
use crate::common::{NOON, TABLE, check, config, record, tables};
use airmuster_domain::Millis;
use airmuster_domain::record::{Asset, Body, Digest, Record, RecordRef, RulesInForce};
use airmuster_domain::standing::State;
use airmuster_domain::standing::{Account, Standing, Tables, Weighed, Weights};
use proptest::prelude::*;
use proptest::test_runner::TestRunner;

/// A copy of the logbook somewhere: whatever came, in the order in which it came.
#[derive(Default)]
struct Replica<'a> {
    fields: Vec<&'a Record>,
    desk: Vec<&'a Record>,
}

impl<'a> Replica<'a> {
    fn arrives(&mut self, record: &'a Record) {
        match record.body {
            Body::Field(_) => self.fields.push(record),
            Body::Desk(_) => self.desk.push(record),
        }
    }
    fn standings(&self, tables: &mut Tables) -> BTreeMap<(Millis, Asset), Standing> {
        Self::all(&Account::with(tables, self.fields.iter().copied(), &self.desk))
    }
    /// As `standings`, one record after the other, keeping little of each.
    fn standings_briefly(&self, tables: &mut Tables) -> BTreeMap<(Millis, Asset), Standing> {
        let mut weights = Weights::default();
        for record in self.fields.iter().chain(&self.desk) {
            match Weighed::of(record, tables) {
                Some(weighed) => weights.take_briefly(weighed),
                None => weights.hear(Cow::Borrowed(record)),
            }
        }
        let find = |name: &RecordRef| self.fields.iter().find(|r| r.name == *name).copied();
        for name in weights.wanting() {
            weights.take(Weighed::of(find(&name).unwrap(), tables).unwrap());
        }
        Self::all(&Account::weigh(weights, &find, tables))
    }
    fn all(account: &Account) -> BTreeMap<(Millis, Asset), Standing> {
        NOWS.into_iter()
            .flat_map(|now| ASSETS.iter().map(move |a| (now, a.clone())))
            .map(|(now, a)| ((now, a.clone()), account.standing(&a, now)))
            .collect()
    }
}

/// A desk sequence, a set of field records, and an order in which the latter arrive, some of them
/// more than once, each with the number of desk records that came before it.
#[derive(Debug, Clone)]
struct History {
    desk: Vec<usize>,
    fields: Vec<usize>,
    arrivals: Vec<(usize, usize)>,
}

/// The desk's nth record, of those whose grounds hang on the date too.
fn at_the_desk(n: usize) -> &'static Record {
    POOL.desk.iter().chain(&POOL.dated).nth(n).unwrap()
}

fn history() -> impl Strategy<Value = History> {
    let fields = prop::collection::vec(0..POOL.fields.len(), 0..9);
    let desk = prop::collection::vec(0..POOL.desk.len() + POOL.dated.len(), 0..8);
    (fields, desk).prop_flat_map(|(fields, desk)| {
        let n = POOL.registered.len() + desk.len();
        // Every record once, then some again, then all shuffled.
        let again = prop::collection::vec(0..fields.len().max(1), 0..4);
        let all = fields.clone();
        let order = again.prop_map(move |again| {
            let more = again.iter().filter_map(|i| all.get(*i).copied());
            all.iter().copied().chain(more).collect::<Vec<_>>()
        });
        let order = order.prop_shuffle().prop_flat_map(move |order| {
            prop::collection::vec(0..=n, order.len())
                .prop_map(move |places| order.iter().copied().zip(places).collect::<Vec<_>>())
        });
        (Just(desk), Just(fields), order).prop_map(|(desk, fields, arrivals)| History {
            desk,
            fields,
            arrivals,
        })
    })
}

#[test]
fn any_order_repetition_and_interleaving_of_field_records_gives_the_same_standing() {
    // Read once: the pool's desk brings no rule table, so what is known does not depend on a case.
    let tables = std::cell::RefCell::new(tables());
    TestRunner::new(config("proptest-regressions/theorem.txt", 100_000))
        .run(&history(), |h| {
            let tables = &mut *tables.borrow_mut();
            let desk: Vec<&Record> =
                POOL.registered.iter().chain(h.desk.iter().map(|i| at_the_desk(*i))).collect();
            // Here: the desk first, then each field record once. There: as it happened to arrive.
            let (mut here, mut there) = (Replica::default(), Replica::default());
            for record in desk.iter().copied().chain(h.fields.iter().map(|i| &POOL.fields[*i])) {
                here.arrives(record);
            }
            for (place, record) in desk.iter().enumerate() {
                for (field, _) in h.arrivals.iter().filter(|(_, p)| *p == place) {
                    there.arrives(&POOL.fields[*field]);
                }
                there.arrives(record);
            }
            for (field, _) in h.arrivals.iter().filter(|(_, p)| *p == desk.len()) {
                there.arrives(&POOL.fields[*field]);
            }
            prop_assert_eq!(there.fields.len(), h.arrivals.len());
            let standings = here.standings(tables);
            prop_assert_eq!(&standings, &there.standings(tables));
            prop_assert_eq!(&standings, &there.standings_briefly(tables));
            Ok(())
        })
        .unwrap();
}

/// Two tablets that met no one for a week: what they know together does not depend on who tells whom.
#[test]
fn merging_what_two_tablets_know_is_a_union() {
    let tables = &mut tables();
    let desk: Vec<&Record> = POOL.registered.iter().chain(&POOL.desk).chain(&POOL.dated).collect();
    let standings =
        |tables: &mut Tables, fields: Vec<&Record>| Replica { fields, desk: desk.clone() }.standings(tables);
    let (mine, yours): (Vec<_>, Vec<_>) = POOL.fields.iter().enumerate().partition(|(i, _)| i % 3 != 0);
    let (mine, yours): (Vec<_>, Vec<_>) =
        (mine.into_iter().map(|(_, r)| r).collect(), yours.into_iter().map(|(_, r)| r).collect());
    let mine_first = standings(tables, mine.iter().chain(&yours).copied().collect());
    let yours_first = standings(tables, yours.iter().chain(&mine).chain(&yours).copied().collect());
    assert_eq!(mine_first, yours_first);
    assert_ne!(
        mine_first,
        standings(tables, mine),
        "what the other knows makes no difference here: a poor example"
    );
}

/// Rule tables are known by their hash, so it does not matter whether the table or the check made
/// with it came first. Without it the check cannot be judged, and says so.
#[test]
fn a_rule_table_judges_the_checks_that_came_before_it() {
    let text = TABLE.replace("small", "another edition");
    let made = check(900, "1").rules(Digest::of(text.as_bytes())).record();
    let rules =
        record("rules", 901, NOON, Some("ada"), &RulesInForce { text, again: Vec::new(), grace_hours: None });
    let unit = Asset::unit("1");
    let state = |desk: &[&Record]| Account::of([&made], desk).standing(&unit, NOON).state;
    let registered = &POOL.registered[0];
    assert_eq!(state(&[registered]), State::OutOfService);
    assert_eq!(state(&[registered, &rules]), State::InService);
    assert_eq!(state(&[&rules, registered]), State::InService);
}
