//! Reading what was entered, according to its step. What cannot be read is a problem at its field.

use crate::quantity::{Pressure, Seconds};
use crate::rules::{Ask, Form, Sequence};

use super::{Answer, Problem, Raw};

/// An entry that could be read, according to its step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Entry {
    Good,
    NotGood,
    Reading(Pressure),
    Pair(Pressure, Pressure),
    Drop(Pressure, Pressure, Seconds),
    Held(Seconds),
    Stages { count: Option<u8>, first: Option<Seconds>, full: Option<Seconds>, good: bool },
}

/// An answer that could be read, and to which step of the form it is.
pub(super) struct Try<'a> {
    pub(super) step: usize,
    pub(super) answer: &'a Answer,
    pub(super) entry: Entry,
}

/// All tries in the order of the form and, at each step, of the attempts.
pub(super) struct Read<'a> {
    pub(super) tries: Vec<Try<'a>>,
    pub(super) not_asked: Vec<String>,
}

pub(super) fn read_all<'a>(form: &Form, answers: &'a [Answer]) -> (Read<'a>, Vec<Problem>) {
    let mut read = Read { tries: Vec::with_capacity(answers.len()), not_asked: Vec::new() };
    let mut problems = Vec::new();
    // Answers mostly come in the order of the form, so the search starts where the last one ended.
    let mut at = 0;
    for answer in answers {
        let (back, ahead) = form.steps.split_at(at);
        let found = ahead
            .iter()
            .position(|s| s.step.id == answer.step)
            .map(|i| at + i)
            .or_else(|| back.iter().position(|s| s.step.id == answer.step));
        let Some(i) = found else {
            if form.not_asked.iter().any(|s| *s == answer.step) {
                read.not_asked.push(answer.step.to_string());
            } else {
                problems.push(problem(answer, "", "there is no such step in this rule table"));
            }
            continue;
        };
        at = i;
        match read_entry(&form.steps[i].ask, form, answer) {
            Ok(None) => {}
            Ok(Some(entry)) => {
                let place =
                    read.tries.binary_search_by_key(&(i, answer.attempt), |t| (t.step, t.answer.attempt));
                match place {
                    Err(place) => read.tries.insert(place, Try { step: i, answer, entry }),
                    Ok(_) => problems.push(problem(answer, "", "this attempt is answered twice")),
                }
            }
            Err(mut p) => problems.append(&mut p),
        }
    }
    (read, problems)
}

fn problem(answer: &Answer, field: &str, say: &str) -> Problem {
    Problem {
        step: answer.step.to_string(),
        attempt: answer.attempt,
        field: field.to_owned(),
        say: say.to_owned(),
    }
}

/// Reads one answer. `Ok(None)`: nothing was entered.
fn read_entry(ask: &Ask, form: &Form, answer: &Answer) -> Result<Option<Entry>, Vec<Problem>> {
    let mut reader = Reader { form, answer, problems: Vec::new() };
    let fields: &[&str] = match ask {
        Ask::Identity | Ask::Confirm => &["good"],
        Ask::Reading { .. } | Ask::Trip(_) => &["good", "at"],
        Ask::Pair { .. } => &["good", "cylinder", "remote"],
        Ask::Drop { .. } => &["good", "start", "end", "seconds"],
        Ask::Hold { .. } => &["good", "held"],
        Ask::Stages { .. } => &["good", "count", "first", "full"],
    };
    for name in answer.values.keys().filter(|k| !fields.contains(&k.as_str())) {
        reader.say(name, &format!("“{name}” means nothing here; this step takes {}", fields.join(", ")));
    }
    if answer.attempt == 0 || answer.attempt > 9 {
        reader.say("try", "attempts are counted from 1 to 9");
    }
    let good = reader.good();
    let entry = match ask {
        Ask::Identity | Ask::Confirm => good.map(plain),
        Ask::Reading { .. } | Ask::Trip(_) => {
            let at = reader.pressure("at");
            reader.measured(good, at.map(Entry::Reading), "at = \"1500 psi\"")
        }
        Ask::Pair { .. } => {
            let (a, b) = (reader.pressure("cylinder"), reader.pressure("remote"));
            if a.is_some() != b.is_some() {
                let field = if a.is_some() { "remote" } else { "cylinder" };
                reader.say_once(field, "read this gauge too; two gauges are compared");
            }
            let pair = a.zip(b).map(|(a, b)| Entry::Pair(a, b));
            reader.measured(good, pair, "both gauges")
        }
        Ask::Drop { largest, .. } => {
            let (a, b) = (reader.pressure("start"), reader.pressure("end"));
            let s = reader.seconds("seconds");
            let given = [a.is_some(), b.is_some(), s.is_some()];
            if given.contains(&true) && given.contains(&false) {
                let field = ["start", "end", "seconds"][given.iter().position(|g| !g).unwrap_or(0)];
                reader.say_once(field, "start, end and the seconds between are all needed");
            }
            if let (Some(a), Some(b)) = (a, b)
                && b.amount().less(a.amount()) > largest.amount(form.profile.rated)
            {
                reader.say_once(
                    "end",
                    "this is far above the start, and no pressure rises by itself; look again",
                );
            }
            let drop = a.zip(b).zip(s).map(|((a, b), s)| Entry::Drop(a, b, s));
            spoken_for(good, drop)
        }
        Ask::Hold { .. } => spoken_for(good, reader.seconds("held").map(Entry::Held)),
        Ask::Stages { want, .. } => {
            let (count, first, full) =
                (reader.count("count"), reader.seconds("first"), reader.seconds("full"));
            if good.is_none()
                && let Some(field) = left_out(want, count, first, full)
            {
                reader
                    .say_once(field, "note this too, or answer that the whole sequence was good or not good");
            }
            (good.is_some() || count.is_some() || first.is_some() || full.is_some())
                .then_some(Entry::Stages { count, first, full, good: good != Some(false) })
        }
    };
    if reader.problems.is_empty() { Ok(entry) } else { Err(reader.problems) }
}

/// A step that can be answered in a word or in numbers: "not good" is never outweighed by numbers.
fn spoken_for(good: Option<bool>, measured: Option<Entry>) -> Option<Entry> {
    match good {
        Some(false) => Some(Entry::NotGood),
        _ => measured.or_else(|| good.map(plain)),
    }
}

/// What must still be noted of a sequence before nothing speaks against it. A part that is already
/// outside its limit decides by itself.
fn left_out(
    want: &Sequence,
    count: Option<u8>,
    first: Option<Seconds>,
    full: Option<Seconds>,
) -> Option<&'static str> {
    let late = |t: Option<Seconds>, by: Option<Seconds>| t.zip(by).is_some_and(|(t, by)| t > by);
    let nothing = count.is_none() && first.is_none() && full.is_none();
    if nothing
        || count.is_some_and(|n| n != want.count)
        || late(first, want.first_by)
        || late(full, want.full_by)
    {
        return None;
    }
    if count.is_none() {
        return Some("count");
    }
    if first.is_none() && want.first_by.is_some() {
        return Some("first");
    }
    (full.is_none() && want.full_by.is_some()).then_some("full")
}

fn plain(good: bool) -> Entry {
    if good { Entry::Good } else { Entry::NotGood }
}

/// Reads the fields of one answer and gathers what cannot be read.
struct Reader<'a> {
    form: &'a Form,
    answer: &'a Answer,
    problems: Vec<Problem>,
}

impl Reader<'_> {
    fn say(&mut self, field: &str, say: &str) {
        self.problems.push(problem(self.answer, field, say));
    }

    fn say_once(&mut self, field: &str, say: &str) {
        if self.problems.is_empty() {
            self.say(field, say);
        }
    }

    fn good(&mut self) -> Option<bool> {
        match self.answer.values.get("good")? {
            Raw::Flag(b) => Some(*b),
            Raw::Text(t) if t == "yes" => Some(true),
            Raw::Text(t) if t == "no" => Some(false),
            other => {
                let say = format!("“{}” is neither yes nor no", other.text());
                self.say("good", &say);
                None
            }
        }
    }

    /// A step with a pressure: "good" alone does not answer it, "not good" (the gauge cannot be
    /// read, the alarm never sounded) does.
    fn measured(&mut self, good: Option<bool>, entry: Option<Entry>, wants: &str) -> Option<Entry> {
        match (good, entry) {
            (Some(false), _) => Some(Entry::NotGood),
            (_, Some(entry)) => Some(entry),
            (Some(true), None) => {
                self.say_once("good", &format!("this step wants the reading itself: {wants}"));
                None
            }
            (None, None) => None,
        }
    }

    fn pressure(&mut self, field: &str) -> Option<Pressure> {
        let text = self.answer.values.get(field)?.text();
        match text.parse::<Pressure>() {
            Ok(p) if p.amount() > self.form.absurd_above() => {
                let rated = self.form.profile.rated.words();
                let say =
                    format!("{} is more than half as much again as the rated {rated}; look again", p.words());
                self.say(field, &say);
                None
            }
            Ok(p) => Some(p),
            Err(e) => {
                self.say(field, &e.to_string());
                None
            }
        }
    }

    fn seconds(&mut self, field: &str) -> Option<Seconds> {
        let text = self.answer.values.get(field)?.text();
        match text.parse::<Seconds>() {
            Ok(s) if s.millis() > 600_000 => {
                self.say(field, "that is more than ten minutes; look again");
                None
            }
            Ok(s) => Some(s),
            Err(e) => {
                self.say(field, &e.to_string());
                None
            }
        }
    }

    fn count(&mut self, field: &str) -> Option<u8> {
        let text = self.answer.values.get(field)?.text();
        let count = text.trim().parse::<u8>().ok().filter(|n| *n <= 20);
        if count.is_none() {
            self.say(field, &format!("“{text}” is not a count; write a whole number from 0 to 20"));
        }
        count
    }
}
