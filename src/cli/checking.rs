//! `airmuster rules check` and `airmuster rules show`.

use std::fmt::Write as _;
use std::path::PathBuf;

use airmuster_domain::judge::ask_words;
use airmuster_domain::rules::{DEFAULT, Purpose, Table, parse, resolve};

use super::{Failure, print, read_input};

#[derive(Debug, clap::Subcommand)]
pub(super) enum Rules {
    /// Read a rule table and tell every problem with its line
    Check {
        /// The table, or - for standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Print the steps of a check with this profile's limits, or the profiles there are
    Show {
        /// Profile of the unit
        #[arg(long, value_name = "NAME")]
        profile: Option<String>,
        /// Which check
        #[arg(long, default_value = "shift-start", value_name = "PURPOSE")]
        purpose: String,
        /// Rule table; without it, the one that ships with the program
        #[arg(long, value_name = "FILE")]
        rules: Option<PathBuf>,
    },
}

impl Rules {
    pub(super) fn run(self) -> Result<(), Failure> {
        match self {
            Self::Check { file } => {
                let table = read_table(&read_input(&file)?)?;
                print(format_args!(
                    "{}, {}: {} steps, {} profiles\nsha-256 {}",
                    table.name,
                    table.edition,
                    table.steps.len(),
                    table.profiles.len(),
                    table.digest
                ))
            }
            Self::Show { profile, purpose, rules } => {
                let text = rules.map_or_else(|| Ok(DEFAULT.to_owned()), |p| read_input(&p))?;
                let table = read_table(&text)?;
                print(match profile {
                    None => profiles(&table)?,
                    Some(profile) => form(&table, &profile, &purpose)?,
                })
            }
        }
    }
}

fn read_table(text: &str) -> Result<Table, Failure> {
    parse(text).map_err(|e| Failure::input(e.to_string()))
}

fn profiles(table: &Table) -> Result<String, Failure> {
    let mut out = format!("{}, {}", table.name, table.edition);
    for (name, p) in &table.profiles {
        write!(out, "\n  {name:<18} {:<10} {}", p.rated.words(), p.title)?;
    }
    Ok(out)
}

fn form(table: &Table, profile: &str, purpose: &str) -> Result<String, Failure> {
    let purpose = Purpose::from_id(purpose)
        .ok_or_else(|| Failure::input(format!("“{purpose}” is not a purpose; see --help")))?;
    let form = resolve(table, profile, purpose).map_err(|e| Failure::input(e.to_string()))?;
    let mut out = format!("{} for {}", purpose.title(), form.profile.title);
    for group in &form.groups {
        write!(out, "\n\n{}", group.title)?;
        for s in form.steps.iter().filter(|s| s.step.group == group.id) {
            write!(out, "\n  {} [{}, else {}]", s.step.id, s.ask.id(), s.step.consequence.words())?;
            write!(out, "\n      {}", s.step.instruction)?;
            write!(out, "\n      right: {}", ask_words(s, &form))?;
            write!(out, "\n      basis: {}", s.step.basis)?;
        }
    }
    Ok(out)
}
