//! A tiny district, handed in through intake: Engine 2 of Millrace with three seats, one spare,
//! and six members who all have the same PIN.

use std::collections::{BTreeMap, BTreeSet};

use airmuster::clock::Clock;
use airmuster::service::pin::{Cost, Pins};
use airmuster::service::{Intake, Origin};
use airmuster::store::Store;
use airmuster::web::app_router;
use airmuster_domain::judge::{Answer, Raw};
use airmuster_domain::record::{
    Asset, Cadence, Check, Component, Condition, Digest, Fitting, Outcome, Photo, Place, RecordRef, Register,
    RulesInForce, Slot, Stamp, TakenOut, Upkept, Used, Work, encode,
};
use airmuster_domain::rules::{self, Ask, Purpose, Subject};
use airmuster_domain::standing::State;
use airmuster_domain::{ENGINE, Millis};
use serde::Serialize;
use tempfile::TempDir;
use tokio::sync::OnceCell;
use uuid::Uuid;

use super::browser::Browser;

pub const PIN: &str = "246810";
pub const PROFILE: &str = "us-4500-third";
/// 2026-11-26 07:04 UTC, by `date -u -d @1795676640`.
pub const MORNING: Millis = 1_795_676_640_000;
pub const MINUTE: Millis = 60_000;
pub const DAY: Millis = 24 * 60 * MINUTE;

/// What is sent of a fit test with the medium facepiece, on this day.
pub fn fit_test(tested: &str) -> [(&'static str, &str); 5] {
    [("tested", tested), ("make", "Invented"), ("model", "One"), ("style", "full"), ("size", "Medium")]
}

/// What kind of units a district has, and what is read on a good one.
#[derive(Debug, Clone, Copy)]
pub struct Equipment {
    pub profile: &'static str,
    rated: &'static str,
    cylinder: &'static str,
    remote: &'static str,
    trip: &'static str,
}

/// As in most of America.
const PSI: Equipment = Equipment {
    profile: PROFILE,
    rated: "4500 psi",
    cylinder: "4480 psi",
    remote: "4470 psi",
    trip: "1520 psi",
};

/// As in most of Europe.
pub const BAR: Equipment = Equipment {
    profile: "en-300-bar",
    rated: "300 bar",
    cylinder: "298 bar",
    remote: "296 bar",
    trip: "55 bar",
};

/// Everything there is.
pub struct District {
    _dir: TempDir,
    router: axum::Router,
    pub store: Store,
    intake: Intake,
    pub clock: Clock,
    equipment: Equipment,
    tablet: OnceCell<String>,
}

/// Id, name, roles, qualified for.
const MEMBERS: [(&str, &str, &str, &[&str]); 6] = [
    ("ada", "Ada Lindqvist", "administrator", &[]),
    ("olga", "Olga Fenn", "officer", &[]),
    ("tom", "Tom Varga", "technician", &["us-open-circuit-third"]),
    ("tia", "Tia Moss", "technician", &[]),
    ("ana", "Ana Wick", "crew", &[]),
    ("ben", "Ben Orr", "crew", &[]),
];

/// Units 117, 121 and 130 ride, 142 is the spare. Each has its facepiece and cylinder.
pub async fn district() -> District {
    district_with(PSI).await
}

/// The same with other units.
pub async fn district_with(equipment: Equipment) -> District {
    let shm = std::path::Path::new("/dev/shm");
    let dir = if shm.is_dir() { tempfile::tempdir_in(shm) } else { tempfile::tempdir() }.unwrap();
    let clock = Clock::at(MORNING);
    let store = Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap();
    let (router, intake) = app_router(store.clone(), clock.clone(), Cost::Least);
    let d = District { _dir: dir, router, store, intake, clock, equipment, tablet: OnceCell::new() };
    let text = |s: &str| s.to_owned();
    d.register(Register::Department {
        name: text("Small Valley District"),
        zone: text("UTC"),
        shift_start: text("07:00"),
        shift_hours: 24,
        early_minutes: 90,
        grace_minutes: 90,
    })
    .await;
    d.register(Register::Station { id: text("mill"), name: text("Millrace"), order: 1 }).await;
    let (id, name) = (text("engine-2"), text("Engine 2"));
    d.register(Register::Rig { id, name, station: text("mill"), order: 1 }).await;
    for (order, name) in (1..).zip(["Officer", "Driver", "Seat 3"]) {
        let id = name.to_lowercase().replace(' ', "-");
        d.register(Register::Seat { id, rig: text("engine-2"), name: text(name), kit: false, order }).await;
    }
    for (number, place) in [
        ("117", Place::Seat { seat: text("officer") }),
        ("121", Place::Seat { seat: text("driver") }),
        ("130", Place::Seat { seat: text("seat-3") }),
        ("142", Place::Spare { station: text("mill") }),
    ] {
        d.register(Register::Unit {
            number: text(number),
            profile: text(equipment.profile),
            cadence: Cadence::EachShift,
            in_use: true,
            serials: BTreeMap::from([(text("regulator"), format!("RG-{number}"))]),
        })
        .await;
        d.register(Register::Holder { asset: Asset::unit(number), place }).await;
        let (facepiece, cylinder) = (format!("F-{number}"), format!("C-{number}"));
        let with = Place::With { unit: text(number) };
        d.register(Register::Facepiece { number: facepiece.clone(), size: text("medium") }).await;
        let [make, model, style] = ["Invented", "One", "full"].map(str::to_owned);
        d.register(Register::FacepieceModel { number: facepiece.clone(), make, model, style }).await;
        let rated = equipment.rated.parse().unwrap();
        d.register(Register::Cylinder { number: cylinder.clone(), rated }).await;
        for asset in [Asset::facepiece(&facepiece), Asset::cylinder(&cylinder)] {
            d.register(Register::Holder { asset, place: with.clone() }).await;
        }
    }
    d.people().await;
    d
}

impl District {
    async fn people(&self) {
        let pins = Pins::new(self.store.clone(), self.clock.clone(), Cost::Least);
        for (id, name, role, qualified) in MEMBERS {
            let roles = vec![role.to_owned()];
            let qualified = qualified.iter().map(|&q| q.to_owned()).collect();
            self.register(Register::Member { id: id.to_owned(), roles, qualified }).await;
            let hash = pins.hash(PIN).await.unwrap();
            let mut write = self.store.begin().await.unwrap();
            write.set_person(id, name, Some((&hash, self.clock.now()))).await.unwrap();
            write.commit().await.unwrap();
        }
    }

    pub async fn register(&self, entry: Register) {
        self.hand_in("register", self.clock.id(), None, &entry, Origin::Console).await;
    }

    /// A rule table comes into force.
    pub async fn rules(&self, text: &str) {
        let body = RulesInForce { text: text.to_owned(), again: Vec::new(), grace_hours: None };
        self.hand_in("rules", self.clock.id(), None, &body, Origin::Console).await;
    }

    /// Why an entry is refused at the console.
    pub async fn try_register(&self, entry: Register) -> String {
        let at = self.clock.now();
        let stamp = Stamp { id: self.clock.id(), tablet: "desk".to_owned(), at, ..Stamp::default() };
        let refused = self.intake.submit(encode("register", &stamp, &entry), Origin::Console).await;
        refused.unwrap_err().to_string()
    }

    async fn hand_in(
        &self,
        kind: &str,
        id: Uuid,
        by: Option<&str>,
        body: &impl Serialize,
        origin: Origin,
    ) -> (i64, RecordRef) {
        let stamp = Stamp {
            id,
            tablet: "tablet-4".to_owned(),
            at: self.clock.now(),
            client: "test".to_owned(),
            by: by.map(str::to_owned),
            ..Stamp::default()
        };
        let r = self.intake.submit(encode(kind, &stamp, body), origin).await.unwrap();
        (r.seq, RecordRef { id: r.id, digest: r.digest })
    }

    pub async fn submit(&self, bytes: Vec<u8>, origin: Origin) -> airmuster::service::Receipt {
        self.intake.submit(bytes, origin).await.unwrap()
    }

    /// Why the desk does not take a record.
    pub async fn refused(&self, bytes: Vec<u8>) -> String {
        self.intake.submit(bytes, Origin::Desk).await.unwrap_err().to_string()
    }

    /// A check that is good throughout but for what is said.
    pub async fn check(&self, unit: &str, by: &str, purpose: Purpose, but: &[(&str, &[(&str, Raw)])]) -> i64 {
        let check = self.answered(unit, purpose, but).await;
        self.submit_check(&check, by).await
    }

    pub async fn submit_check(&self, check: &Check, by: &str) -> i64 {
        let origin = Origin::Tablet { proven: Some(by.to_owned()) };
        self.hand_in("check", check.run, Some(by), check, origin).await.0
    }

    /// A part of a check, written down unsigned.
    pub async fn submit_part(&self, part: &Check) -> i64 {
        self.hand_in("check", self.clock.id(), None, part, Origin::Tablet { proven: None }).await.0
    }

    /// A check whose signer's PIN nobody has seen.
    pub async fn submit_unproven(&self, check: &Check, by: &str) -> i64 {
        self.hand_in("check", check.run, Some(by), check, Origin::Tablet { proven: None }).await.0
    }

    /// All answers to the shipped table, good but for what is said; it knows of what is open.
    pub async fn answered(&self, unit: &str, purpose: Purpose, but: &[(&str, &[(&str, Raw)])]) -> Check {
        let table = rules::parse(rules::DEFAULT).unwrap();
        let form = rules::resolve(&table, self.equipment.profile, purpose).unwrap();
        let Equipment { cylinder, remote, trip, .. } = self.equipment;
        let text = |t: &str| Raw::Text(t.into());
        let answers = form.steps.iter().map(|s| {
            let said = but.iter().find(|(step, _)| *step == s.step.id).map(|(_, values)| *values);
            let good: Vec<(&str, Raw)> = match &s.ask {
                Ask::Reading { .. } => vec![("at", text(cylinder))],
                Ask::Pair { .. } => vec![("cylinder", text(cylinder)), ("remote", text(remote))],
                Ask::Trip(_) => vec![("at", text(trip))],
                _ => vec![("good", Raw::Flag(true))],
            };
            let values = said.map_or(good, <[_]>::to_vec);
            Answer {
                step: s.step.id.as_str().into(),
                attempt: 1,
                item: match s.subject() {
                    Subject::Facepiece => Some(format!("F-{unit}")),
                    Subject::Cylinder => Some(format!("C-{unit}")),
                    Subject::Unit | Subject::Accessory => None,
                },
                values: values.into_iter().map(|(k, v)| (k.into(), v)).collect(),
                note: None,
            }
        });
        Check {
            unit: unit.to_owned(),
            profile: self.equipment.profile.to_owned(),
            rules: Digest::of(rules::DEFAULT.as_bytes()),
            engine: ENGINE,
            purpose,
            outcome: Outcome::Complete,
            run: self.clock.id(),
            facepiece: Some(format!("F-{unit}")),
            cylinder: Some(format!("C-{unit}")),
            bay: None,
            started: self.clock.now(),
            seen: self.open(unit).await.into_iter().collect(),
            answers: answers.collect(),
        }
    }

    /// All four units checked and good, this morning.
    pub async fn checked(&self) {
        for unit in ["117", "121", "130", "142"] {
            self.check(unit, "ana", Purpose::ShiftStart, &[]).await;
        }
    }

    /// A check that finds the gauges of a unit 490 psi apart.
    pub async fn gauges_apart(&self, unit: &str) -> i64 {
        let apart = ["4480 psi", "3990 psi"].map(|t| Raw::Text(t.into()));
        let [a, b] = apart;
        self.check(
            unit,
            "ana",
            Purpose::ShiftStart,
            &[("gauge-agreement", &[("cylinder", a), ("remote", b)])],
        )
        .await
    }

    /// A tablet names a photo, unsigned.
    pub async fn photographed(&self, photo: &Photo) -> i64 {
        self.hand_in("photo", self.clock.id(), None, photo, Origin::Tablet { proven: None }).await.0
    }

    /// A word about a unit, from a tablet.
    pub async fn say(&self, kind: &str, unit: &str, by: &str, why: &str) -> i64 {
        let body = TakenOut { asset: Asset::unit(unit), why: why.to_owned() };
        let origin = Origin::Tablet { proven: Some(by.to_owned()) };
        self.hand_in(kind, self.clock.id(), Some(by), &body, origin).await.0
    }

    /// A note from a tablet that counts its records.
    pub async fn numbered(&self, unit: &str, number: u64, before: Option<String>) {
        let body = TakenOut { asset: Asset::unit(unit), why: "a note".to_owned() };
        let stamp = Stamp {
            id: self.clock.id(),
            tablet: "tablet-4".to_owned(),
            incarnation: Some(Uuid::from_u128(4)),
            number: Some(number),
            before: before.map(|d| d.parse().unwrap()),
            at: self.clock.now(),
            client: "test".to_owned(),
            ..Stamp::default()
        };
        self.intake.submit(encode("note", &stamp, &body), Origin::Tablet { proven: None }).await.unwrap();
    }

    /// As [`District::say`], written down at another time than it is handed in.
    pub async fn say_at(&self, kind: &str, unit: &str, by: &str, why: &str, at: Millis) -> i64 {
        let body = TakenOut { asset: Asset::unit(unit), why: why.to_owned() };
        let (tablet, client) = ("tablet-4".to_owned(), "test".to_owned());
        let by = Some(by.to_owned());
        let stamp = Stamp { id: self.clock.id(), tablet, at, client, by: by.clone(), ..Stamp::default() };
        let origin = Origin::Tablet { proven: by };
        self.intake.submit(encode(kind, &stamp, &body), origin).await.unwrap().seq
    }

    /// A unit came back from use.
    pub async fn used(&self, unit: &str, by: &str, what: &str, condition: Condition) {
        let (unit, what) = (unit.to_owned(), what.to_owned());
        let body = Used { unit, what, condition, after_use: true, ..Used::default() };
        let origin = Origin::Tablet { proven: Some(by.to_owned()) };
        self.hand_in("used", self.clock.id(), Some(by), &body, origin).await;
    }

    /// Unit 150 arrives: new, and not yet accepted.
    pub async fn arrives(&self) {
        self.register(Register::Unit {
            number: "150".to_owned(),
            profile: PROFILE.to_owned(),
            cadence: Cadence::EachShift,
            in_use: false,
            serials: BTreeMap::new(),
        })
        .await;
    }

    /// Enters serials and editions of a unit's parts, which its approval names, as Tom.
    pub async fn labels(&self, unit: &str) {
        for slot in Slot::ALL {
            let names = vec!["Brindle part".to_owned(), "Brindle part 2".to_owned()];
            self.register(Register::Approval { profile: PROFILE.to_owned(), slot, names }).await;
            let part = Component {
                name: "Brindle part".to_owned(),
                serial: format!("{unit}-{}", slot.id()),
                edition: "2018".to_owned(),
                ..Component::default()
            };
            let unit = unit.to_owned();
            let body =
                Fitting { unit, slot, out: None, part: Some(part), was_there: true, why: String::new() };
            self.hand_in("fitting", self.clock.id(), Some("tom"), &body, Origin::Desk).await;
        }
    }

    /// Tom puts another part in the place of one.
    pub async fn fit(&self, unit: &str, slot: Slot, out: &str, serial: &str) {
        let name = "Brindle part".to_owned();
        self.register(Register::Approval { profile: PROFILE.to_owned(), slot, names: vec![name.clone()] })
            .await;
        let (serial, edition) = (serial.to_owned(), "2018".to_owned());
        let part = Component { name, serial, edition, ..Component::default() };
        let (unit, out, why) = (unit.to_owned(), Some(out.to_owned()), "worn".to_owned());
        let body = Fitting { unit, slot, out, part: Some(part), was_there: false, why };
        self.hand_in("fitting", self.clock.id(), Some("tom"), &body, Origin::Desk).await;
    }

    /// Ada retires a unit.
    pub async fn retire(&self, unit: &str) {
        let body = TakenOut { asset: Asset::unit(unit), why: "worn out".to_owned() };
        self.hand_in("retired", self.clock.id(), Some("ada"), &body, Origin::Desk).await;
    }

    /// A flow test of today, by Tom.
    pub async fn flow_tested(&self, unit: &str) {
        let body = Upkept {
            asset: Asset::unit(unit),
            work: Work::FlowTest,
            on: self.shifts().await.local(self.clock.now()).date_naive(),
            passed: true,
            reference: "bench sheet 12".to_owned(),
            until: None,
            note: String::new(),
        };
        self.hand_in("upkeep", self.clock.id(), Some("tom"), &body, Origin::Desk).await;
    }

    pub async fn state(&self, unit: &str) -> State {
        self.state_of(&Asset::unit(unit)).await
    }

    pub async fn state_of(&self, asset: &Asset) -> State {
        self.store.standing(asset, &self.shifts().await, self.clock.now()).await.unwrap().state
    }

    async fn shifts(&self) -> airmuster_domain::shift::ShiftClock {
        self.store.department().await.unwrap().clock
    }

    /// Keys of everything open against a unit.
    pub async fn open(&self, unit: &str) -> BTreeSet<String> {
        let shifts = self.shifts().await;
        let s = self.store.standing(&Asset::unit(unit), &shifts, self.clock.now()).await.unwrap();
        s.grounds.into_iter().map(|g| g.raise.key).filter(|k| !k.starts_with("now/")).collect()
    }

    /// What kind of units there are.
    pub fn profile(&self) -> &'static str {
        self.equipment.profile
    }

    /// The way in.
    pub fn intake(&self) -> &Intake {
        &self.intake
    }

    /// How many records there are.
    pub async fn records(&self) -> i64 {
        self.store.head().await.unwrap().seq
    }

    pub fn pass(&self, time: Millis) {
        self.clock.set(self.clock.now() + time);
    }

    /// Somebody who is not signed in.
    pub fn nobody(&self) -> Browser {
        Browser::new(self.router.clone())
    }

    /// A tablet of the station that the officer has enrolled, without a key.
    pub async fn tablet(&self) -> Browser {
        let token =
            self.tablet.get_or_init(async || self.enrol("Bay").await.cookie("airmuster_enrolled")).await;
        self.nobody().with_cookie("airmuster_enrolled", token)
    }

    /// A code that the officer has made, as it is read out.
    pub async fn code(&self, name: &str) -> String {
        let mut officer = self.signed_in("olga").await;
        let page = officer.post("/tablets", &[("name", name), ("place", "mill")]).await.ok();
        page.html.split("<p class=\"code\">").nth(1).unwrap().split('<').next().unwrap().to_owned()
    }

    /// A tablet that has just been enrolled, without a key.
    pub async fn enrol(&self, name: &str) -> Browser {
        let code = self.code(name).await;
        let mut browser = self.nobody();
        let page = browser.post("/enrol", &[("code", &code)]).await.ok();
        assert!(page.text().contains(&format!("This tablet is {name}")), "{}", page.text());
        browser
    }

    /// A tablet that was given up, with the cookie that it had.
    pub async fn given_up(&self) -> Browser {
        let tablet = self.enrol("Lost").await;
        let id = self
            .store
            .tablets()
            .await
            .unwrap()
            .iter()
            .find(|t| t.name == "Lost" && t.revoked_at.is_none())
            .unwrap()
            .id
            .clone();
        let mut officer = self.signed_in("olga").await;
        let fields = [("number", "0"), ("why", "left at the hydrant")];
        let page = officer.post(&format!("/tablets/{id}/revoke"), &fields).await;
        assert_eq!(page.to, "/tablets", "{}", page.text());
        tablet
    }

    /// Somebody who is.
    pub async fn signed_in(&self, member: &str) -> Browser {
        let mut browser = self.nobody();
        let page = browser.post("/sign-in", &[("member", member), ("pin", PIN), ("next", "/stations")]).await;
        assert_eq!((page.status, page.to.as_str()), (303, "/stations"), "{}", page.text());
        browser
    }
}
