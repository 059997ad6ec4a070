use super::*;

fn known() -> Known {
    let table = airmuster_domain::rules::parse(airmuster_domain::rules::DEFAULT).unwrap();
    Known { now: 1_795_676_640_000, ..Known::default() }.with_table(&table)
}

fn told(file: &str, text: &str, known: &Known) -> Vec<String> {
    let read = read(&[(file.to_owned(), text.as_bytes().to_vec())], known);
    read.problems.iter().map(ToString::to_string).collect()
}

#[test]
fn every_template_as_given_out_can_be_taken_in() {
    let files: Vec<(String, Vec<u8>)> =
        columns::ALL.iter().map(|t| (t.file(), t.blank().into_bytes())).collect();
    let read = read(&files, &known());
    assert_eq!(read.problems, []);
    assert_eq!((read.checks.len(), read.fits.len()), (1, 1));
    // Nine tables, and where unit, facepiece and cylinder are.
    assert_eq!(read.entries.len(), 12);
    assert_eq!(read.names, [("m-14".to_owned(), "Ines Calder".to_owned())]);
}

#[test]
fn each_problem_has_its_row_its_column_and_what_to_do() {
    let k = known();
    assert_eq!(
        told("rigs.csv", "id,name,station,order\ne 1,,mill,-1\ne2,Engine,mill,x\n", &k),
        [
            "rigs.csv, row 2, name: this is empty; fill it in",
            "rigs.csv, row 3, order: write a whole number from 0 to 65535, or leave it empty",
        ]
    );
    assert_eq!(
        told("rigs.csv", "id,name,station\ne/1,Engine,mill\n", &k),
        [
            "rigs.csv, row 2, id: “e/1” cannot be used: up to 32 letters from A to Z, digits, dots, hyphens",
            "rigs.csv, row 2, station: there is no “mill”; enter it in stations.csv",
        ]
    );
    let units = "number,profile,cadence,in use,seat,away\n1,us-4500-third,weekly,maybe,,\n\
                 2,us-45,daily,,,attic\n2,us-4500-third,weekly,,x,bench\n";
    let told = told("units.csv", units, &k);
    let begins = [
        "units.csv, row 2, in use: write yes or no",
        "units.csv, row 3, profile: “us-45” is not a profile of the rule table in force; use one of ",
        "units.csv, row 3, cadence: write each shift, weekly, monthly or after use",
        "units.csv, row 3, away: write bench or repairer, or leave it empty",
        "units.csv, row 4, number: “2” is in row 3 already; leave one of them",
        "units.csv, row 4, seat: a unit is in one place: fill in only one of seat, spare at and away",
    ];
    assert_eq!(told.len(), begins.len(), "{told:#?}");
    for (told, begin) in told.iter().zip(begins) {
        assert!(told.starts_with(begin), "{told}");
    }
}

/// A department with one of each thing.
fn small() -> Known {
    let id = str::to_owned;
    let entries = vec![
        Register::Station { id: id("mill"), name: id("Millrace"), order: 1 },
        Register::Rig { id: id("e2"), name: id("Engine 2"), station: id("mill"), order: 1 },
        Register::Unit {
            number: id("117"),
            profile: id("us-4500-third"),
            cadence: Cadence::Weekly,
            in_use: true,
            serials: BTreeMap::new(),
        },
        Register::Cylinder { number: id("C-1"), rated: "4500 psi".parse().unwrap() },
        Register::Member {
            id: id("m-1"),
            roles: vec![id("technician")],
            qualified: vec![id("us-open-circuit-third")],
        },
    ];
    Known { entries, ..known() }
}

/// Every refusal of every table, in a row by itself: its column, and what to do.
const REFUSED: [(&str, &str, &str, &str); 46] = [
    ("stations", "id,name\n mi ll,Mill\n", "id", "“mi ll” cannot be used: up to 32 letters"),
    ("stations", "id,name\nmill,\n", "name", "this is empty; fill it in"),
    ("stations", "id,name,order\nmill,Mill,1.5\n", "order", "write a whole number from 0 to 65535"),
    ("rigs", "id,name,station\ne1,Engine,hill\n", "station", "there is no “hill”; enter it in stations.csv"),
    (
        "rigs",
        "id,name,station,order\ne1,Engine,mill,70000\n",
        "order",
        "write a whole number from 0 to 65535",
    ),
    ("seats", "id,rig,name\ns1,e9,Officer\n", "rig", "there is no “e9”; enter it in rigs.csv"),
    ("seats", "id,rig,name,kit\ns1,e2,Officer,perhaps\n", "kit", "write yes or no"),
    ("seats", "id,rig,name,order\ns1,e2,Officer,first\n", "order", "write a whole number from 0 to 65535"),
    (
        "units",
        "number,profile,cadence\n9,us-45,weekly\n",
        "profile",
        "“us-45” is not a profile of the rule table",
    ),
    (
        "units",
        "number,profile,cadence\n9,us-4500-third,daily\n",
        "cadence",
        "write each shift, weekly, monthly or after use",
    ),
    ("units", "number,profile,cadence,in use\n9,us-4500-third,weekly,so so\n", "in use", "write yes or no"),
    (
        "units",
        "number,profile,cadence,seat\n9,us-4500-third,weekly,s9\n",
        "seat",
        "there is no “s9”; enter it in seats.csv",
    ),
    (
        "units",
        "number,profile,cadence,spare at\n9,us-4500-third,weekly,hill\n",
        "spare at",
        "there is no “hill”; enter it in stations.csv",
    ),
    (
        "units",
        "number,profile,cadence,away\n9,us-4500-third,weekly,attic\n",
        "away",
        "write bench or repairer",
    ),
    (
        "units",
        "number,profile,cadence,spare at,away\n9,us-4500-third,weekly,mill,bench\n",
        "seat",
        "a unit is in one place",
    ),
    ("facepieces", "number,size\n,medium\n", "number", "this is empty; fill it in"),
    ("facepieces", "number,size\nF-1,\n", "size", "this is empty; fill it in"),
    ("facepieces", "number,size\nF 1,medium\n", "number", "“F 1” cannot be used"),
    (
        "facepieces",
        "number,size,with unit\nF-1,medium,9\n",
        "with unit",
        "there is no “9”; enter it in units.csv",
    ),
    ("cylinders", "number,rated\nC-2,4500\n", "rated", "write it like 4500 psi or 300 bar"),
    ("cylinders", "number,rated\nC-2,4500 atm\n", "rated", "write it like 4500 psi or 300 bar"),
    ("cylinders", "number,rated\nC-2,-1 bar\n", "rated", "write it like 4500 psi or 300 bar"),
    (
        "cylinders",
        "number,rated,with unit\nC-2,300 bar,9\n",
        "with unit",
        "there is no “9”; enter it in units.csv",
    ),
    ("members", "id,roles\nm-2,crew\n", "name", "a member who has no name yet needs one"),
    ("members", "id,name,roles\nm-2,Zo,captain\n", "roles", "“captain” is not a role; write crew, officer"),
    (
        "members",
        "id,name,roles,qualified\nm-2,Zo,technician,all\n",
        "qualified",
        "“all” is not a kind of unit; use ",
    ),
    (
        "marks",
        "cylinder,made to,litres,made\nC-9,permit-carbon,6.8,2021-03\n",
        "cylinder",
        "there is no “C-9”; enter it in cylinders.csv",
    ),
    ("marks", "cylinder,made to,litres,made\nC-1,carbon,6.8,2021-03\n", "made to", "write one of dot-3a, "),
    (
        "marks",
        "cylinder,made to,litres,made\nC-1,permit-carbon,6.8 L,2021-03\n",
        "litres",
        "write the water volume in litres, like 6.8",
    ),
    (
        "marks",
        "cylinder,made to,litres,made\nC-1,permit-carbon,0.1,2021-03\n",
        "litres",
        "write the water volume in litres, like 6.8",
    ),
    (
        "marks",
        "cylinder,made to,litres,made\nC-1,permit-carbon,6.8,03/2021\n",
        "made",
        "write it as year and month, like 2021-03",
    ),
    (
        "marks",
        "cylinder,made to,litres,made,requalified\nC-1,permit-carbon,6.8,2021-03,2026\n",
        "requalified",
        "write it as year and month",
    ),
    (
        "marks",
        "cylinder,made to,litres,made,life ends\nC-1,permit-carbon,6.8,2021-03,never\n",
        "life ends",
        "write it as year and month",
    ),
    (
        "qualifications",
        "member,family,until\nm-9,us-open-circuit-third,2028-03-31\n",
        "member",
        "there is no “m-9”; enter it in members.csv",
    ),
    (
        "qualifications",
        "member,family,until\nm-1,all,2028-03-31\n",
        "family",
        "m-1 is not qualified for “all”; enter it at “qualified”",
    ),
    (
        "qualifications",
        "member,family,until\nm-1,us-open-circuit-third,31/03/2028\n",
        "until",
        "say whether the day or the month comes first",
    ),
    (
        "fit_tests",
        "member,date,size\nm-9,2026-03-01,medium\n",
        "member",
        "there is no “m-9”; enter it in members.csv",
    ),
    ("fit_tests", "member,date,size\nm-1,2026-02-30,medium\n", "date", "write it like 2026-04-03"),
    ("fit_tests", "member,date,size\nm-1,2027-03-01,medium\n", "date", "this day is still to come"),
    ("fit_tests", "member,date,size\nm-1,2026-03-01,\n", "size", "this is empty; fill it in"),
    (
        "checks",
        "unit,date,time,result\n9,2026-03-01,07:05,good\n",
        "unit",
        "there is no “9”; enter it in units.csv",
    ),
    (
        "checks",
        "unit,date,time,by,result\n117,2026-03-01,07:05,m-9,good\n",
        "by",
        "there is no “m-9”; enter it in members.csv, or leave it empty",
    ),
    ("checks", "unit,date,time,result\n117,1 March,07:05,good\n", "date", "write it like 2026-04-03"),
    ("checks", "unit,date,time,result\n117,2026-03-01,25:05,good\n", "time", "write it like 07:05"),
    ("checks", "unit,date,time,result\n117,2027-03-01,07:05,good\n", "date", "this is later than now"),
    (
        "checks",
        "unit,date,time,result,colour\n117,2026-03-01,07:05,good,red\n",
        "colour",
        "this column is not known; the columns are: unit, date",
    ),
];

#[test]
fn every_refusal_of_every_table_names_the_file_the_row_the_column_and_what_to_do() {
    let known = small();
    for (table, text, column, say) in REFUSED {
        let file = format!("{table}.csv");
        let read = read(&[(file.clone(), text.as_bytes().to_vec())], &known);
        let [problem] = read.problems.as_slice() else { panic!("{text:?}: {:#?}", read.problems) };
        let row = if say.contains("column") { 1 } else { 2 };
        let told = (problem.file.as_str(), problem.row, problem.column.as_str());
        assert_eq!(told, (file.as_str(), row, column), "{text:?}: {problem}");
        assert!(problem.say.contains(say), "{text:?}: {problem}");
    }
    for template in columns::ALL {
        let tried: BTreeSet<&str> = REFUSED.iter().filter(|r| r.0 == template.name).map(|r| r.2).collect();
        assert!(tried.len() >= 2, "{}: {tried:?}", template.name);
        // What is required is asked for, in each table.
        for column in template.columns.iter().filter(|c| c.required) {
            let rest: Vec<&str> =
                template.columns.iter().map(|c| c.name).filter(|name| *name != column.name).collect();
            let told = told(&template.file(), &format!("{}\n", rest.join(",")), &known);
            let missing =
                format!("{}, row 1, {}: this column is missing; add it", template.file(), column.name);
            assert_eq!(told, [missing]);
        }
    }
}

#[test]
fn a_date_in_local_order_is_read_only_where_the_order_is_stated() {
    let day = NaiveDate::from_ymd_opt(2026, 4, 3).unwrap();
    assert_eq!(date("2026-04-03", Dates::Unsaid), Ok(day));
    assert!(date("03/04/2026", Dates::Unsaid).unwrap_err().contains("day or the month"));
    assert_eq!(date("03/04/2026", Dates::DayFirst), Ok(day));
    assert_eq!(date("3.4.2026", Dates::DayFirst), Ok(day));
    assert_eq!(date("04/03/2026", Dates::MonthFirst), Ok(day));
    date("04/03/26", Dates::MonthFirst).unwrap_err();
    date("31/02/2026", Dates::DayFirst).unwrap_err();
    date("46115", Dates::DayFirst).unwrap_err();
    assert_eq!(time("7:05 PM"), NaiveTime::from_hms_opt(19, 5, 0));
    assert_eq!(time("07:05"), NaiveTime::from_hms_opt(7, 5, 0));
    assert_eq!(time("25:05"), None);
}

#[test]
fn two_units_in_one_seat_are_told_unless_one_leaves_it() {
    let entries = vec![
        Register::Station { id: "m".to_owned(), name: "M".to_owned(), order: 1 },
        Register::Seat {
            id: "s".to_owned(),
            rig: "r".to_owned(),
            name: "S".to_owned(),
            kit: false,
            order: 1,
        },
        Register::Unit {
            number: "1".to_owned(),
            profile: "us-4500-third".to_owned(),
            cadence: Cadence::Weekly,
            in_use: true,
            serials: BTreeMap::new(),
        },
        Register::Holder { asset: Asset::unit("1"), place: Place::Seat { seat: "s".to_owned() } },
    ];
    let k = Known { entries, ..known() };
    let head = "number,profile,cadence,seat,spare at\n2,us-4500-third,weekly,s,\n";
    let alone = told("units.csv", head, &k);
    assert_eq!(alone, ["units.csv, row 2, seat: unit 1 is in “s” as well; put one of them elsewhere"]);
    assert_eq!(told("units.csv", &format!("{head}1,us-4500-third,weekly,,m\n"), &k), [""; 0]);
    assert_eq!(told("hats.csv", "id\n", &k).len(), 1);
    assert_eq!(told("Stations.CSV", "id,name\nm,M\n", &k), [""; 0]);
}
