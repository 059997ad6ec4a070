//! Every command that a guide shows runs as it stands there, in the order of the guide; each flag is one
//! that the program takes; and the reference of records names every kind.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use airmuster_domain::record::{Asset, DESK_KINDS};
use tempfile::TempDir;
use uuid::Uuid;

use super::common::{NOON, Ran, about, bytes, fed, folder, program, run};
use super::running::Served;

const PIN: &[u8] = b"60391784\n";
const PASSPHRASE: &[u8] = b"four words of some sort\n";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The commands of ours in a page, each as its words: in a block of code, or within backticks.
fn commands(text: &str) -> Vec<Vec<String>> {
    let mut out = blocks(text);
    // Within backticks a command may go on in the next line.
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let inline = flat.split('`').skip(1).step_by(2).filter(|c| c.starts_with("airmuster "));
    out.extend(inline.map(words));
    out
}

/// Those in blocks of code: whoever follows the guide types them.
fn blocks(text: &str) -> Vec<Vec<String>> {
    let mut out = Vec::new();
    let mut in_block = false;
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            in_block = !in_block;
            continue;
        }
        let shown = in_block || line.starts_with("    ");
        let line = line.trim();
        if shown && line.starts_with("airmuster ") {
            out.push(words(line));
        }
    }
    out
}

/// Words as a shell parts them; what is read from a file is not one of them.
fn words(line: &str) -> Vec<String> {
    let line = line.split(" <").next().unwrap_or(line);
    let mut out = Vec::new();
    for (nth, piece) in line.split('"').enumerate() {
        if nth % 2 == 1 {
            out.push(piece.to_owned());
        } else {
            out.extend(piece.split_whitespace().map(str::to_owned));
        }
    }
    out
}

/// What the help of a command says, for the longest beginning of the words that is a command.
fn help(words: &[String]) -> String {
    let plain: Vec<&str> = words[1..]
        .iter()
        .map(String::as_str)
        .take_while(|w| w.bytes().all(|b| b.is_ascii_lowercase() || b == b'-'))
        .collect();
    for upto in (1..=plain.len().min(2)).rev() {
        let ran = run(&[&plain[..upto], &["--help"]].concat(), b"");
        if ran.code == Some(0) {
            return ran.out;
        }
    }
    panic!("no command of the program: {}", words.join(" "));
}

#[test]
fn commands_in_the_guides_are_commands_of_the_program() {
    let mut pages = vec![root().join("README.md")];
    for entry in std::fs::read_dir(root().join("docs")).unwrap() {
        pages.push(entry.unwrap().path());
    }
    pages.retain(|p| p.extension().is_some_and(|e| e == "md"));
    assert!(pages.len() >= 7, "{pages:?}");
    let mut tried = 0;
    for page in pages {
        let text = std::fs::read_to_string(&page).unwrap();
        for words in commands(&text) {
            let help = help(&words);
            for flag in words.iter().filter(|w| w.starts_with("--")) {
                let known = help.lines().any(|l| l.split([' ', ',', '=']).any(|w| w == flag));
                assert!(known, "{}: {} does not take {flag}", page.display(), words.join(" "));
            }
            tried += 1;
        }
        for (at, _) in text.match_indices("](") {
            let target = text[at + 2..].split(')').next().unwrap();
            if !target.contains("://") {
                let there = page.parent().unwrap().join(target).exists();
                assert!(there, "{}: {target} is not there", page.display());
            }
        }
    }
    assert!(tried > 30, "only {tried} commands were found");
}

/// Somebody who follows a guide, on a machine of which every folder is within one of ours.
struct Reader {
    home: TempDir,
    fresh: u32,
    ran: u32,
}

impl Reader {
    fn new() -> Self {
        let home = folder();
        for at in ["var/lib", "srv/backups", "mnt", "tmp"] {
            std::fs::create_dir_all(home.path().join(at)).unwrap();
        }
        std::os::unix::fs::symlink(root().join("demo"), home.path().join("demo")).unwrap();
        Self { home, fresh: 0, ran: 0 }
    }

    fn at(&self, place: &str) -> PathBuf {
        self.home.path().join(place.trim_start_matches('/'))
    }

    /// Runs words as they stand, but for where the machine's folders are; each `NEWDIR` is a new one.
    fn run(&mut self, words: &[&str]) -> Ran {
        let words: Vec<String> = words
            .iter()
            .map(|w| match *w {
                "NEWDIR" => {
                    self.fresh += 1;
                    format!("NEWDIR{}", self.fresh)
                }
                w if w.starts_with('/') => self.at(w).to_str().unwrap().to_owned(),
                w => w.to_owned(),
            })
            .collect();
        let input = match words[0].as_str() {
            "keys" => PASSPHRASE,
            _ => PIN,
        };
        self.ran += 1;
        let mut command = program();
        // What the guide says in words: who asks is answered, and nothing else may be asked.
        if words[0] == "init" {
            command.args(&words).args(["--department", "Small Valley", "--zone", "America/Denver"]);
            command.args(["--member", "m-1", "--name", "Ada Sample"]);
        } else {
            command.args(&words);
        }
        fed(command.current_dir(self.home.path()).stdout(Stdio::piped()).stderr(Stdio::piped()), input)
    }

    /// Follows a guide from its beginning to its end.
    fn follow(&mut self, guide: &str) {
        let text = std::fs::read_to_string(root().join(guide)).unwrap();
        for words in blocks(&text) {
            let said = words.join(" ");
            let words: Vec<&str> = words[1..].iter().map(String::as_str).collect();
            if words[0] == "serve" {
                // Addresses that others can reach are not for tests (`tls.rs` has that one): any free port
                // of this machine's own, and only whether it starts.
                if !words.contains(&"--listen") {
                    let at = self.at(words.last().unwrap());
                    Served::start(&["--data", at.to_str().unwrap()]).stop();
                    self.ran += 1;
                }
                continue;
            }
            let ran = self.run(&words);
            assert_eq!(ran.code, Some(0), "{guide}: {said}: {ran:?}");
        }
    }

    /// The file in which a tablet saves what it could not hand in.
    fn tablet_file(&self) {
        let note = bytes("note", Uuid::from_u128(7), NOON, Some("m-1"), &about(Asset::unit("2")));
        let file =
            serde_json::json!({ "airmuster_outbox": 1, "records": [String::from_utf8(note).unwrap()] });
        std::fs::write(self.at("tablet.json"), file.to_string()).unwrap();
    }
}

#[test]
fn commands_in_the_readme_run_one_after_the_other() {
    let mut reader = Reader::new();
    reader.tablet_file();
    reader.follow("README.md");
    // The table that is in force, as the page gives it out.
    std::fs::write(reader.at("my-rules.toml"), airmuster_domain::rules::DEFAULT).unwrap();
    reader.follow("docs/rule-table.md");
    assert!(reader.ran >= 24, "only {} commands ran", reader.ran);
}

#[test]
fn commands_in_the_guides_for_the_box_run_one_after_the_other() {
    let mut reader = Reader::new();
    // What the guides ask for in words: a department, its keys, the nightly backup, the copied folder.
    reader.run(&["init", "--data", "/var/lib/airmuster"]).ok();
    let keys = reader.at("/var/lib/airmuster/keys");
    assert!(keys.is_dir() || std::fs::create_dir(&keys).is_ok());
    std::fs::write(keys.join("more"), "a key").unwrap();
    reader.follow("docs/administrator.md");
    reader.run(&["backup", "--data", "/var/lib/airmuster", "/srv/backups/airmuster-2026-11-25.db"]).ok();
    let box_that_died = reader.at("/var/lib/airmuster");
    std::fs::rename(&box_that_died, reader.at("/mnt/copy")).unwrap();
    reader.tablet_file();
    reader.follow("docs/when-it-breaks.md");
    assert!(reader.ran >= 20, "only {} commands ran", reader.ran);
}

#[test]
fn the_reference_of_records_names_every_kind_made_at_the_desk() {
    let page =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/records.md")).unwrap();
    let missing: Vec<&str> =
        DESK_KINDS.into_iter().filter(|kind| !page.contains(&format!("`{kind}`"))).collect();
    assert_eq!(missing, Vec::<&str>::new(), "not in docs/records.md");
}
