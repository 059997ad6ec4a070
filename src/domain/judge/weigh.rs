//! Holding one entry against its limit, with the arithmetic in words.

use crate::quantity::{Amount, Limit, Pressure, Seconds};
use crate::rules::{Ask, Band, Consequence, Form, FormStep, Sequence};

use super::read::Entry;

/// What one answer comes to.
pub(super) enum Outcome {
    Good,
    Bad { consequence: Consequence, repeat: bool, entered: String, limit: String, working: String },
}

pub(super) fn basis(step: &FormStep) -> String {
    match &step.ask {
        Ask::Trip(band) => band.basis.clone(),
        Ask::Stages { want, .. } => want.basis.clone(),
        _ => step.step.basis.clone(),
    }
}

pub(super) fn weigh(form: &Form, step: &FormStep, entry: &Entry) -> Outcome {
    let rated = form.profile.rated;
    let bad = |entered: String, limit: String, working: String| Outcome::Bad {
        consequence: step.step.consequence,
        repeat: false,
        entered,
        limit,
        working,
    };
    match (&step.ask, entry) {
        (Ask::Reading { above, at_least, at_most }, Entry::Reading(p)) => {
            match reading(*p, rated, *above, *at_least, *at_most) {
                None => Outcome::Good,
                Some((limit, working)) => bad(p.to_string(), limit, working),
            }
        }
        (Ask::Pair { largest, governs }, Entry::Pair(a, b)) => match pair(*a, *b, rated, largest, *governs) {
            None => Outcome::Good,
            Some((limit, working)) => bad(format!("cylinder {a}, remote {b}"), limit, working),
        },
        (Ask::Drop { largest, within }, Entry::Drop(a, b, s)) => {
            match fall(*a, *b, *s, rated, *largest, *within) {
                None => Outcome::Good,
                Some((limit, working)) => bad(format!("{a} to {b} in {s}"), limit, working),
            }
        }
        (Ask::Hold { at_least }, Entry::Held(s)) if s < at_least => bad(
            s.to_string(),
            format!("at least {at_least}"),
            format!("it held {s}; at least {at_least} is asked"),
        ),
        (Ask::Hold { at_least }, Entry::NotGood) => bad(
            "let go".to_owned(),
            format!("at least {at_least}"),
            format!("it did not hold; at least {at_least} is asked"),
        ),
        (Ask::Stages { want, .. }, Entry::Stages { count, first, full, good }) => {
            stages(step, want, *count, *first, *full, *good)
        }
        (Ask::Trip(trips), Entry::Reading(p)) => trip(trips, *p, rated),
        (Ask::Trip(trips), Entry::NotGood) => bad(
            "never sounded".to_owned(),
            format!("at least {}", amount_words(trips.at_least.amount(rated), rated)),
            "the alarm did not sound at all".to_owned(),
        ),
        (Ask::Reading { .. } | Ask::Pair { .. }, Entry::NotGood) => bad(
            "cannot be read".to_owned(),
            "a gauge that can be read".to_owned(),
            "a gauge cannot be read".to_owned(),
        ),
        (_, Entry::NotGood) => {
            let right = if step.step.right.is_empty() { &step.step.title } else { &step.step.right };
            bad("not good".to_owned(), right.clone(), format!("{}: not good", step.step.title))
        }
        _ => Outcome::Good,
    }
}

/// An amount in the profile's own unit.
fn amount_words(a: Amount, rated: Pressure) -> String {
    a.words(rated.unit())
}

/// A reading as it was read and, where that differs, in the profile's unit: `300 bar (4,351 psi)`.
fn read_words(p: Pressure, rated: Pressure) -> String {
    if p.unit() == rated.unit() {
        p.words()
    } else {
        format!("{} ({})", p.words(), p.amount().words(rated.unit()))
    }
}

fn reading(
    p: Pressure,
    rated: Pressure,
    above: Option<Limit>,
    at_least: Option<Limit>,
    at_most: Option<Limit>,
) -> Option<(String, String)> {
    let unit = rated.unit();
    let say = |limit: Limit, how: &str, against: &str| {
        let wall = limit.amount(rated);
        let value = wall.words(unit);
        let share = match limit {
            Limit::OfRated(_) => format!(" ({})", limit.words(rated)),
            Limit::Absolute(_) => String::new(),
        };
        let by = p.amount().apart(wall).words_against(Amount::ZERO, unit);
        let off = if p.amount() == wall {
            format!("exactly the {value}{share} {against}")
        } else {
            format!("{by} {} the {value}{share} {against}", if p.amount() < wall { "below" } else { "over" })
        };
        (format!("{how} {value}"), format!("{}: {off}", read_words(p, rated)))
    };
    if let Some(l) = above.filter(|l| p.amount() <= l.amount(rated)) {
        return Some(say(l, "more than", "that it must be above"));
    }
    if let Some(l) = at_least.filter(|l| p.amount() < l.amount(rated)) {
        return Some(say(l, "at least", "that it must reach"));
    }
    at_most.filter(|l| p.amount() > l.amount(rated)).map(|l| say(l, "at most", "that it must not pass"))
}

fn pair(
    a: Pressure,
    b: Pressure,
    rated: Pressure,
    largest: &[Limit],
    governs: usize,
) -> Option<(String, String)> {
    let wall = largest.get(governs)?.amount(rated);
    let apart = a.amount().apart(b.amount());
    if apart <= wall {
        return None;
    }
    let unit = rated.unit();
    let limit = wall.words(unit);
    let mut working = format!("{} apart; limit {limit}", apart.words_against(wall, unit));
    if largest.len() > 1 {
        let all: Vec<String> = largest.iter().map(|l| l.words(rated)).collect();
        working = format!("{working}, the stricter of {}", all.join(" and "));
    } else if matches!(largest[governs], Limit::OfRated(_)) {
        working = format!("{working}, {}", largest[governs].words(rated));
    }
    if a.unit() != b.unit() || a.unit() != unit {
        working = format!("{working} (cylinder {}, remote {})", read_words(a, rated), read_words(b, rated));
    }
    Some((limit, working))
}

fn fall(
    a: Pressure,
    b: Pressure,
    s: Seconds,
    rated: Pressure,
    largest: Limit,
    within: Seconds,
) -> Option<(String, String)> {
    let unit = rated.unit();
    let wall = largest.amount(rated);
    let limit = format!("at most {} in {within}", wall.words(unit));
    let fell = a.amount().less(b.amount());
    if fell > wall {
        let words = fell.words_against(wall, unit);
        return Some((limit.clone(), format!("fell {words} in {s}; {limit} is allowed")));
    }
    (s < within).then(|| (limit, format!("watched for {s}; {within} is asked")))
}

fn stages(
    step: &FormStep,
    want: &Sequence,
    count: Option<u8>,
    first: Option<Seconds>,
    full: Option<Seconds>,
    good: bool,
) -> Outcome {
    let mut entered = Vec::new();
    entered.extend(count.map(|n| format!("{n} stages")));
    entered.extend(first.map(|s| format!("first at {s}")));
    entered.extend(full.map(|s| format!("full alarm at {s}")));
    let mut wrong = Vec::new();
    let mut early = None;
    if let Some(n) = count.filter(|n| *n != want.count) {
        wrong.push(format!("{n} stages came; {} belong to it", want.count));
    }
    if let (Some(s), Some(by)) = (first, want.first_by.filter(|by| first > Some(*by))) {
        wrong.push(format!("the first came at {s}; by {by} is asked"));
    }
    if let (Some(s), Some(from)) = (first, want.first_from.filter(|from| first < Some(*from))) {
        early = Some(format!("the first came at {s}; not before {from} is asked"));
    }
    if let (Some(s), Some(by)) = (full, want.full_by.filter(|by| full > Some(*by))) {
        wrong.push(format!("the full alarm came at {s}; by {by} is asked"));
    }
    if let (Some(f), Some(s)) = (full, first.filter(|s| full <= Some(*s))) {
        wrong.push(format!("the full alarm came at {f}, not after the first stage at {s}"));
    }
    if !good {
        entered.push("not good".to_owned());
        if wrong.is_empty() {
            wrong.push(format!("{}: not good", step.step.title));
        }
    }
    let consequence = match (wrong.is_empty(), &early) {
        (true, None) => return Outcome::Good,
        (true, Some(_)) => Consequence::Remark,
        (false, _) => step.step.consequence,
    };
    wrong.extend(early);
    Outcome::Bad {
        consequence,
        repeat: false,
        entered: entered.join(", "),
        limit: sequence_words(want),
        working: wrong.join("; "),
    }
}

/// What a sequence must do, in words: `3 stages, first between 15 s and 25 s, full alarm by 35 s`.
pub fn sequence_words(want: &Sequence) -> String {
    let first = match (want.first_from, want.first_by) {
        (Some(a), Some(b)) => format!(", the first between {a} and {b}"),
        (None, Some(b)) => format!(", the first by {b}"),
        (Some(a), None) => format!(", the first not before {a}"),
        (None, None) => String::new(),
    };
    let full = want.full_by.map(|by| format!(", full alarm by {by}")).unwrap_or_default();
    format!("{} stages in order{first}{full}", want.count)
}

/// The band of a low-air alarm in words: `1,050 to 1,125 psi`.
pub fn band_words(band: &Band, rated: Pressure) -> String {
    let unit = rated.unit();
    let top = band.remark_above.unwrap_or(band.out_above).amount(rated);
    format!("{} to {}", band.at_least.amount(rated).number(unit), top.words(unit))
}

fn trip(band: &Band, p: Pressure, rated: Pressure) -> Outcome {
    let unit = rated.unit();
    let low = band.at_least.amount(rated);
    let out = band.out_above.amount(rated);
    let remark = band.remark_above.map(|l| l.amount(rated));
    let at = p.amount();
    let (consequence, wall, side, repeat) = if at < low {
        let repeat = low.apart(at) <= band.repeat_within.amount();
        (Consequence::OutOfService, band.at_least, "below", repeat)
    } else if at > out {
        (Consequence::OutOfService, band.out_above, "above", false)
    } else if let Some(l) = band.remark_above.filter(|_| remark.is_some_and(|r| at > r)) {
        (Consequence::Remark, l, "above", false)
    } else {
        return Outcome::Good;
    };
    let by = at.apart(wall.amount(rated)).words_against(Amount::ZERO, unit);
    let share = match wall {
        Limit::OfRated(_) => format!(" ({})", wall.words(rated)),
        Limit::Absolute(_) => String::new(),
    };
    let working = format!(
        "started at {}: {by} {side} {}{share}; {}",
        read_words(p, rated),
        wall.amount(rated).words(unit),
        band.title
    );
    Outcome::Bad { consequence, repeat, entered: p.to_string(), limit: band_words(band, rated), working }
}
