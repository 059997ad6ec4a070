//! From TOML text to a [`Table`], or to every problem with the line it stands in.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use serde::Deserialize;
use sha2::{Digest, Sha256};
use toml::Spanned;

use super::table::{
    Alarm, Consequence, Group, Kind, Profile, Purpose, Stages, StagesOf, Step, Subject, Table,
};
use crate::quantity::{Limit, Seconds};

/// One problem of a rule table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableProblem {
    /// Line in the text, from 1.
    pub line: usize,
    /// What is wrong and what to write instead.
    pub say: String,
}

/// All problems of a rule table, by line.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct TableErrors(pub Vec<TableProblem>);

impl fmt::Display for TableErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, p) in self.0.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            write!(f, "line {}: {}", p.line, p.say)?;
        }
        Ok(())
    }
}

/// A rule table's text: no more than this many bytes.
pub const LONGEST: usize = 512 * 1024;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    format: Spanned<u32>,
    name: String,
    edition: String,
    #[serde(default)]
    alarms: BTreeMap<String, Spanned<Alarm>>,
    #[serde(default)]
    stages: BTreeMap<String, Stages>,
    profiles: BTreeMap<String, Spanned<Profile>>,
    groups: Vec<Group>,
    steps: Vec<Spanned<RawStep>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawStep {
    id: String,
    group: String,
    kind: String,
    title: String,
    #[serde(rename = "do")]
    instruction: String,
    #[serde(default)]
    right: String,
    #[serde(default)]
    when_wrong: String,
    caution: Option<String>,
    #[serde(default)]
    subject: Subject,
    consequence: Consequence,
    tries: Option<u8>,
    #[serde(default)]
    tell: String,
    basis: String,
    #[serde(default)]
    needs: Vec<String>,
    #[serde(default)]
    profiles: Vec<String>,
    checks: Option<BTreeSet<Purpose>>,
    touches: Option<Vec<String>>,
    least: Option<Seconds>,
    above: Option<Limit>,
    at_least: Option<toml::Value>,
    at_most: Option<Limit>,
    largest: Option<toml::Value>,
    within: Option<Seconds>,
    which: Option<StagesOf>,
}

/// Reads a rule table.
///
/// # Errors
/// Every problem found, each with its line.
pub fn parse(text: &str) -> Result<Table, TableErrors> {
    if text.len() > LONGEST {
        let say = format!("the table is {} bytes long; at most {LONGEST} are read", text.len());
        return Err(TableErrors(vec![TableProblem { line: 1, say }]));
    }
    let line_of = |at: usize| 1 + text.get(..at).unwrap_or(text).matches('\n').count();
    let raw: Raw = toml::from_str(text).map_err(|e| {
        let line = e.span().map_or(1, |s| line_of(s.start));
        TableErrors(vec![TableProblem { line, say: e.message().to_owned() }])
    })?;
    let mut problems = Vec::new();
    let mut tell = |at: usize, say: String| problems.push(TableProblem { line: line_of(at), say });

    if *raw.format.get_ref() != 1 {
        tell(
            raw.format.span().start,
            format!("format {} is not known; this program reads format 1", raw.format.get_ref()),
        );
    }
    check_profiles(&raw, &mut tell);
    let groups: BTreeSet<&str> = raw.groups.iter().map(|g| g.id.as_str()).collect();
    let parts: BTreeSet<&str> =
        raw.profiles.values().flat_map(|p| p.get_ref().fitted.iter().map(String::as_str)).collect();
    let ids: BTreeSet<&str> = raw.steps.iter().map(|s| s.get_ref().id.as_str()).collect();
    let mut seen = BTreeSet::new();
    let mut steps = Vec::with_capacity(raw.steps.len());
    for spanned in &raw.steps {
        let (at, step) = (spanned.span().start, spanned.get_ref());
        let mut tell = |say: String| tell(at, format!("step “{}”: {say}", step.id));
        if !is_id(&step.id) {
            tell("an id is lower-case letters, digits and hyphens, at most 40".to_owned());
        }
        if !seen.insert(step.id.as_str()) {
            tell("this id stands in the table already".to_owned());
        }
        if !groups.contains(step.group.as_str()) {
            tell(format!("there is no group “{}”", step.group));
        }
        for part in step.needs.iter().filter(|p| !parts.contains(p.as_str())) {
            tell(format!("no profile has “{part}” fitted"));
        }
        for name in step.profiles.iter().filter(|p| !raw.profiles.contains_key(p.as_str())) {
            tell(format!("there is no profile “{name}”"));
        }
        for other in step.touches.iter().flatten().filter(|o| !ids.contains(o.as_str())) {
            tell(format!("there is no step “{other}” that it could touch"));
        }
        if step.basis.trim().is_empty() {
            tell(
                "basis is empty; name the source, or write: common practice, no published source".to_owned(),
            );
        }
        if step.tries.is_some_and(|t| t == 0 || t > 5) {
            tell("tries is from 1 to 5".to_owned());
        }
        match kind_of(step) {
            Ok(kind) => steps.push(step_of(step, kind)),
            Err(say) => tell(say),
        }
    }
    if !problems.is_empty() {
        problems.sort_by_key(|p| p.line);
        return Err(TableErrors(problems));
    }
    Ok(Table {
        name: raw.name,
        edition: raw.edition,
        alarms: raw.alarms.into_iter().map(|(k, v)| (k, v.into_inner())).collect(),
        stages: raw.stages,
        profiles: raw.profiles.into_iter().map(|(k, v)| (k, v.into_inner())).collect(),
        groups: raw.groups,
        steps,
        digest: hex(&Sha256::digest(text.as_bytes())),
    })
}

fn check_profiles(raw: &Raw, tell: &mut impl FnMut(usize, String)) {
    if raw.profiles.is_empty() {
        tell(0, "a table needs at least one profile".to_owned());
    }
    for (name, spanned) in &raw.profiles {
        let (at, p) = (spanned.span().start, spanned.get_ref());
        let mut tell = |say: String| tell(at, format!("profile “{name}”: {say}"));
        if !is_id(name) {
            tell("a name is lower-case letters, digits and hyphens, at most 40".to_owned());
        }
        if p.rated.amount().exact().0 == 0 {
            tell("rated is zero".to_owned());
        }
        if p.division.amount() > p.rated.amount() {
            tell("a gauge division cannot be larger than the rated pressure".to_owned());
        }
        match raw.alarms.get(&p.alarm) {
            None => tell(format!("there is no alarm “{}”", p.alarm)),
            Some(alarm) => {
                let a = alarm.get_ref();
                let (low, out) = (a.at_least.amount(p.rated), a.out_above.amount(p.rated));
                let remark = a.remark_above.map_or(out, |l| l.amount(p.rated));
                if low > remark || remark > out {
                    tell(format!("the band of alarm “{}” runs backwards", p.alarm));
                }
            }
        }
        for stages in p.motion.iter().chain(&p.display) {
            if !raw.stages.contains_key(stages) {
                tell(format!("there are no stages “{stages}”"));
            }
        }
    }
}

/// The kind of a step; `Err` says which limit is missing or out of place.
fn kind_of(s: &RawStep) -> Result<Kind, String> {
    let given = [
        ("above", s.above.is_some()),
        ("at_least", s.at_least.is_some()),
        ("at_most", s.at_most.is_some()),
        ("largest", s.largest.is_some()),
        ("within", s.within.is_some()),
        ("which", s.which.is_some()),
    ];
    let allow = |names: &[&str]| match given.iter().find(|(n, on)| *on && !names.contains(n)) {
        Some((n, _)) => Err(format!("“{n}” means nothing for a step of kind “{}”", s.kind)),
        None => Ok(()),
    };
    let missing = |name: &str| format!("a step of kind “{}” needs “{name}”", s.kind);
    match s.kind.as_str() {
        "identity" => allow(&[]).map(|()| Kind::Identity),
        "confirm" => allow(&[]).map(|()| Kind::Confirm),
        "trip" => allow(&[]).map(|()| Kind::Trip),
        "reading" => {
            allow(&["above", "at_least", "at_most"])?;
            let at_least = s.at_least.as_ref().map(limit).transpose()?;
            if s.above.is_none() && at_least.is_none() && s.at_most.is_none() {
                return Err(missing("above”, “at_least” or “at_most"));
            }
            Ok(Kind::Reading { above: s.above, at_least, at_most: s.at_most })
        }
        "pair" => {
            allow(&["largest"])?;
            let largest = match s.largest.as_ref().ok_or_else(|| missing("largest"))? {
                toml::Value::Array(all) if !all.is_empty() => {
                    all.iter().map(limit).collect::<Result<_, _>>()?
                }
                one => vec![limit(one)?],
            };
            Ok(Kind::Pair { largest })
        }
        "drop" => {
            allow(&["largest", "within"])?;
            let largest = limit(s.largest.as_ref().ok_or_else(|| missing("largest"))?)?;
            Ok(Kind::Drop { largest, within: s.within.ok_or_else(|| missing("within"))? })
        }
        "hold" => {
            allow(&["at_least"])?;
            let value = s.at_least.as_ref().ok_or_else(|| missing("at_least"))?;
            Ok(Kind::Hold { at_least: text(value)?.parse().map_err(|e| format!("at_least: {e}"))? })
        }
        "stages" => {
            allow(&["which"])?;
            Ok(Kind::Stages(s.which.ok_or_else(|| missing("which"))?))
        }
        other => Err(format!(
            "“{other}” is not a kind; use identity, confirm, reading, pair, drop, hold, stages or trip"
        )),
    }
}

fn text(value: &toml::Value) -> Result<&str, String> {
    value.as_str().ok_or_else(|| format!("write “{value}” as text with its unit, in quotes"))
}

fn limit(value: &toml::Value) -> Result<Limit, String> {
    text(value)?.parse().map_err(|e| format!("{e}, or as a share: “10 % of rated”"))
}

fn step_of(s: &RawStep, kind: Kind) -> Step {
    Step {
        id: s.id.clone(),
        group: s.group.clone(),
        title: s.title.clone(),
        instruction: s.instruction.clone(),
        right: s.right.clone(),
        when_wrong: s.when_wrong.clone(),
        caution: s.caution.clone(),
        kind,
        subject: s.subject,
        consequence: s.consequence,
        tries: s.tries.unwrap_or(2),
        tell: s.tell.clone(),
        basis: s.basis.clone(),
        needs: s.needs.clone(),
        profiles: s.profiles.clone(),
        checks: s.checks.clone().unwrap_or_else(|| Purpose::ALL.into()),
        touches: s.touches.clone(),
        least: s.least.unwrap_or(Seconds::ZERO),
    }
}

/// Whether a text can name a step or a profile.
fn is_id(s: &str) -> bool {
    (1..=40).contains(&s.len())
        && s.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

/// Bytes in lower-case hexadecimal.
fn hex(bytes: &[u8]) -> String {
    use fmt::Write;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut out, b| {
        let _ = write!(out, "{b:02x}");
        out
    })
}
