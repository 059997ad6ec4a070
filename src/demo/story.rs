//! What happens in the district: told in cases, in [`super::past`] and [`super::today`], and by chance,
//! here. A case is told whole or, where the history is too short for it, not at all.

use airmuster_domain::record::Part;
use rand::Rng as _;
use rand::rngs::StdRng;

use super::acts::{Act, Event, Repair};
use super::answers::Try;
use super::{past, today};

/// All cases.
pub fn cases() -> impl Iterator<Item = &'static [Event]> {
    past::CASES.iter().chain(today::CASES).copied()
}

/// An event, so many days ago and so many minutes after that day's shift began.
pub const fn on(ago: i64, minute: i64, act: Act) -> Event {
    Event { ago, minute, act }
}

/// Not good, with a word.
pub const fn no(note: &'static str) -> Try {
    Try { item: None, values: &[("good", "no")], note }
}

/// What the senior technician has done.
pub const fn by_senior(on: &'static [Part], test: Option<&'static str>, remedy: &'static str) -> Repair {
    Repair { on, bench_test: test, remedy, junior: false }
}

/// What a call was for, and whether it was training.
pub fn call(rng: &mut StdRng) -> (String, bool) {
    const FIRES: [&str; 10] = [
        "kitchen fire",
        "cellar fire",
        "car fire in a garage",
        "chimney fire",
        "roof fire",
        "smoke in a stairwell",
        "shed fire",
        "carbon monoxide in a house",
        "fire in a dryer",
        "barn fire",
    ];
    const PLACES: [&str; 11] = [
        "Sorrel Street",
        "Tannery Lane",
        "Old Quarry Road",
        "Fern Hollow",
        "Lantern Hill",
        "Cooper's Yard",
        "Ninth Mile Road",
        "Weir Cottages",
        "Larch Crescent",
        "Saddler's Row",
        "the feed mill",
    ];
    const TRAINING: [&str; 5] = [
        "training, search in the smoke house",
        "training burn at the drill yard",
        "training, entry and rescue of a downed member",
        "training, stairs with full gear",
        "training, hose line into the cellar",
    ];
    if rng.random_ratio(1, 3) {
        return (TRAINING[rng.random_range(0..TRAINING.len())].to_owned(), true);
    }
    let (fire, place) = (FIRES[rng.random_range(0..FIRES.len())], PLACES[rng.random_range(0..PLACES.len())]);
    (format!("{fire}, {place}"), false)
}

/// What somebody says at a step of a check that is otherwise good: step, whether it is good, words.
pub fn remark(rng: &mut StdRng) -> (&'static str, bool, &'static str) {
    const SAID: [(&str, bool, &str); 24] = [
        ("accessories", false, "Lamp strap is frayed. Lamp still holds."),
        ("accessories", false, "Glove clip missing."),
        ("accessories", false, "Reflective strip is coming off at the lower edge."),
        ("accessories", false, "Name tag unreadable."),
        ("accessories", false, "Lamp dim, needs charging."),
        ("accessories", false, "Paint chipped on the frame, bare metal dry."),
        ("accessories", false, "Wedge pouch torn, wedges are in the cab."),
        ("alarm-battery-low", false, "Low-battery sign on the module. Renewed at noon."),
        ("alarm-battery-low", false, "Display shows low battery. Told the officer."),
        ("alarm-battery-low", false, "Low sign came up during the test, went off again."),
        ("facepiece-condition", true, "Fine scratch at the edge of the lens, out of sight."),
        ("facepiece-ready", true, "Water spots, wiped."),
        ("facepiece-ready", true, "Straps had been left tight. Let out."),
        ("straps-extended", true, "Waist belt was twisted, now straight."),
        ("harness-condition", true, "Stitching on the left strap starting to fluff. Sound."),
        ("cylinder-secure", true, "Latch was a bit stiff."),
        ("cylinder-marking", true, "Test date is due in four months."),
        ("emergency-air-debris", true, "Some grit under the cap, wiped out."),
        ("bypass", true, "Knob turns a little hard."),
        ("relief-valve", true, "Dust on it, brushed off."),
        ("stowed", true, "Bracket rattles; screw tightened."),
        ("hoses-condition", true, "Soot mark near the elbow, wipes off."),
        ("wearer-identified", true, "Took two tries with the tag."),
        ("recharged", true, "Will want filling by the end of the week."),
    ];
    SAID[rng.random_range(0..SAID.len())]
}
