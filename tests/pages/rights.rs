//! Every route against every kind of visitor.

use std::collections::{BTreeMap, BTreeSet};

use airmuster::web::routes;
use airmuster_domain::record::Register;
use axum::http::Method;

use super::browser::{Browser, Page};
use super::district::{District, district};

/// A route with a thing that is there in the place of each name; with anything, for other names.
pub fn path(route: &str) -> String {
    let named = [
        ("{station}", "mill"),
        ("{unit}", "130"),
        ("{rig}", "engine-2"),
        ("{seat}", "seat-3"),
        ("{ticket}", "1"),
        ("{seq}", "1"),
        ("{asset}", "cylinder:C-130"),
        ("{member}", "ana"),
        ("{table}", "stations"),
        ("{id}", "mill"),
        ("{*path}", "app.css"),
    ];
    let path = named.iter().fold(route.to_owned(), |path, (name, thing)| path.replace(name, thing));
    let parts = path.split('/').map(|part| if part.starts_with('{') { "anything" } else { part });
    parts.collect::<Vec<_>>().join("/")
}

/// Who may call what: the written table that the list of routes must equal. In the order nobody,
/// a tablet, a tablet that was given up, crew, officer, technician, administrator; a dot for who may
/// not, a dash where there is no such page.
const RIGHTS: &str = "
    GET  /healthz                       n t r c o m a
    GET  /readyz                        n t r c o m a
    GET  /static/{*path}                n t r c o m a
    GET  /sw.js                         n t r c o m a
    GET  /unsent                        n t r c o m a
    GET  /enrol                         n t r c o m a
    POST /enrol                         n t r c o m a
    GET  /sign-in                       n t r c o m a
    POST /sign-in                       n t r c o m a
    POST /sign-out                      n t r c o m a
    POST /settings/gloves               n t r c o m a
    GET  /api/v1/head                   n t r c o m a
    GET  /first-start                   - - - - - - -
    POST /first-start                   - - - - - - -
    POST /api/v1/records                . t . c o m a
    PUT  /api/v1/photos/{digest}        . t . c o m a
    GET  /photos/{digest}               . t . c o m a
    GET  /offline/list                  . t . c o m a
    GET  /                              . t . c o m a
    GET  /stations                      . t . c o m a
    GET  /stations/{station}            . t . c o m a
    GET  /units/{unit}                  . t . c o m a
    GET  /units/{unit}/tag              . t . c o m a
    GET  /units/{unit}/check            . t . c o m a
    POST /units/{unit}/check            . t . c o m a
    POST /units/{unit}/check/sign       . t . c o m a
    GET  /units/{unit}/out              . t . c o m a
    POST /units/{unit}/out              . t . c o m a
    GET  /rigs/{rig}/roster             . t . c o m a
    GET  /rigs/{rig}/used               . t . c o m a
    POST /rigs/{rig}/used               . t . c o m a
    GET  /rigs/{rig}/spares             . t . c o m a
    POST /rigs/{rig}/spares             . t . c o m a
    GET  /units/{unit}/used             . t . c o m a
    POST /units/{unit}/used             . t . c o m a
    GET  /forms/{profile}               . t . c o m a
    GET  /forms/{profile}/after-use     . t . c o m a
    GET  /unproven                      . t . c o m a
    GET  /records/{seq}                 . t . c o m a
    GET  /records/{seq}/verdict         . t . c o m a
    POST /records/{seq}/prove           . t . c o m a
    GET  /rigs                          . . . . o . a
    GET  /rigs/{rig}                    . . . . o . a
    GET  /rigs/{rig}/crew               . . . . o . a
    POST /rigs/{rig}/crew               . . . . o . a
    GET  /rigs/{rig}/accept             . . . . o . a
    POST /rigs/{rig}/accept             . . . . o . a
    GET  /loans                         . . . . o m a
    POST /loans                         . . . . o m a
    GET  /units/{unit}/lend             . . . . o m a
    POST /units/{unit}/lend             . . . . o m a
    POST /units/{unit}/back             . . . . o m a
    GET  /rigs/{rig}/status             . . . . o . a
    POST /rigs/{rig}/status             . . . . o . a
    POST /rigs/{rig}/everything         . . . . o . a
    GET  /rigs/{rig}/sheet              . . . . o . a
    GET  /past                          . . . . o . a
    GET  /past/pack                     . . . . o . a
    GET  /questions                     . . . . o . a
    GET  /uninspected                   . . . . o . a
    GET  /cadences                      . . . . o . a
    POST /cadences                      . . . . o . a
    GET  /wall                          . t . c o m a
    GET  /wall/events                   . t . c o m a
    GET  /wall/{station}                . t . c o m a
    GET  /swap                          . . . . o . a
    POST /swap                          . . . . o . a
    GET  /teams                         . . . . o . a
    GET  /fitness                       . . . . o . a
    GET  /fitness/{member}              . . . . o . a
    POST /fitness/{member}/fit          . . . . o . a
    POST /fitness/{member}/clearance    . . . . o . a
    POST /fitness/{member}/erase        . . . . o . a
    POST /records/{seq}/read            . . . . o . a
    GET  /records/{seq}/settle          . . . . o . a
    POST /records/{seq}/settle          . . . . o . a
    GET  /records/{seq}/correct         . . . . o . a
    POST /records/{seq}/correct         . . . . o . a
    GET  /tokens                        . . . . . . a
    POST /tokens                        . . . . . . a
    POST /tokens/{token}/revoke         . . . . . . a
    GET  /lists/{file}                  . . . . o m a
    GET  /api/v1/openapi.json           n t r c o m a
    GET  /api/v1/stations               . . . . o m a
    GET  /api/v1/rigs                   . . . . o m a
    GET  /api/v1/seats                  . . . . o m a
    GET  /api/v1/units                  . . . . o m a
    GET  /api/v1/units/{number}         . . . . o m a
    GET  /api/v1/checks                 . . . . o m a
    GET  /api/v1/tickets                . . . . o m a
    GET  /settings                      . . . . o . a
    POST /settings/department           . . . . . . a
    POST /settings/platoons             . . . . . . a
    POST /settings/identification       . . . . . . a
    POST /settings/drives               . . . . . . a
    GET  /rules                         . . . . . . a
    POST /rules                         . . . . . . a
    GET  /rules/{digest}                . . . . . . a
    GET  /rules/{digest}/text           . . . . . . a
    POST /rules/{digest}/start          . . . . . . a
    POST /rules/{digest}/drop           . . . . . . a
    GET  /register                      . . . . . . a
    GET  /register/{table}              . . . . . . a
    GET  /register/{table}/{id}         . . . . . . a
    POST /register/{table}/{id}         . . . . . . a
    POST /members/{member}/pin          . . . . . . a
    POST /members/{member}/leave        . . . . . . a
    POST /members/{member}/erase        . . . . . . a
    GET  /register/import               . . . . . . a
    POST /register/import               . . . . . . a
    GET  /register/import/{table}       . . . . . . a
    GET  /unsent/import                 . . . . o . a
    POST /unsent/import                 . . . . o . a
    POST /records/{seq}/attest          . . . . o . a
    GET  /pins                          . . . . o . a
    POST /pins/allow                    . . . . o . a
    GET  /tablets                       . . . . o . a
    POST /tablets                       . . . . o . a
    GET  /tablets/gaps                  . . . . o . a
    POST /tablets/gaps                  . . . . o . a
    GET  /countersign                   . . . . o . a
    POST /countersign                   . . . . o . a
    POST /countersign/setting           . . . . . . a
    GET  /tablets/{tablet}              . . . . o . a
    POST /tablets/{tablet}/revoke       . . . . o . a
    GET  /bench                         . . . . o m a
    GET  /watch                         . . . . o m a
    GET  /tickets/{ticket}              . . . . o m a
    GET  /tickets/{ticket}/prove        . . . . . m .
    POST /tickets/{ticket}/stage        . . . . . m .
    POST /tickets/{ticket}/work         . . . . . m .
    POST /tickets/{ticket}/return       . . . . . m .
    POST /tickets/{ticket}/join         . . . . . m .
    POST /tickets/{ticket}/apart        . . . . . m .
    POST /tickets/{ticket}/split        . . . . . m .
    GET  /units/{unit}/parts            . . . . o m a
    POST /units/{unit}/parts            . . . . . m .
    GET  /approvals                     . . . . o m a
    POST /approvals                     . . . . . . a
    GET  /notices                       . . . . o m a
    POST /notices                       . . . . . m a
    GET  /notices/{notice}              . . . . o m a
    POST /notices/{notice}/done         . . . . . m .
    POST /notices/{notice}/end          . . . . . . a
    GET  /labels                        . . . . o m a
    GET  /periods                       . . . . o m a
    POST /periods                       . . . . . . a
    GET  /sources                       . . . . o m a
    POST /sources                       . . . . . . a
    GET  /units/{unit}/clear            . . . . o m a
    POST /units/{unit}/clear            . . . . o m a
    POST /units/{unit}/move             . . . . o m a
    POST /tickets/{ticket}/photos       . . . . . m .
    GET  /upkeep                        . . . . o m a
    GET  /upkeep.ics                    n t r c o m a
    GET  /cylinders                     . . . c o m a
    GET  /facepieces                    . . . c o m a
    GET  /assets/{asset}                . . . c o m a
    POST /assets/{asset}/put            . . . . o m a
    GET  /assets/{asset}/upkeep         . . . c o m a
    POST /assets/{asset}/upkeep         . . . c o m a
    GET  /assets/{asset}/seal           . t . c o m a
    POST /assets/{asset}/seal           . t . c o m a
    POST /assets/{asset}/hand-over      . t . c o m a
    GET  /assets/{asset}/release        . . . . . . a
    POST /assets/{asset}/release        . . . . . . a
    GET  /assets/{asset}/marks          . . . . . . a
    POST /assets/{asset}/marks          . . . . . . a
    GET  /assets/{asset}/model          . . . . . . a
    POST /assets/{asset}/model          . . . . . . a
    GET  /assets/{asset}/condemn        . . . . . m a
    POST /assets/{asset}/condemn        . . . . . m a
    GET  /qualifications                . . . . o m a
    POST /qualifications                . . . . . . a
    GET  /fills                         . . . c o m a
    POST /fills                         . . . c o m a
    GET  /sources/{source}              . . . c o m a
    POST /sources/{source}              . . . . o m a
    GET  /units/{unit}/retire           . . . . . m a
    POST /units/{unit}/retire           . . . . . m a
";

const VISITORS: [&str; 7] = ["n", "t", "r", "c", "o", "m", "a"];

/// The table, by method and path as written in the list of routes.
fn rights() -> BTreeMap<(String, String), Vec<&'static str>> {
    let lines = RIGHTS.lines().filter(|l| !l.trim().is_empty());
    let mut table = BTreeMap::new();
    for line in lines {
        let mut words = line.split_whitespace();
        let (method, path) = (words.next().unwrap().to_owned(), words.next().unwrap().to_owned());
        let marks: Vec<&str> = words.collect();
        assert_eq!(marks.len(), VISITORS.len(), "{line}");
        for (mark, visitor) in marks.iter().zip(VISITORS) {
            assert!([".", "-", visitor].contains(mark), "{line}");
        }
        assert!(table.insert((method, path), marks).is_none(), "twice: {line}");
    }
    table
}

/// A visitor of each kind, by the letter in the table.
async fn visitor(d: &District, letter: &str) -> Browser {
    match letter {
        "n" => d.nobody(),
        "t" => d.tablet().await,
        "r" => d.given_up().await,
        "c" => d.signed_in("ana").await,
        "o" => d.signed_in("olga").await,
        "m" => d.signed_in("tom").await,
        _ => d.signed_in("ada").await,
    }
}

fn let_in(page: &Page) -> bool {
    !(page.status == 401 || page.status == 403 || page.to.starts_with("/sign-in?"))
}

#[test]
fn every_route_stands_in_the_table_and_nothing_else_does() {
    let routes: BTreeSet<_> = routes().iter().map(|r| (r.method.to_string(), r.path.to_owned())).collect();
    let table: BTreeSet<_> = rights().into_keys().collect();
    let missing: Vec<_> = routes.difference(&table).collect();
    assert!(missing.is_empty(), "say in the table who may: {missing:?}");
    let gone: Vec<_> = table.difference(&routes).collect();
    assert!(gone.is_empty(), "no such route: {gone:?}");
}

#[tokio::test]
async fn each_route_lets_in_whom_the_table_names_and_nobody_else() {
    let d: District = district().await;
    d.gauges_apart("130").await;
    for (nth, letter) in VISITORS.into_iter().enumerate() {
        for ((method, route), marks) in rights() {
            let mark = marks[nth];
            let path = path(&route);
            // Anew each time: signing out is one of the routes.
            let mut browser = visitor(&d, letter).await;
            let method: Method = method.parse().unwrap();
            let page = browser.ask(method.clone(), &path, &[]).await;
            let at = format!("{method} {path} as {letter}: {} {}", page.status, page.to);
            assert_eq!(let_in(&page), mark != ".", "{at}");
            assert!(page.status < 500, "{at}");
            if mark == "-" {
                assert_eq!(page.status, 404, "{at}");
            }
            if mark == "." {
                let for_scripts = path.starts_with("/api/") || path.starts_with("/offline/");
                let expected = match (letter, &method) {
                    ("n" | "t" | "r", &Method::GET) if !for_scripts => 303,
                    ("n" | "t" | "r", _) => 401,
                    _ => 403,
                };
                assert_eq!(page.status, expected, "{at}");
            }
        }
    }
}

#[tokio::test]
async fn a_member_without_a_role_is_let_in_nowhere() {
    let d = district().await;
    let mut browser = d.signed_in("ana").await;
    assert_eq!(browser.get("/stations").await.status, 200);
    d.register(Register::Member { id: "ana".to_owned(), roles: vec![], qualified: vec![] }).await;
    assert_eq!(browser.get("/stations").await.to, "/sign-in?next=/stations");
}

#[tokio::test]
async fn what_is_not_in_the_list_is_not_there() {
    let d = district().await;
    for (method, path) in
        [(Method::GET, "/admin"), (Method::POST, "/bench"), (Method::GET, "/tickets/1/return")]
    {
        let page = d.signed_in("ada").await.ask(method, path, &[]).await;
        assert!(page.status == 404 || page.status == 405, "{path}: {}", page.status);
    }
}

#[tokio::test]
async fn a_page_for_members_leads_back_to_itself_after_signing_in() {
    let d = district().await;
    let asked = d.nobody().get("/tickets/1").await;
    assert_eq!(asked.to, "/sign-in?next=/tickets/1");
}
