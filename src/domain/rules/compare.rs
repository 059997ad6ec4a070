//! What differs between two rule tables, in words that can be read beside each other.

use std::collections::{BTreeMap, BTreeSet};

use super::table::{Alarm, Kind, Profile, Stages, StagesOf, Step, Table};

/// Something that is not the same in two tables.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// What it is about: "Gauge agreement: limit".
    pub place: String,
    /// In the one; nothing where it is not there.
    pub before: Option<String>,
    /// In the other; nothing where it is gone.
    pub after: Option<String>,
}

/// What can be compared of one part of a table: what it is, and what it says.
type Said = Vec<(&'static str, String)>;

/// Everything in which `after` says something else than `before`, in the order of the table.
pub fn differences(before: &Table, after: &Table) -> Vec<Difference> {
    let mut out = Vec::new();
    let whole = |t: &Table| vec![("name", t.name.clone()), ("edition", t.edition.clone())];
    one(&mut out, "Table", Some(&whole(before)), Some(&whole(after)));
    many(&mut out, "Profile", &before.profiles, &after.profiles, profile);
    many(&mut out, "Low-air alarm", &before.alarms, &after.alarms, alarm);
    many(&mut out, "Sequence", &before.stages, &after.stages, stages);
    let groups = |t: &Table| -> Vec<(String, Said)> {
        let said = |g: &super::Group| {
            vec![("heading", g.title.clone()), ("caution", g.caution.clone().unwrap_or_default())]
        };
        t.groups.iter().map(|g| (g.title.clone(), said(g))).collect()
    };
    listed(&mut out, &groups(before), &groups(after));
    let steps = |t: &Table| -> Vec<(String, (String, Said))> {
        t.steps.iter().map(|s| (s.id.clone(), (s.title.clone(), step(s)))).collect()
    };
    let (old, new) = (steps(before), steps(after));
    for id in order(&old, &new) {
        let find =
            |all: &[(String, (String, Said))]| all.iter().find(|(i, _)| *i == id).map(|(_, s)| s.clone());
        let (a, b) = (find(&old), find(&new));
        let title = b.as_ref().or(a.as_ref()).map_or(id.clone(), |(title, _)| title.clone());
        one(&mut out, &title, a.as_ref().map(|(_, s)| s), b.as_ref().map(|(_, s)| s));
    }
    let ids = |t: &Table| t.steps.iter().map(|s| s.id.clone()).collect::<Vec<_>>();
    let both = |of: &Table, other: &Table| -> Vec<String> {
        ids(of).into_iter().filter(|id| other.step(id).is_some()).collect()
    };
    if both(before, after) != both(after, before) {
        out.push(Difference {
            place: "Order of the steps".to_owned(),
            before: Some(both(before, after).join(", ")),
            after: Some(both(after, before).join(", ")),
        });
    }
    out
}

/// All names, those of the new table in its order, then those that are gone.
fn order<T>(before: &[(String, T)], after: &[(String, T)]) -> Vec<String> {
    let mut seen = BTreeSet::new();
    let all = after.iter().chain(before).map(|(name, _)| name.clone());
    all.filter(|name| seen.insert(name.clone())).collect()
}

fn listed(out: &mut Vec<Difference>, before: &[(String, Said)], after: &[(String, Said)]) {
    for name in order(before, after) {
        let find = |all: &[(String, Said)]| all.iter().find(|(n, _)| *n == name).map(|(_, s)| s.clone());
        one(out, &format!("Section {name}"), find(before).as_ref(), find(after).as_ref());
    }
}

fn many<T>(
    out: &mut Vec<Difference>,
    what: &str,
    before: &BTreeMap<String, T>,
    after: &BTreeMap<String, T>,
    say: fn(&T) -> Said,
) {
    let names: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    for name in names {
        let (a, b) = (before.get(name).map(say), after.get(name).map(say));
        one(out, &format!("{what} {name}"), a.as_ref(), b.as_ref());
    }
}

fn one(out: &mut Vec<Difference>, place: &str, before: Option<&Said>, after: Option<&Said>) {
    let whole = |said: &Said| {
        let words: Vec<String> =
            said.iter().filter(|(_, v)| !v.is_empty()).map(|(what, v)| format!("{what} {v}")).collect();
        words.join("; ")
    };
    match (before, after) {
        (Some(a), Some(b)) => {
            for ((what, a), (_, b)) in a.iter().zip(b).filter(|((_, a), (_, b))| a != b) {
                let side = |text: &String| Some(text.clone()).filter(|t| !t.is_empty());
                out.push(Difference { place: format!("{place}: {what}"), before: side(a), after: side(b) });
            }
        }
        (a, b) => {
            let (before, after) = (a.map(whole), b.map(whole));
            out.push(Difference { place: place.to_owned(), before, after });
        }
    }
}

fn list<'a>(words: impl IntoIterator<Item = &'a String>) -> String {
    words.into_iter().map(String::as_str).collect::<Vec<_>>().join(", ")
}

fn profile(p: &Profile) -> Said {
    vec![
        ("title", p.title.clone()),
        ("rated pressure", p.rated.to_string()),
        ("gauge division", p.division.to_string()),
        ("low-air alarm", p.alarm.clone()),
        ("motion alarm", p.motion.clone().unwrap_or_default()),
        ("display", p.display.clone().unwrap_or_default()),
        ("qualification", p.family.clone()),
        ("parts fitted", list(&p.fitted)),
    ]
}

fn alarm(a: &Alarm) -> Said {
    vec![
        ("title", a.title.clone()),
        ("starts no lower than", a.at_least.to_string()),
        ("a remark above", a.remark_above.map(|l| l.to_string()).unwrap_or_default()),
        ("out of service above", a.out_above.to_string()),
        ("basis", a.basis.clone()),
    ]
}

fn stages(s: &Stages) -> Said {
    let time = |t: Option<crate::quantity::Seconds>| t.map(|t| t.to_string()).unwrap_or_default();
    vec![
        ("title", s.title.clone()),
        ("stages", s.count.to_string()),
        ("first from", time(s.first_from)),
        ("first by", time(s.first_by)),
        ("full alarm by", time(s.full_by)),
        ("basis", s.basis.clone()),
    ]
}

fn step(s: &Step) -> Said {
    let checks: Vec<&str> = s.checks.iter().map(|p| p.id()).collect();
    vec![
        ("title", s.title.clone()),
        ("section", s.group.clone()),
        ("asks for", s.kind.id().to_owned()),
        ("limit", limit(&s.kind)),
        ("what follows", s.consequence.words().to_owned()),
        ("subject", s.subject.words().to_owned()),
        ("tries", s.tries.to_string()),
        ("instruction", s.instruction.clone()),
        ("right", s.right.clone()),
        ("when wrong", s.when_wrong.clone()),
        ("caution", s.caution.clone().unwrap_or_default()),
        ("whom to tell", s.tell.clone()),
        ("basis", s.basis.clone()),
        ("parts needed", list(&s.needs)),
        ("profiles", list(&s.profiles)),
        ("asked in", checks.join(", ")),
        ("least time", s.least.to_string()),
        ("proved with", s.touches.as_deref().map_or_else(|| "everything".to_owned(), list)),
    ]
}

/// A step's limit as the table states it.
fn limit(kind: &Kind) -> String {
    match kind {
        Kind::Identity | Kind::Confirm | Kind::Trip => String::new(),
        Kind::Reading { above, at_least, at_most } => {
            let bound = |word: &str, l: &Option<crate::quantity::Limit>| l.map(|l| format!("{word} {l}"));
            let bounds = [bound("above", above), bound("at least", at_least), bound("at most", at_most)];
            bounds.into_iter().flatten().collect::<Vec<_>>().join(", ")
        }
        Kind::Pair { largest } => {
            let all: Vec<String> = largest.iter().map(ToString::to_string).collect();
            format!("at most {} apart", all.join(" and "))
        }
        Kind::Drop { largest, within } => format!("at most {largest} in {within}"),
        Kind::Hold { at_least } => format!("at least {at_least}"),
        Kind::Stages(StagesOf::Motion) => "the profile’s motion alarm".to_owned(),
        Kind::Stages(StagesOf::Display) => "the profile’s display".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{DEFAULT, parse};

    #[test]
    fn a_table_does_not_differ_from_itself() {
        let table = parse(DEFAULT).unwrap();
        assert_eq!(differences(&table, &table), []);
    }

    #[test]
    fn each_change_is_said_with_what_was_and_what_will_be() {
        let old = parse(DEFAULT).unwrap();
        let mut new = old.clone();
        new.edition = "second".to_owned();
        let at = new.steps.iter().position(|s| matches!(s.kind, Kind::Pair { .. })).unwrap();
        new.steps[at].kind = Kind::Pair { largest: vec!["300 psi".parse().unwrap()] };
        let gone = new.steps.pop().unwrap();
        let told = differences(&old, &new);
        assert_eq!(told.len(), 3, "{told:#?}");
        assert_eq!(told[0].place, "Table: edition");
        assert!(told[1].place.ends_with(": limit"), "{told:#?}");
        assert_eq!(told[1].after.as_deref(), Some("at most 300 psi apart"));
        assert_eq!((told[2].place.clone(), told[2].after.clone()), (gone.title.clone(), None));
        // The other way round, what was gone is new.
        let back = differences(&new, &old);
        assert!(back.iter().any(|d| d.place == gone.title && d.before.is_none()), "{back:#?}");
        new.steps.swap(0, 1);
        assert!(differences(&old, &new).iter().any(|d| d.place == "Order of the steps"));
    }
}
