//! Quantities as a person reads them off a gauge or a watch, compared exactly.
//!
//! A [`Pressure`] is kept as it was read (4,010 psi stays 4,010 psi). Comparing goes through
//! [`Amount`], a fraction of whole *grains*, so that no rounding decides whether a unit may ride.
//!
//! The pound per square inch is exact by definition: 1 lb = 0.453 592 37 kg, g = 9.806 65 m/s²,
//! 1 in = 0.0254 m (NIST SP 811, App. B), hence 1 psi = 8 896 443 230 521 / 1 290 320 000 Pa.

use std::cmp::Ordering;
use std::fmt;
use std::iter;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::text::as_text;

mod surroundings;

pub use surroundings::{Flow, Temperature, TemperatureUnit, Volume};

/// Grains in a thousandth of a psi. One grain is 1/1 290 320 000 000 Pa.
const GRAINS_PER_MILLIPSI: i128 = 8_896_443_230_521;
/// Grains in a thousandth of a bar (100 Pa).
const GRAINS_PER_MILLIBAR: i128 = 129_032_000_000_000;
/// Largest number accepted in front of a unit. Far above any gauge; it bounds the arithmetic.
const MOST: i64 = 1_000_000;

/// Why a text is not a quantity, in words that say what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing was entered.
    #[error("nothing was entered; write a number and its unit, like {0}")]
    Empty(&'static str),
    /// The number cannot be read.
    #[error("“{0}” is not a number; write digits, like {1}")]
    NotANumber(String, &'static str),
    /// A number without its unit.
    #[error("“{0}” has no unit; write it like {1}")]
    NoUnit(String, &'static str),
    /// A unit that is not known here.
    #[error("“{0}” is not a unit used here; write it like {1}")]
    UnknownUnit(String, &'static str),
    /// Below zero.
    #[error("“{0}” is below zero; a reading cannot be")]
    Negative(String),
    /// A temperature that no bay has.
    #[error("“{0}” is not between −60 and 90 °C (−76 and 194 °F); look again")]
    NoSuchTemperature(String),
    /// Too large, or with more than three decimals.
    #[error("“{0}” is not a reading any gauge or watch gives; look again")]
    Absurd(String),
}

/// A unit of pressure as printed on a gauge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PressureUnit {
    /// Pounds-force per square inch, gauge.
    Psi,
    /// Bar, gauge. 1 bar = 100 kPa exactly.
    Bar,
    /// Kilopascal, gauge.
    #[serde(rename = "kPa")]
    Kpa,
    /// Megapascal, gauge.
    #[serde(rename = "MPa")]
    Mpa,
}

impl PressureUnit {
    fn grains_per_thousandth(self) -> i128 {
        match self {
            Self::Psi => GRAINS_PER_MILLIPSI,
            Self::Bar => GRAINS_PER_MILLIBAR,
            Self::Kpa => GRAINS_PER_MILLIBAR / 100,
            Self::Mpa => GRAINS_PER_MILLIBAR * 10,
        }
    }

    /// The symbol behind a number.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Psi => "psi",
            Self::Bar => "bar",
            Self::Kpa => "kPa",
            Self::Mpa => "MPa",
        }
    }
}

impl FromStr for PressureUnit {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        [Self::Psi, Self::Bar, Self::Kpa, Self::Mpa]
            .into_iter()
            .find(|unit| unit.symbol().eq_ignore_ascii_case(s))
            .ok_or_else(|| QuantityError::UnknownUnit(s.to_owned(), PRESSURE_LIKE))
    }
}

const PRESSURE_LIKE: &str = "4010 psi or 300 bar";
const SECONDS_LIKE: &str = "10 s";

/// A gauge pressure as it was read: thousandths of a unit, and the unit.
///
/// Equality is of the *reading* (300 bar is not the same reading as 30 000 kPa); compare
/// [`Pressure::amount`] to compare pressures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pressure {
    thousandths: i64,
    unit: PressureUnit,
}

impl Pressure {
    /// A whole number of units. `None` when negative or larger than a million.
    pub fn whole(value: i64, unit: PressureUnit) -> Option<Self> {
        (0..=MOST).contains(&value).then(|| Self { thousandths: value * 1000, unit })
    }

    /// The unit it was read in.
    pub fn unit(self) -> PressureUnit {
        self.unit
    }

    /// The exact pressure.
    pub fn amount(self) -> Amount {
        Amount { grains: i128::from(self.thousandths) * self.unit.grains_per_thousandth(), parts: 1 }
    }

    /// The number alone, with thin grouping for a screen: `4,010`.
    pub fn number(self) -> String {
        grouped(self.thousandths)
    }

    /// As a person likes to read it: `4,010 psi`.
    pub fn words(self) -> String {
        format!("{} {}", self.number(), self.unit.symbol())
    }
}

impl fmt::Display for Pressure {
    /// As it is written in a file: `4010 psi`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", plain(self.thousandths), self.unit.symbol())
    }
}

impl FromStr for Pressure {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        let (number, unit) = split(s, PRESSURE_LIKE)?;
        let thousandths = thousandths(number, s, PRESSURE_LIKE)?;
        if unit.is_empty() {
            return Err(QuantityError::NoUnit(s.trim().to_owned(), PRESSURE_LIKE));
        }
        Ok(Self { thousandths, unit: unit.parse()? })
    }
}

as_text!(Pressure);

/// A length of time as it was counted, in thousandths of a second. Never negative.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Seconds(i64);

impl Seconds {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A whole number of seconds. `None` when negative or larger than a million.
    pub fn whole(value: i64) -> Option<Self> {
        (0..=MOST).contains(&value).then_some(Self(value * 1000))
    }

    /// Milliseconds.
    pub fn millis(self) -> i64 {
        self.0
    }
}

impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} s", plain(self.0))
    }
}

impl FromStr for Seconds {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        let (number, unit) = split(s, SECONDS_LIKE)?;
        let value = thousandths(number, s, SECONDS_LIKE)?;
        match unit {
            "s" => Ok(Self(value)),
            "" => Err(QuantityError::NoUnit(s.trim().to_owned(), SECONDS_LIKE)),
            other => Err(QuantityError::UnknownUnit(other.to_owned(), SECONDS_LIKE)),
        }
    }
}

as_text!(Seconds);

/// An exact, non-negative share: 7/30, 90 %.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Fraction {
    num: u16,
    den: u16,
}

impl Fraction {
    /// 3/2.
    pub const HALF_AS_MUCH_AGAIN: Self = Self { num: 3, den: 2 };

    /// 5/4.
    pub const FIVE_QUARTERS: Self = Self { num: 5, den: 4 };

    /// `num`/`den`. `None` when the denominator is zero or above 1,000, or the numerator above
    /// 10,000: that is more than any rule needs, and it bounds the arithmetic.
    pub fn new(num: u16, den: u16) -> Option<Self> {
        ((1..=1000).contains(&den) && num <= 10_000).then_some(Self { num, den })
    }

    /// Numerator and denominator as they were written.
    pub fn parts(self) -> (u16, u16) {
        (self.num, self.den)
    }
}

impl fmt::Display for Fraction {
    /// `90 %` where it was given in hundredths, else `7/30`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.den {
            100 => write!(f, "{} %", self.num),
            1000 => write!(f, "{} %", plain(i64::from(self.num) * 100)),
            _ => write!(f, "{}/{}", self.num, self.den),
        }
    }
}

impl FromStr for Fraction {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        const LIKE: &str = "90 % or 7/30";
        let s = s.trim();
        let wrong = || QuantityError::NotANumber(s.to_owned(), LIKE);
        if let Some(percent) = s.strip_suffix('%') {
            let t = thousandths(percent.trim(), s, LIKE)?;
            if t % 100 != 0 {
                return Err(wrong());
            }
            let (num, den) = if t % 1000 == 0 { (t / 1000, 100) } else { (t / 100, 1000) };
            return u16::try_from(num).ok().and_then(|n| Self::new(n, den)).ok_or_else(wrong);
        }
        let (num, den) = s.split_once('/').ok_or_else(wrong)?;
        let read = |x: &str| x.trim().parse::<u16>().map_err(|_| wrong());
        Self::new(read(num)?, read(den)?).ok_or_else(wrong)
    }
}

/// An exact pressure: `grains / parts`, one grain being 1/1 290 320 000 000 Pa.
#[derive(Debug, Clone, Copy)]
pub struct Amount {
    grains: i128,
    parts: i128,
}

impl Amount {
    /// No pressure at all.
    pub const ZERO: Self = Self { grains: 0, parts: 1 };

    /// So many thousandths of a unit.
    pub fn of_thousandths(thousandths: i64, unit: PressureUnit) -> Self {
        Self { grains: i128::from(thousandths) * unit.grains_per_thousandth(), parts: 1 }
    }

    /// This amount times a fraction, exactly.
    #[must_use]
    pub fn share(self, f: Fraction) -> Self {
        Self { grains: self.grains * i128::from(f.num), parts: self.parts * i128::from(f.den) }
    }

    /// How far apart two amounts are.
    #[must_use]
    pub fn apart(self, other: Self) -> Self {
        let (a, b) = (self.grains * other.parts, other.grains * self.parts);
        Self { grains: (a - b).abs(), parts: self.parts * other.parts }
    }

    /// This less the other, not below zero.
    #[must_use]
    pub fn less(self, other: Self) -> Self {
        let (a, b) = (self.grains * other.parts, other.grains * self.parts);
        Self { grains: (a - b).max(0), parts: self.parts * other.parts }
    }

    /// The number of grains and the number they are divided by: what the tablet's script gets.
    pub fn exact(self) -> (i128, i128) {
        (self.grains, self.parts)
    }

    /// The amount in thousandths of `unit`, rounded to the nearest.
    pub fn thousandths_of(self, unit: PressureUnit) -> i64 {
        let den = self.parts * unit.grains_per_thousandth();
        i64::try_from((2 * self.grains + den) / (2 * den)).unwrap_or(i64::MAX)
    }

    /// In words, to the nearest whole psi or kPa and tenth of a bar: `4,351 psi`.
    pub fn words(self, unit: PressureUnit) -> String {
        format!("{} {}", self.number(unit), unit.symbol())
    }

    /// As [`Amount::words`], the number alone.
    pub fn number(self, unit: PressureUnit) -> String {
        grouped(round_to(self.thousandths_of(unit), step_of(unit)))
    }

    /// In words beside a limit: with as many decimals as it takes for the two not to look equal
    /// when they are not.
    pub fn words_against(self, limit: Self, unit: PressureUnit) -> String {
        let mine = self.thousandths_of(unit);
        let its = limit.thousandths_of(unit);
        let mut step = step_of(unit);
        while self != limit && step > 1 && round_to(mine, step) == round_to(its, step) {
            step /= 10;
        }
        format!("{} {}", grouped(round_to(mine, step)), unit.symbol())
    }
}

/// The size in thousandths to which an amount is rounded for a screen.
fn step_of(unit: PressureUnit) -> i64 {
    match unit {
        PressureUnit::Psi | PressureUnit::Kpa => 1000,
        PressureUnit::Bar => 100,
        PressureUnit::Mpa => 10,
    }
}

fn round_to(value: i64, step: i64) -> i64 {
    value.saturating_add(step / 2) / step * step
}

impl PartialEq for Amount {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Amount {}
impl PartialOrd for Amount {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Amount {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.grains * other.parts).cmp(&(other.grains * self.parts))
    }
}

/// A limit on a pressure as a rule table states it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Limit {
    /// A pressure: `450 psi`.
    Absolute(Pressure),
    /// A share of the rated pressure: `10 % of rated`.
    OfRated(Fraction),
}

impl Limit {
    /// The limit for a unit of this rated pressure.
    pub fn amount(self, rated: Pressure) -> Amount {
        match self {
            Self::Absolute(p) => p.amount(),
            Self::OfRated(f) => rated.amount().share(f),
        }
    }

    /// In words for that unit: `450 psi` or `10 % of 5,500`. Where the gauge reads in bar, in bar.
    pub fn words(self, rated: Pressure) -> String {
        match self {
            Self::Absolute(p) if p.unit() == rated.unit() => p.words(),
            Self::Absolute(p) => p.amount().words(rated.unit()),
            Self::OfRated(f) => format!("{f} of {}", rated.number()),
        }
    }
}

impl fmt::Display for Limit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Absolute(p) => p.fmt(f),
            Self::OfRated(share) => write!(f, "{share} of rated"),
        }
    }
}

impl FromStr for Limit {
    type Err = QuantityError;
    fn from_str(s: &str) -> Result<Self, QuantityError> {
        match s.trim().strip_suffix("of rated") {
            Some(share) => share.parse().map(Self::OfRated),
            None => s.parse().map(Self::Absolute),
        }
    }
}

as_text!(Limit);

/// Splits `4010 psi` into number and unit.
fn split<'a>(s: &'a str, like: &'static str) -> Result<(&'a str, &'a str), QuantityError> {
    let s = s.trim();
    if s.is_empty() {
        return Err(QuantityError::Empty(like));
    }
    let end = s
        .char_indices()
        .find(|&(i, c)| !(c.is_ascii_digit() || c == '.' || c == ',' || (i == 0 && matches!(c, '-' | '+'))))
        .map_or(s.len(), |(i, _)| i);
    Ok((&s[..end], s[end..].trim_start()))
}

/// Reads a decimal with at most three places into thousandths.
fn thousandths(number: &str, whole: &str, like: &'static str) -> Result<i64, QuantityError> {
    let whole = whole.trim();
    let wrong = || QuantityError::NotANumber(whole.to_owned(), like);
    if let Some(rest) = number.strip_prefix('-') {
        return if rest.starts_with(|c: char| c.is_ascii_digit()) {
            Err(QuantityError::Negative(whole.to_owned()))
        } else {
            Err(wrong())
        };
    }
    let (int, frac) = number.split_once('.').unwrap_or((number, ""));
    let digits = |x: &str| x.bytes().all(|b| b.is_ascii_digit());
    if int.is_empty() || !digits(int) || !digits(frac) || number.ends_with('.') {
        return Err(wrong());
    }
    let absurd = || QuantityError::Absurd(whole.to_owned());
    if int.len() > 7 || frac.len() > 3 {
        return Err(absurd());
    }
    let int: i64 = int.parse().map_err(|_| wrong())?;
    let frac = frac.bytes().chain(iter::repeat(b'0')).take(3).fold(0, |n, b| 10 * n + i64::from(b - b'0'));
    let value = int * 1000 + frac;
    if value > MOST * 1000 {
        return Err(absurd());
    }
    Ok(value)
}

/// Thousandths as a plain decimal without needless zeros.
fn plain(thousandths: i64) -> String {
    let (int, frac) = (thousandths / 1000, (thousandths % 1000).abs());
    if frac == 0 {
        return int.to_string();
    }
    format!("{int}.{frac:03}").trim_end_matches('0').to_owned()
}

/// As [`plain`], with a comma before each group of three digits.
fn grouped(thousandths: i64) -> String {
    let text = plain(thousandths);
    let (int, frac) = text.split_once('.').map_or((text.as_str(), None), |(a, b)| (a, Some(b)));
    let mut out = String::with_capacity(text.len() + 2);
    for (i, c) in int.chars().enumerate() {
        if i > 0 && (int.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(c);
    }
    if let Some(frac) = frac {
        out.push('.');
        out.push_str(frac);
    }
    out
}
