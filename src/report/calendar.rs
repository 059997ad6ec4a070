//! A calendar in the format of RFC 5545, for any calendar program to subscribe to.

use chrono::{DateTime, Days, NaiveDate};
use icalendar::{Calendar, Component as _, Event, EventLike as _};

/// A whole day with something to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Names the entry wherever it is read again.
    pub uid: String,
    /// The day.
    pub day: NaiveDate,
    /// What to do.
    pub summary: String,
    /// More.
    pub details: String,
}

/// The calendar's text. `now`, in milliseconds since 1970, is when it was made.
pub fn calendar(name: &str, now: i64, entries: &[Entry]) -> String {
    let made = DateTime::from_timestamp_millis(now).unwrap_or_default();
    let mut out = Calendar::new();
    out.name(name);
    for e in entries {
        // DTEND is the day after: RFC 5545, 3.6.1, the end of an event is not part of it.
        let next = e.day.checked_add_days(Days::new(1)).unwrap_or(e.day);
        let mut event = Event::new();
        event.uid(&e.uid).timestamp(made).summary(&e.summary).starts(e.day).ends(next);
        if !e.details.trim().is_empty() {
            event.description(e.details.trim());
        }
        out.push(event.done());
    }
    out.done().to_string()
}
