//! Keeping the register: what there is, and one form for every kind of entry.

use askama::Template;

use super::{Fact, Link, Page, Problems};

/// Where everything that is kept can be found.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/register.html")]
pub struct Index {
    /// The frame.
    pub page: Page,
    /// The tables, with how many there are of each.
    pub shelves: Vec<Shelf>,
    /// What is kept elsewhere.
    pub others: Vec<Shelf>,
}

/// A way to something that is kept.
#[derive(Clone, Debug, Default)]
pub struct Shelf {
    /// "Stations".
    pub link: Link,
    /// "3", "2 in use".
    pub count: String,
    /// One sentence.
    pub say: String,
}

/// The entries of one table.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/entries.html")]
pub struct Entries {
    /// The frame.
    pub page: Page,
    /// "Stations".
    pub title: String,
    /// "a station".
    pub one: String,
    /// "/register/stations".
    pub href: String,
    /// What was looked for.
    pub sought: String,
    /// The entries that were found.
    pub rows: Vec<EntryRow>,
    /// The table as files.
    pub files: Vec<Link>,
}

/// An entry in a list.
#[derive(Clone, Debug, Default)]
pub struct EntryRow {
    /// What it is called, with the way to its form.
    pub link: Link,
    /// What else there is to say, in the order of the columns.
    pub facts: Vec<String>,
    /// Over: a member without roles.
    pub over: bool,
}

/// The form of an entry, new or to be changed.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/entry.html")]
pub struct Entry {
    /// The frame.
    pub page: Page,
    /// "Engine 2", "A new rig".
    pub title: String,
    /// What an entry of this table is.
    pub lead: String,
    /// Where the form goes.
    pub action: String,
    /// The list it belongs to.
    pub back: Link,
    /// What was done.
    pub done: String,
    /// What to put right.
    pub problems: Problems,
    /// The fields.
    pub fields: Vec<FormField>,
    /// What cannot be changed here.
    pub facts: Vec<Fact>,
    /// Ways to what can be done to it elsewhere.
    pub others: Vec<Link>,
    /// Where it is a member: PIN, leaving, erasing.
    pub member: Option<MemberParts>,
    /// How it came to be as it is, newest first.
    pub changes: Vec<Change>,
}

/// A field of the form.
#[derive(Clone, Debug, Default)]
pub struct FormField {
    /// Its name and id.
    pub id: String,
    /// What is asked.
    pub label: String,
    /// What goes in it.
    pub help: String,
    /// It may stay empty.
    pub optional: bool,
    /// How it is filled in.
    pub kind: FieldKind,
}

/// How a field is filled in.
#[derive(Clone, Debug)]
pub enum FieldKind {
    /// By writing.
    Text(String),
    /// By choosing one; groups with a heading.
    One(Vec<Group>),
    /// By ticking some.
    Some(Vec<Choice>),
}

impl Default for FieldKind {
    fn default() -> Self {
        Self::Text(String::new())
    }
}

/// Choices under a heading; without one they stand alone.
#[derive(Clone, Debug, Default)]
pub struct Group {
    /// The heading.
    pub label: String,
    /// The choices.
    pub choices: Vec<Choice>,
}

/// Something to choose.
#[derive(Clone, Debug, Default)]
pub struct Choice {
    /// As sent.
    pub value: String,
    /// As read.
    pub label: String,
    /// Chosen.
    pub chosen: bool,
}

/// What is asked of a member beside the register's entry.
#[derive(Clone, Debug, Default)]
pub struct MemberParts {
    /// "/members/m-102".
    pub href: String,
    /// The member's id, for naming it a second time.
    pub id: String,
    /// "has a PIN", "has no PIN yet".
    pub pin: String,
    /// Whether there is anything left to end.
    pub active: bool,
    /// How somebody leaves.
    pub ways: Vec<Choice>,
    /// What leaving would end now, in sentences.
    pub ends: Vec<String>,
    /// What was written as the reason.
    pub why: String,
    /// Whether personal fields are there to be erased.
    pub personal: bool,
}

/// A change of an entry.
#[derive(Clone, Debug, Default)]
pub struct Change {
    /// When.
    pub when: String,
    /// Who.
    pub who: String,
    /// What was changed to what.
    pub what: String,
    /// The record.
    pub href: String,
}
