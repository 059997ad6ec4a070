//! Cases that are long over: found, repaired, proved, returned.

use airmuster_domain::record::Condition::Contaminated;
use airmuster_domain::record::Part::{Alarm, Gauge, Other, Reducer, Regulator, Valve};
use airmuster_domain::record::Stage::{AtRepairer, OnTheBench, ReadyToProve, WaitingForParts};
use airmuster_domain::rules::Purpose::{Periodic, ShiftStart};

use super::acts::Act::{
    Accepts, Arrives, BrokenOff, ChecksAfterUse, Cleans, Condemns, Fails, Holds, Moves, Notes, Releases,
    Retires, Returns, Stage, TakesOut, Used, Works,
};
use super::acts::To::{Bench, Repairer, Seat, Spare, With};
use super::acts::{Event, Repair};
use super::answers::Try;
use super::answers::Wrong::{Apart, At};
use super::story::{by_senior, no, on};

/// The oldest first.
pub const CASES: &[&[Event]] = &[
    &[
        on(
            520,
            31,
            Fails(
                "105",
                ShiftStart,
                &[At("regulator-shut-off", &[no("Pops out again at the second press.")])],
            ),
        ),
        on(520, 70, Moves("105", Bench)),
        on(520, 74, Moves("114", Seat("ladder-1-officer"))),
        on(519, 150, Stage("105", OnTheBench, "")),
        on(
            519,
            215,
            Works(
                "105",
                "Shut-off latch worn. Cover and latch replaced.",
                "latch kit, 1",
                "opens at 1.1 in of water, holds at shut-off",
            ),
        ),
        on(518, 130, Stage("105", ReadyToProve, "")),
        on(
            518,
            190,
            Returns(
                "105",
                "105",
                by_senior(
                    &[Regulator],
                    Some("Bench sheet 0114, passed."),
                    "Latch kit fitted to the regulator, shut-off tried fifty times.",
                ),
            ),
        ),
        on(518, 240, Moves("114", Spare("kettle"))),
        on(518, 242, Moves("105", Seat("ladder-1-officer"))),
    ],
    &[
        on(
            441,
            28,
            Fails(
                "204",
                ShiftStart,
                &[At(
                    "connection-leak",
                    &[no("Hiss at the cylinder connection, reseated by hand."), no("Still hisses.")],
                )],
            ),
        ),
        on(441, 60, Moves("204", Bench)),
        on(441, 66, Moves("208", Seat("engine-2-4"))),
        on(440, 180, Stage("204", OnTheBench, "")),
        on(
            440,
            205,
            Works(
                "204",
                "Seal of the cylinder connection was nicked. Replaced, thread cleaned.",
                "seal, 1",
                "no bubbles in 5 min",
            ),
        ),
        on(
            438,
            140,
            Returns("204", "204", by_senior(&[Other], None, "New seal at the cylinder connection.")),
        ),
        on(438, 170, Moves("208", Spare("millrace"))),
        on(438, 172, Moves("204", Seat("engine-2-4"))),
    ],
    &[
        on(
            409,
            820,
            Holds(
                "304",
                "Wearer felt faint on the third floor at Larch Crescent. Sealed as it came back, cylinder closed, 11 half turns.",
            ),
        ),
        on(409, 850, Moves("304", Bench)),
        on(409, 860, Moves("308", Seat("engine-3-4"))),
        on(
            398,
            200,
            Releases(
                "304",
                "Read out and looked at: nothing wrong with the unit. Wearer was short of water. File closed.",
            ),
        ),
        on(398, 330, ChecksAfterUse("304")),
        on(397, -35, Moves("308", Spare("tarn"))),
        on(397, -33, Moves("304", Seat("engine-3-4"))),
    ],
    &[
        on(
            377,
            26,
            Fails(
                "109",
                ShiftStart,
                &[At(
                    "motion-alarm-stages",
                    &[Try {
                        item: None,
                        values: &[("count", "2"), ("first", "21 s"), ("full", "33 s")],
                        note: "Goes from the second warning straight to the full alarm.",
                    }],
                )],
            ),
        ),
        on(377, 75, Moves("109", Bench)),
        on(377, 77, Moves("115", Seat("rescue-1-officer"))),
        on(376, 160, Stage("109", OnTheBench, "")),
        on(376, 190, Works("109", "Module reads out a sound fault. Not ours to open.", "", "battery 4.4 V")),
        on(375, 210, Stage("109", AtRepairer, "Sent off with the read-out.")),
        on(375, 230, Moves("109", Repairer)),
        on(354, 170, Moves("109", Bench)),
        on(354, 175, Stage("109", ReadyToProve, "Back with a certificate.")),
        on(
            353,
            160,
            Returns(
                "109",
                "109",
                by_senior(
                    &[Alarm],
                    Some("Repairer's certificate 7731."),
                    "Alarm module exchanged by the repairer.",
                ),
            ),
        ),
        on(353, 200, Moves("115", Spare("kettle"))),
        on(353, 202, Moves("109", Seat("rescue-1-officer"))),
    ],
    &[
        on(318, 37, BrokenOff("306", "bypass", &[At("bypass", &[no("Slow hiss with the knob shut.")])])),
        on(318, 80, Moves("306", Bench)),
        on(318, 84, Moves("309", Seat("squad-3-driver"))),
        on(317, 175, Stage("306", OnTheBench, "")),
        on(
            317,
            240,
            Works(
                "306",
                "Bypass seat scored, a grain of sand in it. Seat and washer replaced, regulator flushed.",
                "bypass seat, 1; washer, 1",
                "no flow in 60 s with the bypass shut",
            ),
        ),
        on(
            316,
            150,
            Returns(
                "306",
                "306",
                Repair {
                    on: &[Valve, Regulator],
                    bench_test: Some("Bench sheet 0167, passed."),
                    remedy: "Bypass seat and washer replaced.",
                    junior: true,
                },
            ),
        ),
        on(316, 185, Moves("309", Spare("tarn"))),
        on(316, 187, Moves("306", Seat("squad-3-driver"))),
    ],
    &[
        on(
            270,
            600,
            TakesOut("201", "Right shoulder strap let go once at the drill yard. Held the second time."),
        ),
        on(269, 160, Stage("201", OnTheBench, "")),
        on(
            269,
            200,
            Works(
                "201",
                "Strap and slide loaded with 40 kg wet and dry, twenty times each. Does not slip.",
                "",
                "0 mm in 20 pulls",
            ),
        ),
        on(
            269,
            260,
            Returns(
                "201",
                "201",
                by_senior(
                    &[],
                    None,
                    "No fault found. Strap was threaded once instead of twice; shown to the crew.",
                ),
            ),
        ),
    ],
    &[
        on(
            241,
            33,
            Fails(
                "202",
                ShiftStart,
                &[At(
                    "cylinder-condition",
                    &[
                        Try {
                            item: Some("own"),
                            values: &[("good", "no")],
                            note: "Gouge near the foot, fibres loose. Fell on the ramp last night.",
                        },
                        Try { item: Some("other"), values: &[("good", "yes")], note: "" },
                    ],
                )],
            ),
        ),
        on(
            239,
            200,
            Condemns("Gouge is deeper than the maker allows. Emptied, threads spoiled, marked condemned."),
        ),
    ],
    &[
        on(
            226,
            29,
            Fails(
                "303",
                ShiftStart,
                &[Apart(520, "Remote gauge was knocked against the door frame yesterday.")],
            ),
        ),
        on(226, 58, Moves("303", Bench)),
        on(226, 63, Moves("308", Seat("engine-3-3"))),
        on(225, 150, Stage("303", OnTheBench, "")),
        on(
            225,
            170,
            Works(
                "303",
                "Against the reference gauge: cylinder gauge right, remote gauge low over the whole scale.",
                "",
                "reference 4,400; cylinder 4,400; remote 3,900",
            ),
        ),
        on(224, 160, Stage("303", WaitingForParts, "Remote gauge with hose ordered.")),
        on(
            222,
            200,
            Works(
                "303",
                "Remote gauge and hose fitted.",
                "remote gauge with hose, 1",
                "reference 4,400; remote 4,380",
            ),
        ),
        on(
            221,
            150,
            Returns(
                "303",
                "303",
                by_senior(&[Gauge], Some("Bench sheet 0203, passed."), "Remote gauge replaced."),
            ),
        ),
        on(221, 190, Moves("308", Spare("tarn"))),
        on(221, 192, Moves("303", Seat("engine-3-3"))),
    ],
    &[
        on(
            171,
            22,
            Fails("110", ShiftStart, &[At("start-display", &[no("Stays dark, also with new batteries.")])]),
        ),
        on(171, 64, Moves("110", Bench)),
        on(171, 69, Moves("116", Seat("rescue-1-driver"))),
        on(170, 180, Stage("110", OnTheBench, "")),
        on(
            170,
            220,
            Works(
                "110",
                "Cable to the display broken at the strain relief. Display and cable replaced.",
                "display with cable, 1",
                "all four levels, paired",
            ),
        ),
        on(
            169,
            150,
            Returns(
                "110",
                "110",
                by_senior(&[Other], None, "Display and its cable replaced, paired with the module."),
            ),
        ),
        on(169, 175, Moves("116", Spare("kettle"))),
        on(169, 177, Moves("110", Seat("rescue-1-driver"))),
    ],
    &[on(154, 240, Arrives("311")), on(148, 170, Accepts("311", Spare("tarn")))],
    &[
        on(
            122,
            250,
            Retires("211", "The maker has stopped making parts for this edition. 311 takes its place."),
        ),
        on(122, 262, Moves("211", Bench)),
    ],
    &[
        on(
            96,
            35,
            Fails(
                "206",
                ShiftStart,
                &[At(
                    "low-air-alarm",
                    &[
                        Try { item: None, values: &[("at", "980 psi")], note: "Slow bleed." },
                        Try { item: None, values: &[("at", "960 psi")], note: "Slower still." },
                    ],
                )],
            ),
        ),
        on(96, 90, Moves("206", Bench)),
        on(96, 96, Moves("210", Seat("tender-2-driver"))),
        on(95, 170, Stage("206", OnTheBench, "")),
        on(
            94,
            190,
            Works(
                "206",
                "Alarm adjuster cleaned and set anew. Reducer taken apart for it.",
                "O-ring set, 1",
                "starts at 1,090; 1,085; 1,090",
            ),
        ),
        on(
            93,
            150,
            Returns(
                "206",
                "206",
                by_senior(
                    &[Alarm, Reducer],
                    Some("Bench sheet 0251, passed."),
                    "Low-air alarm cleaned and set.",
                ),
            ),
        ),
        on(93, 180, Moves("210", Spare("millrace"))),
        on(93, 182, Moves("206", Seat("tender-2-driver"))),
    ],
    &[
        on(
            58,
            27,
            Fails(
                "104",
                ShiftStart,
                &[At(
                    "facepiece-condition",
                    &[
                        Try {
                            item: Some("F-104"),
                            values: &[("good", "no")],
                            note: "Lens crazed on the left after the training burn.",
                        },
                        Try { item: Some("F-191"), values: &[("good", "yes")], note: "" },
                    ],
                )],
            ),
        ),
        on(57, 160, Stage("facepiece:F-104", OnTheBench, "")),
        on(
            57,
            185,
            Works(
                "facepiece:F-104",
                "Lens replaced, seal and valves looked over.",
                "lens, 1",
                "held 15 s on the test head",
            ),
        ),
        on(57, 240, Moves("facepiece:F-191", Spare("kettle"))),
        on(57, 241, Moves("facepiece:F-104", With("104"))),
        on(
            57,
            270,
            Returns(
                "facepiece:F-104",
                "104",
                Repair { on: &[Other], bench_test: None, remedy: "New lens.", junior: true },
            ),
        ),
    ],
    &[
        on(
            33,
            178,
            Fails(
                "208",
                Periodic,
                &[At("elastomers", &[no("Low-pressure hose is sticky near the reducer.")])],
            ),
        ),
        on(33, 230, Moves("208", Bench)),
        on(32, 160, Stage("208", OnTheBench, "")),
        on(32, 200, Works("208", "Low-pressure hose replaced.", "hose, 1", "no fall in 60 s")),
        on(31, 155, Returns("208", "208", by_senior(&[Other], None, "Low-pressure hose replaced."))),
        on(31, 180, Moves("208", Spare("millrace"))),
    ],
    &[
        on(18, 410, Used("102", "battery fire in a cellar, Weir Cottages", Contaminated)),
        on(
            18,
            428,
            Notes(
                "102",
                "Bagged on scene, not carried in the cab. Gloves and bag go to the technician with it.",
            ),
        ),
        on(18, 430, Moves("102", Bench)),
        on(16, 190, Cleans("102", "Washed twice by the maker's method, wiped and dried. Straps replaced.")),
        on(16, 280, ChecksAfterUse("102")),
        on(15, -40, Moves("102", Seat("engine-1-driver"))),
    ],
];
