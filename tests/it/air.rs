//! The arithmetic of a cylinder's air on the command line, as a script reads it.

use serde_json::Value;

use super::common::run;

fn said(args: &[&str]) -> Value {
    serde_json::from_str(&run(args, b"").ok()).unwrap()
}

fn near(value: &Value, expected: f64, by: f64) {
    let got = value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"));
    assert!((got - expected).abs() <= by, "{got} is not within {by} of {expected}");
}

/// CoolProp 8.0.0, fluid "Air" (Lemmon et al. 2000): 3,509 psi or 241.9 bar where the fill was at 21.1 °C.
#[test]
fn a_full_cylinder_is_told_to_read_3510_psi_at_twenty_below() {
    let out = said(&["air", "reads", "--rated", "4500 psi", "--filled-at", "21 C", "--now", "-20 C"]);
    near(&out["reads_psi"], 3510.0, 5.0);
    near(&out["reads_bar"], 242.0, 0.4);
    let same = said(&["air", "reads", "--rated", "4500 psi", "--filled-at", "69.8 F", "--now", "-4 F"]);
    assert_eq!(same["reads_psi"], out["reads_psi"]);
}

/// CoolProp 8.0.0: 275 L of free air a litre at 4,500 psi, so 46.8 min from 6.8 L at 40 L/min.
#[test]
fn minutes_are_told_to_the_alarm_and_to_empty() {
    let out = said(&[
        "air",
        "lasts",
        "--volume",
        "6.8 L",
        "--pressure",
        "4500 psi",
        "--rate",
        "40 L/min",
        "--alarm",
        "1050 psi",
    ]);
    near(&out["minutes_to_empty"], 46.7, 0.3);
    // 26.4 % of the air is left at 1,050 psi.
    near(&out["minutes_to_alarm"], 46.7 * (1.0 - 0.264), 0.4);
    let twice = said(&[
        "air",
        "lasts",
        "--volume",
        "6.8 L",
        "--pressure",
        "4500 psi",
        "--rate",
        "80 L/min",
        "--alarm",
        "1050 psi",
    ]);
    near(&twice["minutes_to_empty"], out["minutes_to_empty"].as_f64().unwrap() / 2.0, 0.1);
}

#[test]
fn a_cold_fill_stops_below_the_rating() {
    let out = said(&["air", "fill", "--rated", "300 bar", "--at", "0 C"]);
    // CoolProp 8.0.0: 266.4 bar from 21.1 °C.
    near(&out["fill_to_bar"], 266.5, 0.5);
    let warm = said(&["air", "fill", "--rated", "300 bar", "--at", "21 C"]);
    near(&warm["fill_to_bar"], 300.0, 0.05);
}

#[test]
fn what_cannot_be_read_is_named_with_its_option_and_exit_code_2() {
    for (args, names) in [
        (["air", "reads", "--rated", "4500", "--now", "0 C"], "--rated"),
        (["air", "reads", "--rated", "4500 psi", "--now", "200 C"], "--now"),
        (["air", "fill", "--rated", "4500 psi", "--at", "warm"], "--at"),
        (["air", "fill", "--rated", "20000 psi", "--at", "20 C"], "700 bar"),
    ] {
        run(&args, b"").failed(2, names);
    }
}
