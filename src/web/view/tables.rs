//! A department's own data from tables.

use askama::Template;

use super::Page;

/// The form and, after it was sent, what is wrong or what was done.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/tables.html")]
pub struct Tables {
    /// The frame.
    pub page: Page,
    /// What to do, where nothing was taken in.
    pub say: String,
    /// What was done.
    pub done: String,
    /// What to put right in the tables.
    pub problems: Vec<TableProblem>,
    /// The day comes first in dates.
    pub day_first: bool,
    /// The month comes first in dates.
    pub month_first: bool,
    /// The tables to fill in.
    pub blanks: Vec<Blank>,
}

/// Something to put right.
#[derive(Clone, Debug, Default)]
pub struct TableProblem {
    /// "units.csv, row 7, profile".
    pub place: String,
    /// What to do.
    pub say: String,
}

/// A table to fill in.
#[derive(Clone, Debug, Default)]
pub struct Blank {
    /// "units.csv".
    pub file: String,
    /// What a row of it is.
    pub about: String,
    /// Its columns.
    pub columns: Vec<Hint>,
}

/// A column and what goes in it.
#[derive(Clone, Debug, Default)]
pub struct Hint {
    /// The heading.
    pub name: String,
    /// Whether every row must have it.
    pub required: bool,
    /// What goes in it.
    pub help: String,
}
