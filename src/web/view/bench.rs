//! The bench: what to repair first, and because of what.

use askama::Template;

use super::{Link, Page, Standing};

/// The technician's queue.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "bench/queue.html")]
pub struct Bench {
    /// The frame.
    pub page: Page,
    /// Tickets to work on, first first.
    pub queue: Vec<BenchRow>,
    /// Tickets that wait for parts or are with an outside repairer.
    pub aside: Vec<BenchRow>,
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
    /// What to do next: "Prove it".
    pub next: String,
}
