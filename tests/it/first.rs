//! The first start: on the command line and on a page, never with a PIN that everybody knows, and
//! the demo's data never to others unasked.

use std::net::SocketAddr;

use airmuster::clock::Clock;
use airmuster::demo::fill_days;
use airmuster::service::pin::{Cost, Pins};
use airmuster::service::seal::SealKey;
use airmuster::store::Store;
use airmuster::web::Serving;
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use uuid::Uuid;

use super::common::{Ran, fed, folder, path, program, run};

const PIN: &str = "603917";

fn init(dir: &TempDir, args: &[&str], pin: &str) -> Ran {
    let given = ["init", "--data", path(dir), "--department", "Small Valley", "--member", "m-1"];
    fed(program().args(given).args(["--name", "Ada Sample"]).args(args).env("AIRMUSTER_PIN", pin), b"")
}

async fn store(dir: &TempDir) -> Store {
    Store::open(dir.path(), Uuid::from_u128(1)).await.unwrap()
}

#[tokio::test]
async fn init_makes_the_department_and_its_first_administrator_once() {
    let dir = folder();
    let zone = ["--zone", "America/Denver"];
    init(&dir, &["--zone", "Moon/Crater"], PIN).failed(2, "Moon/Crater");
    for pin in ["", "1234", "123456", "000000", "246810"] {
        init(&dir, &zone, pin).failed(2, "PIN");
    }
    let said = init(&dir, &zone, PIN).ok();
    assert!(said.contains("Ada Sample can sign in as m-1") && said.contains("airmuster serve"), "{said}");
    assert!(!said.contains(PIN));
    init(&dir, &zone, PIN).failed(2, "somebody who can sign in already");
    run(&["verify", "--data", path(&dir)], b"").ok();

    let store = store(&dir).await;
    assert_eq!(store.department().await.unwrap().name, "Small Valley");
    let roles = store.signer("m-1").await.unwrap().unwrap().roles;
    assert_eq!(roles.iter().map(|r| r.id()).collect::<Vec<_>>(), ["administrator"]);
    let pins = Pins::new(store.clone(), Clock::System, Cost::Least);
    pins.check("m-1", PIN).await.unwrap();
    pins.check("m-1", "246810").await.unwrap_err();
}

#[test]
fn init_takes_the_pin_from_its_input_and_names_what_is_missing() {
    let dir = folder();
    let data = path(&dir);
    run(&["init", "--data", data], b"").failed(2, "give --department");
    let given = ["init", "--data", data, "--department", "Small Valley", "--zone", "UTC"];
    run(&given, b"").failed(2, "give --member");
    let all = [&given[..], &["--member", "m-1", "--name", "Ada Sample"]].concat();
    run(&all, b"603917\n").ok();
}

#[test]
fn no_member_gets_a_pin_that_is_tried_first() {
    let dir = folder();
    init(&dir, &["--zone", "UTC"], PIN).ok();
    run(&["person", "--data", path(&dir), "m-1", "Ada Sample"], b"112233").ok();
    run(&["person", "--data", path(&dir), "m-1", "Ada Sample"], b"121212")
        .failed(2, "first that anybody would try");
}

/// What is answered to this request.
async fn ask(to: SocketAddr, request: &str) -> String {
    let mut stream = TcpStream::connect(to).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await.unwrap();
    answer
}

fn get(path: &str, host: &str) -> String {
    format!("GET {path} HTTP/1.0\r\nHost: {host}\r\n\r\n")
}

fn post(path: &str, host: &str, form: &str) -> String {
    format!(
        "POST {path} HTTP/1.0\r\nHost: {host}\r\nContent-Type: application/x-www-form-urlencoded\r\n\
         Content-Length: {}\r\n\r\n{form}",
        form.len()
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn where_nobody_can_sign_in_a_page_on_this_machine_makes_the_first_administrator_and_closes() {
    let dir = folder();
    let any = "127.0.0.1:0".parse().unwrap();
    let store = store(&dir).await;
    let serving = Serving::bind(store.clone(), Clock::System, Cost::Least, SealKey::new(&Clock::System), any)
        .await
        .unwrap();
    let to = serving.address();
    tokio::spawn(serving.run());

    let first = ask(to, &get("/", "localhost")).await;
    assert!(first.starts_with("HTTP/1.0 303") && first.contains("location: /first-start"), "{first}");
    let here = ask(to, &get("/first-start", "localhost")).await;
    assert!(here.starts_with("HTTP/1.0 200") && here.contains("Nobody can sign in yet"), "{here}");
    let good = "department=Small+Valley&zone=UTC&member=m-1&name=Ada&pin=603917&again=603917";
    for host in ["airmuster.station.example", "elsewhere.example:80"] {
        for request in [get("/first-start", host), post("/first-start", host, good)] {
            let answer = ask(to, &request).await;
            assert!(answer.starts_with("HTTP/1.0 403") && answer.contains("airmuster init"), "{answer}");
        }
    }
    for (form, field) in [
        (good.replace("603917", "123456"), "pin"),
        (good.replace("again=603917", "again=603918"), "again"),
        (good.replace("UTC", "Moon"), "zone"),
        (good.replace("m-1", "m+1"), "member"),
        (good.replace("Ada", ""), "name"),
    ] {
        let answer = ask(to, &post("/first-start", "localhost", &form)).await;
        assert!(answer.starts_with("HTTP/1.0 422"), "{answer}");
        assert!(answer.contains(&format!("id=\"{field}-problem\"")), "{field}: {answer}");
        assert!(!answer.contains("603917") && !answer.contains("123456"), "a PIN is not sent back");
    }
    let made = ask(to, &post("/first-start", "localhost", good)).await;
    assert!(made.starts_with("HTTP/1.0 303") && made.contains("location: /sign-in"), "{made}");
    for request in [get("/first-start", "localhost"), post("/first-start", "localhost", good)] {
        let answer = ask(to, &request).await;
        assert!(answer.starts_with("HTTP/1.0 404"), "{answer}");
    }
    let signed_in = ask(to, &post("/sign-in", "localhost", "member=m-1&pin=603917&next=/tablets")).await;
    assert!(signed_in.contains("location: /tablets"), "{signed_in}");
}

#[tokio::test]
async fn the_demos_data_is_not_served_to_others_unasked() {
    let dir = folder();
    let store = store(&dir).await;
    fill_days(&store, &Clock::System, 2).await.unwrap();
    store.close().await;
    let serve = |args: &[&str]| run(&[&["serve", "--data", path(&dir)][..], args].concat(), b"");
    serve(&["--listen", "0.0.0.0:0"]).failed(2, "--i-know-this-is-a-demo");
    // An address for documentation (RFC 5737), which no machine has: it gets as far as that.
    serve(&["--listen", "192.0.2.1:0", "--i-know-this-is-a-demo"])
        .failed(1, "192.0.2.1:0 cannot be listened on");
}
