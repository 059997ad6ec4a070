//! The pressure strip: the one drawing that goes with a unit wherever it appears.
//!
//! A horizontal scale from nothing to rated, with fixed ticks where the low-air alarm must sound
//! and where a cylinder is to be recharged. The cylinder's gauge is the solid fill, the other
//! gauge a fine line over it, and the slim frame under the bar is the room in which that line must
//! stand. A cylinder filled warm runs past the end of the frame, as it should be seen to.

use askama::Template;
use askama::filters::HtmlSafe;

/// Where rated stands, in percent of the drawing's width; the rest is room for a warm cylinder.
const RATED_AT: f64 = 90.0;

/// How large the strip is drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Size {
    /// On a unit's line.
    #[default]
    Thin,
    /// On the check form, with its ticks named; the script keeps it up with what is typed.
    Tall,
    /// One of many, one per check, so that drift shows as a slope.
    Stack,
}

/// What a strip shows. All pressures are in the same unit.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "shared/strip.html")]
pub struct Strip {
    /// How large.
    pub size: Size,
    /// "psi" or "bar".
    pub unit: String,
    /// The pressure the unit is rated for: the end of the scale.
    pub rated: u32,
    /// Where the cylinder is to be recharged: at this or below.
    pub recharge: u32,
    /// The lowest pressure at which the low-air alarm may start.
    pub alarm: u32,
    /// The cylinder's gauge, as last read.
    pub reading: Option<u32>,
    /// The other gauge (remote or in-mask), as read at the same time.
    pub other: Option<u32>,
    /// How far apart the two gauges may be.
    pub limit: Option<u32>,
    /// Where the low-air alarm started in that check.
    pub tripped: Option<u32>,
    /// On the form: the step whose numbers it follows. Otherwise empty.
    pub step: String,
}

impl Strip {
    /// A pressure as a place on the drawing, in percent.
    fn place(&self, pressure: u32) -> f64 {
        if self.rated == 0 {
            return 0.0;
        }
        (f64::from(pressure) / f64::from(self.rated) * RATED_AT).clamp(0.0, 100.0)
    }

    /// A pressure as an SVG length.
    fn at(&self, pressure: u32) -> String {
        format!("{:.2}%", self.place(pressure))
    }

    /// How far the fill reaches.
    fn fill(&self) -> Option<String> {
        self.reading.map(|pressure| self.at(pressure))
    }

    /// Where the other gauge's line stands.
    fn line(&self) -> Option<String> {
        self.other.map(|pressure| self.at(pressure))
    }

    /// Where the other gauge's line waits while it is hidden on the form.
    fn line_or_start(&self) -> String {
        self.line().unwrap_or_else(|| "0".into())
    }

    /// Where the low-air alarm started.
    fn trip(&self) -> Option<String> {
        self.tripped.map(|pressure| self.at(pressure))
    }

    /// The tick of the low-air alarm.
    fn alarm_at(&self) -> String {
        self.at(self.alarm)
    }

    /// The tick of the recharge level.
    fn recharge_at(&self) -> String {
        self.at(self.recharge)
    }

    /// Where the room for the other gauge begins and how wide it is, as SVG lengths.
    fn room(&self) -> Option<(String, String)> {
        let (reading, limit) = (self.reading?, self.limit?);
        let from = self.place(reading.saturating_sub(limit));
        let to = self.place(reading.saturating_add(limit));
        Some((format!("{from:.2}%"), format!("{:.2}%", to - from)))
    }

    /// Whether the two gauges are further apart than they may be. At the limit they agree.
    fn apart(&self) -> bool {
        match (self.reading, self.other, self.limit) {
            (Some(a), Some(b), Some(limit)) => a.abs_diff(b) > limit,
            _ => false,
        }
    }

    /// The reading as it is read: "4,480", or a dash.
    pub fn read(&self) -> String {
        self.reading.map_or_else(|| "–".into(), grouped)
    }

    /// Everything the drawing says, in words.
    fn words(&self) -> String {
        let (rated, unit) = (grouped(self.rated), &self.unit);
        let mut parts = vec![match self.reading {
            Some(reading) => format!("{} of {rated} {unit}", grouped(reading)),
            None => format!("No reading; rated {rated} {unit}"),
        }];
        if let Some(other) = self.other {
            let apart = self.reading.map(|reading| grouped(reading.abs_diff(other)));
            let apart = apart.map(|apart| format!(", {apart} apart")).unwrap_or_default();
            let limit = self.limit.map(|limit| format!(", limit {}", grouped(limit)));
            let limit = limit.unwrap_or_default();
            parts.push(format!("other gauge {}{apart}{limit}", grouped(other)));
        }
        if let Some(tripped) = self.tripped {
            parts.push(format!("low-air alarm started at {}", grouped(tripped)));
        }
        parts.join("; ")
    }
}

impl HtmlSafe for Strip {}

/// A strip in a stack, with the day it was read and the figures beside it.
#[derive(Clone, Debug, Default)]
pub struct StackRow {
    /// When: "26 Nov".
    pub when: String,
    /// The drawing, [`Size::Stack`].
    pub strip: Strip,
    /// The figures worth reading: "4,480 / 4,390 · 90 apart".
    pub figures: String,
}

/// A whole number with its thousands set apart by commas.
pub fn grouped(value: u32) -> String {
    let digits = value.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(reading: u32, other: u32) -> Strip {
        Strip {
            unit: "psi".into(),
            rated: 4500,
            recharge: 4050,
            alarm: 1485,
            reading: Some(reading),
            other: Some(other),
            limit: Some(450),
            ..Strip::default()
        }
    }

    #[test]
    fn gauges_exactly_at_the_limit_are_drawn_as_agreeing() {
        assert!(!pair(4480, 4030).apart());
        assert!(pair(4480, 4029).apart());
    }

    #[test]
    fn the_room_is_the_limit_to_scale_on_both_sides_of_the_reading() {
        let (from, width) = pair(2250, 2250).room().unwrap();
        assert_eq!((from.as_str(), width.as_str()), ("36.00%", "18.00%"));
    }

    #[test]
    fn a_warm_cylinder_runs_past_rated_but_never_off_the_drawing() {
        let strip = pair(4700, 4700);
        assert_eq!(strip.at(4700), "94.00%");
        assert_eq!(strip.at(9000), "100.00%");
    }

    #[test]
    fn the_words_say_what_the_drawing_shows() {
        assert_eq!(pair(4480, 3990).words(), "4,480 of 4,500 psi; other gauge 3,990, 490 apart, limit 450");
    }

    #[test]
    fn thousands_are_set_apart() {
        assert_eq!(grouped(0), "0");
        assert_eq!(grouped(999), "999");
        assert_eq!(grouped(1_000), "1,000");
        assert_eq!(grouped(1_234_567), "1,234,567");
    }
}
