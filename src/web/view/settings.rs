//! What the department has set for itself.

use askama::Template;

use super::register::Shelf;
use super::ticket::StageOption;
use super::{Page, Problems};

/// The settings in force, with forms for whoever may change them.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "admin/settings.html")]
pub struct Settings {
    /// The frame.
    pub page: Page,
    /// Whether this visitor may change them.
    pub may: bool,
    /// What was just done.
    pub done: &'static str,
    /// Name, zone and shift.
    pub department: Vec<Setting>,
    /// The same as fields.
    pub fields: Vec<SettingField>,
    /// The form to stay open: its name.
    pub open: &'static str,
    /// The rotation.
    pub platoons: Vec<Setting>,
    /// The platoons, as entered.
    pub turns: String,
    /// Whose turn it is now, as entered.
    pub on_duty: String,
    /// Rigs, of which those that take no turns are chosen.
    pub apart: Vec<StageOption>,
    /// Wearer identification.
    pub identification: Vec<Setting>,
    /// What may be asked.
    pub asked: Vec<StageOption>,
    /// For how many hours, as entered.
    pub hours: String,
    /// Minutes from station to station.
    pub drives: Vec<Setting>,
    /// Stations to choose the one end from, and the other.
    pub ends: [Vec<StageOption>; 2],
    /// Minutes, as entered.
    pub minutes: String,
    /// What is set on pages of its own.
    pub others: Vec<Shelf>,
    /// What to put right.
    pub problems: Problems,
}

/// A setting in force.
#[derive(Clone, Debug, Default)]
pub struct Setting {
    /// What it is.
    pub label: String,
    /// What holds.
    pub value: String,
    /// "since 26 Nov 07:04, Ada Lindqvist".
    pub since: String,
}

/// A field of the department's form.
#[derive(Clone, Debug, Default)]
pub struct SettingField {
    /// Its name in the form.
    pub id: &'static str,
    /// Its label.
    pub label: &'static str,
    /// As entered.
    pub value: String,
    /// What goes in it.
    pub help: &'static str,
    /// Whether it is a number.
    pub number: bool,
}
