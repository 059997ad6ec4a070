//! Parts with serials of their own, what the approval names, and notices about things.

use askama::Template;

use super::ticket::StageOption;
use super::{Fact, Link, Page, Problems, Standing, UnitRef};

/// A unit's parts.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/parts.html")]
pub struct Parts {
    /// The frame.
    pub page: Page,
    /// The unit.
    pub unit: UnitRef,
    /// Its kind in words.
    pub profile: String,
    /// Its standing.
    pub standing: Standing,
    /// What is still to be entered before it is accepted, in a sentence; or empty.
    pub lacks: String,
    /// Each place for a part.
    pub slots: Vec<SlotView>,
    /// Whether this member may change parts.
    pub may: bool,
    /// Why not, in a sentence; or empty.
    pub why_not: String,
    /// What to put right.
    pub problems: Problems,
}

/// A place for a part, and its form.
#[derive(Clone, Debug, Default)]
pub struct SlotView {
    /// As sent: `remote_gauge`.
    pub id: String,
    /// "Remote gauge".
    pub title: String,
    /// The part that is there, line by line; empty where none is known.
    pub facts: Vec<Fact>,
    /// The warranty has ended, or ends within three months, in a sentence; or empty.
    pub warranty: String,
    /// What may be done.
    pub acts: Vec<StageOption>,
    /// Names in the approval.
    pub names: Vec<StageOption>,
    /// As entered.
    pub serial: String,
    /// As entered.
    pub edition: String,
    /// As entered.
    pub made: String,
    /// As entered.
    pub warranty_until: String,
    /// As entered.
    pub why: String,
    /// Whether its form is shown opened.
    pub open: bool,
}

/// Which parts approvals name.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/approvals.html")]
pub struct Approvals {
    /// The frame.
    pub page: Page,
    /// By kind of unit.
    pub kinds: Vec<ApprovalKind>,
    /// Kinds of unit to choose from.
    pub profiles: Vec<StageOption>,
    /// Places to choose from.
    pub slots: Vec<StageOption>,
    /// As entered.
    pub names: String,
    /// Whether this visitor may enter one.
    pub may: bool,
    /// What to put right.
    pub problems: Problems,
}

/// What the approval of a kind of unit names.
#[derive(Clone, Debug)]
pub struct ApprovalKind {
    /// The kind.
    pub title: String,
    /// Place by place.
    pub facts: Vec<Fact>,
}

/// Notices, open ones first.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/notices.html")]
pub struct Notices {
    /// The frame.
    pub page: Page,
    /// Each notice.
    pub rows: Vec<NoticeRow>,
    /// The form; none where this visitor may not give one.
    pub form: Option<NoticeDraft>,
    /// What to put right.
    pub problems: Problems,
}

/// A notice in a list.
#[derive(Clone, Debug)]
pub struct NoticeRow {
    /// Its page.
    pub link: Link,
    /// What it asks for, and how far that is done.
    pub say: String,
    /// Whether things are out of service because of it.
    pub stops: bool,
}

/// The fields of a new notice, as entered.
#[derive(Clone, Debug, Default)]
pub struct NoticeDraft {
    /// Number.
    pub number: String,
    /// Title.
    pub title: String,
    /// Who gave it out.
    pub source: String,
    /// What is to be done.
    pub what: String,
    /// By when.
    pub by: String,
    /// Kinds of thing: units, a part of them, cylinders, facepieces.
    pub things: Vec<StageOption>,
    /// Profiles and specifications.
    pub only: Vec<StageOption>,
    /// The part's name or the facepiece's model.
    pub name: String,
    /// First serial.
    pub from: String,
    /// Last serial.
    pub to: String,
    /// First month.
    pub made_from: String,
    /// Last month.
    pub made_to: String,
}

/// One notice and everything that it reaches.
#[derive(Clone, Debug, Template)]
#[template(path = "bench/notice.html")]
pub struct NoticePage {
    /// The frame.
    pub page: Page,
    /// "Notice BB-7".
    pub title: String,
    /// This page.
    pub href: String,
    /// What it is about.
    pub about: String,
    /// Facts.
    pub facts: Vec<Fact>,
    /// Still to be dealt with.
    pub open: Vec<ReachedRow>,
    /// Dealt with.
    pub done: Vec<ReachedRow>,
    /// Whether this member may deal with one.
    pub may: bool,
    /// Whether this member may withdraw it.
    pub may_end: bool,
    /// As entered.
    pub what: String,
    /// As entered.
    pub why: String,
    /// What to put right.
    pub problems: Problems,
}

/// A thing that a notice reaches.
#[derive(Clone, Debug)]
pub struct ReachedRow {
    /// The thing.
    pub thing: Link,
    /// As sent: "unit:117".
    pub value: String,
    /// How it stands.
    pub standing: Standing,
    /// Where it is, and by what it is reached.
    pub say: String,
    /// Chosen in a form that came back.
    pub selected: bool,
}
