//! Notices by mail, proved against a mail server that stands in the test.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use airmuster::infra::mail::{Mailer, Settings};
use airmuster::service::notices::{About, gather};
use airmuster_domain::record::{Asset, Place, Register};
use base64::Engine as _;
use rcgen::{CertificateParams, Issuer, KeyPair};
use rustls::ServerConfig;
use rustls::pki_types::PrivateKeyDer;
use tokio::io::{AsyncBufReadExt as _, AsyncRead, AsyncWrite, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

use super::common::{NOON, about, folder, house, path};
use super::running::Served;

/// A mail as the server got it.
#[derive(Debug, Clone, Default)]
struct Got {
    from: String,
    to: Vec<String>,
    text: String,
    /// Whether nobody on the way could read it, and as whom the sender signed in.
    protected: bool,
    signed_in: String,
}

/// How a mail server is spoken to.
#[derive(Clone)]
enum Manner {
    Plain,
    /// TLS from the first byte on (RFC 8314).
    Wrapped(TlsAcceptor),
    /// TLS once it is asked for (RFC 3207).
    StartTls(TlsAcceptor),
}

/// What a mail server has seen.
#[derive(Debug, Default)]
struct Seen {
    mails: Vec<Got>,
    /// How often somebody went away for the certificate.
    refused: u32,
}

/// Speaks as much of RFC 5321 as a client needs; takes mails, or turns them all away.
async fn mail_server(takes: bool, manner: Manner) -> (u16, Arc<Mutex<Seen>>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let seen: Arc<Mutex<Seen>> = Arc::default();
    let all = Arc::clone(&seen);
    tokio::spawn(async move {
        while let Ok((socket, _)) = listener.accept().await {
            tokio::spawn(receive(socket, takes, manner.clone(), Arc::clone(&all)));
        }
    });
    (port, seen)
}

async fn receive(mut socket: TcpStream, takes: bool, manner: Manner, all: Arc<Mutex<Seen>>) {
    let secured = |shaken: std::io::Result<TlsStream<TcpStream>>| {
        shaken.inspect_err(|_| all.lock().unwrap().refused += 1).ok()
    };
    match manner {
        Manner::Plain => speak(&mut socket, takes, None, Some("220 here"), &all).await,
        Manner::Wrapped(tls) => {
            let Some(mut stream) = secured(tls.accept(socket).await) else { return };
            speak(&mut stream, takes, Some("250 AUTH PLAIN"), Some("220 here"), &all).await;
        }
        Manner::StartTls(tls) => {
            speak(&mut socket, takes, Some("250-AUTH PLAIN\r\n250 STARTTLS"), Some("220 here"), &all).await;
            let Some(mut stream) = secured(tls.accept(socket).await) else { return };
            speak(&mut stream, takes, Some("250 AUTH PLAIN"), None, &all).await;
        }
    }
}

/// Until the other side goes, or wants TLS. `offers` also says that what is spoken of may be secret.
async fn speak(
    stream: &mut (impl AsyncRead + AsyncWrite + Unpin),
    takes: bool,
    offers: Option<&str>,
    greeting: Option<&str>,
    all: &Mutex<Seen>,
) {
    let before_tls = offers.is_some_and(|o| o.contains("STARTTLS"));
    let mut lines = BufReader::new(stream).lines();
    let mut mail = Got { protected: offers.is_some() && !before_tls, ..Got::default() };
    if let Some(greeting) = greeting {
        lines.get_mut().write_all(format!("{greeting}\r\n").as_bytes()).await.unwrap();
    }
    while let Ok(Some(line)) = lines.next_line().await {
        let upper = line.to_uppercase();
        let say = if upper.starts_with("EHLO") && offers.is_some() {
            format!("250-here\r\n{}", offers.unwrap_or_default())
        } else if upper == "STARTTLS" {
            lines.get_mut().write_all(b"220 go on\r\n").await.unwrap();
            return;
        } else if let Some(given) = line.strip_prefix("AUTH PLAIN ") {
            let plain = base64::engine::general_purpose::STANDARD.decode(given).unwrap();
            mail.signed_in = String::from_utf8(plain).unwrap().replace('\0', " ");
            "235 known".to_owned()
        } else if upper.starts_with("MAIL FROM:") {
            mail.from = line[10..].to_owned();
            if takes { "250 yes".to_owned() } else { "451 not just now".to_owned() }
        } else if upper.starts_with("RCPT TO:") {
            mail.to.push(line[8..].to_owned());
            "250 yes".to_owned()
        } else if upper == "DATA" {
            lines.get_mut().write_all(b"354 go on\r\n").await.unwrap();
            while let Ok(Some(line)) = lines.next_line().await {
                if line == "." {
                    break;
                }
                mail.text.push_str(line.strip_prefix('.').unwrap_or(&line));
                mail.text.push('\n');
            }
            all.lock().unwrap().mails.push(mail.clone());
            "250 taken".to_owned()
        } else if upper == "QUIT" {
            "221 bye".to_owned()
        } else {
            "250 yes".to_owned()
        };
        if lines.get_mut().write_all(format!("{say}\r\n").as_bytes()).await.is_err() {
            return;
        }
    }
}

/// An authority, as a file that can be trusted, and what a server named `localhost` shows of it.
fn authority(dir: &Path) -> (PathBuf, TlsAcceptor) {
    let key = KeyPair::generate().unwrap();
    let mut params = CertificateParams::new(Vec::new()).unwrap();
    params.is_ca = rcgen::IsCa::Ca(rcgen::BasicConstraints::Unconstrained);
    let root = params.self_signed(&key).unwrap();
    let file = dir.join(format!("{}.pem", std::fs::read_dir(dir).unwrap().count()));
    std::fs::write(&file, root.pem()).unwrap();
    let issuer = Issuer::new(params, key);
    let own = KeyPair::generate().unwrap();
    let params = CertificateParams::new(vec!["localhost".to_owned()]).unwrap();
    let leaf = params.signed_by(&own, &issuer).unwrap();
    let key = PrivateKeyDer::try_from(own.serialize_der()).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider).with_safe_default_protocol_versions().unwrap();
    let config = config.with_no_client_auth().with_single_cert(vec![leaf.der().clone()], key).unwrap();
    (file, TlsAcceptor::from(Arc::new(config)))
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
    let (port, seen) = mail_server(true, Manner::Plain).await;
    let mailer = mailer(&format!("smtp://127.0.0.1:{port}"));
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
    let mail = seen.lock().unwrap().mails[0].clone();
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
    let (port, seen) = mail_server(false, Manner::Plain).await;
    h.field("taken_out", "ana", &about(Asset::unit("1"))).await;
    let all = About::ALL.into();
    let new = gather(&h.store, NOON, &all).await.unwrap();
    let turned_away = mailer(&format!("smtp://127.0.0.1:{port}"));
    turned_away.send(&new.subject, new.text.clone()).await.unwrap_err();
    assert!(seen.lock().unwrap().mails.is_empty());
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
    assert!(told(&settings("smtp://127.0.0.1", "nobody")).starts_with("mail_to: “nobody”"));
    assert!(told(&settings("smtp://127.0.0.1", "")).starts_with("mail_to: name at least one"));
    // What could be read on the way, or by whoever takes the offer of TLS away.
    for open in
        ["smtp://mail.example", "smtp://user@mail.example:587", "smtp://mail.example?tls=opportunistic"]
    {
        assert!(told(&settings(open, "c@d.example")).starts_with("mail_server: without TLS"), "{open}");
    }
    for here in ["smtp://localhost:25", "smtp://[::1]:25", "smtp://127.0.0.1"] {
        Mailer::new(&settings(here, "c@d.example")).unwrap();
    }
    Mailer::new(&settings("smtps://mail.example:465", "c@d.example")).unwrap();
    Mailer::new(&settings("smtp://mail.example:587?tls=required", "c@d.example")).unwrap();
}

/// A department in which something is to be told, served with this mail server and authority, until
/// the server has seen enough. Gives its log.
async fn served(server: &str, trusted: &Path, seen: &Arc<Mutex<Seen>>, enough: fn(&Seen) -> bool) -> String {
    let h = house().await;
    h.field("taken_out", "ana", &about(Asset::unit("1"))).await;
    h.store.close().await;
    let password = h.dir.path().join("password");
    std::fs::write(&password, "a password\n").unwrap();
    let mut args = vec!["--data", path(&h.dir), "--mail-server", server];
    args.extend(["--mail-from", "airmuster@district.example", "--mail-to", "chief@district.example"]);
    args.extend(["--mail-user", "airmuster", "--mail-password-file", password.to_str().unwrap()]);
    let program = Served::start_with(&args, &[("SSL_CERT_FILE", trusted.to_str().unwrap())]);
    let until = Instant::now() + Duration::from_secs(20);
    while !enough(&seen.lock().unwrap()) {
        assert!(Instant::now() < until, "nothing came: {}", program.stop());
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    // What the program makes of it comes after what the server saw.
    tokio::time::sleep(Duration::from_millis(300)).await;
    program.stop()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_program_sends_over_tls_from_the_first_byte_or_after_starttls_and_signs_in_only_then() {
    let dir = folder();
    let (trusted, tls) = authority(dir.path());
    for (scheme, query, manner) in [
        ("smtps", "", Manner::Wrapped(tls.clone())),
        ("smtp", "?tls=required", Manner::StartTls(tls.clone())),
    ] {
        let (port, seen) = mail_server(true, manner).await;
        let server = format!("{scheme}://localhost:{port}{query}");
        let log = served(&server, &trusted, &seen, |s| !s.mails.is_empty()).await;
        let seen = seen.lock().unwrap();
        let mail = &seen.mails[0];
        assert!(mail.protected && mail.text.contains("Unit 1"), "{mail:?}");
        assert_eq!(mail.signed_in.trim(), "airmuster a password");
        assert!(log.contains("notices were sent") && !log.contains("a password"), "{log}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mail_server_that_nobody_vouches_for_gets_nothing_and_the_log_says_why() {
    let dir = folder();
    let (_, tls) = authority(dir.path());
    let (other, _) = authority(dir.path());
    for (scheme, query, manner) in [
        ("smtps", "", Manner::Wrapped(tls.clone())),
        ("smtp", "?tls=required", Manner::StartTls(tls.clone())),
    ] {
        let (port, seen) = mail_server(true, manner).await;
        let server = format!("{scheme}://localhost:{port}{query}");
        let log = served(&server, &other, &seen, |s| s.refused > 0).await;
        assert!(seen.lock().unwrap().mails.is_empty());
        assert!(log.contains("certificate was refused") && log.contains("nothing was sent"), "{log}");
        assert!(log.contains("tried again") && !log.contains("a password"), "{log}");
    }
}
