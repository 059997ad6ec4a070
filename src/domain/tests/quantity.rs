//! Quantities against NIST SP 811, and what they promise for every text and every pair of readings.

use airmuster_domain::quantity::{Amount, Fraction, Limit, Pressure, PressureUnit, QuantityError, Seconds};
use proptest::prelude::*;

const UNITS: [PressureUnit; 4] = [PressureUnit::Psi, PressureUnit::Bar, PressureUnit::Kpa, PressureUnit::Mpa];

fn pressure(text: &str) -> Pressure {
    text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

fn amount(text: &str) -> Amount {
    pressure(text).amount()
}

fn limit(text: &str) -> Limit {
    text.parse().unwrap_or_else(|e| panic!("{text}: {e}"))
}

// ------------------------------------------------------------------ against NIST SP 811

/// NIST SP 811, App. B: 1 psi = 6.894 757 kPa. Read in thousands, to see all seven digits.
#[test]
fn a_psi_is_what_nist_sp_811_says_to_seven_digits() {
    assert_eq!(amount("1000 psi").thousandths_of(PressureUnit::Kpa), 6_894_757);
    assert_eq!(amount("100000 psi").thousandths_of(PressureUnit::Bar), 6_894_757);
    assert_eq!(amount("1000000 psi").thousandths_of(PressureUnit::Mpa), 6_894_757);
}

/// The definitions behind that factor (NIST SP 811, App. B): 1 lb = 0.453 592 37 kg,
/// standard gravity 9.806 65 m/s², 1 in = 0.0254 m; hence 1 psi in Pa with nothing rounded.
#[test]
fn a_psi_is_exactly_a_pound_force_on_a_square_inch() {
    let pound: i128 = 45_359_237; // 10⁻⁸ kg
    let gravity: i128 = 980_665; // 10⁻⁵ m/s²
    let square_inch: i128 = 254 * 254; // 10⁻⁸ m²
    // In pascals: pound × gravity ÷ (square_inch × 10⁵).
    let (psi, parts) = amount("1 psi").exact();
    // 1 kPa is exactly 1,000 Pa, so this compares the two units without any factor of the program.
    let (kilopascal, kilo_parts) = amount("1 kPa").exact();
    assert_eq!((parts, kilo_parts), (1, 1));
    assert_eq!(psi * 1000 * square_inch * 100_000, kilopascal * pound * gravity);
}

/// SI: 1 bar = 100 kPa exactly. NIST SP 811, App. B, gives 1 bar = 14.503 77 psi.
#[test]
fn a_bar_is_a_hundred_kilopascals_and_14_50377_psi() {
    assert_eq!(amount("1 bar"), amount("100 kPa"));
    assert_eq!(amount("10 bar"), amount("1 MPa"));
    assert_eq!(amount("100000 bar").thousandths_of(PressureUnit::Psi), 1_450_377_377);
}

/// Common ratings, converted with the factor of NIST SP 811.
#[test]
fn common_ratings_convert_as_on_a_conversion_table() {
    for (psi, bar) in [
        ("2216 psi", "152.8 bar"),
        ("3000 psi", "206.8 bar"),
        ("4500 psi", "310.3 bar"),
        ("5500 psi", "379.2 bar"),
    ] {
        assert_eq!(amount(psi).words(PressureUnit::Bar), bar);
    }
    assert_eq!(amount("300 bar").words(PressureUnit::Psi), "4,351 psi");
    assert_eq!(amount("200 bar").words(PressureUnit::Psi), "2,901 psi");
}

// ------------------------------------------------------------------ exactness

#[test]
fn a_limit_and_a_reading_that_are_the_same_are_equal() {
    let rated = pressure("4500 psi");
    let tenth = limit("10 % of rated").amount(rated);
    assert_eq!(tenth, amount("450 psi"));
    assert_eq!(tenth, limit("450 psi").amount(rated));
    assert_eq!(amount("4500 psi").apart(amount("4050 psi")), tenth);
    assert_eq!(limit("90 % of rated").amount(rated), amount("4050 psi"));
    assert_eq!(limit("7/30 of rated").amount(rated), amount("1050 psi"));
    assert_eq!(limit("33 % of rated").amount(rated), amount("1485 psi"));
    assert_eq!(limit("90 % of rated").amount(pressure("300 bar")), amount("27000 kPa"));
}

#[test]
fn the_smallest_step_past_a_limit_is_past_it() {
    let rated = pressure("4500 psi");
    let level = limit("90 % of rated").amount(rated);
    assert!(amount("4050.001 psi") > level);
    assert!(amount("4049.999 psi") < level);
    // A third of 4,000 has no decimal; it still has two sides.
    let third = limit("1/3 of rated").amount(pressure("4000 psi"));
    assert!(amount("1333.333 psi") < third && third < amount("1333.334 psi"));
}

#[test]
fn a_hair_past_a_limit_does_not_look_equal_to_it() {
    let wall = amount("450 psi");
    assert_eq!(amount("450.2 psi").words_against(wall, PressureUnit::Psi), "450.2 psi");
    assert_eq!(amount("450 psi").words_against(wall, PressureUnit::Psi), "450 psi");
    assert_eq!(amount("490 psi").words_against(wall, PressureUnit::Psi), "490 psi");
}

#[test]
fn a_reading_is_kept_as_it_was_read() {
    assert_eq!(pressure(" 4010psi ").to_string(), "4010 psi");
    assert_eq!(pressure("300.50 bar").to_string(), "300.5 bar");
    assert_eq!(pressure("31 MPA").to_string(), "31 MPa");
    assert_eq!(pressure("4010 psi").words(), "4,010 psi");
    assert_ne!(pressure("300 bar"), pressure("30000 kPa"), "another reading");
    assert_eq!(amount("300 bar"), amount("30000 kPa"), "the same pressure");
}

#[test]
fn nothing_is_less_than_nothing() {
    assert_eq!(amount("100 psi").less(amount("300 bar")), Amount::ZERO);
    assert_eq!(amount("310 bar").less(amount("300 bar")), amount("10 bar"));
}

// ------------------------------------------------------------------ what is not a quantity

#[test]
fn a_text_that_is_no_pressure_is_told_why() {
    use QuantityError as E;
    type Same = fn(&QuantityError) -> bool;
    let empty: Same = |e| matches!(e, E::Empty(_));
    let no_number: Same = |e| matches!(e, E::NotANumber(..));
    let no_unit: Same = |e| matches!(e, E::NoUnit(..));
    let no_such_unit: Same = |e| matches!(e, E::UnknownUnit(..));
    let negative: Same = |e| matches!(e, E::Negative(_));
    let absurd: Same = |e| matches!(e, E::Absurd(_));
    for (text, wanted) in [
        ("", empty),
        (" \t\n", empty),
        ("full", no_number),
        ("psi", no_number),
        ("psi 4500", no_number),
        ("NaN psi", no_number),
        ("inf psi", no_number),
        ("4,010 psi", no_number),
        ("300,5 bar", no_number),
        ("1.2.3 bar", no_number),
        (".5 bar", no_number),
        ("5. bar", no_number),
        ("- psi", no_number),
        ("--5 psi", no_number),
        ("+5 psi", no_number),
        ("\u{0663}\u{0660}\u{0660} bar", no_number),
        ("4500", no_unit),
        ("0", no_unit),
        ("4500 p", no_such_unit),
        ("4500 psi psi", no_such_unit),
        ("45e2 psi", no_such_unit),
        ("300 atm", no_such_unit),
        ("4500 %", no_such_unit),
        ("-1 psi", negative),
        ("-0.5 bar", negative),
        ("-4500", negative),
        ("4500.1234 psi", absurd),
        ("1000000.001 psi", absurd),
        ("1000001 psi", absurd),
        ("99999999999999999999999999 psi", absurd),
    ] {
        let error = text.parse::<Pressure>().expect_err(text);
        assert!(wanted(&error), "“{text}”: {error:?}");
        let say = error.to_string();
        assert!(say.contains(text.trim()) || no_such_unit(&error), "“{text}”: {say}");
    }
}

#[test]
fn a_text_that_is_no_time_is_told_why() {
    for (text, words) in [
        ("", "nothing was entered"),
        ("10", "no unit"),
        ("10 min", "not a unit used here"),
        ("-1 s", "below zero"),
        ("ten s", "not a number"),
        ("1,5 s", "not a number"),
        ("1.2345 s", "look again"),
        ("99999999 s", "look again"),
    ] {
        let say = text.parse::<Seconds>().expect_err(text).to_string();
        assert!(say.contains(words), "“{text}”: {say}");
        assert!(!say.contains("bar"), "“{text}” is about time: {say}");
    }
    assert_eq!("10.5 s".parse::<Seconds>().map(Seconds::millis), Ok(10_500));
}

#[test]
fn a_share_is_a_percentage_or_a_fraction_and_nothing_else() {
    for (text, parts) in [("90 %", (90, 100)), ("90%", (90, 100)), ("7/30", (7, 30)), ("23.3 %", (233, 1000))]
    {
        assert_eq!(text.parse::<Fraction>().map(Fraction::parts), Ok(parts), "{text}");
    }
    for text in ["", "%", "0.9", "90", "1/0", "1/1001", "10001/2", "-1 %", "33.33 %", "a/b", "1/2/3"] {
        assert!(text.parse::<Fraction>().is_err(), "{text}");
    }
}

#[test]
fn a_limit_is_a_pressure_or_a_share_of_rated() {
    for text in ["450 psi", "10 % of rated", "7/30 of rated", "33.5 % of rated", "50 bar"] {
        assert_eq!(limit(text).to_string(), text);
    }
    for text in ["10 %", "of rated", "10 of rated", "10 psi of rated", "450", "-1 % of rated"] {
        assert!(text.parse::<Limit>().is_err(), "{text}");
    }
    let rated = pressure("5500 psi");
    assert_eq!(limit("10 % of rated").words(rated), "10 % of 5,500");
    assert_eq!(limit("450 psi").words(rated), "450 psi");
}

#[test]
fn a_whole_number_is_bounded_as_a_text_is() {
    for unit in UNITS {
        assert!(Pressure::whole(-1, unit).is_none());
        assert!(Pressure::whole(1_000_001, unit).is_none());
        let most = Pressure::whole(1_000_000, unit).unwrap();
        assert_eq!(most.to_string().parse(), Ok(most));
    }
    assert!(Seconds::whole(-1).is_none() && Seconds::whole(1_000_001).is_none());
}

#[test]
fn a_number_has_the_digits_that_a_gauge_has_and_no_more() {
    // Seven digits before the point and three behind it are read; more are not.
    for (text, back) in [
        ("1000000 psi", "1000000 psi"),
        ("0000001 psi", "1 psi"),
        ("999999.999 bar", "999999.999 bar"),
        ("0.001 MPa", "0.001 MPa"),
        ("0 psi", "0 psi"),
    ] {
        assert_eq!(pressure(text).to_string(), back);
    }
    for text in ["00000001 psi", "1000000.001 psi", "1.0000 psi"] {
        assert!(matches!(text.parse::<Pressure>(), Err(QuantityError::Absurd(_))), "{text}");
    }
    assert_eq!(Seconds::whole(1_000_000).map(Seconds::millis), Some(1_000_000_000));
    assert_eq!(Seconds::whole(0), Some(Seconds::ZERO));
}

#[test]
fn thousands_are_set_apart_wherever_they_begin() {
    for (text, words) in [
        ("7 psi", "7 psi"),
        ("999 psi", "999 psi"),
        ("1000 psi", "1,000 psi"),
        ("45000.5 kPa", "45,000.5 kPa"),
        ("123456 psi", "123,456 psi"),
        ("1000000 psi", "1,000,000 psi"),
    ] {
        assert_eq!(pressure(text).words(), words);
    }
}

#[test]
fn an_amount_is_said_to_the_nearest_step_of_its_unit() {
    // A psi, a kilopascal, a tenth of a bar, a hundredth of a megapascal; halves go up.
    for (text, unit, words) in [
        ("100.499 psi", PressureUnit::Psi, "100 psi"),
        ("100.5 psi", PressureUnit::Psi, "101 psi"),
        ("30000.5 kPa", PressureUnit::Kpa, "30,001 kPa"),
        ("300.049 bar", PressureUnit::Bar, "300 bar"),
        ("300.05 bar", PressureUnit::Bar, "300.1 bar"),
        ("30.005 MPa", PressureUnit::Mpa, "30.01 MPa"),
        ("30.004 MPa", PressureUnit::Mpa, "30 MPa"),
    ] {
        assert_eq!(amount(text).words(unit), words, "{text}");
    }
    let wall = amount("300 bar");
    let against = |text: &str| amount(text).words_against(wall, PressureUnit::Bar);
    assert_eq!(against("300.001 bar"), "300.001 bar");
    assert_eq!(against("300.04 bar"), "300.04 bar");
    assert_eq!(against("300.06 bar"), "300.1 bar");
}

#[test]
fn a_fraction_is_bounded_and_written_as_it_was_given() {
    for (num, den, there) in
        [(10_000, 1000, true), (10_001, 1000, false), (1, 1001, false), (1, 0, false), (0, 1, true)]
    {
        assert_eq!(Fraction::new(num, den).is_some(), there, "{num}/{den}");
    }
    for text in ["90 %", "23.3 %", "7/30", "0 %", "100 %"] {
        assert_eq!(text.parse::<Fraction>().map(|f| f.to_string()), Ok(text.to_owned()));
    }
    // A limit in another unit than the gauge's is said in the gauge's.
    let rated = pressure("300 bar");
    assert_eq!(limit("450 psi").words(rated), "31 bar");
    assert_eq!(limit("50 bar").words(rated), "50 bar");
}

// ------------------------------------------------------------------ for all of them

fn any_pressure() -> impl Strategy<Value = Pressure> {
    (0_i64..1_000_000, 0_i64..1000, prop::sample::select(&UNITS[..]))
        .prop_map(|(whole, frac, unit)| pressure(&format!("{whole}.{frac:03} {}", unit.symbol())))
}

fn any_fraction() -> impl Strategy<Value = Fraction> {
    (0_u16..=10_000, 1_u16..=1000).prop_map(|(num, den)| Fraction::new(num, den).expect("within the bounds"))
}

fn any_limit() -> impl Strategy<Value = Limit> {
    prop_oneof![any_pressure().prop_map(Limit::Absolute), any_fraction().prop_map(Limit::OfRated)]
}

/// Thousandths of a unit in pascals × 10¹⁰, by hand and without the program's own factors.
fn by_hand(p: Pressure) -> i128 {
    let text = p.to_string();
    let (number, unit) = text.split_once(' ').expect("number and unit");
    let (whole, frac) = number.split_once('.').unwrap_or((number, ""));
    let thousandths: i128 = format!("{whole}{frac:0<3}").parse().expect("digits");
    // Common denominator of the four units: 64,516 × 10⁵ (see the square inch above).
    let per_thousandth: i128 = match unit {
        "psi" => 45_359_237 * 980_665,
        "bar" => 100_000 * 64_516 * 100_000,
        "kPa" => 1_000 * 64_516 * 100_000,
        "MPa" => 1_000_000 * 64_516 * 100_000,
        other => panic!("{other}"),
    };
    thousandths * per_thousandth
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn what_is_written_is_read_back(p in any_pressure(), ms in 0_i64..1_000_000_000) {
        prop_assert_eq!(p.to_string().parse(), Ok(p));
        let t: Seconds = format!("{}.{:03} s", ms / 1000, ms % 1000).parse().unwrap();
        prop_assert_eq!(t.millis(), ms);
        prop_assert_eq!(t.to_string().parse(), Ok(t));
    }

    #[test]
    fn a_limit_that_is_written_and_read_back_limits_the_same(l in any_limit(), rated in any_pressure()) {
        let back: Limit = l.to_string().parse().unwrap();
        prop_assert_eq!(back.amount(rated), l.amount(rated));
    }

    #[test]
    fn readings_are_ordered_as_the_pressures_are_whatever_the_unit(a in any_pressure(), b in any_pressure()) {
        prop_assert_eq!(a.amount().cmp(&b.amount()), by_hand(a).cmp(&by_hand(b)));
    }

    #[test]
    fn near_readings_in_two_units_are_ordered_exactly(millibar in 0_i64..400_000, off in -2_i64..=2) {
        // The nearest thousandth of a psi, and its neighbours: no rounding may call them equal.
        let bar = pressure(&format!("{}.{:03} bar", millibar / 1000, millibar % 1000));
        let near = (bar.amount().thousandths_of(PressureUnit::Psi) + off).max(0);
        let psi = pressure(&format!("{}.{:03} psi", near / 1000, near % 1000));
        prop_assert_eq!(psi.amount().cmp(&bar.amount()), by_hand(psi).cmp(&by_hand(bar)));
    }

    #[test]
    fn the_order_of_amounts_is_total(
        a in any_pressure(), b in any_pressure(), c in any_pressure(), f in any_fraction(), g in any_fraction(),
    ) {
        let mut all = [a.amount().share(f), b.amount().share(g), c.amount()];
        all.sort();
        prop_assert!(all[0] <= all[1] && all[1] <= all[2] && all[0] <= all[2]);
        for x in all {
            for y in all {
                prop_assert_eq!(x.cmp(&y), y.cmp(&x).reverse());
                prop_assert_eq!(x == y, x.cmp(&y).is_eq());
            }
        }
    }

    #[test]
    fn a_difference_is_the_same_from_both_sides_and_adds_up(
        a in any_pressure(), b in any_pressure(), f in any_fraction(),
    ) {
        let (a, b) = (a.amount().share(f), b.amount());
        prop_assert_eq!(a.apart(b), b.apart(a));
        prop_assert_eq!(a.apart(a), Amount::ZERO);
        let (high, low) = if a > b { (a, b) } else { (b, a) };
        prop_assert_eq!(high.less(low), a.apart(b));
        prop_assert_eq!(low.less(high), Amount::ZERO);
        prop_assert_eq!(high.less(high.less(low)), low);
    }

    #[test]
    fn a_share_of_a_whole_is_the_whole_and_a_larger_share_is_no_less(
        p in any_pressure(), num in 0_u16..10_000, den in 1_u16..=1000,
    ) {
        let share = |n, d| p.amount().share(Fraction::new(n, d).expect("within the bounds"));
        prop_assert_eq!(share(den, den), p.amount());
        prop_assert!(share(num, den) <= share(num + 1, den));
    }

    #[test]
    fn words_never_show_an_amount_past_a_limit_as_equal_to_it(
        a in any_pressure(), b in any_pressure(), unit in prop::sample::select(&UNITS[..]),
    ) {
        let (mine, its) = (a.amount(), b.amount());
        let apart = mine.thousandths_of(unit) != its.thousandths_of(unit);
        if apart {
            prop_assert_ne!(mine.words_against(its, unit), its.words_against(mine, unit));
        }
    }

    #[test]
    fn no_text_makes_it_panic(text in "(?s).{0,40}") {
        let _ = (text.parse::<Pressure>(), text.parse::<Seconds>());
        let _ = (text.parse::<Fraction>(), text.parse::<Limit>(), text.parse::<PressureUnit>());
    }

    #[test]
    fn no_text_that_looks_like_a_quantity_makes_it_panic(
        text in "[-+]?[0-9.,]{0,30} ?(psi|bar|kPa|MPa|s|%|/|é|)[0-9]{0,6}( of rated)?",
    ) {
        let rated = pressure("4500 psi");
        if let Ok(l) = text.parse::<Limit>() {
            let _ = (l.words(rated), l.amount(rated).words_against(rated.amount(), PressureUnit::Bar));
        }
        if let Ok(p) = text.parse::<Pressure>() {
            prop_assert!(p.amount() >= Amount::ZERO);
        }
        let _ = (text.parse::<Seconds>(), text.parse::<Fraction>());
    }
}
