//! How often what stands somewhere is checked there: what is said of a place goes before what is said
//! of its rig, and that before what each unit brings along.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::Millis;
use crate::record::{Cadence, Place, Register, Spot};

/// What has been said about places.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Cadences {
    /// How often, by place.
    pub set: BTreeMap<Spot, Cadence>,
    /// The rig of each seat and kit place.
    pub rigs: Arc<BTreeMap<String, String>>,
}

impl Cadences {
    /// Takes in what an entry of the register says.
    pub fn hear(&mut self, r: &Register) {
        match r {
            Register::Cadence { at, cadence: Some(cadence) } => {
                self.set.insert(at.clone(), *cadence);
            }
            Register::Cadence { at, cadence: None } => {
                self.set.remove(at);
            }
            Register::Seat { id, rig, .. } => {
                Arc::make_mut(&mut self.rigs).insert(id.clone(), rig.clone());
            }
            _ => {}
        }
    }

    /// How often what stands there and brings along `own` is checked, and what says so; none: it is
    /// its own.
    pub fn at(&self, place: Option<&Place>, own: Cadence) -> (Cadence, Option<Spot>) {
        match place.and_then(|p| self.said(p)) {
            Some((cadence, spot)) => (cadence, Some(spot)),
            None => (own, None),
        }
    }

    /// What is said of a place, and where.
    pub fn said(&self, place: &Place) -> Option<(Cadence, Spot)> {
        self.spots(place).into_iter().find_map(|s| Some((*self.set.get(&s)?, s)))
    }

    /// What a place is called here, the narrowest first.
    fn spots(&self, place: &Place) -> Vec<Spot> {
        match place {
            Place::Seat { seat } => {
                let rig = self.rigs.get(seat).map(|rig| Spot::Rig { rig: rig.clone() });
                std::iter::once(Spot::Seat { seat: seat.clone() }).chain(rig).collect()
            }
            Place::Spare { station } => vec![Spot::Spares { station: station.clone() }],
            Place::With { .. } | Place::Bench | Place::Repairer | Place::Away => Vec::new(),
        }
    }
}

/// What was said about places, and when; in order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct History {
    /// From when on which place had which cadence, or none any more.
    pub set: Vec<(Millis, Spot, Option<Cadence>)>,
    /// The rig of each seat and kit place, as it is now.
    pub rigs: Arc<BTreeMap<String, String>>,
}

impl History {
    /// How often a unit was to be checked, from when on; in order. `own` is what it brought along since
    /// when, `placed` where it stood since when, both in order. What came first is taken to have been
    /// so before.
    pub fn of(&self, own: &[(Millis, Cadence)], placed: &[(Millis, Place)]) -> Vec<(Millis, Cadence)> {
        let mut moments: Vec<Millis> = std::iter::once(Millis::MIN)
            .chain(own.iter().map(|(t, _)| *t))
            .chain(placed.iter().map(|(t, _)| *t))
            .chain(self.set.iter().map(|(t, ..)| *t))
            .collect();
        moments.sort_unstable();
        moments.dedup();
        let mut cadences = Cadences { rigs: Arc::clone(&self.rigs), ..Cadences::default() };
        let mut said = self.set.iter().peekable();
        let mut out: Vec<(Millis, Cadence)> = Vec::new();
        for t in moments {
            while let Some((_, at, cadence)) = said.next_if(|(since, ..)| *since <= t) {
                cadences.hear(&Register::Cadence { at: at.clone(), cadence: *cadence });
            }
            let Some((_, own)) = last_until(own, t).or(own.first()) else { continue };
            let (now, _) = cadences.at(last_until(placed, t).or(placed.first()).map(|(_, p)| p), *own);
            if out.last().is_none_or(|(_, before)| *before != now) {
                out.push((t, now));
            }
        }
        out
    }
}

/// The last of what is in order of time that is not after `t`.
pub fn last_until<T>(all: &[(Millis, T)], t: Millis) -> Option<&(Millis, T)> {
    all[..all.partition_point(|(since, _)| *since <= t)].last()
}
