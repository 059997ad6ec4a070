//! Every route against every kind of visitor.

use airmuster::web::{Who, routes};
use airmuster_domain::role::Role;
use axum::http::Method;

use super::browser::Page;
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
        ("{member}", "ana"),
        ("{*path}", "app.css"),
    ];
    let path = named.iter().fold(route.to_owned(), |path, (name, thing)| path.replace(name, thing));
    let parts = path.split('/').map(|part| if part.starts_with('{') { "anything" } else { part });
    parts.collect::<Vec<_>>().join("/")
}

fn let_in(page: &Page) -> bool {
    !(page.status == 401 || page.status == 403 || page.to.starts_with("/sign-in?"))
}

#[tokio::test]
async fn each_route_lets_in_whom_its_line_names_and_nobody_else() {
    let d: District = district().await;
    d.gauges_apart("130").await;
    let visitors = [
        (None, "nobody"),
        (Some(Role::Crew), "ana"),
        (Some(Role::Officer), "olga"),
        (Some(Role::Technician), "tom"),
        (Some(Role::Administrator), "ada"),
    ];
    let mut tried = 0;
    for route in routes() {
        let path = path(route.path);
        for (role, member) in visitors {
            let mut browser = match role {
                None => d.nobody(),
                Some(_) => d.signed_in(member).await,
            };
            let page = browser.ask(route.method.clone(), &path, &[]).await;
            let may = match route.who {
                Who::Anyone => true,
                Who::Roles(any) => role.is_some_and(|r| any.contains(&r)),
            };
            let at = format!("{} {path} as {member}: {} {}", route.method, page.status, page.to);
            assert_eq!(let_in(&page), may, "{at}");
            assert!(page.status < 500, "{at}");
            if !may {
                let expected = match (role, &route.method) {
                    (None, &Method::GET) => 303,
                    (None, _) => 401,
                    (Some(_), _) => 403,
                };
                assert_eq!(page.status, expected, "{at}");
            }
            tried += 1;
        }
    }
    assert!(tried >= 5 * 30, "only {tried} were tried");
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
