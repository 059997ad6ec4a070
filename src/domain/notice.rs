//! Which things a notice reaches. What is not known of a thing does not save it: where the notice
//! asks for a serial or a month that the register has not, the thing is reached and that is said.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

use crate::record::{Asset, AssetKind, Notice, Reach};
use crate::upkeep::Thing;

/// A notice, and what was dealt with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Noticed {
    /// What it says.
    pub notice: Notice,
    /// What was done, by the thing and the serial that it had.
    #[serde(default)]
    pub done: BTreeMap<String, String>,
    /// Withdrawn.
    #[serde(default)]
    pub ended: bool,
}

impl Noticed {
    /// Whether it speaks of this thing, and by what: `regulator RG-204`.
    pub fn reaches(&self, asset: &Asset, thing: &Thing) -> Option<String> {
        if self.ended || thing.gone {
            return None;
        }
        reaches(&self.notice.reach, asset, thing)
    }

    /// What was done to a thing with the serial that it has now.
    pub fn dealt_with(&self, asset: &Asset, thing: &Thing) -> Option<&str> {
        self.done.get(&self.key(asset, thing)).map(String::as_str)
    }

    /// Under what a thing is written down as dealt with: another part in its place is asked for anew.
    pub fn key(&self, asset: &Asset, thing: &Thing) -> String {
        format!("{asset}/{}", label(&self.notice.reach, asset, thing).serial.unwrap_or_default())
    }
}

/// What the register has of the thing, or of the part of it that the notice is about.
struct Label<'a> {
    name: Option<&'a str>,
    serial: Option<&'a str>,
    made: Option<crate::record::Month>,
    words: String,
}

fn label<'a>(reach: &Reach, asset: &'a Asset, thing: &'a Thing) -> Label<'a> {
    let known = |s: &'a str| (!s.is_empty()).then_some(s);
    match (asset.kind, reach.slot) {
        (AssetKind::Unit, Some(slot)) => {
            let part = thing.parts.get(&slot).map(|f| &f.part);
            let serial = part.and_then(|p| known(&p.serial));
            Label {
                name: part.and_then(|p| known(&p.name)),
                serial,
                made: part.and_then(|p| p.made),
                words: format!("its {} {}", slot.words(), serial.unwrap_or_default()).trim_end().to_owned(),
            }
        }
        (AssetKind::Cylinder, _) => {
            let marks = thing.marks.as_ref();
            let serial = marks.and_then(|m| known(&m.serial));
            Label {
                name: None,
                serial,
                made: marks.map(|m| m.made),
                words: serial.map_or_else(String::new, |s| format!("serial {s}")),
            }
        }
        _ => Label {
            name: known(&thing.model),
            serial: Some(&asset.number),
            made: None,
            words: format!("number {}", asset.number),
        },
    }
}

fn reaches(reach: &Reach, asset: &Asset, thing: &Thing) -> Option<String> {
    if asset.kind != reach.kind {
        return None;
    }
    // A part that is not on the unit cannot be meant, where the register knows what is on it.
    if reach.slot.is_some_and(|s| !thing.parts.is_empty() && !thing.parts.contains_key(&s)) {
        return None;
    }
    let only = match asset.kind {
        AssetKind::Unit => thing.profile.as_deref(),
        AssetKind::Cylinder => thing.marks.as_ref().map(|m| m.spec.id()),
        AssetKind::Facepiece => None,
    };
    let label = label(reach, asset, thing);
    let mut unknown = Vec::new();
    let mut fits = |asked: bool, known: Option<bool>, what: &'static str| {
        if asked && known.is_none() {
            unknown.push(what);
        }
        !asked || known.unwrap_or(true)
    };
    let profile = fits(!reach.only.is_empty(), only.map(|o| o == reach.only), "kind");
    let name = fits(!reach.name.is_empty(), label.name.map(|n| n.eq_ignore_ascii_case(&reach.name)), "name");
    let serial = fits(
        !reach.from.is_empty() || !reach.to.is_empty(),
        label.serial.map(|s| within(s, &reach.from, &reach.to)),
        "serial",
    );
    let made = fits(
        reach.made_from.is_some() || reach.made_to.is_some(),
        label
            .made
            .map(|m| reach.made_from.is_none_or(|from| from <= m) && reach.made_to.is_none_or(|to| m <= to)),
        "month of make",
    );
    if !(profile && name && serial && made) {
        return None;
    }
    Some(match (unknown.as_slice(), label.words.as_str()) {
        ([], words) => words.to_owned(),
        (unknown, words) => {
            let words = if words.is_empty() { String::new() } else { format!("{words}; ") };
            format!("{words}its {} is not in the register, so look at it", unknown.join(" and "))
        }
    })
}

/// Whether a serial lies between two others, both included; an empty end is open. Serials are
/// compared by the number at their end where all that stands before it is the same, and are
/// outside where it is not: `RG-99` comes before `RG-100`, and `AL-100` is of another row.
pub fn within(serial: &str, from: &str, to: &str) -> bool {
    let (head, number) = split(serial);
    let side = |end: &str, holds: &dyn Fn(std::cmp::Ordering) -> bool| {
        if end.trim().is_empty() {
            return true;
        }
        let (its_head, its_number) = split(end);
        its_head == head && holds((number.len(), &number).cmp(&(its_number.len(), &its_number)))
    };
    side(from, &std::cmp::Ordering::is_ge) && side(to, &std::cmp::Ordering::is_le)
}

/// What stands before the number at the end, and that number without leading zeros.
fn split(serial: &str) -> (String, String) {
    let serial = serial.trim().to_uppercase();
    let head = serial.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = serial[head.len()..].trim_start_matches('0').to_owned();
    (head.to_owned(), number)
}

#[cfg(test)]
mod tests {
    use super::within;

    #[test]
    fn serials_are_compared_by_the_number_at_their_end() {
        assert!(within("RG-100", "RG-99", "RG-120"));
        assert!(within("rg-0100", "RG-100", "RG-100"));
        assert!(!within("RG-98", "RG-99", "RG-120"));
        assert!(!within("RG-121", "RG-99", "RG-120"));
        assert!(!within("AL-100", "RG-99", "RG-120"), "another row of serials");
        assert!(within("RG-7", "", "RG-8") && within("RG-7", "RG-7", ""));
        assert!(within("anything", "", ""));
        assert!(within("A", "A", "A") && !within("B", "A", "A"), "without a number they are equal or not");
    }
}
