//! The district's thirty members. Every one of them is invented.

/// Everybody's PIN in the demo.
pub const PIN: &str = "246810";

/// A member.
#[derive(Debug, Clone, Copy)]
pub struct Person {
    /// The id that records name.
    pub id: &'static str,
    /// What the member is called.
    pub name: &'static str,
}

const fn p(id: &'static str, name: &'static str) -> Person {
    Person { id, name }
}

/// By station and platoon: the officer, then two of the crew.
pub const CREWS: [[[Person; 3]; 3]; 3] = [
    [
        [p("m-101", "Ines Halloway"), p("m-102", "Tobias Wrenfield"), p("m-103", "Dalia Okereke")],
        [p("m-104", "Marek Stolarz"), p("m-105", "June Abernethy-Cole"), p("m-106", "Rafael Ontero")],
        [p("m-107", "Sunniva Breck"), p("m-108", "Caleb Dunmore"), p("m-109", "Priya Venkatar")],
    ],
    [
        [p("m-110", "Gil Pemberley"), p("m-111", "Noor Haddadi"), p("m-112", "Anton Lisk")],
        [p("m-113", "Wren Castellan"), p("m-114", "Hugo Marchetto"), p("m-115", "Etta Solberg")],
        [p("m-116", "Oren Tallis"), p("m-117", "Bea Kowalenko"), p("m-118", "Dexter Rowe")],
    ],
    [
        [p("m-119", "Thea Lindqvall"), p("m-120", "Jonah Bickerstone"), p("m-121", "Amara Diop-Lane")],
        [p("m-122", "Pavel Drost"), p("m-123", "Lucia Ferrand"), p("m-124", "Sam Whitlow")],
        [p("m-125", "Greta Ashdown"), p("m-126", "Kofi Mensah-Reed"), p("m-127", "Milo Tarrant")],
    ],
];

/// Qualified for every kind of unit that the district has.
pub const TECHNICIAN: Person = p("m-201", "Vera Nyholt");
/// Not qualified for the older kind.
pub const JUNIOR_TECHNICIAN: Person = p("m-202", "Ruben Achterveld");
/// Sets it up and answers for the record.
pub const ADMINISTRATOR: Person = p("m-301", "Ada Morrigan");

/// Goes through a check faster than its steps can take.
pub const HURRIED: &str = "m-118";

/// A member as the register has it.
#[derive(Debug, Clone, Copy)]
pub struct Entry {
    /// Who.
    pub person: Person,
    /// Roles.
    pub roles: &'static [&'static str],
    /// Families of profiles.
    pub qualified: &'static [&'static str],
}

/// Everybody, the administrator first: the others are entered by her.
pub fn everybody() -> Vec<Entry> {
    let entry = |person, roles, qualified| Entry { person, roles, qualified };
    let mut all = vec![
        entry(ADMINISTRATOR, &["administrator"], &[]),
        entry(TECHNICIAN, &["technician"], &["us-open-circuit-third", "us-open-circuit-quarter"]),
        entry(JUNIOR_TECHNICIAN, &["technician"], &["us-open-circuit-third"]),
    ];
    for [officer, crew @ ..] in CREWS.iter().flatten() {
        all.push(entry(*officer, &["crew", "officer"], &[]));
        all.extend(crew.iter().map(|c| entry(*c, &["crew"], &[])));
    }
    all
}

/// Who is on duty at a station on a day, days being counted from any day: three platoons take turns.
pub fn on_duty(station: usize, day: i64) -> &'static [Person; 3] {
    let platoon = usize::try_from(day.rem_euclid(3)).unwrap_or(0);
    &CREWS[station][platoon]
}
