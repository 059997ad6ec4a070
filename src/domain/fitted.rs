//! Which serials a unit had when: whoever inspects asks about a day long ago, and parts change.

use std::collections::BTreeMap;

use crate::Millis;
use crate::record::{Desk, Register, Slot};

/// The serials of a unit's parts over time, from its records in the order in which they were written.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Serials {
    /// What sat in each place, from when on; nothing after a part was removed.
    parts: BTreeMap<Slot, Vec<(Millis, Option<String>)>>,
    /// Serials of what has no place of its own, from when on.
    others: Vec<(Millis, BTreeMap<String, String>)>,
}

impl Serials {
    /// Takes in what the desk has written about this unit; what is not about its parts changes nothing.
    pub fn hear(&mut self, unit: &str, desk: &Desk, at: Millis) {
        if let Desk::Fitting(f) = desk
            && f.unit == unit
        {
            let slot = self.parts.entry(f.slot).or_default();
            let serial = f.part.as_ref().map(|p| p.serial.clone());
            match (slot.last(), &f.out) {
                // Nothing was worked on: it had been there all the time.
                (None, _) if f.was_there => slot.push((Millis::MIN, serial)),
                (None, Some(out)) => slot.extend([(Millis::MIN, Some(out.clone())), (at, serial)]),
                _ => slot.push((at, serial)),
            }
        }
        for entry in desk.entries().iter() {
            let Register::Unit { number, serials, .. } = entry else { continue };
            if number != unit {
                continue;
            }
            let (parts, others): (Vec<_>, Vec<_>) = serials
                .iter()
                .filter(|(_, serial)| !serial.trim().is_empty())
                .partition(|(name, _)| Slot::named(name).is_some());
            for (slot, serial) in parts.into_iter().filter_map(|(n, s)| Some((Slot::named(n)?, s))) {
                let known = self.parts.entry(slot).or_default();
                // What was fitted since is known better than a list.
                match known.last() {
                    None => known.push((Millis::MIN, Some(serial.clone()))),
                    Some((_, None)) => known.push((at, Some(serial.clone()))),
                    Some(_) => {}
                }
            }
            self.others.push((at, others.into_iter().map(|(n, s)| (n.clone(), s.clone())).collect()));
        }
    }

    /// The parts and their serials at a moment: `regulator`, `RG-117`. What is not known of that time is
    /// left out; what a list said first held before, too.
    pub fn at(&self, t: Millis) -> Vec<(String, String)> {
        let part = |(slot, known): (&Slot, &Vec<(Millis, Option<String>)>)| {
            let serial = known.iter().rev().find(|(since, _)| *since <= t)?.1.clone()?;
            Some((slot.words().to_owned(), serial))
        };
        let others = self.others.iter().rev().find(|(since, _)| *since <= t).or_else(|| self.others.first());
        let others = others.into_iter().flat_map(|(_, all)| all.clone());
        self.parts.iter().filter_map(part).chain(others).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Cadence, Component, Fitting};

    fn fitting(out: Option<&str>, part: Option<&str>, was_there: bool) -> Desk {
        Desk::Fitting(Fitting {
            unit: "117".to_owned(),
            slot: Slot::Regulator,
            out: out.map(str::to_owned),
            part: part.map(|serial| Component { serial: serial.to_owned(), ..Component::default() }),
            was_there,
            why: String::new(),
        })
    }

    fn listed(serials: &[(&str, &str)]) -> Desk {
        Desk::Register(Register::Unit {
            number: "117".to_owned(),
            profile: "p".to_owned(),
            cadence: Cadence::EachShift,
            in_use: true,
            serials: serials.iter().map(|(n, s)| ((*n).to_owned(), (*s).to_owned())).collect(),
        })
    }

    fn serials(heard: &[(Millis, Desk)], t: Millis) -> String {
        let mut all = Serials::default();
        for (at, desk) in heard {
            all.hear("117", desk, *at);
            all.hear("118", &listed(&[("harness", "of another unit")]), *at);
        }
        let all: Vec<String> =
            all.at(t).into_iter().map(|(part, serial)| format!("{part} {serial}")).collect();
        all.join("; ")
    }

    #[test]
    fn a_day_is_answered_with_what_was_fitted_on_it() {
        let heard = [
            (100, listed(&[("regulator", "RG-1"), ("harness", "H-1")])),
            (200, fitting(Some("RG-1"), Some("RG-2"), false)),
            (250, listed(&[("regulator", "RG-1"), ("harness", "H-2"), ("display", "D-1")])),
            (300, fitting(Some("RG-2"), None, false)),
            (400, fitting(None, Some("RG-3"), false)),
        ];
        for (t, said) in [
            (50, "regulator RG-1; display D-1; harness H-1"),
            (199, "regulator RG-1; display D-1; harness H-1"),
            (200, "regulator RG-2; display D-1; harness H-1"),
            (299, "regulator RG-2; display D-1; harness H-2"),
            (300, "display D-1; harness H-2"),
            (500, "regulator RG-3; display D-1; harness H-2"),
        ] {
            assert_eq!(serials(&heard, t), said, "at {t}");
        }
    }

    #[test]
    fn a_label_that_is_read_later_was_there_before_and_a_part_that_came_out_too() {
        assert_eq!(serials(&[(100, fitting(None, Some("RG-1"), true))], 50), "regulator RG-1");
        let swapped = [(100, fitting(Some("RG-1"), Some("RG-2"), false))];
        assert_eq!(serials(&swapped, 50), "regulator RG-1");
        assert_eq!(serials(&[(100, fitting(None, Some("RG-2"), false))], 50), "");
    }
}
