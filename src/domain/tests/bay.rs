//! What is said beside a pressure in a cold or hot bay. The figures come from the model of
//! `tests/air.rs`, which is held to CoolProp's air there.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on says so")]

use airmuster_domain::air::fill_to;
use airmuster_domain::bay::Bay;
use airmuster_domain::quantity::{Pressure, PressureUnit, Temperature};
use airmuster_domain::rules::{DEFAULT, Form, Purpose, parse, resolve};

fn form(profile: &str) -> Form {
    resolve(&parse(DEFAULT).unwrap(), profile, Purpose::ShiftStart).unwrap()
}

fn says(at: &str, reading: &str) -> String {
    let reading: Pressure = reading.parse().unwrap();
    Bay::of(&form("us-4500-third")).unwrap().says(at.parse().unwrap(), Some(reading.amount()))
}

#[test]
fn the_table_is_within_2_psi_of_the_model_at_every_degree() {
    for profile in parse(DEFAULT).unwrap().profiles.keys() {
        let form = form(profile);
        let bay = Bay::of(&form).unwrap();
        for degrees in -60..=90 {
            let at: Temperature = format!("{degrees} C").parse().unwrap();
            let model = fill_to(form.profile.rated.amount(), at).unwrap();
            let apart = bay.full(at).apart(model).thousandths_of(PressureUnit::Psi);
            assert!(apart <= 2000, "{profile} at {degrees} °C: {apart} thousandths of a psi");
        }
    }
}

#[test]
fn cold_explains_a_low_reading_as_far_as_it_does_and_moves_no_limit() {
    let some = says("-20 C", "3400 psi");
    assert!(some.starts_with("At −20 °C a full cylinder reads 3,512 psi. Cold explains it"), "{some}");
    assert!(
        some.contains("Cold takes 988 psi of the 1,100 psi below rated; 112 psi is air that is not there"),
        "{some}"
    );
    assert!(
        some.contains("The limit is not moved: change it, or recharge it to 3,512 psi and no further"),
        "{some}"
    );
    // At 90 % of rated when it is 21 °C, a cylinder reads about 3,197 psi at 20 below.
    let not = says("-20 C", "3100 psi");
    assert!(not.contains("Cold does not explain it"), "{not}");
    let full = says("-20 C", "3500 psi");
    assert!(full.contains("as full as it may be here. The limit is not moved"), "{full}");
}

#[test]
fn a_cylinder_filled_in_the_cold_to_its_rating_is_over_it() {
    let over = says("-20 C", "4500 psi");
    assert!(over.contains("over its rating: 988 psi more than full"), "{over}");
    assert!(over.contains("bled down slowly to 3,512 psi"), "{over}");
    // Even where the reading is low by the limit.
    assert!(says("-40 C", "3600 psi").contains("over its rating"));
}

#[test]
fn a_warm_cylinder_above_its_rating_is_not_overfilled_and_warmth_can_hide_a_low_one() {
    assert!(says("40 C", "4900 psi").contains("It is not overfilled"));
    assert!(says("40 C", "4300 psi").contains("Warmth hides that this one is low"));
    let low = says("104 F", "4000 psi");
    assert!(low.contains("4,953 psi here is 4,500 psi at 70 °F"), "{low}");
    assert!(low.contains("only if the maker and your fill station allow it"), "{low}");
}

#[test]
fn a_good_reading_in_a_mild_bay_gets_no_lecture() {
    assert_eq!(says("15 C", "4400 psi"), "At 15 °C a full cylinder reads 4,356 psi.");
}
