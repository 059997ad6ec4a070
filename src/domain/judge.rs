//! What the answers of a check mean: findings with their arithmetic, and a verdict.
//!
//! An out-of-service answer counts from the moment it is given and is not taken back by a later
//! one, with two exceptions that the rules name: a trip point within one gauge division below its
//! bound may be tried once more, slower; and a failed facepiece or cylinder tags *itself*, so that
//! the unit's step can be answered again with another one.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::quantity::{Amount, Limit, Pressure, Seconds};
use crate::rules::{Ask, Band, Consequence, Form, FormStep, Sequence, Subject};

/// One value of an answer as it came in: a yes or no, a number without a unit, or a text.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Raw {
    /// Yes or no.
    Flag(bool),
    /// A whole number.
    Whole(i64),
    /// A number with decimals.
    Decimal(f64),
    /// A text: a reading with its unit, or the number of a thing.
    Text(String),
}

impl Raw {
    fn text(&self) -> String {
        match self {
            Self::Flag(b) => b.to_string(),
            Self::Whole(n) => n.to_string(),
            Self::Decimal(n) => n.to_string(),
            Self::Text(t) => t.clone(),
        }
    }
}

/// The values of an answer by field.
pub type Values = BTreeMap<String, Raw>;

/// An answer to a step. The second attempt at a step is a second answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// The step's id.
    pub step: String,
    /// 1 for the first answer to this step, 2 for the next.
    #[serde(rename = "try", default = "first")]
    pub attempt: u8,
    /// The facepiece or cylinder that was tried, where it has a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// What was entered.
    pub values: Values,
    /// In the member's own words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

const fn first() -> u8 {
    1
}

/// What was wrong with an entry, at its field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("{step}: {say}")]
pub struct Problem {
    /// The step's id.
    pub step: String,
    /// Which attempt.
    pub attempt: u8,
    /// The field of the answer, or empty for the answer as a whole.
    pub field: String,
    /// What to do.
    pub say: String,
}

/// An entry that could be read, according to its step.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Entry {
    Good,
    NotGood,
    Reading(Pressure),
    Pair(Pressure, Pressure),
    Drop(Pressure, Pressure, Seconds),
    Held(Seconds),
    Stages { count: Option<u8>, first: Option<Seconds>, full: Option<Seconds>, good: bool },
}

/// An answer outside its limit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The step's id.
    pub step: String,
    /// The step's title.
    pub title: String,
    /// Which attempt, from 1.
    #[serde(rename = "try")]
    pub attempt: u8,
    /// The facepiece or cylinder that failed, where it was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
    /// What the step looks at.
    pub subject: Subject,
    /// What follows.
    pub consequence: Consequence,
    /// Whether a later answer in the same check settled it, so that the unit's step stands as done.
    pub settled: bool,
    /// Whether the rules allow one slower repeat before this stands.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub repeat: bool,
    /// What was entered, as it was read.
    pub entered: String,
    /// The limit that governs.
    pub limit: String,
    /// The arithmetic, in words.
    pub working: String,
    /// Where the limit comes from.
    pub basis: String,
}

/// The outcome of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Everything asked is answered and nothing speaks against it.
    InService,
    /// Something is to be put right and answered again.
    PutRight,
    /// Answers are missing.
    Incomplete,
    /// The unit does not ride.
    OutOfService,
}

/// What the judge says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Judgement {
    /// The outcome.
    pub verdict: Verdict,
    /// Findings in the order of the form.
    pub findings: Vec<Finding>,
    /// Steps without an answer, in the order of the form.
    pub missing: Vec<String>,
    /// Steps answered that this profile or this check does not ask.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_asked: Vec<String>,
    /// Steps whose last answer is good, or only a remark.
    #[serde(skip)]
    pub good: BTreeSet<String>,
}

/// Judges the answers of one check.
///
/// An out-of-service finding decides even where answers are missing; what is missing is looked at
/// before what is to be put right.
///
/// # Errors
/// Every entry that cannot be read, with its field. Nothing is judged then.
pub fn judge(form: &Form, answers: &[Answer]) -> Result<Judgement, Vec<Problem>> {
    let (read, problems) = read_all(form, answers);
    if problems.is_empty() { Ok(judge_read(form, read)) } else { Err(problems) }
}

/// Judges what can be read; an answer that cannot counts as missing. For records: they are kept
/// whatever they hold, and what cannot be read must never count as good.
pub fn judge_readable(form: &Form, answers: &[Answer]) -> (Judgement, Vec<Problem>) {
    let (read, problems) = read_all(form, answers);
    (judge_read(form, read), problems)
}

struct Read<'a> {
    tries: Vec<Vec<(&'a Answer, Entry)>>,
    not_asked: Vec<String>,
}

fn read_all<'a>(form: &Form, answers: &'a [Answer]) -> (Read<'a>, Vec<Problem>) {
    let mut read = Read { tries: vec![Vec::new(); form.steps.len()], not_asked: Vec::new() };
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
            if form.not_asked.contains(&answer.step) {
                read.not_asked.push(answer.step.clone());
            } else {
                problems.push(problem(answer, "", "there is no such step in this rule table"));
            }
            continue;
        };
        at = i;
        match read_entry(&form.steps[i].ask, form, answer) {
            Ok(None) => {}
            Ok(Some(entry)) if read.tries[i].iter().all(|(a, _)| a.attempt != answer.attempt) => {
                read.tries[i].push((answer, entry));
            }
            Ok(Some(_)) => problems.push(problem(answer, "", "this attempt is answered twice")),
            Err(mut p) => problems.append(&mut p),
        }
    }
    for tries in &mut read.tries {
        tries.sort_by_key(|(a, _)| a.attempt);
    }
    (read, problems)
}

fn problem(answer: &Answer, field: &str, say: &str) -> Problem {
    Problem {
        step: answer.step.clone(),
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
        Ask::Drop { .. } => {
            let (a, b) = (reader.pressure("start"), reader.pressure("end"));
            let s = reader.seconds("seconds");
            let given = [a.is_some(), b.is_some(), s.is_some()];
            if given.contains(&true) && given.contains(&false) {
                let field = ["start", "end", "seconds"][given.iter().position(|g| !g).unwrap_or(0)];
                reader.say_once(field, "start, end and the seconds between are all needed");
            }
            a.zip(b).zip(s).map(|((a, b), s)| Entry::Drop(a, b, s)).or_else(|| good.map(plain))
        }
        Ask::Hold { .. } => reader.seconds("held").map(Entry::Held).or_else(|| good.map(plain)),
        Ask::Stages { .. } => {
            let (count, first, full) =
                (reader.count("count"), reader.seconds("first"), reader.seconds("full"));
            (good.is_some() || count.is_some() || first.is_some() || full.is_some())
                .then_some(Entry::Stages { count, first, full, good: good != Some(false) })
        }
    };
    if reader.problems.is_empty() { Ok(entry) } else { Err(reader.problems) }
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

/// What one answer comes to.
enum Outcome {
    Good,
    Bad { consequence: Consequence, repeat: bool, entered: String, limit: String, working: String },
}

fn judge_read(form: &Form, read: Read<'_>) -> Judgement {
    let mut findings = Vec::new();
    let mut missing = Vec::new();
    let mut good = BTreeSet::new();
    let mut worst = Verdict::InService;
    for (step, tries) in form.steps.iter().zip(&read.tries) {
        if tries.is_empty() {
            missing.push(step.step.id.clone());
            continue;
        }
        let done = judge_step(form, step, tries, &mut findings);
        if done.satisfied {
            good.insert(step.step.id.clone());
        }
        worst = worst.max(done.verdict);
    }
    if worst != Verdict::OutOfService && !missing.is_empty() {
        worst = Verdict::Incomplete;
    }
    Judgement { verdict: worst, findings, missing, not_asked: read.not_asked, good }
}

struct StepDone {
    satisfied: bool,
    verdict: Verdict,
}

fn judge_step(
    form: &Form,
    step: &FormStep,
    tries: &[(&Answer, Entry)],
    findings: &mut Vec<Finding>,
) -> StepDone {
    let from = findings.len();
    let mut failed: BTreeMap<Option<&str>, u8> = BTreeMap::new();
    let mut satisfied = false;
    for (i, (answer, entry)) in tries.iter().enumerate() {
        let outcome = weigh(form, step, entry);
        let Outcome::Bad { mut consequence, repeat, entered, limit, mut working } = outcome else {
            // A thing that failed for good in this check does not become good by trying again.
            satisfied = !findings[from..].iter().any(|f| stands_against(f, answer));
            continue;
        };
        let count = failed.entry(answer.item.as_deref()).or_default();
        *count += 1;
        if consequence == Consequence::PutRight && *count >= step.step.tries {
            consequence = Consequence::OutOfService;
            working.push_str("; it could not be put right");
        }
        satisfied =
            consequence == Consequence::Remark && !findings[from..].iter().any(|f| stands_against(f, answer));
        findings.push(Finding {
            step: step.step.id.clone(),
            title: step.step.title.clone(),
            attempt: answer.attempt,
            item: answer.item.clone(),
            subject: step.step.subject,
            consequence,
            settled: consequence == Consequence::Remark,
            // The allowance is for the first try only.
            repeat: repeat && i == 0,
            entered,
            limit,
            working,
            basis: basis(step),
        });
    }
    let mut verdict = Verdict::InService;
    for f in &mut findings[from..] {
        f.settled |= satisfied;
        if f.repeat && tries.len() > 1 {
            // The slower repeat has been made: it decides.
            f.repeat = false;
            if satisfied {
                f.consequence = Consequence::Remark;
            }
        }
        if !f.settled {
            verdict = verdict.max(match f.consequence {
                Consequence::OutOfService => Verdict::OutOfService,
                Consequence::PutRight => Verdict::PutRight,
                Consequence::Remark => Verdict::InService,
            });
        }
    }
    StepDone { satisfied, verdict }
}

/// Whether an earlier finding of the step cannot be settled by this answer, had it been good.
fn stands_against(f: &Finding, answer: &Answer) -> bool {
    f.consequence == Consequence::OutOfService
        && !f.repeat
        && !(f.subject.is_separate() && f.item.is_some() && answer.item.is_some() && f.item != answer.item)
}

fn basis(step: &FormStep) -> String {
    match &step.ask {
        Ask::Trip(band) => band.basis.clone(),
        Ask::Stages { want, .. } => want.basis.clone(),
        _ => step.step.basis.clone(),
    }
}

fn weigh(form: &Form, step: &FormStep, entry: &Entry) -> Outcome {
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
    let mut out = format!("{} stages in order", want.count);
    match (want.first_from, want.first_by) {
        (Some(a), Some(b)) => out.push_str(&format!(", the first between {a} and {b}")),
        (None, Some(b)) => out.push_str(&format!(", the first by {b}")),
        (Some(a), None) => out.push_str(&format!(", the first not before {a}")),
        (None, None) => {}
    }
    if let Some(by) = want.full_by {
        out.push_str(&format!(", full alarm by {by}"));
    }
    out
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
    let mut working = format!(
        "started at {}: {by} {side} {}{share}; {}",
        read_words(p, rated),
        wall.amount(rated).words(unit),
        band.title
    );
    if repeat {
        working.push_str("; within one gauge division: one slower repeat is allowed");
    }
    Outcome::Bad { consequence, repeat, entered: p.to_string(), limit: band_words(band, rated), working }
}
