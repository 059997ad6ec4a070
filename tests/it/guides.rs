//! Every command that a guide shows is one that the program knows, with flags that it takes; and the
//! reference of records names every kind.

use std::path::Path;

use airmuster_domain::record::DESK_KINDS;

use super::common::run;

/// The commands of ours in a page, each as its words: in a block of code, or within backticks.
fn commands(text: &str) -> Vec<Vec<String>> {
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
    // Within backticks a command may go on in the next line.
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let inline = flat.split('`').skip(1).step_by(2).filter(|c| c.starts_with("airmuster "));
    out.extend(inline.map(words));
    out
}

fn words(line: &str) -> Vec<String> {
    let line = line.split(" <").next().unwrap_or(line).replace('"', "");
    line.split_whitespace().map(str::to_owned).collect()
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
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut pages = vec![root.join("README.md")];
    for entry in std::fs::read_dir(root.join("docs")).unwrap() {
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

#[test]
fn the_reference_of_records_names_every_kind_made_at_the_desk() {
    let page =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/records.md")).unwrap();
    let missing: Vec<&str> =
        DESK_KINDS.into_iter().filter(|kind| !page.contains(&format!("`{kind}`"))).collect();
    assert_eq!(missing, Vec::<&str>::new(), "not in docs/records.md");
}
