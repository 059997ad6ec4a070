//! `airmuster import`: a department's own data from tables, or an export back.

use std::path::{Path, PathBuf};

use super::{DataFolder, Failure, print, watched};
use crate::clock::Clock;
use crate::service::exchange::{ALL, Dates, Plan, is_zip, take_back};
use crate::service::{Intake, Origin};

#[derive(Debug, clap::Args)]
pub(super) struct Import {
    /// Folder with the database
    #[arg(long, env = "AIRMUSTER_DATA", value_name = "DIR", required_unless_present = "templates")]
    data: Option<PathBuf>,
    /// Folder with the tables (CSV), one of them, or an export (ZIP) for an empty folder
    #[arg(value_name = "FROM", required_unless_present = "templates")]
    from: Option<PathBuf>,
    /// Only look: tell every problem, take nothing in
    #[arg(long)]
    dry_run: bool,
    /// In which order dates like 03/04/2026 are written
    #[arg(long, value_name = "ORDER")]
    dates: Option<Order>,
    /// Write the tables to fill in into this folder, and nothing else
    #[arg(long, value_name = "DIR", conflicts_with_all = ["from", "dry_run", "dates"])]
    templates: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Order {
    DayMonth,
    MonthDay,
}

impl Import {
    pub(super) async fn run(self, clock: &Clock) -> Result<(), Failure> {
        if let Some(dir) = &self.templates {
            return write_templates(dir);
        }
        let (Some(data), Some(from)) = (self.data, self.from) else {
            return Err(Failure::input("name the folder with the database and the one with the tables"));
        };
        let dates = match self.dates {
            None => Dates::Unsaid,
            Some(Order::DayMonth) => Dates::DayFirst,
            Some(Order::MonthDay) => Dates::MonthFirst,
        };
        if is_zip(&from) {
            if self.dry_run || self.dates.is_some() {
                return Err(Failure::input("an export is taken back as it is, without --dry-run or --dates"));
            }
            let head = watched(Box::pin(take_back(&from, &data, clock))).await?;
            return print(format_args!(
                "{} records taken back; tablets hand in again what they still have\nhead {} epoch {}",
                head.seq, head.hash, head.epoch
            ));
        }
        let files = tables_in(&from)?;
        let store = DataFolder { data }.open_existing(clock).await?;
        let plan = watched(Box::pin(Plan::of(&store, clock.now(), dates, &files))).await?;
        if !plan.problems().is_empty() {
            store.close().await;
            let told: Vec<String> = plan.problems().iter().map(ToString::to_string).collect();
            return Err(Failure::input(format!(
                "nothing was taken in; put right first:\n{}",
                told.join("\n")
            )));
        }
        let words = plan.to_string();
        if !self.dry_run && !plan.is_empty() {
            let (intake, writer) = Intake::start(store.clone(), clock.clone());
            let taken = watched(Box::pin(plan.take_in(&intake, clock, None, &Origin::Console))).await;
            drop(intake);
            writer.await?;
            taken?;
        }
        store.close().await;
        let done = if self.dry_run { "nothing is wrong; it would take in" } else { "taken in:" };
        print(format_args!("{done} {words}"))
    }
}

/// The CSV files of a folder by name, or the one file that is named.
fn tables_in(from: &Path) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let unreadable = |path: &Path, e: &std::io::Error| super::unreadable(path, e);
    let mut paths = Vec::new();
    if from.is_dir() {
        for entry in std::fs::read_dir(from).map_err(|e| unreadable(from, &e))? {
            let path = entry.map_err(|e| unreadable(from, &e))?.path();
            if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv")) {
                paths.push(path);
            }
        }
        paths.sort();
        if paths.is_empty() {
            return Err(Failure::input(format!("there are no CSV files in {}", from.display())));
        }
    } else {
        paths.push(from.to_owned());
    }
    let read = |path: PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        Ok((name, std::fs::read(&path).map_err(|e| unreadable(&path, &e))?))
    };
    paths.into_iter().map(read).collect()
}

fn write_templates(dir: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(dir)?;
    for template in ALL {
        let path = dir.join(template.file());
        // What somebody has filled in already is not written over.
        let mut file = std::fs::File::create_new(&path)
            .map_err(|e| Failure::input(format!("{} cannot be written: {e}", path.display())))?;
        std::io::Write::write_all(&mut file, template.blank().as_bytes())?;
        let columns: Vec<String> =
            template.columns.iter().map(|c| format!("\n    {}: {}", c.name, c.help)).collect();
        print(format_args!("{}: {}{}", path.display(), template.about, columns.concat()))?;
    }
    Ok(())
}
