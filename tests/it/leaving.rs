//! Names and PINs: never in the logbook, and gone for good when their member has left.

use std::io::Read as _;

use airmuster::service::leaving::forget;
use airmuster::service::pin::{Cost, Pins};
use airmuster::store::FILE;
use airmuster_domain::record::Asset;

use super::common::{House, about, attacker, check, folder, house, path, run};

const NAME: &str = "Quirina Abendroth-Zell";
const PIN: &str = "918273645546";

async fn named(h: &House, member: &str) {
    let pins = Pins::new(h.store.clone(), h.clock.clone(), Cost::Least);
    let hash = pins.hash(PIN).await.unwrap();
    let mut write = h.store.begin().await.unwrap();
    write.set_person(member, NAME, Some((&hash, h.now()))).await.unwrap();
    write.begin_session(&[7; 32], member, h.now()).await.unwrap();
    write.commit().await.unwrap();
}

fn holds(bytes: &[u8], words: &str) -> bool {
    bytes.windows(words.len()).any(|w| w == words.as_bytes())
}

/// Every text in every table, as somebody with the file can read it.
async fn tables_that_hold(h: &House, words: &str) -> Vec<String> {
    let mut db = attacker(h.dir.path()).await;
    let tables: Vec<String> =
        sqlx::query_scalar("select name from sqlite_master where type = 'table' order by name")
            .fetch_all(&mut db)
            .await
            .unwrap();
    let mut found = Vec::new();
    for table in tables {
        let columns: Vec<String> = sqlx::query_scalar("select name from pragma_table_info($1)")
            .bind(&table)
            .fetch_all(&mut db)
            .await
            .unwrap();
        for column in columns {
            let count: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
                "select count(*) from \"{table}\" where instr(cast(\"{column}\" as blob), cast($1 as blob)) > 0"
            )))
            .bind(words)
            .fetch_one(&mut db)
            .await
            .unwrap();
            if count > 0 {
                found.push(format!("{table}.{column}"));
            }
        }
    }
    found
}

#[tokio::test]
async fn a_member_who_has_left_is_in_no_table_and_no_byte_of_the_files_but_by_id() {
    let h = house().await;
    named(&h, "ana").await;
    let checked = h.check("ana", check("1", h.id())).await;
    h.field("note", "ana", &about(Asset::unit("1"))).await;
    assert_eq!(tables_that_hold(&h, NAME).await, ["person.name"], "one place, and not the logbook");
    assert!(tables_that_hold(&h, PIN).await.is_empty(), "a PIN is nowhere");

    forget(&h.store, &h.intake, "ana", h.id(), h.now()).await.unwrap();
    assert!(tables_that_hold(&h, NAME).await.is_empty());
    let file = h.dir.path().join(FILE);
    for end in ["", "-wal"] {
        let bytes = std::fs::read(format!("{}{end}", file.display())).unwrap_or_default();
        assert!(!holds(&bytes, NAME) && !holds(&bytes, PIN), "{end}");
    }
    // What she signed stays, and she can sign nothing more.
    let kept = h.store.variants(checked.id).await.unwrap();
    assert_eq!(kept[0].record.envelope.by.as_deref(), Some("ana"));
    let signer = h.store.signer("ana").await.unwrap().unwrap();
    assert!(signer.roles.is_empty() && signer.qualified.is_empty());
    assert_eq!(h.store.session(h.now(), &[7; 32]).await.unwrap(), None);
    assert_eq!(h.store.pin_hash("ana").await.unwrap(), None);
    h.verified().await;
    // Again does nothing new.
    let before = h.store.head().await.unwrap().seq;
    forget(&h.store, &h.intake, "ana", h.id(), h.now()).await.unwrap();
    assert_eq!(h.store.head().await.unwrap().seq, before);
}

#[tokio::test]
async fn the_command_forgets_a_member_of_the_register_and_no_backup_made_after_it_holds_the_name() {
    let h = house().await;
    named(&h, "tom").await;
    h.store.close().await;
    run(&["forget", "--data", path(&h.dir), "nobody"], b"").failed(2, "there is no member “nobody”");
    let said = run(&["forget", "--data", path(&h.dir), "tom"], b"").ok();
    assert!(said.contains("tom: roles ended") && said.contains("Backups made before"), "{said}");
    let out = folder();
    let backup = out.path().join("backup.db");
    run(&["backup", "--data", path(&h.dir), backup.to_str().unwrap()], b"").ok();
    let bytes = std::fs::read(&backup).unwrap();
    assert!(holds(&bytes, "tom") && !holds(&bytes, NAME));
    run(&["verify", "--data", path(&h.dir)], b"").ok();
    // What is given to others has no name before it either, unless it is asked for.
    let export = out.path().join("everything.zip");
    let export = export.to_str().unwrap();
    run(&["export", "--data", path(&h.dir), "--with-names", export], b"").ok();
    let mut zip = zip::ZipArchive::new(std::fs::File::open(export).unwrap()).unwrap();
    for n in 0..zip.len() {
        let mut content = Vec::new();
        zip.by_index(n).unwrap().read_to_end(&mut content).unwrap();
        assert!(!holds(&content, NAME) && !holds(&content, PIN));
    }
    assert!(zip.by_name("people.json").is_ok(), "names were asked for");
}
