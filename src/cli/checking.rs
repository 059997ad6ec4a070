//! `airmuster rules check` and `airmuster rules show`.

use std::path::PathBuf;

use airmuster_domain::judge::ask_words;
use airmuster_domain::rules::{DEFAULT, Purpose, Table, parse, resolve};

use super::{Failure, read_input};

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
                println!(
                    "{}, {}: {} steps, {} profiles\nsha-256 {}",
                    table.name,
                    table.edition,
                    table.steps.len(),
                    table.profiles.len(),
                    table.digest
                );
                Ok(())
            }
            Self::Show { profile, purpose, rules } => {
                let text = rules.map_or_else(|| Ok(DEFAULT.to_owned()), |p| read_input(&p))?;
                let table = read_table(&text)?;
                match profile {
                    None => show_profiles(&table),
                    Some(profile) => show_form(&table, &profile, &purpose)?,
                }
                Ok(())
            }
        }
    }
}

fn read_table(text: &str) -> Result<Table, Failure> {
    parse(text).map_err(|e| Failure::input(e.to_string()))
}

fn show_profiles(table: &Table) {
    println!("{}, {}", table.name, table.edition);
    for (name, p) in &table.profiles {
        println!("  {name:<18} {:<10} {}", p.rated.words(), p.title);
    }
}

fn show_form(table: &Table, profile: &str, purpose: &str) -> Result<(), Failure> {
    let purpose = Purpose::from_id(purpose)
        .ok_or_else(|| Failure::input(format!("“{purpose}” is not a purpose; see --help")))?;
    let form = resolve(table, profile, purpose).map_err(|e| Failure::input(e.to_string()))?;
    println!("{} for {}", purpose.title(), form.profile.title);
    for group in &form.groups {
        println!("\n{}", group.title);
        for s in form.steps.iter().filter(|s| s.step.group == group.id) {
            println!("  {} [{}, else {}]", s.step.id, s.ask.id(), s.step.consequence.words());
            println!("      {}", s.step.instruction);
            println!("      right: {}", ask_words(s, &form));
            println!("      basis: {}", s.step.basis);
        }
    }
    Ok(())
}
