//! Notices by mail, proved against a mail server that stands in the test.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use airmuster::infra::mail::{Mailer, Settings};
use airmuster::service::notices::{About, gather};
use airmuster_domain::record::{Asset, Place, Register};
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};

use super::common::{NOON, about, house};

/// A mail as the server got it.
#[derive(Debug, Clone, Default)]
struct Got {
    from: String,
    to: Vec<String>,
    text: String,
}

/// Speaks as much of RFC 5321 as a client needs; takes mails, or turns them all away.
async fn mail_server(takes: bool) -> (String, Arc<Mutex<Vec<Got>>>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("smtp://{}", listener.local_addr().unwrap());
    let got: Arc<Mutex<Vec<Got>>> = Arc::default();
    let all = Arc::clone(&got);
    tokio::spawn(async move {
        while let Ok((socket, _)) = listener.accept().await {
            tokio::spawn(speak(socket, takes, Arc::clone(&all)));
        }
    });
    (url, got)
}

async fn speak(socket: TcpStream, takes: bool, all: Arc<Mutex<Vec<Got>>>) {
    let (read, mut write) = socket.into_split();
    let mut lines = BufReader::new(read).lines();
    let mut mail = Got::default();
    write.write_all(b"220 here\r\n").await.unwrap();
    while let Ok(Some(line)) = lines.next_line().await {
        let upper = line.to_uppercase();
        let say: &[u8] = if upper.starts_with("MAIL FROM:") {
            mail.from = line[10..].to_owned();
            if takes { b"250 yes\r\n" } else { b"451 not just now\r\n" }
        } else if upper.starts_with("RCPT TO:") {
            mail.to.push(line[8..].to_owned());
            b"250 yes\r\n"
        } else if upper == "DATA" {
            write.write_all(b"354 go on\r\n").await.unwrap();
            while let Ok(Some(line)) = lines.next_line().await {
                if line == "." {
                    break;
                }
                mail.text.push_str(line.strip_prefix('.').unwrap_or(&line));
                mail.text.push('\n');
            }
            all.lock().unwrap().push(std::mem::take(&mut mail));
            b"250 taken\r\n"
        } else if upper == "QUIT" {
            write.write_all(b"221 bye\r\n").await.unwrap();
            return;
        } else {
            b"250 yes\r\n"
        };
        write.write_all(say).await.unwrap();
    }
}

fn mailer(url: &str) -> Mailer {
    Mailer::new(&Settings {
        server: url.to_owned(),
        from: "airmuster@district.example".to_owned(),
        to: vec!["chief@district.example".to_owned(), "bench@district.example".to_owned()],
        credentials: None,
    })
    .unwrap()
}

#[tokio::test]
async fn a_unit_that_goes_out_of_service_is_told_once_and_again_when_it_does_again() {
    let h = house().await;
    let text = |s: &str| s.to_owned();
    for entry in [
        Register::Station { id: text("mill"), name: text("Mill"), order: 1 },
        Register::Rig { id: text("e1"), name: text("Engine 1"), station: text("mill"), order: 1 },
        Register::Seat { id: text("one"), rig: text("e1"), name: text("Officer"), kit: false, order: 1 },
        Register::Seat { id: text("two"), rig: text("e1"), name: text("Driver"), kit: false, order: 2 },
        Register::Holder { asset: Asset::unit("1"), place: Place::Seat { seat: text("one") } },
    ] {
        h.desk("register", "ada", &entry).await.unwrap();
    }
    let (url, got) = mail_server(true).await;
    let mailer = mailer(&url);
    let all = About::ALL.into();
    // What holds at the beginning is told too: whoever turns this on wants to know.
    let first = gather(&h.store, NOON, &all).await.unwrap();
    assert!(first.text.contains("Unit 1 (Engine 1, officer): the check is late."), "{}", first.text);
    assert!(first.text.contains("Seat open: Engine 1, driver. Nothing is in it."), "{}", first.text);
    assert!(
        !first.text.contains("Seat open: Engine 1, officer"),
        "a late check is told as one: {}",
        first.text
    );
    first.note(&h.store, NOON).await.unwrap();
    assert!(gather(&h.store, NOON, &all).await.unwrap().is_empty());

    h.field("taken_out", "ana", &about(Asset::unit("1"))).await;
    let new = gather(&h.store, NOON, &all).await.unwrap();
    mailer.send(&new.subject, new.text.clone()).await.unwrap();
    new.note(&h.store, NOON).await.unwrap();
    assert!(gather(&h.store, NOON, &all).await.unwrap().is_empty(), "once");
    let mail = got.lock().unwrap()[0].clone();
    assert!(mail.from.contains("airmuster@district.example"), "{mail:?}");
    assert_eq!(mail.to.len(), 2, "{mail:?}");
    assert!(mail.text.contains("Subject: ") && mail.text.contains("Unit 1"), "{mail:?}");
    assert!(mail.text.contains("Out of service"), "{mail:?}");
    assert!(!mail.text.contains("ana"), "nobody's name or id: {mail:?}");
    assert!(gather(&h.store, NOON, &[].into()).await.unwrap().subject.is_empty());
}

#[tokio::test]
async fn what_the_mail_server_does_not_take_is_not_lost() {
    let h = house().await;
    let (url, got) = mail_server(false).await;
    h.field("taken_out", "ana", &about(Asset::unit("1"))).await;
    let all = About::ALL.into();
    let new = gather(&h.store, NOON, &all).await.unwrap();
    mailer(&url).send(&new.subject, new.text.clone()).await.unwrap_err();
    assert!(got.lock().unwrap().is_empty());
    assert_eq!(gather(&h.store, NOON, &all).await.unwrap(), new, "it is tried again");
    let nobody_there = mailer("smtp://127.0.0.1:9");
    let sent = tokio::time::timeout(Duration::from_secs(20), nobody_there.send("s", "t".to_owned())).await;
    sent.unwrap().unwrap_err();
}

#[test]
fn a_setting_that_cannot_be_used_is_told() {
    let settings = |server: &str, to: &str| Settings {
        server: server.to_owned(),
        from: "a@b.example".to_owned(),
        to: to.split(',').filter(|t| !t.is_empty()).map(str::to_owned).collect(),
        credentials: None,
    };
    let told = |s: &Settings| Mailer::new(s).unwrap_err().to_string();
    assert!(told(&settings("http://mail", "c@d.example")).starts_with("mail_server: "));
    assert!(told(&settings("smtp://mail", "nobody")).starts_with("mail_to: “nobody”"));
    assert!(told(&settings("smtp://mail", "")).starts_with("mail_to: name at least one"));
    Mailer::new(&settings("smtps://mail.example:465", "c@d.example")).unwrap();
    Mailer::new(&settings("smtp://mail.example:587?tls=required", "c@d.example")).unwrap();
}
