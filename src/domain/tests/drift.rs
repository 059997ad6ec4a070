//! Drift, its line and interval held to `scipy.stats.theilslopes`: `data/theilslopes.json`, written by
//! `data/theilslopes.py`.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use airmuster_domain::Millis;
use airmuster_domain::drift::{Measure, Taken, Trend, theil_sen, trends};
use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::readings::Readings;
use airmuster_domain::rules::{DEFAULT, Form, Purpose, parse, resolve};
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
