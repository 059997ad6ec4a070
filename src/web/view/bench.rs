//! The bench: what to repair first, and because of what.

use askama::Template;

use super::ticket::StageOption;
use super::{Link, Page, Standing};

/// The technician's queue.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "bench/queue.html")]
pub struct Bench {
    /// The frame.
    pub page: Page,
    /// What the queue is narrowed down by.
    pub filter: Filter,
    /// Found a third time in ninety days.
    pub repeated: Vec<RepeatedRow>,
    /// Tickets to work on, first first.
    pub queue: Vec<BenchRow>,
    /// Tickets that wait for parts or are with an outside repairer.
    pub aside: Vec<BenchRow>,
    /// Units that are out of service without a ticket.
    pub no_ticket: Vec<NoTicketRow>,
}

/// A unit that is out of service without a ticket.
#[derive(Clone, Debug)]
pub struct NoTicketRow {
    /// The unit.
    pub thing: Link,
    /// Where it is.
    pub place: String,
    /// Why, in sentences.
    pub why: String,
}

/// What the queue is narrowed down by.
#[derive(Clone, Debug, Default)]
pub struct Filter {
    /// Stages to choose from.
    pub stages: Vec<StageOption>,
    /// Kinds of thing to choose from.
    pub kinds: Vec<StageOption>,
    /// Stations to choose from.
    pub stations: Vec<StageOption>,
    /// Words or a number, as entered.
    pub q: String,
    /// Only what this member may return.
    pub own: bool,
    /// Whether that can be asked for: a technician looks.
    pub technician: bool,
    /// How many are left out; none where nothing is narrowed down.
    pub left_out: Option<usize>,
}

/// The same finding again and again.
#[derive(Clone, Debug)]
pub struct RepeatedRow {
    /// What it was found on.
    pub thing: Link,
    /// "3 times in 90 days, last 26 Nov 07:12: gauge agreement …".
    pub say: String,
    /// The last record.
    pub record: Option<Link>,
}

/// A ticket in the queue.
#[derive(Clone, Debug)]
pub struct BenchRow {
    /// Its place, from 1.
    pub place: usize,
    /// Why it has that place: "Because Engine 2 seat 3 is open".
    pub because: String,
    /// The ticket's page.
    pub href: String,
    /// The ticket's number.
    pub number: String,
    /// What is to be repaired: "Unit 130", "Facepiece F-204".
    pub thing: Link,
    /// Its kind in words, or where it belongs.
    pub profile: String,
    /// Its standing.
    pub standing: Standing,
    /// The finding: "Gauges 490 psi apart, limit 450".
    pub finding: String,
    /// "2 h", "3 days".
    pub age: String,
    /// "On the bench".
    pub stage: String,
    /// The same, as a form sends it back.
    pub was: &'static str,
    /// What to do next: "Prove it".
    pub next: String,
    /// Whether that puts it on the bench with the same tap.
    pub takes: bool,
    /// With whom it is and when it is due back; or empty.
    pub sent: String,
    /// Whether that day has passed.
    pub late: bool,
    /// Tickets that are worked on under it.
    pub joined: Vec<Link>,
    /// That this technician is not qualified for it, in a sentence; or empty.
    pub unqualified: String,
}
