//! Backups that make themselves: one a night, proved, with a copy elsewhere, and old ones put away.
//!
//! A backup is called by its local day. It is due from three in the morning on, and made up for as
//! soon as the program runs again. Kept are the newest ones and, for ever, the first of each month.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use airmuster_domain::Millis;
use airmuster_domain::shift::ShiftClock;
use chrono::{NaiveDate, Timelike as _};

use super::backup::{BackupError, back_up, part_of, put};
use crate::clock::Clock;
use crate::store::Store;

/// From this local hour on the day's backup is due: between shifts, when little is written.
const HOUR: u32 = 3;

/// Where backups go, and how many stay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nightly {
    /// The folder.
    pub folder: PathBuf,
    /// Another folder, best on another machine: each backup is copied there.
    pub copy: Option<PathBuf>,
    /// How many of the newest stay beside the first of each month.
    pub keep: usize,
}

impl Nightly {
    /// Makes the backup of this day if it is due and not there yet; says where it is. What is missing
    /// in the second folder is copied again, so that a folder that was away for a night catches up.
    ///
    /// # Errors
    /// When it cannot be written, proved or copied. What was made before stays.
    pub async fn run(&self, store: &Store, clock: &Clock) -> Result<Option<PathBuf>, BackupError> {
        let shift = store.department().await?.clock;
        let Some(day) = due(&shift, clock.now()) else { return Ok(None) };
        let at = |e| BackupError::File(self.folder.clone(), e);
        std::fs::create_dir_all(&self.folder).map_err(at)?;
        let file = self.folder.join(name_of(day));
        let made = !file.exists();
        if made {
            back_up(store, clock, &file).await?;
            put_away(&self.folder, self.keep)?;
        }
        if let Some(folder) = &self.copy {
            copy_to(&file, folder)?;
            put_away(folder, self.keep)?;
        }
        Ok(made.then_some(file))
    }
}

/// The local day whose backup is due.
fn due(shift: &ShiftClock, now: Millis) -> Option<NaiveDate> {
    let local = shift.local(now);
    (local.hour() >= HOUR).then(|| local.date_naive())
}

fn name_of(day: NaiveDate) -> String {
    format!("airmuster-{}.db", day.format("%Y-%m-%d"))
}

/// The day of a backup by its name; nothing for any other file, which is left alone.
fn day_of(name: &str) -> Option<NaiveDate> {
    let day = name.strip_prefix("airmuster-")?.strip_suffix(".db")?;
    NaiveDate::parse_from_str(day, "%Y-%m-%d").ok().filter(|d| name_of(*d) == name)
}

/// Copies a backup, whole or not at all, and reads it back: byte for byte what was proved.
fn copy_to(file: &Path, folder: &Path) -> Result<(), BackupError> {
    let target = folder.join(file.file_name().unwrap_or_default());
    if target.exists() {
        return Ok(());
    }
    let failed = |e| BackupError::File(folder.to_owned(), e);
    // Not made here: where another disk is not mounted, its folder would hide that.
    if !folder.is_dir() {
        return Err(failed(std::io::Error::from(std::io::ErrorKind::NotFound)));
    }
    let part = part_of(&target);
    std::fs::copy(file, &part).map_err(failed)?;
    if same(file, &part).map_err(failed)? {
        put(&part, &target)
    } else {
        let _ = std::fs::remove_file(&part);
        Err(BackupError::Unsound(format!("the copy in {} is another", folder.display())))
    }
}

/// Whether two files have the same bytes.
fn same(one: &Path, other: &Path) -> std::io::Result<bool> {
    use std::io::{BufRead as _, BufReader};
    let mut one = BufReader::with_capacity(64 * 1024, std::fs::File::open(one)?);
    let mut other = BufReader::with_capacity(64 * 1024, std::fs::File::open(other)?);
    loop {
        let (a, b) = (one.fill_buf()?, other.fill_buf()?);
        let n = a.len().min(b.len());
        if n == 0 {
            return Ok(a.len() == b.len());
        }
        if a[..n] != b[..n] {
            return Ok(false);
        }
        one.consume(n);
        other.consume(n);
    }
}

fn put_away(folder: &Path, keep: usize) -> Result<(), BackupError> {
    let failed = |e| BackupError::File(folder.to_owned(), e);
    let mut days = BTreeSet::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        days.extend(entry.map_err(failed)?.file_name().to_str().and_then(day_of));
    }
    for day in superfluous(&days, keep) {
        let path = folder.join(name_of(day));
        std::fs::remove_file(&path).map_err(|e| BackupError::File(path.clone(), e))?;
    }
    Ok(())
}

/// Which days need not be kept: neither among the newest nor the first of their month.
fn superfluous(days: &BTreeSet<NaiveDate>, keep: usize) -> Vec<NaiveDate> {
    use chrono::Datelike as _;
    let mut months = BTreeSet::new();
    let first: BTreeSet<NaiveDate> =
        days.iter().copied().filter(|d| months.insert((d.year(), d.month()))).collect();
    days.iter().rev().skip(keep.max(1)).copied().filter(|d| !first.contains(d)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_and_the_first_of_each_month_stay() {
        let day = |m, d| NaiveDate::from_ymd_opt(2026, m, d).unwrap();
        let days: BTreeSet<NaiveDate> =
            [day(1, 5), day(1, 6), day(2, 1), day(2, 2), day(2, 3), day(3, 9), day(3, 10)].into();
        assert_eq!(superfluous(&days, 2), [day(2, 3), day(2, 2), day(1, 6)]);
        assert_eq!(superfluous(&days, 0).len(), 3, "the newest stays whatever is asked for");
        assert!(superfluous(&days, 30).is_empty());
    }

    #[test]
    fn only_names_of_ours_are_backups() {
        assert!(day_of("airmuster-2026-11-25.db").is_some());
        for name in
            ["airmuster.db", "airmuster-2026-11-25.db.part", "airmuster-2026-1-5.db", "x-2026-11-25.db"]
        {
            assert_eq!(day_of(name), None, "{name}");
        }
    }

    #[test]
    fn a_backup_is_due_from_three_in_the_morning_by_the_stations_clock() {
        let shift = ShiftClock::read("America/Denver", "07:00", 24, 60, 60).unwrap();
        // 2026-11-25 09:59 UTC is 02:59 there.
        let at = 1_795_600_740_000;
        assert_eq!(due(&shift, at), None);
        assert_eq!(due(&shift, at + 60_000), NaiveDate::from_ymd_opt(2026, 11, 25));
    }
}
