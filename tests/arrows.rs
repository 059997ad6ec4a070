//! The rooms of the house, and who may call whom: read from the paths in the source, so that an arrow against
//! the design fails here and not in a review. The domain is a crate of its own; that it depends on nothing of
//! ours is the compiler's to keep, that it stays free of clock and I/O is checked here.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Each room, and the rooms it may name besides itself. The domain may be named by all.
const ARROWS: &[(&str, &[&str])] = &[
    ("main", &["cli"]),
    ("cli", &["service", "store", "infra", "config", "web", "demo", "clock", "error"]),
    ("web", &["service", "store", "report", "clock", "config", "error"]),
    ("demo", &["service", "store", "clock"]),
    ("service", &["store", "clock"]),
    ("report", &["store"]),
    ("infra", &["store", "config", "error", "clock"]),
    ("store", &[]),
    ("error", &["store", "config"]),
    ("config", &[]),
    ("clock", &[]),
];

/// Libraries that belong to one room.
const LIBRARIES: &[(&str, &str)] =
    &[("sqlx", "store"), ("axum", "web"), ("axum_extra", "web"), ("tower_http", "web"), ("askama", "web")];

/// What the domain must not reach for.
const IMPURE: &[&str] =
    &["std::time", "std::fs", "std::env", "std::io", "std::net", "std::thread", "std::process"];
const IMPURE_CRATES: &[&str] = &["tokio", "sqlx", "axum", "rand"];

#[test]
fn the_arrows_between_rooms_hold() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    rust_files(&root, &mut files);
    let mut broken = Vec::new();
    let mut rooms = BTreeSet::new();
    for file in &files {
        let inside = file.strip_prefix(&root).expect("a file under src");
        let source = fs::read_to_string(file).expect("readable source");
        rooms.insert(Place::of(inside).room);
        broken.extend(violations(inside, &source));
    }
    assert!(rooms.contains("domain") && rooms.contains("store"), "looked in the wrong place: {rooms:?}");
    assert!(broken.is_empty(), "\n{}\n", broken.join("\n"));
}

#[test]
fn an_arrow_against_the_design_is_caught() {
    for (file, source, caught) in [
        ("store/open.rs", "use crate::service::Intake;", "store → service"),
        ("store/open.rs", "use crate::{clock::Clock, store::x};", "store → clock"),
        ("store/mod.rs", "fn f() -> super::web::Page { todo!() }", "store → web"),
        ("store/a/b.rs", "use super::super::super::web;", "store → web"),
        ("store/mod.rs", "mod tests { use super::super::cli; }", "store → cli"),
        ("service/check.rs", "fn f() { crate::web::view::x(); }", "service → web"),
        (
            "service/check.rs",
            "use {std::fmt, crate::{store::{Store, web}, report as r}};",
            "service → report",
        ),
        ("report/csv.rs", "use crate::service::x;", "report → service"),
        ("web/routes.rs", "use crate::cli::x;", "web → cli"),
        ("demo/mod.rs", "use crate::web::x;", "demo → web"),
        ("infra/backup.rs", "use crate::service::x;", "infra → service"),
        ("clock.rs", "use super::store::x;", "clock → store"),
        ("main.rs", "fn main() { airmuster::web::serve() }", "main → web"),
        ("service/check.rs", "use crate::*;", "service → *"),
        ("service/check.rs", "use crate::sync::x;", "service → sync"),
        ("parlour/mod.rs", "use crate::store::x;", "parlour is not a room of the house"),
        ("service/check.rs", "use sqlx::Row;", "sqlx belongs to store, not service"),
        ("web/board.rs", "async fn f(p: &sqlx::SqlitePool) {}", "sqlx belongs to store, not web"),
        ("cli/serve.rs", "use {axum::Router, std::fmt};", "axum belongs to web, not cli"),
        ("report/sheet.rs", "#[derive(askama::Template)] struct S;", "askama belongs to web, not report"),
        ("domain/judge.rs", "use std::time::Duration;", "the domain reaches for std::time"),
        ("domain/judge.rs", "use std::{fmt, fs::File};", "the domain reaches for std::fs"),
        ("domain/rules/parse.rs", "fn f() { ::std::env::var(\"X\"); }", "the domain reaches for std::env"),
        ("domain/judge.rs", "async fn f() { tokio::spawn(g()); }", "the domain reaches for tokio"),
    ] {
        let found = violations(Path::new(file), source);
        assert_eq!(found, [format!("src/{file}: {caught}")], "{source}");
    }
}

#[test]
fn an_arrow_with_the_design_is_let_through() {
    for (file, source) in [
        (
            "store/open.rs",
            "pub(crate) use super::error::StoreError; use crate::store::x; use airmuster_domain::Millis;",
        ),
        (
            "store/open.rs",
            "// use crate::web;\n/* crate::web /* crate::cli */ */ const S: &str = \"crate::web \\\" crate::cli\";",
        ),
        (
            "store/open.rs",
            "const S: &str = r#\"crate::web \" sqlx\"#; fn f<'a>(c: char) -> bool { c == '\"' || c == '\\'' }",
        ),
        ("store/open.rs", "mod tests { use super::*; use super::super::logbook; }"),
        ("store/tests.rs", "use sqlx::Row;"),
        ("service/tests.rs", "use sqlx::Row;"),
        ("web/view/check.rs", "use super::super::view::x; use crate::{service::x, store::{self, y}, clock};"),
        ("web/mod.rs", "use axum::Router; use super::service;"),
        ("cli/serve.rs", "use crate::web::serve; use crate::error::Startup;"),
        (
            "domain/judge/mod.rs",
            "use std::collections::BTreeMap; use crate::rules::Table; use super::record;",
        ),
        ("domain/tests/vectors.rs", "use std::fs;"),
        ("lib.rs", "pub mod store; pub use crate::store::Store;"),
    ] {
        assert_eq!(violations(Path::new(file), source), Vec::<String>::new(), "{source}");
    }
}

fn rust_files(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("a readable entry").path();
        if path.is_dir() {
            rust_files(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// Where a file stands: its room, how many modules lie between it and the root of the crate, whether it is a test.
struct Place {
    room: String,
    depth: usize,
    test: bool,
}

impl Place {
    fn of(inside: &Path) -> Self {
        let mut parts: Vec<String> =
            inside.with_extension("").iter().map(|p| p.to_string_lossy().into_owned()).collect();
        let test = parts.iter().any(|p| p == "tests");
        let room = parts[0].clone();
        if parts.len() > 1 && parts.last().is_some_and(|p| p == "mod") {
            parts.pop();
        }
        Self { room, depth: parts.len(), test }
    }
}

fn violations(inside: &Path, source: &str) -> Vec<String> {
    let Place { room, depth, test } = Place::of(inside);
    let tokens = tokens(source);
    let mut found = BTreeSet::new();
    if room == "domain" {
        if !test {
            for name in heads(&tokens) {
                if IMPURE_CRATES.contains(&name) {
                    found.insert(format!("the domain reaches for {name}"));
                }
            }
            for name in named_under("std", &tokens) {
                let path = format!("std::{name}");
                if IMPURE.contains(&path.as_str()) {
                    found.insert(format!("the domain reaches for {path}"));
                }
            }
        }
    } else if room != "lib" {
        for name in heads(&tokens) {
            if let Some((_, home)) =
                LIBRARIES.iter().find(|(library, home)| *library == name && *home != room)
                && !test
            {
                found.insert(format!("{name} belongs to {home}, not {room}"));
            }
        }
        match ARROWS.iter().find(|(from, _)| *from == room) {
            None => {
                found.insert(format!("{room} is not a room of the house"));
            }
            Some((_, allowed)) => {
                let mut named = named_under("crate", &tokens);
                named.extend(named_under("airmuster", &tokens));
                named.extend(named_above(depth, &tokens));
                named.retain(|to| *to != room && !allowed.contains(to));
                found.extend(named.iter().map(|to| format!("{room} → {to}")));
            }
        }
    }
    found.iter().map(|what| format!("src/{}: {what}", inside.display())).collect()
}

/// The first names of paths: an identifier before `::` and not after it.
fn heads<'a>(tokens: &[&'a str]) -> Vec<&'a str> {
    (0..tokens.len()).filter(|&i| starts_path(tokens, i)).map(|i| tokens[i]).collect()
}

fn starts_path(tokens: &[&str], i: usize) -> bool {
    // `::std::x` starts a path too; `a::std::x` does not.
    let after = i > 0 && tokens[i - 1] == "::" && i > 1 && is_name(tokens[i - 2]);
    is_name(tokens[i]) && tokens.get(i + 1) == Some(&"::") && !after
}

/// The names directly under `head::`, whether written singly or in braces.
fn named_under<'a>(head: &str, tokens: &[&'a str]) -> Vec<&'a str> {
    let starts = (0..tokens.len()).filter(|&i| tokens[i] == head && starts_path(tokens, i));
    starts.flat_map(|i| branches(tokens, i + 2)).collect()
}

/// The names that `super::super::…` reaches at the root of the crate, from a file `depth` modules below it.
fn named_above<'a>(depth: usize, tokens: &[&'a str]) -> Vec<&'a str> {
    let mut named = Vec::new();
    let mut braces = 0;
    let mut inline = Vec::new(); // brace depths at which a `mod name {` was opened
    for i in 0..tokens.len() {
        match tokens[i] {
            "{" => {
                if i >= 2 && tokens[i - 2] == "mod" {
                    inline.push(braces);
                }
                braces += 1;
            }
            "}" => {
                braces -= 1;
                if inline.last() == Some(&braces) {
                    inline.pop();
                }
            }
            "super" if starts_path(tokens, i) => {
                let ups = tokens[i..].chunks(2).take_while(|pair| *pair == ["super", "::"]).count();
                if ups == depth + inline.len() {
                    named.extend(branches(tokens, i + 2 * ups));
                }
            }
            _ => {}
        }
    }
    named
}

/// The names with which the paths of a `use` tree at `i` begin.
fn branches<'a>(tokens: &[&'a str], i: usize) -> Vec<&'a str> {
    match tokens.get(i) {
        Some(&"{") => {
            let mut names = Vec::new();
            let mut braces = 0;
            for j in i..tokens.len() {
                match tokens[j] {
                    "{" => braces += 1,
                    "}" => braces -= 1,
                    name if braces == 1 && matches!(tokens[j - 1], "{" | ",") => names.push(name),
                    _ => {}
                }
                if braces == 0 {
                    break;
                }
            }
            names
        }
        Some(name) => vec![name],
        None => Vec::new(),
    }
}

fn is_name(token: &str) -> bool {
    token.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

/// The source as names, `::` and single signs, without comments, strings, characters and lifetimes.
fn tokens(source: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = source;
    while let Some(first) = rest.chars().next() {
        let length = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            block_comment(rest)
        } else if let Some(length) = text(rest) {
            length
        } else if first == '\'' {
            character_or_lifetime(rest)
        } else {
            let name = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
            let length = match name {
                0 if rest.starts_with("::") => 2,
                0 => first.len_utf8(),
                name => name,
            };
            if !first.is_whitespace() {
                tokens.push(&rest[..length]);
            }
            length
        };
        rest = &rest[length..];
    }
    tokens
}

fn block_comment(rest: &str) -> usize {
    let mut open = 0;
    let mut at = 0;
    while at < rest.len() {
        if rest[at..].starts_with("/*") {
            open += 1;
            at += 2;
        } else if rest[at..].starts_with("*/") {
            open -= 1;
            at += 2;
            if open == 0 {
                return at;
            }
        } else {
            at += rest[at..].chars().next().map_or(1, char::len_utf8);
        }
    }
    rest.len()
}

/// The length of the string literal that `rest` begins with, plain or raw, if it does.
fn text(rest: &str) -> Option<usize> {
    let prefix = ["br", "b", "cr", "c", "r", ""].into_iter().find(|p| {
        rest.strip_prefix(p).is_some_and(|r| {
            if p.ends_with('r') { r.trim_start_matches('#').starts_with('"') } else { r.starts_with('"') }
        })
    })?;
    let body = &rest[prefix.len()..];
    if prefix.ends_with('r') {
        let hashes = body.find('"')?;
        let end = format!("\"{}", &body[..hashes]);
        let close = body[hashes + 1..].find(&end).map_or(body.len(), |n| hashes + 1 + n + end.len());
        return Some(prefix.len() + close);
    }
    let mut escaped = false;
    let close = body.char_indices().skip(1).find(|&(_, c)| {
        let closes = c == '"' && !escaped;
        escaped = c == '\\' && !escaped;
        closes
    });
    Some(prefix.len() + close.map_or(body.len(), |(at, _)| at + 1))
}

fn character_or_lifetime(rest: &str) -> usize {
    let mut chars = rest.char_indices().skip(1);
    match (chars.next(), chars.next()) {
        (Some((_, '\\')), Some((at, c))) => {
            let after = at + c.len_utf8();
            rest[after..].find('\'').map_or(rest.len(), |n| after + n + 1)
        }
        (Some(_), Some((at, '\''))) => at + 1,
        // A lifetime: its name is harmless, but it is no path either.
        _ => 1 + rest[1..].find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len() - 1),
    }
}
