//! A migration must work on a database that is in use, so each brings sample data (`migrations/NAME.sql` beside
//! this file) that is filled in right after it, and the next one meets a populated database.

use std::fs;
use std::path::{Path, PathBuf};

use sqlx::migrate::Migrator;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{AssertSqlSafe, Connection as _, SqliteConnection};

static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

fn sample_of(migration: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/migrations").join(format!("{migration}.sql"))
}

/// File names of the migrations without their ending, by version.
fn migrations() -> Vec<(i64, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut found: Vec<(i64, String)> = fs::read_dir(folder)
        .expect("the migrations' folder")
        .map(|entry| {
            let path = entry.expect("a readable entry").path();
            let name = path.file_stem().expect("a named file").to_string_lossy().into_owned();
            let version = name.split('_').next().and_then(|v| v.parse().ok()).expect("a number first");
            (version, name)
        })
        .collect();
    found.sort();
    found
}

async fn empty() -> SqliteConnection {
    let options =
        SqliteConnectOptions::new().in_memory(true).foreign_keys(true).pragma("recursive_triggers", "ON");
    SqliteConnection::connect_with(&options).await.expect("a database in memory")
}

async fn run(db: &mut SqliteConnection, sql: &str) -> sqlx::Result<()> {
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(db).await.map(drop)
}

/// A database brought up as one in use would have been: a migration, its sample, the next migration.
async fn populated() -> SqliteConnection {
    let mut db = empty().await;
    for (version, name) in migrations() {
        MIGRATOR.run_to(version, &mut db).await.unwrap_or_else(|e| panic!("{name}: {e}"));
        let sample = fs::read_to_string(sample_of(&name))
            .unwrap_or_else(|e| panic!("{name} needs sample data in tests/migrations/{name}.sql: {e}"));
        run(&mut db, &sample).await.unwrap_or_else(|e| panic!("the sample of {name}: {e}"));
    }
    db
}

async fn tables(db: &mut SqliteConnection) -> Vec<(String, bool)> {
    sqlx::query_as(
        "select name, strict from pragma_table_list
         where schema = 'main' and type = 'table' and name not like 'sqlite_%' and name not like '_sqlx_%'",
    )
    .fetch_all(db)
    .await
    .expect("the list of tables")
}

#[tokio::test]
async fn every_migration_meets_the_data_of_those_before_it() {
    let mut db = populated().await;
    let applied: i64 = sqlx::query_scalar("select count(*) from _sqlx_migrations")
        .fetch_one(&mut db)
        .await
        .expect("a count");
    assert_eq!(usize::try_from(applied), Ok(migrations().len()));
    let dangling = sqlx::query("pragma foreign_key_check").fetch_all(&mut db).await.expect("a check");
    assert!(dangling.is_empty(), "rows point at nothing");
    let sound: String =
        sqlx::query_scalar("pragma integrity_check").fetch_one(&mut db).await.expect("a check");
    assert_eq!(sound, "ok");
}

#[tokio::test]
async fn every_table_has_a_sample_and_is_strict() {
    let mut db = populated().await;
    let tables = tables(&mut db).await;
    assert!(tables.len() > 1);
    for (table, strict) in tables {
        assert!(strict, "{table} is not strict");
        let count = AssertSqlSafe(format!("select count(*) from {table}"));
        let rows: i64 = sqlx::query_scalar(count).fetch_one(&mut db).await.expect("a count");
        assert!(rows > 0, "{table} has no row in the samples");
    }
}

#[tokio::test]
async fn a_migration_that_the_old_rows_do_not_fit_is_caught_by_the_samples() {
    let careless = "alter table station add column town text not null";
    let mut unused = empty().await;
    MIGRATOR.run(&mut unused).await.expect("the migrations");
    run(&mut unused, careless).await.expect("an empty database lets it through");
    run(&mut populated().await, careless).await.expect_err("a populated one does not");
}

#[tokio::test]
async fn a_late_record_of_a_unit_that_was_moved_since_is_told_after_the_migration() {
    const HOUR: i64 = 3_600_000;
    let mut db = empty().await;
    MIGRATOR.run_to(17, &mut db).await.expect("the migrations before");
    // Unit 1 left its seat after what the record tells, unit 2 before it; unit 3's record was in time.
    for (n, left, received) in
        [(1, 2 * HOUR, 3 * HOUR), (2, HOUR / 2, 3 * HOUR), (3, 2 * HOUR, HOUR + 60_000)]
    {
        let rows = format!(
            "insert into logbook (seq, id, digest, kind, version, tablet, event_at, received_at, client, previous, hash, bytes)
             values ({n}1, 'p{n}', zeroblob(32), 'moved', 1, 'd', 0, 0, 't', zeroblob(32), zeroblob(32), x'7b7d'),
                    ({n}2, 'm{n}', zeroblob(32), 'moved', 1, 'd', 0, 0, 't', zeroblob(32), zeroblob(32), x'7b7d'),
                    ({n}3, 'o{n}', zeroblob(32), 'taken_out', 1, 'd', {HOUR}, {received}, 't', zeroblob(32), zeroblob(32), x'7b7d');
             insert into placed (unit, seq, since, at, place)
             values ('{n}', {n}1, 0, 'seat', 's'), ('{n}', {n}2, {left}, 'bench', '');
             insert into ground (asset, key, kind, from_id, detail, seq)
             values ('unit:{n}', 'taken-out/{n}', 'taken-out', 'o{n}', '{{}}', {n}3)"
        );
        run(&mut db, &rows).await.expect("rows as they were kept");
    }
    MIGRATOR.run_to(19, &mut db).await.expect("the migration");
    let told: Vec<(i64, String)> =
        sqlx::query_as("select seq, asset from late_pull").fetch_all(&mut db).await.expect("what is told");
    assert_eq!(told, [(13, "unit:1".to_owned())]);
}

#[tokio::test]
async fn the_logbook_can_only_be_added_to() {
    let mut db = populated().await;
    let before = logbook(&mut db).await;
    for change in [
        "update logbook set bytes = x'00'",
        "delete from logbook where seq = 1",
        "insert or replace into logbook select * from logbook where seq = 1",
        "insert into logbook select * from logbook where seq = 1 on conflict (seq) do update set bytes = x'00'",
    ] {
        let refused = run(&mut db, change).await.expect_err(change).to_string();
        assert!(refused.contains("only ever added to"), "{change}: {refused}");
    }
    assert_eq!(logbook(&mut db).await, before);
}

async fn logbook(db: &mut SqliteConnection) -> Vec<(i64, String, Vec<u8>)> {
    sqlx::query_as("select seq, id, bytes from logbook order by seq")
        .fetch_all(db)
        .await
        .expect("the logbook")
}
