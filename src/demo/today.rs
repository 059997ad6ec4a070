//! Cases that are open: what the boards and the bench show today.

use airmuster_domain::record::Condition::Soiled;
use airmuster_domain::record::Stage::{OnTheBench, ReadyToProve, WaitingForParts};
use airmuster_domain::rules::Purpose::ShiftStart;

use super::acts::Act::{
    Arrives, Fails, Holds, Leaves, Moves, Notes, Stage, Stops, TakesOutUnheard, Used, Works,
};
use super::acts::Event;
use super::acts::To::{Bench, Seat};
use super::answers::Try;
use super::answers::Wrong::{Apart, At, Pressure};
use super::story::{no, on};

/// The oldest first.
pub const CASES: &[&[Event]] = &[
    &[
        on(
            9,
            34,
            Fails(
                "110",
                ShiftStart,
                &[At(
                    "motion-alarm-stages",
                    &[Try {
                        item: None,
                        values: &[("count", "2"), ("first", "20 s"), ("full", "31 s")],
                        note: "Third warning does not come.",
                    }],
                )],
            ),
        ),
        on(9, 70, Moves("110", Bench)),
        on(9, 75, Moves("114", Seat("rescue-1-driver"))),
        on(8, 160, Stage("110", OnTheBench, "")),
        on(
            8,
            205,
            Works(
                "110",
                "Sounder swapped with a known-good one: same. The module itself.",
                "",
                "battery 4.5 V",
            ),
        ),
        on(7, 170, Stage("110", WaitingForParts, "Alarm module ordered, ten days.")),
    ],
    &[
        on(8, 20, Leaves(&["309"])),
        on(8, 30, Notes("309", "Spare cupboard is being painted; 309 stands in the office meanwhile.")),
    ],
    &[
        on(
            6,
            40,
            Fails(
                "104",
                ShiftStart,
                &[At("bypass", &[no("Drips air with the knob shut, a little more each time.")])],
            ),
        ),
        on(6, 80, Moves("104", Bench)),
        on(6, 83, Moves("115", Seat("engine-1-4"))),
        on(4, 165, Stage("104", OnTheBench, "")),
        on(
            3,
            210,
            Works(
                "104",
                "Bypass seat replaced, regulator flushed and tried on the bench.",
                "bypass seat, 1",
                "no flow in 60 s with the bypass shut",
            ),
        ),
        on(1, 420, Stage("104", ReadyToProve, "Bench sheet 0288 passed. Proving check is next.")),
    ],
    &[on(6, 250, Arrives("117"))],
    &[
        on(
            4,
            760,
            Holds(
                "112",
                "Wearer reported hard breathing on the second floor at Tannery Lane. Sealed as it came back; cylinder closed, 9 half turns, gauge at 2,300.",
            ),
        ),
        on(4, 790, Moves("112", Bench)),
        on(4, 796, Moves("116", Seat("rescue-1-4"))),
    ],
    &[on(
        3,
        30,
        Fails(
            "306",
            ShiftStart,
            &[At(
                "facepiece-vacuum",
                &[
                    Try { item: Some("F-306"), values: &[("held", "4 s")], note: "Lets go at the chin." },
                    Try { item: Some("F-391"), values: &[("held", "12 s")], note: "" },
                ],
            )],
        ),
    )],
    &[
        on(
            2,
            25,
            Fails("203", ShiftStart, &[Apart(490, "Looked again, straight on, after a minute. No better.")]),
        ),
        on(2, 62, Moves("203", Bench)),
        on(2, 66, Moves("208", Seat("engine-2-3"))),
        on(1, 165, Stage("203", OnTheBench, "")),
        on(
            1,
            230,
            Works(
                "203",
                "Against the reference gauge: cylinder gauge right, remote gauge low and sluggish. It has been going that way since spring.",
                "",
                "reference 4,400; cylinder 4,400; remote 3,920",
            ),
        ),
    ],
    &[
        on(1, 690, Used("108", "kitchen fire, Fern Hollow", Soiled)),
        on(1, 725, Notes("108", "Came in late; washing is left to the next shift.")),
    ],
    &[on(1, 800, TakesOutUnheard("206", "Waist buckle opened by itself twice at the drill yard.", 95))],
    &[on(0, -85, Leaves(&["305", "306", "307"]))],
    &[on(0, 18, Stops("205", "cylinder-secure")), on(0, 19, Leaves(&["205"]))],
    &[on(
        0,
        24,
        Fails(
            "302",
            ShiftStart,
            &[At(
                "low-air-alarm",
                &[
                    Try { item: None, values: &[("at", "1450 psi")], note: "Later than last week." },
                    Try { item: None, values: &[("at", "1430 psi")], note: "Bled as slowly as it goes." },
                ],
            )],
        ),
    )],
    &[
        on(
            0,
            33,
            Fails(
                "303",
                ShiftStart,
                &[Pressure(
                    4000,
                    "No full one left here: the compressor is being serviced. Getting one from the rack.",
                )],
            ),
        ),
        on(0, 34, Leaves(&["303"])),
    ],
];
