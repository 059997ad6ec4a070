//! What surrounds a cylinder's pressure: how warm it is, how much it holds, how fast it is used.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::text::as_text;

use super::{QuantityError, plain, split, thousandths};

const TEMPERATURE_LIKE: &str = "21 C or 70 F";
const VOLUME_LIKE: &str = "6.8 L";
const FLOW_LIKE: &str = "40 L/min";

/// A scale of temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum TemperatureUnit {
    /// Degrees Celsius. Kelvin is Celsius plus 273.15, exactly (SI).
    C,
    /// Degrees Fahrenheit. Celsius is (Fahrenheit − 32) / 1.8, exactly (NIST SP 811, App. B).
    F,
}

impl TemperatureUnit {
    /// The letter behind a number.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::C => "C",
            Self::F => "F",
        }
    }
}

impl FromStr for TemperatureUnit {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        match s.trim_start_matches('°').trim() {
            "C" | "c" => Ok(Self::C),
            "F" | "f" => Ok(Self::F),
            _ => Err(QuantityError::UnknownUnit(s.to_owned(), TEMPERATURE_LIKE)),
        }
    }
}

/// A temperature as it was read: thousandths of a degree, and the scale. Between −60 and 90 °C:
/// outside that no bay is and no cylinder may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Temperature {
    thousandths: i32,
    unit: TemperatureUnit,
}

/// −60 °C and 90 °C in thousandths of a kelvin.
const RANGE: std::ops::RangeInclusive<i64> = 213_150..=363_150;

impl Temperature {
    /// A whole number of degrees. `None` outside −60…90 °C.
    pub fn whole(degrees: i32, unit: TemperatureUnit) -> Option<Self> {
        Self { thousandths: degrees.checked_mul(1000)?, unit }.possible()
    }

    fn possible(self) -> Option<Self> {
        let millikelvin = match self.unit {
            TemperatureUnit::C => i64::from(self.thousandths) + 273_150,
            TemperatureUnit::F => (i64::from(self.thousandths) - 32_000) * 5 / 9 + 273_150,
        };
        RANGE.contains(&millikelvin).then_some(self)
    }

    /// The scale it was read on.
    pub fn unit(self) -> TemperatureUnit {
        self.unit
    }

    /// Degrees Celsius.
    pub fn celsius(self) -> f64 {
        let degrees = f64::from(self.thousandths) / 1000.0;
        match self.unit {
            TemperatureUnit::C => degrees,
            TemperatureUnit::F => (degrees - 32.0) / 1.8,
        }
    }

    /// Kelvin.
    pub fn kelvin(self) -> f64 {
        self.celsius() + 273.15
    }

    /// The number alone, for a field: `-20`.
    pub fn number(self) -> String {
        let sign = if self.thousandths < 0 { "-" } else { "" };
        format!("{sign}{}", plain(i64::from(self.thousandths).abs()))
    }

    /// As a person likes to read it: `−20 °C`.
    pub fn words(self) -> String {
        format!("{} °{}", self.number().replace('-', "−"), self.unit.symbol())
    }
}

impl fmt::Display for Temperature {
    /// As it is written in a file: `-20 C`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.number(), self.unit.symbol())
    }
}

impl FromStr for Temperature {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        let whole = s.trim().replace('−', "-");
        let (number, unit) = split(&whole, TEMPERATURE_LIKE)?;
        let (sign, digits) = match number.strip_prefix('-') {
            Some(rest) if !rest.starts_with('-') => (-1, rest),
            _ => (1, number),
        };
        let value = thousandths(digits, &whole, TEMPERATURE_LIKE)?;
        if unit.is_empty() {
            return Err(QuantityError::NoUnit(whole, TEMPERATURE_LIKE));
        }
        let unit = unit.parse()?;
        i32::try_from(sign * value)
            .ok()
            .and_then(|thousandths| Self { thousandths, unit }.possible())
            .ok_or(QuantityError::NoSuchTemperature(whole))
    }
}

as_text!(Temperature);

/// Reads a positive decimal before one of these units into thousandths.
fn measured(s: &str, units: &[&str], like: &'static str) -> Result<i64, QuantityError> {
    let (number, unit) = split(s, like)?;
    let value = thousandths(number, s, like)?;
    match unit {
        "" => Err(QuantityError::NoUnit(s.trim().to_owned(), like)),
        known if units.contains(&known) => match value {
            0 => Err(QuantityError::Absurd(s.trim().to_owned())),
            more => Ok(more),
        },
        other => Err(QuantityError::UnknownUnit(other.to_owned(), like)),
    }
}

/// The water volume of a cylinder, in thousandths of a litre; more than zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Volume(i64);

impl Volume {
    /// Litres.
    pub fn litres(self) -> f64 {
        small(self.0) / 1000.0
    }
}

impl fmt::Display for Volume {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} L", plain(self.0))
    }
}

impl FromStr for Volume {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        measured(s, &["L", "l"], VOLUME_LIKE).map(Self)
    }
}

as_text!(Volume);

/// How fast air is used, in thousandths of a litre of free air a minute; more than zero.
///
/// 40 L/min is the rate at which a rated service time is measured: 42 CFR 84.88(b) and 84.95(a).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Flow(i64);

impl Flow {
    /// Litres a minute.
    pub fn litres_a_minute(self) -> f64 {
        small(self.0) / 1000.0
    }
}

impl fmt::Display for Flow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} L/min", plain(self.0))
    }
}

impl FromStr for Flow {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        measured(s, &["L/min", "l/min"], FLOW_LIKE).map(Self)
    }
}

as_text!(Flow);

/// At most [`super::MOST`] units in thousandths: below 2³¹, so exact.
fn small(thousandths: i64) -> f64 {
    i32::try_from(thousandths).map_or(f64::MAX, f64::from)
}
