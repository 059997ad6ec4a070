//! What slowly goes wrong with a unit, seen in its checks before it fails one: its gauges move
//! apart, its low-air alarm starts elsewhere, its cylinder loses more from one day to the next.
//!
//! The slope is Theil and Sen's, the median of the slopes between any two readings, which a few
//! wild readings do not move; its interval is Sen's (J. Am. Stat. Assoc. 63 (1968) 1379–1389,
//! equation 2.6). Both come out as `scipy.stats.theilslopes` gives them; see `tests/drift.rs`.
//!
//! A date is said only where the interval of the slope excludes zero. It is a straight line drawn
//! on, and no promise: nothing here lets a unit ride or takes it out of service.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::Millis;
use crate::quantity::{Pressure, PressureUnit};
use crate::readings::Readings;
use crate::rules::{Ask, Form};

/// Milliseconds in a day.
const DAY: Millis = 86_400_000;
/// Readings of the last so many checks are looked at, and none older than [`OLDEST`].
const LAST: usize = 120;
/// In days.
const OLDEST: i64 = 365;
/// Fewer readings, or readings over fewer days, say nothing.
const FEWEST: usize = 20;
const SHORTEST: f64 = 14.0;
/// A crossing within so many days puts a unit on the watch list.
pub const HORIZON: i64 = 365;
/// What a standing cylinder may lose, in percent of its rating a day, before somebody looks for
/// the leak. Common practice, no published source.
const LOSS: f64 = 2.0;
/// Two checks so many days apart tell what a cylinder loses in between.
const BETWEEN: std::ops::RangeInclusive<f64> = 0.5..=8.0;
/// A rise of more than this percentage of the rating is a refill, a fall of more is a use.
const REFILLED: f64 = 3.0;
const USED: f64 = 10.0;

/// A line through readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Its slope.
    pub slope: f64,
    /// Where it stands at zero.
    pub intercept: f64,
    /// The lower end of the slope's 95 % interval.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

impl Fit {
    /// Whether the slope is not nought, as far as these readings tell.
    pub fn is_sloped(&self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }
}

/// The Theil–Sen line of these points with the 95 % interval of its slope, as
/// `scipy.stats.theilslopes` gives it (method `separate`). `None` for fewer than two different
/// places in `x`, or where the ties leave no interval.
pub fn theil_sen(x: &[f64], y: &[f64]) -> Option<Fit> {
    let points: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (i, b) in points.iter().enumerate() {
        for a in &points[..i] {
            let across = b.0 - a.0;
            if across.abs() > 0.0 {
                slopes.push((b.1 - a.1) / across);
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let slope = median(&slopes)?;
    let (mut xs, mut ys): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    xs.sort_by(f64::total_cmp);
    ys.sort_by(f64::total_cmp);
    let intercept = median(&ys)? - slope * median(&xs)?;
    let variance = (pairs(count(points.len())) - ties(&xs) - ties(&ys)) / 18.0;
    let z = Normal::standard().inverse_cdf(0.975);
    let (n, spread) = (count(slopes.len()), z * variance.sqrt());
    if !spread.is_finite() {
        return None;
    }
    let last = slopes.len() - 1;
    let upper = place(f64::midpoint(n, spread).round_ties_even()).min(last);
    let lower = place(f64::midpoint(n, -spread).round_ties_even() - 1.0);
    Some(Fit { slope, intercept, low: *slopes.get(lower)?, high: *slopes.get(upper)? })
}

/// k(k−1)(2k+5), as in Sen's equation 2.6.
fn pairs(k: f64) -> f64 {
    k * (k - 1.0) * (2.0 * k + 5.0)
}

/// What values that are there more than once take from the variance.
fn ties(sorted: &[f64]) -> f64 {
    sorted.chunk_by(|a, b| a.total_cmp(b).is_eq()).map(|same| pairs(count(same.len()))).sum()
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a place in a list, not below zero"
)]
fn place(x: f64) -> usize {
    x.max(0.0) as usize
}

fn median(sorted: &[f64]) -> Option<f64> {
    let middle = sorted.len() / 2;
    let upper = *sorted.get(middle)?;
    Some(if sorted.len() % 2 == 1 { upper } else { f64::midpoint(sorted[middle - 1], upper) })
}

/// What is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Measure {
    /// The remote gauge less the cylinder's.
    Disagreement,
    /// The pressure at which the low-air alarm starts.
    TripPoint,
    /// What a standing cylinder loses in a day.
    Loss,
}

impl Measure {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Disagreement => "Gauges apart",
            Self::TripPoint => "Low-air alarm starts",
            Self::Loss => "Pressure lost in a day",
        }
    }
}

/// The readings of a check, and when they were taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taken {
    /// When.
    pub at: Millis,
    /// What was read.
    pub readings: Readings,
}

/// When a line reaches its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// The limit that it reaches.
    pub limit: f64,
    /// When, drawn on with the slope.
    pub at: Millis,
    /// The earliest and the latest, drawn on with the ends of the slope's interval.
    pub between: (Millis, Millis),
}

/// What one of a unit's readings does over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Trend {
    /// Which reading.
    pub measure: Measure,
    /// The unit of all its numbers; a loss is by day.
    pub unit: PressureUnit,
    /// When and how much, oldest first.
    pub points: Vec<(Millis, f64)>,
    /// The lowest and the highest that it may be.
    pub limits: (Option<f64>, Option<f64>),
    /// The line by days since the first point; none for too few readings.
    pub fit: Option<Fit>,
    /// When it reaches a limit; none where the interval of the slope does not exclude zero.
    pub crossing: Option<Crossing>,
}

impl Trend {
    /// Whether it belongs on the watch list.
    pub fn is_watched(&self, now: Millis) -> bool {
        self.crossing.is_some_and(|c| c.at <= now.saturating_add(HORIZON * DAY))
    }

    /// Where the line stands at a moment.
    pub fn line_at(&self, at: Millis) -> Option<f64> {
        let fit = self.fit?;
        let first = self.points.first()?.0;
        Some(fit.intercept + fit.slope * days(at - first))
    }
}

/// What a unit's readings do, from its checks, oldest first; of each measure those since `since` says
/// (when the parts that it hangs on were fitted or last worked on).
pub fn trends(form: &Form, since: impl Fn(Measure) -> Millis, taken: &[Taken]) -> Vec<Trend> {
    let rated = form.profile.rated;
    let unit = rated.unit();
    let amount = |l: crate::quantity::Limit| units(l.amount(rated).thousandths_of(unit));
    let read = |p: Pressure| units(p.amount().thousandths_of(unit));
    let newest = taken.last().map_or(0, |t| t.at);
    let lately = |measure| {
        let from = since(measure).max(newest.saturating_sub(OLDEST * DAY));
        &taken[taken.partition_point(|t| t.at < from)..]
    };
    let mut out = Vec::new();
    for step in &form.steps {
        let (measure, limits, points): (_, _, Vec<(Millis, f64)>) = match &step.ask {
            Ask::Pair { largest, governs } => {
                let Some(limit) = largest.get(*governs).map(|l| amount(*l)) else { continue };
                let apart = |t: &Taken| t.readings.gauges.map(|(a, b)| (t.at, read(b) - read(a)));
                let points = lately(Measure::Disagreement).iter().filter_map(apart).collect();
                (Measure::Disagreement, (Some(-limit), Some(limit)), points)
            }
            Ask::Trip(band) => {
                let limits = (Some(amount(band.at_least)), Some(amount(band.out_above)));
                let trip = |t: &Taken| t.readings.trip.map(|p| (t.at, read(p)));
                (Measure::TripPoint, limits, lately(Measure::TripPoint).iter().filter_map(trip).collect())
            }
            Ask::Reading { .. } => {
                let rated = read(rated);
                (
                    Measure::Loss,
                    (None, Some(rated * LOSS / 100.0)),
                    losses(rated, lately(Measure::Loss), read),
                )
            }
            _ => continue,
        };
        out.push(trend(measure, unit, limits, points));
    }
    out.sort_by_key(|t| t.measure);
    out
}

/// What was lost by day between one check and the next, without refills and uses.
fn losses(rated: f64, taken: &[Taken], read: impl Fn(Pressure) -> f64) -> Vec<(Millis, f64)> {
    let pressures: Vec<(Millis, f64)> =
        taken.iter().filter_map(|t| t.readings.pressure.map(|p| (t.at, read(p)))).collect();
    let lost = pressures.windows(2).filter_map(|pair| {
        let [(then, before), (now, after)] = pair else { return None };
        let (days, lost) = (days(now - then), before - after);
        let stood = lost >= -rated * REFILLED / 100.0 && lost <= rated * USED / 100.0;
        (BETWEEN.contains(&days) && stood).then(|| (*now, lost / days))
    });
    lost.collect()
}

fn trend(
    measure: Measure,
    unit: PressureUnit,
    limits: (Option<f64>, Option<f64>),
    mut points: Vec<(Millis, f64)>,
) -> Trend {
    points.drain(..points.len().saturating_sub(LAST));
    let (x, y) = over_days(&points);
    let enough = points.len() >= FEWEST && x.last().is_some_and(|last| *last >= SHORTEST);
    let fit = if enough { theil_sen(&x, &y) } else { None };
    let crossing = fit.filter(Fit::is_sloped).and_then(|fit| {
        let limit = if fit.slope > 0.0 { limits.1 } else { limits.0 }?;
        let first = points.first()?.0;
        // The line turns about the middle of the readings.
        let mut xs = x;
        xs.sort_by(f64::total_cmp);
        let middle = median(&xs)?;
        let there = fit.intercept + fit.slope * middle;
        let when = |slope: f64| moment(first, middle + (limit - there) / slope);
        let (a, b) = (when(fit.low), when(fit.high));
        Some(Crossing { limit, at: when(fit.slope), between: (a.min(b), a.max(b)) })
    });
    Trend { measure, unit, points, limits, fit, crossing }
}

/// Days since the first point, and the values.
fn over_days(points: &[(Millis, f64)]) -> (Vec<f64>, Vec<f64>) {
    let first = points.first().map_or(0, |p| p.0);
    points.iter().map(|(at, value)| (days(at - first), *value)).unzip()
}

/// Days in a time, to the second.
fn days(time: Millis) -> f64 {
    i32::try_from(time / 1000).map_or(f64::MAX, f64::from) / 86_400.0
}

/// A moment so many days after another, at most a hundred years away.
#[expect(clippy::cast_possible_truncation, reason = "at most a hundred years in milliseconds")]
fn moment(first: Millis, days: f64) -> Millis {
    first.saturating_add((days.clamp(-36_525.0, 36_525.0) * 86_400_000.0) as i64)
}

/// A number of units from thousandths of them.
fn units(thousandths: i64) -> f64 {
    i32::try_from(thousandths).map_or(f64::MAX, f64::from) / 1000.0
}
