//! Upkeep: what falls due month by month, things of their own, fills and air.

use askama::Template;

use super::ticket::StageOption;
use super::unit::{Moving, Run};
use super::{Fact, Link, Mark, MemberOption, Page, Problems, Standing};

/// What falls due, month by month.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/months.html")]
pub struct Months {
    /// The frame.
    pub page: Page,
    /// The day from which it is told.
    pub today: String,
    /// The secret address of the calendar feed.
    pub feed: String,
    /// What has lapsed.
    pub late: Vec<DueRow>,
    /// What is to be entered before it can fall due.
    pub unknown: Vec<UnknownRow>,
    /// Month by month.
    pub months: Vec<MonthBlock>,
    /// What to say of the fullest month; or empty.
    pub peak: String,
}

/// A month.
#[derive(Clone, Debug)]
pub struct MonthBlock {
    /// "March 2026".
    pub title: String,
    /// How many things fall due.
    pub count: usize,
    /// The bar's length, of 600.
    pub bar: usize,
    /// "12 flow tests, 3 requalifications".
    pub words: String,
    /// Whether it is shown opened.
    pub open: bool,
    /// What falls due.
    pub rows: Vec<DueRow>,
}

/// Something that falls due.
#[derive(Clone, Debug)]
pub struct DueRow {
    /// To what.
    pub thing: Link,
    /// What: "Flow test".
    pub work: String,
    /// "by 31 Mar 2026".
    pub by: String,
    /// Where it is.
    pub place: String,
}

/// Upkeep of which nothing is known.
#[derive(Clone, Debug)]
pub struct UnknownRow {
    /// What: "Flow test".
    pub work: String,
    /// To what.
    pub things: Vec<Link>,
}

/// All cylinders, or all facepieces.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/list.html")]
pub struct List {
    /// The frame.
    pub page: Page,
    /// "Cylinders".
    pub title: String,
    /// What is in the search field.
    pub sought: String,
    /// This page, under which the search is sent.
    pub href: String,
    /// Things, those with something against them first.
    pub rows: Vec<ListRow>,
}

/// A line of the list.
#[derive(Clone, Debug)]
pub struct ListRow {
    /// The thing.
    pub thing: Link,
    /// How it stands.
    pub standing: Standing,
    /// Size or rating, and what is stamped on it.
    pub marks: String,
    /// Where it is.
    pub place: String,
    /// What stands against it, or what falls due next.
    pub say: String,
}

/// A facepiece or cylinder.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/thing.html")]
pub struct Thing {
    /// The frame.
    pub page: Page,
    /// "Cylinder C-117".
    pub title: String,
    /// This page: "/assets/cylinder:C-117".
    pub href: String,
    /// Rating or size in words.
    pub kind: String,
    /// Where it is.
    pub place: Link,
    /// How it stands.
    pub standing: Standing,
    /// Why.
    pub grounds: Vec<super::unit::Ground>,
    /// What is known of it.
    pub facts: Vec<Fact>,
    /// What falls due.
    pub dues: Vec<Fact>,
    /// Where it may go; none where this visitor may not.
    pub moving: Option<Moving>,
    /// Pages where something is done to it.
    pub others: Vec<Link>,
    /// Why it is not to be filled; or empty.
    pub no_fill: String,
    /// What happened.
    pub events: Vec<Run>,
}

/// Writing down upkeep that was done.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/done.html")]
pub struct Done {
    /// The frame.
    pub page: Page,
    /// "Unit 117".
    pub title: String,
    /// Its page.
    pub href: String,
    /// Where the form is sent.
    pub action: String,
    /// How it stands.
    pub standing: Standing,
    /// What may have been done.
    pub works: Vec<StageOption>,
    /// The day, as entered.
    pub on: String,
    /// Ticked: it failed.
    pub failed: bool,
    /// The certificate, as entered.
    pub reference: String,
    /// For a cylinder: the month with which a longer life ends, as entered.
    pub until: Option<String>,
    /// More, as entered.
    pub note: String,
    /// What to put right.
    pub problems: Problems,
}

/// What is stamped on a cylinder.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/marks.html")]
pub struct Marks {
    /// The frame.
    pub page: Page,
    /// "Cylinder C-117".
    pub title: String,
    /// Its page.
    pub href: String,
    /// What it can be made to.
    pub specs: Vec<StageOption>,
    /// As entered.
    pub volume: String,
    /// As entered.
    pub made: String,
    /// As entered.
    pub requalified: String,
    /// As entered.
    pub life_until: String,
    /// As entered.
    pub serial: String,
    /// What to put right.
    pub problems: Problems,
}

/// What a facepiece is besides its size.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "upkeep/model.html")]
pub struct Model {
    /// The frame.
    pub page: Page,
    /// "Facepiece F-117".
    pub title: String,
    /// Its page.
    pub href: String,
    /// Who makes it.
    pub make: String,
    /// Its model.
    pub model: String,
    /// Its style.
    pub style: String,
    /// What to put right.
    pub problems: Problems,
}

/// Condemning a cylinder.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/condemn.html")]
pub struct Condemn {
    /// The frame.
    pub page: Page,
    /// "Cylinder C-117".
    pub title: String,
    /// Its page.
    pub href: String,
    /// How it stands.
    pub standing: Standing,
    /// Why, as entered.
    pub why: String,
    /// Who may.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// The end of a hold.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/release.html")]
pub struct Release {
    /// The frame.
    pub page: Page,
    /// "Cylinder C-117".
    pub title: String,
    /// Its page.
    pub href: String,
    /// Where the form is sent.
    pub action: String,
    /// How it stands.
    pub standing: Standing,
    /// What holds it: key, and in a sentence.
    pub held: Vec<(String, String)>,
    /// What else is open and stays so.
    pub stays: Vec<String>,
    /// Why, as entered.
    pub why: String,
    /// Who may.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// The fill log.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/fills.html")]
pub struct Fills {
    /// The frame.
    pub page: Page,
    /// What was just written down, in a sentence; or empty.
    pub done: String,
    /// As entered.
    pub cylinder: String,
    /// Sources to choose from.
    pub sources: Vec<StageOption>,
    /// As entered.
    pub pressure: String,
    /// How a pressure is written here.
    pub pressure_like: String,
    /// As entered.
    pub celsius: String,
    /// What to fill to.
    pub fill_to: Vec<FillTo>,
    /// Each source with how its air stands.
    pub air: Vec<SourceRow>,
    /// Cylinders that may not be filled, and why.
    pub barred: Vec<BarredRow>,
    /// The last fills.
    pub log: Vec<FillRow>,
    /// What to put right.
    pub problems: Problems,
}

/// What cylinders of one rating are filled to.
#[derive(Clone, Debug)]
pub struct FillTo {
    /// "4,500 psi".
    pub rated: String,
    /// Temperature, pressure, and whether it is the temperature that was entered last.
    pub at: Vec<(String, String, bool)>,
}

/// A source of air.
#[derive(Clone, Debug)]
pub struct SourceRow {
    /// Its page.
    pub source: Link,
    /// How its air stands.
    pub say: String,
    /// Whether nothing may be filled from it.
    pub bad: bool,
}

/// A cylinder that may not be filled.
#[derive(Clone, Debug)]
pub struct BarredRow {
    /// The cylinder.
    pub thing: Link,
    /// Why.
    pub why: String,
}

/// A fill.
#[derive(Clone, Debug)]
pub struct FillRow {
    /// When.
    pub when: String,
    /// The cylinder.
    pub thing: Link,
    /// "4,500 psi at 21 °C, from the compressor".
    pub say: String,
    /// By whom.
    pub who: String,
}

/// A source of air: its samples, and what a failed one holds.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/source.html")]
pub struct Source {
    /// The frame.
    pub page: Page,
    /// Its name.
    pub title: String,
    /// This page.
    pub href: String,
    /// Where it stands.
    pub station: String,
    /// How its air stands.
    pub say: String,
    /// Whether the last sample failed.
    pub bad: bool,
    /// Cylinders whose air is in doubt.
    pub doubtful: Vec<DoubtfulRow>,
    /// Samples, newest first.
    pub samples: Vec<FillRow>,
    /// Whether this visitor may enter one.
    pub may: bool,
    /// What was entered.
    pub entered: SampleDraft,
    /// What to put right.
    pub problems: Problems,
}

/// A cylinder whose air is in doubt.
#[derive(Clone, Debug)]
pub struct DoubtfulRow {
    /// The cylinder.
    pub thing: Link,
    /// Since when.
    pub since: String,
    /// What it was used for since.
    pub uses: Vec<Link>,
}

/// A sample's fields as entered.
#[derive(Clone, Debug, Default)]
pub struct SampleDraft {
    /// The day.
    pub on: String,
    /// Oxygen in percent.
    pub oxygen: String,
    /// Condensed hydrocarbon in mg/m³.
    pub oil: String,
    /// Carbon monoxide in ppm.
    pub monoxide: String,
    /// Carbon dioxide in ppm.
    pub dioxide: String,
    /// Whether there was an odour: `yes`, `no`, or nothing said.
    pub odour: String,
    /// The report.
    pub reference: String,
}

/// Holding something for an inquiry, and its way through hands.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/seal.html")]
pub struct Sealing {
    /// The frame.
    pub page: Page,
    /// "Unit 112".
    pub title: String,
    /// Its page.
    pub href: String,
    /// Under which the forms are sent.
    pub action: String,
    /// How it stands.
    pub standing: Standing,
    /// Whether it is held already.
    pub held: bool,
    /// How it was sealed and handed over, newest first.
    pub chain: Vec<Chain>,
    /// Whether it is a unit, with an alarm of its own.
    pub unit: bool,
    /// What is fitted to it, and whether it was ticked.
    pub packed: Vec<(Link, bool)>,
    /// How a pressure is written here.
    pub pressure_like: String,
    /// The id that the record will have.
    pub id: String,
    /// As entered.
    pub entered: SealDraft,
    /// Who may say so: everybody.
    pub members: Vec<MemberOption>,
    /// What to put right.
    pub problems: Problems,
}

/// A step of its way.
#[derive(Clone, Debug)]
pub struct Chain {
    /// In a sentence.
    pub say: String,
    /// When and by whom.
    pub signed: String,
    /// The record.
    pub href: String,
}

/// The form's fields as entered.
#[derive(Clone, Debug, Default)]
pub struct SealDraft {
    /// What happened.
    pub why: String,
    /// The pressure before closing.
    pub pressure: String,
    /// The turns.
    pub turns: String,
    /// Where.
    pub place: String,
    /// What else is packed with it, or what for.
    pub more: String,
    /// The alarm's battery stays in.
    pub battery: bool,
    /// Who has it now.
    pub to: String,
}

/// Until when technicians are qualified.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/qualified.html")]
pub struct Qualifications {
    /// The frame.
    pub page: Page,
    /// Each technician and family.
    pub rows: Vec<QualifiedRow>,
    /// Whose may be entered.
    pub options: Vec<StageOption>,
    /// Whether this visitor may enter one.
    pub may: bool,
    /// As entered.
    pub until: String,
    /// As entered.
    pub reference: String,
    /// What to put right.
    pub problems: Problems,
}

/// A qualification.
#[derive(Clone, Debug)]
pub struct QualifiedRow {
    /// Whose.
    pub name: String,
    /// For what, and until when.
    pub say: String,
    /// Whether it no longer holds.
    pub lapsed: bool,
}

/// How often upkeep is done here.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/periods.html")]
pub struct Periods {
    /// The frame.
    pub page: Page,
    /// Each kind of upkeep.
    pub rows: Vec<PeriodRow>,
    /// Sets of periods to begin with.
    pub practices: Vec<PracticeRow>,
    /// Kinds of upkeep to choose from.
    pub works: Vec<StageOption>,
    /// Profiles and specifications to choose from.
    pub only: Vec<StageOption>,
    /// As entered.
    pub months: String,
    /// A lapse takes the thing out of service, as entered.
    pub out: bool,
    /// Whether this visitor may set one.
    pub may: bool,
    /// What to put right.
    pub problems: Problems,
}

/// How often one kind of upkeep is done.
#[derive(Clone, Debug)]
pub struct PeriodRow {
    /// "Flow test".
    pub work: String,
    /// For which profile or specification; "all".
    pub only: String,
    /// Months from one to the next.
    pub months: u32,
    /// What follows when it has lapsed.
    pub lapse: String,
    /// Where that comes from.
    pub from: String,
}

/// A set of periods.
#[derive(Clone, Debug)]
pub struct PracticeRow {
    /// As sent.
    pub id: String,
    /// As read.
    pub title: String,
    /// Where its figures come from.
    pub basis: String,
}

/// Sources of air.
#[derive(Clone, Debug, Template)]
#[template(path = "upkeep/sources.html")]
pub struct Sources {
    /// The frame.
    pub page: Page,
    /// Each source with how its air stands.
    pub rows: Vec<SourceRow>,
    /// Stations to choose from.
    pub stations: Vec<StageOption>,
    /// As entered.
    pub id: String,
    /// As entered.
    pub name: String,
    /// Whether this visitor may enter one.
    pub may: bool,
    /// What to put right.
    pub problems: Problems,
}
