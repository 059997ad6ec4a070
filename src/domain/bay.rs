//! What a reading taken in a cold or hot bay means: how much of it the temperature explains, and
//! what to fill to. Beside the limit, never instead of it: a reading at or below the recharge
//! level is low at any temperature (29 CFR 1910.134(h)(3)(iii) knows no correction).
//!
//! The tablet says the same from the same table, without the model of the gas: `static/bay.js`
//! is this file again, and `tests/vectors/bay.json` holds both to it.

use serde::Serialize;

use crate::air::{AirError, reads, reference};
use crate::quantity::{Amount, PressureUnit, Temperature, TemperatureUnit};
use crate::rules::{Ask, Form, Subject};

/// The table's first temperature in °C, and the step between two.
const FIRST: i32 = -60;
const STEP: i32 = 10;
/// Up to 90 °C: every [`Temperature`] is within the table.
const ROWS: usize = 16;

/// What cylinders of one kind read, by temperature. Between two rows it is read off a straight
/// line, which is within 2 psi of the model.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Bay {
    /// The unit of all its numbers, which are thousandths of it.
    unit: PressureUnit,
    /// The rated pressure.
    rated: i64,
    /// The recharge level: a reading must be above it.
    level: i64,
    /// One division of the gauge. Less cannot be told apart.
    division: i64,
    /// What a full cylinder reads at −60, −50, … 90 °C.
    full: Vec<i64>,
    /// What one reads that stands at the recharge level at 21 °C.
    low: Vec<i64>,
}

impl Bay {
    /// The table for a form, where it asks for the cylinder's pressure with a lowest one.
    pub fn of(form: &Form) -> Option<Self> {
        let rated = form.profile.rated;
        let level = form.steps.iter().find_map(|s| match &s.ask {
            Ask::Reading { above, at_least, .. } if s.subject() == Subject::Cylinder => above.or(*at_least),
            _ => None,
        })?;
        Self::made(rated.amount(), level.amount(rated), form.profile.division.amount(), rated.unit()).ok()
    }

    fn made(rated: Amount, level: Amount, division: Amount, unit: PressureUnit) -> Result<Self, AirError> {
        let column = |filled: Amount| -> Result<Vec<i64>, AirError> {
            (FIRST..)
                .step_by(10)
                .take(ROWS)
                .map(|celsius| {
                    let at = Temperature::whole(celsius, TemperatureUnit::C).unwrap_or_else(reference);
                    Ok(reads(filled, reference(), at)?.thousandths_of(unit))
                })
                .collect()
        };
        Ok(Self {
            rated: rated.thousandths_of(unit),
            level: level.thousandths_of(unit),
            division: division.thousandths_of(unit),
            full: column(rated)?,
            low: column(level)?,
            unit,
        })
    }

    /// What a full cylinder reads in this bay, which is what to fill one to.
    pub fn full(&self, at: Temperature) -> Amount {
        Amount::of_thousandths(between(&self.full, at), self.unit)
    }

    /// What to say in this bay, beside a reading where there is one.
    pub fn says(&self, at: Temperature, reading: Option<Amount>) -> String {
        let (full, low) = (between(&self.full, at), between(&self.low, at));
        let words = |thousandths| Amount::of_thousandths(thousandths, self.unit).words(self.unit);
        let standard = match at.unit() {
            TemperatureUnit::C => "21 °C",
            TemperatureUnit::F => "70 °F",
        };
        let mut text = format!("At {} a full cylinder reads {}.", at.words(), words(full));
        let Some(reading) = reading.map(|r| r.thousandths_of(self.unit)) else {
            return text;
        };
        let (rated, level) = (words(self.rated), words(self.level));
        let refill = if full > self.rated {
            format!(
                "recharge it: {} here is {rated} at {standard}. Go above {rated} only if the maker and your fill station allow it",
                words(full)
            )
        } else {
            format!("recharge it to {} and no further", words(full))
        };
        let short = words(full - reading);
        let more = if reading > full + self.division {
            format!(
                " This one is over its rating: {} more than full. Keep it out of the heat, fill nothing into it, and have it bled down slowly to {} by someone trained at the fill station. Ask how it was filled.",
                words(reading - full),
                words(full)
            )
        } else if reading <= self.level && full < self.rated && reading + self.division >= full {
            format!(
                " Cold explains it: this one is as full as it may be here. The limit is not moved: it stays low until it reads above {level}. Fit one kept in the warm, or tell your officer."
            )
        } else if reading <= self.level && full < self.rated {
            let (cold, below) = (words(self.rated - full), words(self.rated - reading));
            let explains = if reading > low {
                format!("Cold explains it: at {standard} this one would stand above {level}")
            } else {
                "Cold does not explain it".to_owned()
            };
            format!(
                " {explains}. Cold takes {cold} of the {below} below rated; {short} is air that is not there. The limit is not moved: change it, or {refill}."
            )
        } else if reading <= self.level {
            format!(" This one is {short} short of full. Change it, or {refill}.")
        } else if reading <= low {
            format!(
                " Warmth hides that this one is low: at {standard} it would stand at or below {level}. Change it, or {refill}."
            )
        } else if reading > self.rated {
            format!(" It reads more than {rated} because it is warm. It is not overfilled.")
        } else {
            return text;
        };
        text.push_str(&more);
        text
    }
}

/// Reads a column off at a temperature.
fn between(column: &[i64], at: Temperature) -> i64 {
    let place = (at.celsius() - f64::from(FIRST)) / f64::from(STEP);
    let row = (0..ROWS - 1).rev().find(|&r| small(r) <= place).unwrap_or(0);
    let (a, b) = (column[row], column[row + 1]);
    a + rounded(whole(b - a) * (place - small(row)))
}

fn small(row: usize) -> f64 {
    u32::try_from(row).map_or(0.0, f64::from)
}

fn whole(thousandths: i64) -> f64 {
    i32::try_from(thousandths).map_or(f64::MAX, f64::from)
}

#[expect(clippy::cast_possible_truncation, reason = "a difference of two rows, below 2³¹")]
fn rounded(x: f64) -> i64 {
    x.round() as i64
}
