//! `airmuster judge`: the answers of one check in, the verdict out.

use std::collections::BTreeMap;
use std::path::PathBuf;

use airmuster_domain::judge::{Answer, Raw, judge};
use airmuster_domain::rules::{DEFAULT, Purpose, parse, resolve};

use super::{Failure, print_json, read_input};

#[derive(Debug, clap::Args)]
pub(super) struct Judge {
    /// Profile of the unit, like us-4500-third
    #[arg(long, value_name = "NAME")]
    profile: String,
    /// Rule table; without it, the one that ships with the program
    #[arg(long, value_name = "FILE")]
    rules: Option<PathBuf>,
    /// Which check: shift-start, after-use, periodic, proving or acceptance
    #[arg(long, default_value = "shift-start", value_name = "PURPOSE")]
    purpose: String,
    /// Answers in TOML, or - for standard input
    #[arg(value_name = "FILE")]
    answers: PathBuf,
}

impl Judge {
    pub(super) fn run(self) -> Result<(), Failure> {
        let text = match &self.rules {
            Some(path) => read_input(path)?,
            None => DEFAULT.to_owned(),
        };
        let table = parse(&text).map_err(|e| Failure::input(format!("the rule table has problems:\n{e}")))?;
        let purpose = Purpose::from_id(&self.purpose)
            .ok_or_else(|| Failure::input(format!("“{}” is not a purpose; see --help", self.purpose)))?;
        let form = resolve(&table, &self.profile, purpose).map_err(|e| Failure::input(e.to_string()))?;
        let answers = read_answers(&read_input(&self.answers)?)?;
        let judgement = judge(&form, &answers).map_err(|problems| {
            let lines: Vec<String> = problems
                .iter()
                .map(|p| match p.field.as_str() {
                    "" => format!("answers.{}: {}", p.step, p.say),
                    field => format!("answers.{}.{field}: {}", p.step, p.say),
                })
                .collect();
            Failure::input(lines.join("\n"))
        })?;
        print_json(&judgement)
    }
}

/// `[answers.STEP]` is one answer, `[[answers.STEP]]` several attempts. Beside the values an
/// answer may have `item`, the number of the facepiece or cylinder tried, and `note`.
fn read_answers(text: &str) -> Result<Vec<Answer>, Failure> {
    #[derive(serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct File {
        #[serde(default)]
        answers: BTreeMap<String, OneOrMore>,
    }
    #[derive(serde::Deserialize)]
    #[serde(untagged)]
    enum OneOrMore {
        One(BTreeMap<String, Raw>),
        More(Vec<BTreeMap<String, Raw>>),
    }
    let file: File =
        toml::from_str(text).map_err(|e| Failure::input(format!("the answers cannot be read: {e}")))?;
    let mut out = Vec::new();
    for (step, given) in file.answers {
        let tries = match given {
            OneOrMore::One(v) => vec![v],
            OneOrMore::More(v) => v,
        };
        for (attempt, mut values) in (1..).zip(tries) {
            let mut text = |key: &str| match values.remove(key) {
                None => Ok(None),
                Some(Raw::Text(t)) => Ok(Some(t.to_string())),
                Some(_) => Err(Failure::input(format!("answers.{step}.{key}: write it as text, in quotes"))),
            };
            let (item, note) = (text("item")?, text("note")?);
            let values = values.into_iter().map(|(field, value)| (field.into(), value)).collect();
            out.push(Answer { step: step.as_str().into(), attempt, item, values, note });
        }
    }
    Ok(out)
}
