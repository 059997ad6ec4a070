//! Drift, its line and interval held to `scipy.stats.theilslopes`: `data/theilslopes.json`, written by
//! `data/theilslopes.py`.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use airmuster_domain::Millis;
use airmuster_domain::drift::{Fit, Measure, Taken, Trend, theil_sen, trends};
use airmuster_domain::quantity::{Limit, Pressure, PressureUnit};
use airmuster_domain::readings::Readings;
use airmuster_domain::rules::{Ask, DEFAULT, Form, Purpose, parse, resolve};
use serde::Deserialize;

#[derive(Deserialize)]
struct File {
    series: Vec<Series>,
}

#[derive(Deserialize)]
struct Series {
    name: String,
    x: Vec<f64>,
    y: Vec<f64>,
    slope: f64,
    intercept: f64,
    low: f64,
    high: f64,
}

#[test]
fn slope_and_interval_are_those_of_scipy_on_every_series() {
    let file: File = serde_json::from_str(include_str!("data/theilslopes.json")).unwrap();
    assert!(file.series.len() >= 20, "{}", file.series.len());
    for s in file.series {
        let got = theil_sen(&s.x, &s.y).unwrap_or_else(|| panic!("{}: no line", s.name));
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * (1.0 + b.abs());
        assert!(near(got.slope, s.slope), "{}: slope {} is not {}", s.name, got.slope, s.slope);
        assert!(near(got.intercept, s.intercept), "{}: intercept", s.name);
        assert!(near(got.low, s.low), "{}: {} is not {}", s.name, got.low, s.low);
        assert!(near(got.high, s.high), "{}: {} is not {}", s.name, got.high, s.high);
    }
}

#[test]
fn readings_all_at_one_moment_have_no_line() {
    assert_eq!(theil_sen(&[1.0, 1.0, 1.0], &[1.0, 2.0, 3.0]), None);
    assert_eq!(theil_sen(&[], &[]), None);
}

const DAY: Millis = 86_400_000;
const BEGIN: Millis = 1_781_006_400_000;

fn form() -> Form {
    resolve(&parse(DEFAULT).unwrap(), "us-4500-third", Purpose::ShiftStart).unwrap()
}

fn psi(n: i64) -> Pressure {
    Pressure::whole(n, PressureUnit::Psi).unwrap()
}

/// A check every day: the gauges a little further apart each time, by `step` hundredths of a psi.
fn daily(days: i64, step: i64) -> Vec<Taken> {
    (0..days)
        .map(|d| {
            // A wobble that has no slope.
            let wobble = [0, 8, -8, 4, -4][usize::try_from(d % 5).unwrap()];
            let readings = Readings {
                pressure: Some(psi(4400)),
                gauges: Some((psi(4400), psi(4400 + d * step / 100 + wobble))),
                trip: Some(psi(1600 + wobble)),
            };
            Taken { at: BEGIN + d * DAY, readings }
        })
        .collect()
}

fn of(all: &[Trend], measure: Measure) -> &Trend {
    all.iter().find(|t| t.measure == measure).unwrap()
}

#[test]
fn gauges_that_move_apart_are_given_a_date_and_steady_ones_none() {
    let all = trends(&form(), |_| 0, &daily(100, 200));
    let apart = of(&all, Measure::Disagreement);
    let crossing = apart.crossing.unwrap();
    // Two psi a day reach 450 after 225 days.
    let day = (crossing.at - BEGIN) / DAY;
    assert!((222..=228).contains(&day), "day {day}");
    assert!(crossing.between.0 <= crossing.at && crossing.at <= crossing.between.1);
    assert!((crossing.limit - 450.0).abs() < 1e-9);
    assert!(apart.is_watched(BEGIN + 100 * DAY));
    let steady = of(&all, Measure::TripPoint);
    assert!(steady.fit.is_some() && steady.crossing.is_none(), "{steady:?}");
}

#[test]
fn a_date_beyond_the_horizon_puts_nothing_on_the_watch_list() {
    let all = trends(&form(), |_| 0, &daily(100, -60));
    let apart = of(&all, Measure::Disagreement);
    // 0.6 psi a day reach −450 after 750 days.
    assert!((apart.crossing.unwrap().limit + 450.0).abs() < 1e-9);
    assert!(!apart.is_watched(BEGIN + 100 * DAY));
}

#[test]
fn few_readings_and_those_from_before_a_repair_say_nothing() {
    let taken = daily(100, 200);
    assert!(trends(&form(), |_| 0, &taken[..19]).iter().all(|t| t.fit.is_none()));
    let since = trends(&form(), |_| BEGIN + 85 * DAY, &taken);
    assert_eq!(of(&since, Measure::Disagreement).points.len(), 15);
    assert!(since.iter().all(|t| t.fit.is_none() && t.crossing.is_none()));
    // Another gauge says nothing new of where the alarm starts.
    let gauge = |m| if m == Measure::Disagreement { BEGIN + 85 * DAY } else { 0 };
    let since = trends(&form(), gauge, &taken);
    assert_eq!(of(&since, Measure::Disagreement).points.len(), 15);
    assert!(since.iter().filter(|t| t.measure != Measure::Disagreement).all(|t| t.points.len() != 15));
}

#[test]
fn what_a_cylinder_loses_is_counted_between_refills_and_uses() {
    let mut taken = daily(60, 0);
    for (d, t) in (0_i64..).zip(&mut taken) {
        // Loses 20 psi a day, is refilled every ten days, and was used once.
        t.readings.pressure = Some(psi(4500 - 20 * (d % 10) - if d == 35 { 2000 } else { 0 }));
    }
    let all = trends(&form(), |_| 0, &taken);
    let loss = of(&all, Measure::Loss);
    assert!(loss.points.iter().all(|(_, v)| (v - 20.0).abs() < 1e-6), "{:?}", loss.points);
    assert_eq!(loss.points.len(), 59 - 5 - 2);
}

#[test]
fn a_slope_is_one_where_its_interval_leaves_nought_out() {
    let sloped = |low, high| Fit { slope: f64::midpoint(low, high), intercept: 0.0, low, high }.is_sloped();
    assert!(sloped(0.1, 1.0) && sloped(-1.0, -0.1));
    assert!(!sloped(-1.0, 1.0) && !sloped(0.0, 1.0) && !sloped(-1.0, 0.0));
}

#[test]
fn the_line_stands_where_its_fit_puts_it_by_days_since_the_first_reading() {
    let all = trends(&form(), |_| 0, &daily(100, 200));
    let apart = of(&all, Measure::Disagreement);
    let fit = apart.fit.unwrap();
    for days in [0_i32, 10, 250] {
        let stands = fit.intercept + fit.slope * f64::from(days);
        let line = apart.line_at(BEGIN + i64::from(days) * DAY).unwrap();
        assert!((line - stands).abs() < 1e-9, "day {days}: {line} is not {stands}");
    }
    // Two psi a day: about 20 on the tenth.
    assert!((apart.line_at(BEGIN + 10 * DAY).unwrap() - 20.0).abs() < 5.0);
    let few = trends(&form(), |_| 0, &daily(3, 200));
    assert_eq!(of(&few, Measure::Disagreement).line_at(BEGIN), None);
}

#[test]
fn each_measure_has_the_limits_of_the_rule_table() {
    let form = form();
    let all = trends(&form, |_| 0, &daily(30, 0));
    let words: Vec<&str> = all.iter().map(|t| t.measure.words()).collect();
    assert_eq!(words, ["Gauges apart", "Low-air alarm starts", "Pressure lost in a day"]);
    let psi_of = |l: Limit| {
        let psi = l.amount(form.profile.rated).thousandths_of(PressureUnit::Psi);
        Some(f64::from(i32::try_from(psi).unwrap()) / 1000.0)
    };
    let band = form.steps.iter().find_map(|s| match &s.ask {
        Ask::Trip(band) => Some((psi_of(band.at_least), psi_of(band.out_above))),
        _ => None,
    });
    assert_eq!(all[0].limits, (Some(-450.0), Some(450.0)));
    assert_eq!(Some(all[1].limits), band);
    // 2 % of 4,500 psi a day: common practice, no published source.
    assert_eq!(all[2].limits, (None, Some(90.0)));
}

/// When each reading of where the alarm starts was taken that is looked at, in days from the first.
fn looked_at(at: impl Iterator<Item = Millis>) -> Vec<i64> {
    let readings = Readings { pressure: None, gauges: None, trip: Some(psi(1600)) };
    let taken: Vec<Taken> = at.map(|at| Taken { at: BEGIN + at, readings }).collect();
    let all = trends(&form(), |_| 0, &taken);
    of(&all, Measure::TripPoint).points.iter().map(|(at, _)| (at - BEGIN) / DAY).collect()
}

#[test]
fn readings_of_the_last_year_are_looked_at_and_of_those_the_last_120() {
    assert_eq!(looked_at([0, 100 * DAY, 365 * DAY].into_iter()), [0, 100, 365], "a year to the moment");
    assert_eq!(looked_at([0, 100 * DAY, 365 * DAY + 1].into_iter()), [100, 365]);
    let last = looked_at((0..130).map(|d| d * DAY));
    assert_eq!((last.len(), last[0], last[119]), (120, 10, 129));
}

#[test]
fn a_line_needs_twenty_readings_over_fourteen_days() {
    let fit = |n: i64, over: Millis| {
        let readings = |i: i64| Readings { pressure: None, gauges: None, trip: Some(psi(1600 + i)) };
        let taken: Vec<Taken> =
            (0..n).map(|i| Taken { at: BEGIN + i * over / (n - 1), readings: readings(i) }).collect();
        of(&trends(&form(), |_| 0, &taken), Measure::TripPoint).fit.is_some()
    };
    assert!(fit(20, 14 * DAY));
    assert!(!fit(19, 14 * DAY));
    assert!(!fit(20, 14 * DAY - 60_000));
}

#[test]
fn what_a_cylinder_loses_between_two_checks_is_told_from_a_refill_a_use_and_a_long_time() {
    let lost = |days: f64, before: i64, after: i64| {
        let taken = |at: f64, p| Taken {
            #[expect(clippy::cast_possible_truncation, reason = "a few days in milliseconds")]
            at: BEGIN + (at * 86_400_000.0) as i64,
            readings: Readings { pressure: Some(psi(p)), gauges: None, trip: None },
        };
        let all = trends(&form(), |_| 0, &[taken(0.0, before), taken(days, after)]);
        of(&all, Measure::Loss).points.first().map(|(_, v)| *v)
    };
    let is = |got: Option<f64>, psi_a_day: f64| got.is_some_and(|v| (v - psi_a_day).abs() < 1e-6);
    assert!(is(lost(2.0, 4500, 4400), 50.0), "100 psi in two days");
    // Of 4,500 psi: a fall of more than 10 % is a use, a rise of more than 3 % a refill.
    assert!(is(lost(1.0, 4500, 4050), 450.0));
    assert_eq!(lost(1.0, 4500, 4049), None);
    assert!(is(lost(1.0, 4000, 4135), -135.0), "a warmer bay");
    assert_eq!(lost(1.0, 4000, 4136), None);
    // From half a day to eight.
    assert!(is(lost(0.5, 4500, 4490), 20.0) && is(lost(8.0, 4500, 4420), 10.0));
    assert_eq!((lost(0.49, 4500, 4490), lost(8.01, 4500, 4420)), (None, None));
}

#[test]
fn a_date_is_drawn_on_from_the_middle_of_the_readings_with_both_ends_of_the_interval() {
    let all = trends(&form(), |_| 0, &daily(100, 200));
    let apart = of(&all, Measure::Disagreement);
    let (fit, crossing) = (apart.fit.unwrap(), apart.crossing.unwrap());
    // The middle of days 0 to 99 is 49.5.
    let day = |slope: f64| 49.5 + (450.0 - fit.intercept - fit.slope * 49.5) / slope;
    let near = |at: Millis, slope: f64| {
        let told = f64::from(i32::try_from((at - BEGIN) / 1000).unwrap()) / 86_400.0;
        assert!((told - day(slope)).abs() < 1e-3, "{told} is not {}", day(slope));
    };
    near(crossing.at, fit.slope);
    // The steeper, the sooner.
    near(crossing.between.0, fit.high);
    near(crossing.between.1, fit.low);
}
