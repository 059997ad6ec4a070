//! The tables that are taken in and given out: a file, its columns, and what each wants.

/// A column.
#[derive(Debug)]
pub struct Column {
    /// Its heading.
    pub name: &'static str,
    /// Whether every row must have it.
    pub required: bool,
    /// What goes in it.
    pub help: &'static str,
    /// An invented example.
    pub example: &'static str,
}

/// A table.
#[derive(Debug)]
pub struct Template {
    /// The file's name without its ending.
    pub name: &'static str,
    /// What a row of it is.
    pub about: &'static str,
    /// The columns.
    pub columns: &'static [Column],
    /// The word with which headings of further columns may begin.
    pub family: Option<&'static str>,
}

impl Template {
    /// The headings in one line.
    pub fn headings(&self) -> String {
        let mut names: Vec<&str> = self.columns.iter().map(|c| c.name).collect();
        let family = self.family.map(|f| format!("{f} …"));
        names.extend(family.as_deref());
        names.join(", ")
    }

    /// The file's name.
    pub fn file(&self) -> String {
        format!("{}.csv", self.name)
    }

    /// The file to fill in: headings and one invented row.
    pub fn blank(&self) -> String {
        let line =
            |of: fn(&Column) -> &'static str| self.columns.iter().map(of).collect::<Vec<_>>().join(",");
        let family =
            |text: &str| self.family.map(|f| format!(",{}", text.replace('*', f))).unwrap_or_default();
        format!(
            "{}{}\r\n{}{}\r\n",
            line(|c| c.name),
            family("* regulator"),
            line(|c| c.example),
            family("RG-2041")
        )
    }
}

const fn must(name: &'static str, example: &'static str, help: &'static str) -> Column {
    Column { name, required: true, help, example }
}

const fn may(name: &'static str, example: &'static str, help: &'static str) -> Column {
    Column { name, required: false, help, example }
}

const ID: &str = "a short name without spaces: letters, digits, dots and hyphens";
const ORDER: &str = "a whole number; smaller comes first. Empty: as in this file";

const CHECKED: &str = "how often what stands there is checked: each shift, weekly, monthly or after use. Empty: nothing is said";

/// Stations.
pub static STATIONS: Template = Template {
    name: "stations",
    about: "A station",
    columns: &[
        must("id", "mill", ID),
        must("name", "Millrace", "what it is called"),
        may("order", "1", ORDER),
    ],
    family: None,
};

/// Rigs.
pub static RIGS: Template = Template {
    name: "rigs",
    about: "A rig",
    columns: &[
        must("id", "engine-2", ID),
        must("name", "Engine 2", "what it is called"),
        must("station", "mill", "the station’s id"),
        may("order", "1", ORDER),
        may("checked", "", CHECKED),
    ],
    family: None,
};

/// Seats and kit places.
pub static SEATS: Template = Template {
    name: "seats",
    about: "A seat, or the place of a kit",
    columns: &[
        must("id", "engine-2-officer", ID),
        must("rig", "engine-2", "the rig’s id"),
        must("name", "Officer", "what it is called"),
        may("kit", "no", "yes where it is the place of a kit and nobody’s seat"),
        may("order", "1", "a whole number; smaller is more important. Empty: as in this file"),
        may("checked", "", CHECKED),
    ],
    family: None,
};

/// Units.
pub static UNITS: Template = Template {
    name: "units",
    about: "A unit",
    columns: &[
        must("number", "117", "the number painted on it"),
        must("profile", "us-4500-third", "which kind of unit it is; “airmuster rules show” lists them"),
        must(
            "cadence",
            "each shift",
            "each shift, weekly, monthly or after use; what is said of its rig or place goes before",
        ),
        may("in use", "yes", "yes where it is in service already; otherwise it is accepted first"),
        may("seat", "engine-2-officer", "the seat’s id, where it rides"),
        may("spare at", "", "the station’s id, where it is a spare"),
        may("away", "", "bench or repairer, where it is there"),
    ],
    family: Some("serial"),
};

/// Facepieces.
pub static FACEPIECES: Template = Template {
    name: "facepieces",
    about: "A facepiece",
    columns: &[
        must("number", "F-117", "the number painted on it"),
        must("size", "medium", "its size"),
        may("make", "", "who makes it; a fit test is for one make, model, style and size"),
        may("model", "", "its model, as on its approval label"),
        may("style", "", "its style: full, or as the fit test calls it"),
        may("with unit", "117", "the number of the unit it is on"),
    ],
    family: None,
};

/// Cylinders.
pub static CYLINDERS: Template = Template {
    name: "cylinders",
    about: "A cylinder",
    columns: &[
        must("number", "C-117", "the number painted on it"),
        must("rated", "4500 psi", "its rated pressure, with psi or bar"),
        may("with unit", "117", "the number of the unit it is in"),
    ],
    family: None,
};

/// Members.
pub static MEMBERS: Template = Template {
    name: "members",
    about: "A member",
    columns: &[
        must("id", "m-14", ID),
        may("name", "Ines Calder", "what the member is called; kept apart from the records"),
        must(
            "roles",
            "technician",
            "crew, officer, technician or administrator; several with spaces between",
        ),
        may(
            "qualified",
            "us-open-circuit-third",
            "kinds of unit whose repairs this technician may sign, with spaces between",
        ),
    ],
    family: None,
};

/// Checks made before, on paper.
pub static CHECKS: Template = Template {
    name: "checks",
    about: "A check made before, kept as a note on its unit: it does not count as a check",
    columns: &[
        must("unit", "117", "the unit’s number"),
        must("date", "2026-11-25", "the day; like 2026-11-25, or in the order that is stated"),
        must("time", "07:05", "the time of day at the station"),
        may("by", "m-14", "the member’s id"),
        must("result", "good", "what it came to"),
        may("remark", "", "anything else"),
    ],
    family: None,
};

/// What is stamped on cylinders.
pub static MARKS: Template = Template {
    name: "marks",
    about: "What is stamped on a cylinder; read it from the cylinder itself",
    columns: &[
        must("cylinder", "C-117", "the cylinder’s number"),
        must(
            "made to",
            "permit-carbon",
            "dot-3a, dot-3aa, dot-3al, permit-carbon, permit-glass, permit-hoop, en-metal or en-composite",
        ),
        must("litres", "6.8", "its water volume"),
        must("made", "2021-03", "the month in which it was made"),
        may("requalified", "", "the month of the last requalification, if it had one"),
        may("life ends", "", "the month with which its life ends, where that is stamped"),
        may("serial", "", "its maker’s serial number"),
    ],
    family: None,
};

/// Until when technicians are qualified.
pub static QUALIFICATIONS: Template = Template {
    name: "qualifications",
    about: "A technician’s certificate for one kind of unit",
    columns: &[
        must("member", "m-14", "the member’s id"),
        must("family", "us-open-circuit-third", "the kind of unit, as in “qualified” of members.csv"),
        must("until", "2028-03-31", "the last day on which it holds"),
        may("certificate", "", "who trained, and its number"),
    ],
    family: None,
};

/// Fit tests.
pub static FIT_TESTS: Template = Template {
    name: "fit_tests",
    about: "A fit test; kept apart from the records, which learn only that something changed",
    columns: &[
        must("member", "m-14", "the member’s id"),
        must("date", "2026-03-01", "the day; like 2026-11-25, or in the order that is stated"),
        may("make", "", "who makes the facepiece"),
        may("model", "", "which model"),
        may("style", "", "which style"),
        must("size", "medium", "which size"),
    ],
    family: None,
};

/// All of them, in the order in which they lean on each other.
pub static ALL: [&Template; 11] = [
    &STATIONS,
    &RIGS,
    &SEATS,
    &UNITS,
    &FACEPIECES,
    &CYLINDERS,
    &MEMBERS,
    &MARKS,
    &QUALIFICATIONS,
    &FIT_TESTS,
    &CHECKS,
];

/// Those that a screen keeps, each entry by the id or number in its first column.
pub static KEPT: [&Template; 7] = [&STATIONS, &RIGS, &SEATS, &UNITS, &CYLINDERS, &FACEPIECES, &MEMBERS];
