//! Upkeep in the district: marks on its cylinders, tests that come round, fills, air samples. Some
//! things are planted: a cylinder past its life, one past its requalification, a failed air sample
//! with the cylinder that it holds, and a month in which a station's cylinders fall due together.

use airmuster_domain::Millis;
use airmuster_domain::ground::Kind;
use airmuster_domain::quantity::{Pressure, PressureUnit};
use airmuster_domain::record::{
    AirSample, Asset, AssetKind, Cadence, CylinderRead, Fill, Marks, Month, Notice, Place, Reach, Register,
    Slot, Spec, Spot, Upkept, Work,
};
use chrono::{Datelike as _, Months, NaiveDate};

use super::district::{FACEPIECES, POOL, RIGS, Rig, STATIONS, rated, seat_id, station_of, units};
use super::keeper::Keeper;
use super::pen::Pen;
use super::people::{ADMINISTRATOR, CREWS, TECHNICIAN, everybody};

/// Where the air comes from, by station; the third has two.
const SOURCES: [(&str, &str, usize); 4] = [
    ("kettle-compressor", "Kettle Street compressor", 0),
    ("millrace-cascade", "Millrace cascade", 1),
    ("tarn-compressor", "Upper Tarn compressor", 2),
    ("trailer", "Air trailer", 2),
];

/// Past its life, past its requalification, filled with air that failed.
const PLANTED: [&str; 3] = ["C-397", "C-398", "C-399"];

/// Something that comes round.
pub enum Kept {
    /// A unit's flow test or batteries, a facepiece's service.
    Done(Asset, Work),
    /// A sample of a source's air, and its carbon monoxide in tenths of a ppm.
    Sample(&'static str, u32),
    /// A fill.
    Fill(&'static str, &'static str),
    /// The spare cylinders of a rig are read.
    Rack(&'static Rig),
}

fn earlier(day: NaiveDate, months: u32) -> Month {
    Month::of(day.checked_sub_months(Months::new(months)).unwrap_or(day))
}

fn digits(number: &str) -> u32 {
    number.trim_start_matches(|c: char| !c.is_ascii_digit()).parse().unwrap_or(0)
}

/// Enters what is stamped on the cylinders (counted back from today, so that only what is planted is late), the facepieces' models, and the sources of air.
pub fn enter(k: &mut Keeper, at: Millis, last_day: Millis) {
    let today = k.clock.local(last_day).date_naive();
    let day = k.clock.local(at).date_naive();
    let by = ADMINISTRATOR.id;
    for (id, name, station) in SOURCES {
        let [id, name, station] = [id, name, STATIONS[station].id].map(str::to_owned);
        k.pen.desk_apart("register", at, by, &Register::Source { id, name, station });
    }
    for seat in RIGS.iter().flat_map(|r| ["rack-1", "rack-2"].map(|slug| seat_id(r.id, slug))) {
        let weekly = Register::Cadence { at: Spot::Seat { seat }, cadence: Some(Cadence::Weekly) };
        k.pen.desk_apart("register", at, by, &weekly);
    }
    for number in PLANTED {
        if let Some(rated) = Pressure::whole(4500, PressureUnit::Psi) {
            k.pen.desk_apart("register", at, by, &Register::Cylinder { number: number.to_owned(), rated });
            let (asset, place) = (Asset::cylinder(number), Place::Spare { station: "tarn".to_owned() });
            k.pen.desk_apart("register", at, by, &Register::Holder { asset, place });
        }
    }
    // Until when each technician is qualified, the first of them soon.
    let families = everybody().into_iter().flat_map(|e| e.qualified.iter().map(move |f| (e.person.id, *f)));
    for ((member, family), months) in families.zip([3, 26, 14]) {
        let [member, family] = [member, family].map(str::to_owned);
        let until = today.checked_add_months(Months::new(months)).unwrap_or(today);
        let reference = "Basin Breathing course".to_owned();
        k.pen.desk_apart("register", at, by, &Register::Qualification { member, family, until, reference });
    }
    let own: Vec<&str> = units().iter().map(|(n, ..)| *n).collect();
    let racks = RIGS.iter().flat_map(|r| r.rack);
    let all = own.iter().map(|n| format!("C-{n}")).chain(racks.map(str::to_owned));
    let all = all.chain(POOL.iter().flat_map(|p| p.iter().map(|n| (*n).to_owned())));
    for number in all.chain(PLANTED.map(str::to_owned)) {
        let n = digits(&number);
        let (made, requalified) = match number.as_str() {
            "C-397" => (181, 21),
            "C-398" => (122, 62),
            // The third station had its cylinders requalified on one day.
            _ if station_of(&number) == 2 => (105, 45),
            _ => (80 + n * 7 % 70, 19 + n * 7 % 36),
        };
        marks(&mut k.pen, at, &number, earlier(today, made), Some(earlier(today, requalified)));
    }
    let loose = FACEPIECES.iter().flat_map(|p| p.iter().map(|n| (*n).to_owned()));
    for number in own.iter().map(|n| format!("F-{n}")).chain(loose) {
        let asset = Asset::facepiece(&number);
        k.pen.desk_apart("register", at, by, &model_of(number));
        done(&mut k.pen, at, day, &asset, Work::FacepieceService);
    }
    // Before today's last good check nobody has looked at these displays.
    let by_day = today.checked_add_months(Months::new(1)).unwrap_or(today);
    let notice = Notice {
        number: "BB-7".to_owned(),
        title: "Displays that may go dark in the cold".to_owned(),
        source: "Basin Breathing letter 7".to_owned(),
        what:
            "Hold it at −10 °C for an hour, then run it through its levels; replace it where one is missing"
                .to_owned(),
        by: Some(by_day),
        reach: Reach {
            kind: AssetKind::Unit,
            only: String::new(),
            slot: Some(Slot::Display),
            name: String::new(),
            from: "DS-10000".to_owned(),
            to: "DS-19999".to_owned(),
            made_from: None,
            made_to: None,
        },
    };
    k.pen.desk_apart("notice", at, by, &notice);
    for number in own {
        for work in [Work::FlowTest, Work::Battery] {
            done(&mut k.pen, at, day, &Asset::unit(number), work);
        }
    }
}

/// A flow test, before a unit is taken into service.
pub fn tested(k: &mut Keeper, at: Millis, unit: &str) {
    let day = k.clock.local(at).date_naive();
    done(&mut k.pen, at, day, &Asset::unit(unit), Work::FlowTest);
}

/// What is stamped on the cylinder of a unit that has just arrived, and what its facepiece is.
pub fn marks_of_new(k: &mut Keeper, at: Millis, unit: &str) {
    k.pen.desk_apart("register", at, ADMINISTRATOR.id, &model_of(format!("F-{unit}")));
    let made = earlier(k.clock.local(at).date_naive(), 2);
    marks(&mut k.pen, at, &format!("C-{unit}"), made, None);
}

fn marks(pen: &mut Pen, at: Millis, number: &str, made: Month, requalified: Option<Month>) {
    let marks = Marks {
        volume_ml: if rated(number) == 5500 { 6_200 } else { 6_800 },
        spec: Spec::PermitCarbon,
        made,
        requalified,
        life_until: None,
        serial: format!("BB{:05}", digits(number) * 37 % 100_000),
    };
    let body = Register::CylinderMarks { number: number.to_owned(), marks };
    pen.desk_apart("register", at, ADMINISTRATOR.id, &body);
}

/// What comes round so many days before the story's last one.
pub fn on(k: &Keeper, ago: i64) -> Vec<Kept> {
    let mut out = Vec::new();
    for unit in k.units.keys() {
        let n = i64::from(digits(unit));
        for (work, first) in [(Work::FlowTest, 30 + n * 11 % 300), (Work::Battery, 20 + n * 7 % 310)] {
            // The one before was less than a year earlier.
            if ago == first || ago == first + 330 {
                out.push(Kept::Done(Asset::unit(unit), work));
            }
        }
        if ago == 25 + n * 13 % 310 || ago == 25 + n * 13 % 310 + 330 {
            out.push(Kept::Done(Asset::facepiece(&format!("F-{unit}")), Work::FacepieceService));
        }
    }
    for number in FACEPIECES.iter().copied().flatten() {
        if ago == 60 || ago == 400 {
            out.push(Kept::Done(Asset::facepiece(number), Work::FacepieceService));
        }
    }
    for (i, (source, ..)) in (0..).zip(SOURCES) {
        // Once in twelve weeks; the trailer's last one has failed.
        if ago % 84 == 5 + i * 9 {
            let failed = source == "trailer" && ago < 84;
            out.push(Kept::Sample(source, if failed { 145 } else { 8 }));
        }
    }
    for (i, rig) in (0..).zip(&RIGS) {
        // Once a week; the fourth rig's was forgotten lately.
        if (ago + i) % 7 == 0 && (i != 3 || ago > 10) {
            out.push(Kept::Rack(rig));
        }
    }
    if ago == 53 {
        out.push(Kept::Fill("C-399", "trailer"));
    }
    out
}

/// Writes it down.
pub fn happens(k: &mut Keeper, at: Millis, kept: &Kept) {
    let day = k.clock.local(at).date_naive();
    match kept {
        Kept::Done(asset, work) => {
            if k.keys(asset, &[Kind::Held, Kind::Retired]).is_empty() {
                done(&mut k.pen, at, day, asset, *work);
            }
        }
        Kept::Sample(source, monoxide) => {
            let sample = AirSample {
                source: (*source).to_owned(),
                on: day,
                oxygen: 2_088 + day.day() % 5,
                oil: 10 + day.day() % 7,
                monoxide: *monoxide,
                dioxide: 400 + day.day(),
                odour: false,
                reference: format!("Basin Laboratory {}", day.format("%y-%j")),
            };
            k.pen.desk_apart("air_sample", at, TECHNICIAN.id, &sample);
        }
        Kept::Rack(rig) => {
            for (n, cylinder) in (0_i64..).zip(rig.rack) {
                let short = 10 * (n + i64::from(day.day() % 4));
                if let Some(pressure) = Pressure::whole(rated(cylinder) - short, PressureUnit::Psi) {
                    let body = CylinderRead { cylinder: cylinder.to_owned(), pressure };
                    k.pen.desk_apart("cylinder_read", at, CREWS[rig.station][0][0].id, &body);
                }
            }
        }
        Kept::Fill(cylinder, source) => fill_from(&mut k.pen, at, CREWS[2][0][0].id, cylinder, source),
    }
}

/// What all of the district's facepieces are but for their size.
pub const MADE: [&str; 3] = ["Maker A", "Model 1", "full"];

fn model_of(number: String) -> Register {
    let [make, model, style] = MADE.map(str::to_owned);
    Register::FacepieceModel { number, make, model, style }
}

fn done(pen: &mut Pen, at: Millis, on: NaiveDate, asset: &Asset, work: Work) {
    let reference =
        if work == Work::FlowTest { format!("Bench sheet {}", on.format("%y-%j")) } else { String::new() };
    let body =
        Upkept { asset: asset.clone(), work, on, passed: true, reference, until: None, note: String::new() };
    pen.desk_apart("upkeep", at, TECHNICIAN.id, &body);
}

/// A cylinder that came back empty is filled at its station.
pub fn fill(pen: &mut Pen, at: Millis, by: &str, cylinder: &str) {
    fill_from(pen, at, by, cylinder, SOURCES[station_of(cylinder)].0);
}

fn fill_from(pen: &mut Pen, at: Millis, by: &str, cylinder: &str, source: &str) {
    if let Some(pressure) = Pressure::whole(rated(cylinder), PressureUnit::Psi) {
        let (cylinder, source) = (cylinder.to_owned(), source.to_owned());
        pen.desk_apart("fill", at, by, &Fill { cylinder, source, pressure, celsius: Some(21) });
    }
}
