//! Making everything that is computed from the logbook anew, beside it, to compare the two.

use airmuster_domain::record::decode;
use sqlx::AssertSqlSafe;
use tempfile::TempDir;
use uuid::Uuid;

use super::error::{StoreError, undecodable};
use super::logbook::Unread;
use super::open::Store;

/// The tables that hold nothing but what follows from the logbook.
pub const COMPUTED: [&str; 37] = [
    "about",
    "attention",
    "unproven",
    "uncountersigned",
    "said",
    "ground",
    "claim",
    "check_row",
    "photo_named",
    "ticket",
    "ticket_entry",
    "ticket_ground",
    "acknowledged",
    "rule_table",
    "department",
    "countersigning",
    "identification",
    "cadence_set",
    "station",
    "rig",
    "seat",
    "asset",
    "holder",
    "member",
    "tablet",
    "gap_dealt",
    "upkeep",
    "upkeep_entry",
    "home",
    "placed",
    "rotation",
    "drive",
    "crew",
    "crew_seat",
    "ridden",
    "rig_accepted",
    "late_pull",
];

/// A database of its own that takes in the same records, one after the other.
#[derive(Debug)]
pub struct Anew {
    store: Store,
    // The files go when this goes.
    _dir: TempDir,
}

impl Anew {
    /// Begins with nothing.
    pub async fn begin() -> Result<Self, StoreError> {
        let dir = tempfile::tempdir().map_err(|_| StoreError::CannotOpen(std::env::temp_dir()))?;
        let store = Store::scratch(dir.path(), Uuid::nil()).await?;
        Ok(Self { store, _dir: dir })
    }

    /// Takes in the next rows of the logbook.
    pub async fn take(&self, rows: &[Unread]) -> Result<(), StoreError> {
        let mut write = self.store.begin().await?;
        for row in rows {
            let row = row.read()?;
            let record = decode(row.bytes).map_err(|e| undecodable(row.seq, &e))?;
            let place = write.append(&record, row.bytes, row.received_at);
            write.project(&record, place).await?;
        }
        write.commit().await
    }

    /// Every table in which `kept` says something else, with the first row that differs.
    pub async fn differences(&self, kept: &Store) -> Result<Vec<String>, StoreError> {
        let mut out = Vec::new();
        for table in COMPUTED {
            let (there, here) = (kept.rows_of(table).await?, self.store.rows_of(table).await?);
            let strange: Vec<&String> = there.iter().filter(|r| here.binary_search(r).is_err()).collect();
            let lacking: Vec<&String> = here.iter().filter(|r| there.binary_search(r).is_err()).collect();
            let count = strange.len().max(lacking.len());
            if let Some(first) = strange.first() {
                out.push(format!("{table}: {count} rows are not as the logbook gives them, first {first}"));
            } else if let Some(first) = lacking.first() {
                out.push(format!("{table}: {count} rows are missing, first {first}"));
            }
        }
        self.store.close().await;
        Ok(out)
    }
}

impl Store {
    /// All rows of a computed table as text, in order of their bytes.
    async fn rows_of(&self, table: &'static str) -> Result<Vec<String>, StoreError> {
        let columns: Vec<String> = sqlx::query_scalar("select name from pragma_table_info($1) order by cid")
            .bind(table)
            .fetch_all(&self.read)
            .await?;
        let quoted: Vec<String> = columns.iter().map(|c| format!("quote(\"{c}\")")).collect();
        // Names of tables and columns, from this program and its own schema.
        let sql = AssertSqlSafe(format!("select {} from {table}", quoted.join(" || ', ' || ")));
        let mut rows: Vec<String> = sqlx::query_scalar(sql).fetch_all(&self.read).await?;
        rows.sort_unstable();
        Ok(rows)
    }
}
