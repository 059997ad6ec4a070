//! HTTPS from outside: the program as a child or the server in process, and a client that trusts
//! its authority and nothing else.

use std::io::{BufRead as _, BufReader, Read as _};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Output, Stdio};
use std::sync::Arc;

use airmuster::clock::Clock;
use airmuster::infra::tls::{Authority, Certificate, Own, Source};
use airmuster::service::pin::Cost;
use airmuster::service::seal::SealKey;
use airmuster::store::Store;
use airmuster::web::{self, Notice, Secure, Serving};
use airmuster_domain::Millis;
use rcgen::{CertificateParams, KeyPair};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, RootCertStore};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use uuid::Uuid;

const NAME: &str = "airmuster.station.example";
const DAY: Millis = 24 * 60 * 60 * 1000;

/// An answer, header names in lower case.
#[derive(Debug)]
struct Answer {
    status: u16,
    headers: Vec<(String, String)>,
    body: Vec<u8>,
}

impl Answer {
    fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    fn text(&self) -> &str {
        std::str::from_utf8(&self.body).unwrap()
    }
}

async fn exchange(
    mut stream: impl tokio::io::AsyncRead + tokio::io::AsyncWrite + Unpin,
    request: &str,
) -> Answer {
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut bytes = Vec::new();
    stream.read_to_end(&mut bytes).await.unwrap();
    let end = bytes.windows(4).position(|w| w == b"\r\n\r\n").expect("headers end");
    let head = String::from_utf8(bytes[..end].to_vec()).unwrap();
    let mut lines = head.lines();
    let status = lines.next().unwrap().split(' ').nth(1).unwrap().parse().unwrap();
    let headers = lines
        .filter_map(|l| l.split_once(": "))
        .map(|(n, v)| (n.to_ascii_lowercase(), v.to_owned()))
        .collect();
    Answer { status, headers, body: bytes[end + 4..].to_vec() }
}

fn get(path: &str) -> String {
    // HTTP/1.0, so that the body is not sent in chunks.
    format!("GET {path} HTTP/1.0\r\nHost: {NAME}\r\n\r\n")
}

async fn over_http(to: SocketAddr, request: &str) -> Answer {
    exchange(TcpStream::connect(to).await.unwrap(), request).await
}

async fn connect(
    to: SocketAddr,
    root: &CertificateDer<'static>,
    name: &'static str,
) -> std::io::Result<tokio_rustls::client::TlsStream<TcpStream>> {
    let mut roots = RootCertStore::empty();
    roots.add(root.clone()).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_protocol_versions(&[&rustls::version::TLS13])
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let stream = TcpStream::connect(to).await?;
    TlsConnector::from(Arc::new(config)).connect(ServerName::try_from(name).unwrap(), stream).await
}

async fn over_https(to: SocketAddr, root: &CertificateDer<'static>, request: &str) -> Answer {
    exchange(connect(to, root, NAME).await.unwrap(), request).await
}

/// A server in this process, gone with the test.
struct Server {
    tls: SocketAddr,
    http: Option<SocketAddr>,
    root: CertificateDer<'static>,
    dir: TempDir,
}

async fn store(dir: &Path) -> Store {
    Store::open(dir, Uuid::from_u128(1)).await.unwrap()
}

/// One with an authority of its own, or with a certificate that ends after so many days.
async fn serve(own_for: Option<i64>) -> Server {
    let dir = tempfile::tempdir().unwrap();
    let clock = Clock::System;
    let host: airmuster::infra::tls::Host = NAME.parse().unwrap();
    let (source, root, authority) = match own_for {
        None => {
            let authority = Authority::open(dir.path(), &host, clock.now()).unwrap();
            let root = CertificateDer::from(authority.der().to_vec());
            let told = web::Authority {
                der: authority.der().to_vec(),
                pem: authority.pem().to_owned(),
                ends: "3 March 2036".to_owned(),
            };
            (Source::Local(Box::new(authority)), root, Some(told))
        }
        Some(days) => {
            let mut params = CertificateParams::new(vec![NAME.to_owned()]).unwrap();
            let until = (clock.now() + days * DAY + DAY / 2) / 1000;
            params.not_after = time::OffsetDateTime::from_unix_timestamp(until).unwrap();
            let key = KeyPair::generate().unwrap();
            let made = params.self_signed(&key).unwrap();
            let (certificate, path) = (dir.path().join("cert.pem"), dir.path().join("key.pem"));
            std::fs::write(&certificate, made.pem()).unwrap();
            std::fs::write(&path, key.serialize_pem()).unwrap();
            (Source::Own(Own { certificate, key: path, host }), made.der().clone(), None)
        }
    };
    let certificate = Certificate::new(source, clock.clone()).unwrap();
    let any = "127.0.0.1:0".parse().unwrap();
    let serving =
        Serving::bind(store(dir.path()).await, clock.clone(), Cost::Least, SealKey::new(&clock), any)
            .await
            .unwrap();
    let tls = serving.address();
    let config = certificate.config().unwrap();
    let serving = serving
        .secured(Secure {
            config,
            address: format!("https://{NAME}:{}", tls.port()),
            authority,
            beside: Some(any),
            notice: Notice::new(move || certificate.notice()),
        })
        .await
        .unwrap();
    let http = serving.beside();
    tokio::spawn(serving.run());
    Server { tls, http, root, dir }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_client_that_has_the_authority_is_answered() {
    let server = serve(None).await;
    let answer = over_https(server.tls, &server.root, &get("/healthz")).await;
    assert_eq!((answer.status, answer.text()), (200, "ok"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_client_without_the_authority_or_with_another_name_goes_no_further() {
    let (server, other) = (serve(None).await, serve(None).await);
    let refused = connect(server.tls, &other.root, NAME).await.unwrap_err();
    assert!(refused.to_string().starts_with("invalid peer certificate"), "{refused}");
    let refused = connect(server.tls, &server.root, "other.example").await.unwrap_err();
    assert!(refused.to_string().contains("not valid for name"), "{refused}");
    assert_eq!(over_https(server.tls, &server.root, &get("/healthz")).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn clients_that_never_speak_keep_nobody_waiting() {
    let server = serve(None).await;
    let mut silent = Vec::new();
    for _ in 0..40 {
        silent.push(TcpStream::connect(server.tls).await.unwrap());
    }
    let mut confused = TcpStream::connect(server.tls).await.unwrap();
    confused.write_all(get("/").as_bytes()).await.unwrap();
    let request = get("/healthz");
    let answered = over_https(server.tls, &server.root, &request);
    let answer = tokio::time::timeout(std::time::Duration::from_secs(8), answered).await.expect("in time");
    assert_eq!(answer.status, 200);
    drop(silent);
}

#[tokio::test(flavor = "multi_thread")]
async fn browsers_are_told_to_stay_on_https_only_with_the_departments_certificate() {
    let server = serve(None).await;
    for path in ["/stations", "/nothing-here", "/static/app.css"] {
        let answer = over_https(server.tls, &server.root, &get(path)).await;
        assert_eq!(answer.header("strict-transport-security"), None, "{path}");
    }
    let http = server.http.unwrap();
    assert_eq!(over_http(http, &get("/")).await.header("strict-transport-security"), None);

    let server = serve(Some(200)).await;
    for path in ["/stations", "/nothing-here", "/static/app.css"] {
        let answer = over_https(server.tls, &server.root, &get(path)).await;
        assert_eq!(answer.header("strict-transport-security"), Some("max-age=31536000"), "{path}");
    }
    let http = server.http.unwrap();
    assert_eq!(over_http(http, &get("/")).await.header("strict-transport-security"), None);
}

#[tokio::test(flavor = "multi_thread")]
async fn cookies_given_over_https_are_never_sent_over_http() {
    let server = serve(None).await;
    let form = format!(
        "POST /settings/gloves HTTP/1.0\r\nHost: {NAME}\r\nSec-Fetch-Site: same-origin\r\nContent-Type: \
         application/x-www-form-urlencoded\r\nContent-Length: 9\r\n\r\ngloves=on"
    );
    let answer = over_https(server.tls, &server.root, &form).await;
    let cookies: Vec<&str> =
        answer.headers.iter().filter(|(n, _)| n == "set-cookie").map(|(_, v)| v.as_str()).collect();
    assert!(!cookies.is_empty(), "{answer:?}");
    assert!(cookies.iter().all(|c| c.split("; ").any(|part| part == "Secure")), "{cookies:?}");
    // Set by this very host and for all of it (RFC 6265bis, 4.1.3.2).
    assert!(cookies.iter().all(|c| c.starts_with("__Host-") && c.contains("; Path=/")), "{cookies:?}");
    assert!(!cookies.iter().any(|c| c.contains("Domain")), "{cookies:?}");

    let asked = |cookie: &str| format!("GET /sign-in HTTP/1.0\r\nHost: {NAME}\r\nCookie: {cookie}\r\n\r\n");
    for (cookie, heard) in [
        ("__Host-airmuster_gloves=on", true),
        ("a=b; __Host-airmuster_gloves=on; c=d", true),
        ("airmuster_gloves=on", false),
    ] {
        let page = over_https(server.tls, &server.root, &asked(cookie)).await;
        assert_eq!(page.text().contains("class=\"gloves\""), heard, "{cookie}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn plain_http_beside_https_serves_the_page_and_the_authority_and_nothing_else() {
    let server = serve(None).await;
    let http = server.http.unwrap();

    let page = over_http(http, &get("/")).await;
    assert_eq!((page.status, page.header("content-type")), (200, Some("text/html; charset=utf-8")));
    let said = page.text();
    for part in ["Android", "iPadOS", "Windows", "Linux", "3 March 2036"] {
        assert!(said.contains(part), "{part}");
    }
    assert!(said.contains(&format!("href=\"https://{NAME}:{}/\"", server.tls.port())), "{said}");
    assert!(page.header("content-security-policy").unwrap().starts_with("default-src 'none'"));

    let file = over_http(http, &get("/airmuster-ca.crt")).await;
    assert_eq!((file.status, file.header("content-type")), (200, Some("application/x-x509-ca-cert")));
    assert_eq!(file.body, server.root.as_ref());
    let pem = over_http(http, &get("/airmuster-ca.pem")).await;
    assert_eq!(CertificateDer::from_pem_slice(&pem.body).unwrap(), server.root);

    // What a person compares: the hash of the file, as the device shows it.
    let saved = server.dir.path().join("saved.crt");
    std::fs::write(&saved, &file.body).unwrap();
    let sum = Command::new("sha256sum").arg(&saved).output().unwrap();
    let sum = String::from_utf8(sum.stdout).unwrap();
    for group in sum.as_bytes()[..64].chunks(4) {
        let group = std::str::from_utf8(group).unwrap();
        assert!(said.contains(&format!("<b class=\"mono\">{group}</b>")), "{group}");
    }

    let style = over_http(http, &get("/static/app.css")).await;
    assert_eq!((style.status, style.header("content-type")), (200, Some("text/css; charset=utf-8")));

    for path in [
        "/healthz",
        "/sign-in",
        "/stations",
        "/static/base.js",
        "/static/manifest.webmanifest",
        "/api/v1/records",
        "/nothing?x=1",
        "/airmuster-ca",
        "/tls/authority.key",
        "/../tls/authority.key",
    ] {
        let answer = over_http(http, &get(path)).await;
        assert_eq!((answer.status, answer.header("location")), (302, Some("/")), "{path}");
        assert_eq!(answer.header("cache-control"), Some("no-store"), "{path}");
    }
    let post = format!("POST /api/v1/records HTTP/1.0\r\nHost: {NAME}\r\nContent-Length: 2\r\n\r\n{{}}");
    assert_eq!(over_http(http, &post).await.status, 302);
}

#[tokio::test(flavor = "multi_thread")]
async fn with_the_departments_certificate_plain_http_leads_to_the_same_page_over_https() {
    let server = serve(Some(200)).await;
    let answer = over_http(server.http.unwrap(), &get("/stations/2?x=1")).await;
    let there = format!("https://{NAME}:{}/stations/2?x=1", server.tls.port());
    assert_eq!((answer.status, answer.header("location")), (302, Some(there.as_str())));
    assert_eq!(over_http(server.http.unwrap(), &get("/airmuster-ca.crt")).await.status, 302);
}

#[tokio::test(flavor = "multi_thread")]
async fn every_page_warns_of_a_certificate_that_soon_ends_and_else_says_nothing() {
    let server = serve(Some(12)).await;
    for path in ["/enrol", "/sign-in", "/nothing-here"] {
        let page = over_https(server.tls, &server.root, &get(path)).await;
        assert!(page.text().contains("The certificate of this server ends in 12 days"), "{path}");
    }
    let server = serve(Some(200)).await;
    let page = over_https(server.tls, &server.root, &get("/sign-in")).await;
    assert!(!page.text().contains("certificate"), "{}", page.text());
}

#[tokio::test(flavor = "multi_thread")]
async fn the_app_can_be_installed() {
    let server = serve(None).await;
    let page = over_https(server.tls, &server.root, &get("/sign-in")).await;
    assert!(page.text().contains("<link rel=\"manifest\" href=\"/static/manifest.webmanifest\">"));
    let manifest = over_https(server.tls, &server.root, &get("/static/manifest.webmanifest")).await;
    assert_eq!(manifest.header("content-type"), Some("application/manifest+json"));
    let manifest: serde_json::Value = serde_json::from_slice(&manifest.body).unwrap();
    for (member, value) in
        [("name", "airmuster"), ("start_url", "/"), ("scope", "/"), ("display", "standalone")]
    {
        assert_eq!(manifest[member], value, "{member}");
    }
    let style = std::fs::read_to_string("static/app.css").unwrap();
    for (member, token) in [("theme_color", "--sheet"), ("background_color", "--paper")] {
        let colour = manifest[member].as_str().unwrap();
        assert!(style.contains(&format!("{token}: {colour};")), "{member} is {colour}");
    }
    let mut sizes = Vec::new();
    for icon in manifest["icons"].as_array().unwrap() {
        let answer = over_https(server.tls, &server.root, &get(icon["src"].as_str().unwrap())).await;
        assert_eq!((answer.status, answer.header("content-type")), (200, icon["type"].as_str()));
        if icon["type"] == "image/png" {
            // Width and height stand behind the signature and the name of the first chunk (RFC 2083).
            let number = |at: usize| u32::from_be_bytes(answer.body[at..at + 4].try_into().unwrap());
            let size = format!("{}x{}", number(16), number(20));
            assert_eq!(icon["sizes"], size.as_str());
            sizes.push((size, icon["purpose"].as_str().unwrap_or("any").to_owned()));
        }
    }
    for wanted in [("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")] {
        assert!(sizes.iter().any(|(s, p)| (s.as_str(), p.as_str()) == wanted), "{wanted:?}");
    }
}

/// `airmuster serve` with plain surroundings; it ends by itself after a minute.
fn program(dir: &Path, args: &[&str]) -> Command {
    let mut command = Command::new("timeout");
    command
        .args(["--kill-after=5", "60", env!("CARGO_BIN_EXE_airmuster"), "serve", "--data"])
        .arg(dir)
        .args(args);
    for (name, _) in std::env::vars().filter(|(n, _)| n.starts_with("AIRMUSTER_")) {
        command.env_remove(name);
    }
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A start that is to fail.
fn refused(dir: &Path, args: &[&str]) -> String {
    let Output { status, stderr, stdout } = program(dir, args).output().unwrap();
    let said = String::from_utf8(stderr).unwrap();
    assert_eq!(status.code(), Some(2), "{args:?}: {said}{}", String::from_utf8_lossy(&stdout));
    said
}

/// A start that is to succeed.
struct Running {
    child: Child,
    out: BufReader<ChildStdout>,
}

impl Running {
    fn start(dir: &Path, args: &[&str]) -> Self {
        let mut child = program(dir, args).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        Self { child, out }
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        self.out.read_line(&mut line).unwrap();
        if line.is_empty() {
            let mut said = String::new();
            self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
            panic!("it ended: {said}");
        }
        line.trim_end().to_owned()
    }

    /// Asks it to stop by SIGTERM, which timeout(1) passes on.
    fn ask_to_stop(&self) {
        let pid = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
    }

    fn stopped_well(mut self) {
        let status = self.child.wait().unwrap();
        let mut said = String::new();
        self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        assert_eq!(status.code(), Some(0), "{said}");
    }

    fn stop(self) {
        self.ask_to_stop();
        self.stopped_well();
    }
}

const ANY: [&str; 4] = ["--listen", "127.0.0.1:0", "--http-listen", "127.0.0.1:0"];

#[tokio::test(flavor = "multi_thread")]
async fn the_first_start_settles_the_name_and_later_ones_keep_it() {
    let dir = tempfile::tempdir().unwrap();
    let mut first = Running::start(dir.path(), &[&ANY[..], &["--tls", "--host", NAME]].concat());
    let at = first.line();
    let port = at.strip_prefix(&format!("airmuster is at https://{NAME}:")).expect("an address");
    let tls: SocketAddr = format!("127.0.0.1:{port}").parse().unwrap();
    let from = first.line();
    let http = from.split_once("http://").unwrap().1.split(',').next().unwrap().parse().unwrap();
    let fingerprint = format!("{}{}", first.line(), first.line()).replace(' ', "");
    assert_eq!(fingerprint.len(), 64, "{fingerprint}");
    let root = over_http(http, &get("/airmuster-ca.crt")).await.body;
    let root = CertificateDer::from(root);
    assert_eq!(over_https(tls, &root, &get("/healthz")).await.text(), "ok");
    first.stop();

    let said = refused(dir.path(), &[&ANY[..], &["--tls", "--host", "other.example"]].concat());
    assert!(said.contains(&format!("tablets know this server as https://{NAME}")), "{said}");

    // The name is remembered, and so is the authority.
    let mut second = Running::start(dir.path(), &[&ANY[..], &["--tls"]].concat());
    let at = second.line();
    let port = at.strip_prefix(&format!("airmuster is at https://{NAME}:")).expect("an address");
    let tls: SocketAddr = format!("127.0.0.1:{port}").parse().unwrap();
    assert_eq!(over_https(tls, &root, &get("/healthz")).await.text(), "ok");
    second.stop();
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_begun_over_https_is_answered_before_it_stops() {
    let dir = tempfile::tempdir().unwrap();
    let mut running = Running::start(dir.path(), &[&ANY[..], &["--tls", "--host", NAME]].concat());
    let at = running.line();
    let tls: SocketAddr = format!("127.0.0.1:{}", at.rsplit(':').next().unwrap()).parse().unwrap();
    let from = running.line();
    let http: SocketAddr = from.split_once("http://").unwrap().1.split(',').next().unwrap().parse().unwrap();
    let root = CertificateDer::from(over_http(http, &get("/airmuster-ca.crt")).await.body);
    let idle = (connect(tls, &root, NAME).await.unwrap(), TcpStream::connect(http).await.unwrap());

    let mut begun = connect(tls, &root, NAME).await.unwrap();
    let head = format!(
        "POST /api/v1/records HTTP/1.0\r\nHost: {NAME}\r\nSec-Fetch-Site: same-origin\r\nContent-Type: \
         application/json\r\nairmuster-signature: none\r\nContent-Length: 2\r\n\r\n{{"
    );
    begun.write_all(head.as_bytes()).await.unwrap();
    // Answered, so the program has seen the connection that was opened before.
    over_https(tls, &root, &get("/healthz")).await;
    running.ask_to_stop();
    let mut log = BufReader::new(running.child.stderr.take().unwrap()).lines();
    assert!(log.any(|line| line.unwrap().contains("stopping")));
    for to in [tls, http] {
        // The listeners close; how soon is the system's business.
        while TcpStream::connect(to).await.is_ok() {}
    }
    let answer = exchange(begun, "}").await;
    assert_eq!(answer.status, 422, "{answer:?}");
    assert_eq!(running.child.wait().unwrap().code(), Some(0));
    drop(idle);
}

#[test]
fn without_a_name_and_without_a_person_to_ask_it_does_not_start() {
    let dir = tempfile::tempdir().unwrap();
    let said = refused(dir.path(), &["--tls"]);
    assert!(said.contains("--host NAME"), "{said}");
    assert!(!dir.path().join("tls").exists());
}

#[test]
fn what_makes_no_sense_is_refused_in_words() {
    let dir = tempfile::tempdir().unwrap();
    for (args, words) in [
        (&["--host", NAME][..], "--host goes with HTTPS only; add --tls"),
        (&["--http-listen", "127.0.0.1:0"], "--http-listen goes with HTTPS only; add --tls"),
        (&["--tls-cert", "c.pem"], "--tls-cert needs --tls-key"),
        (&["--tls", "--tls-key", "k.pem"], "--tls-key needs --tls-cert"),
        (&["--tls", "--host", "https://a.example/"], "give the name alone"),
        (
            &["--tls", "--host", NAME, "--listen", "127.0.0.1:9", "--http-listen", "127.0.0.1:9"],
            "not for both",
        ),
        (&["--tls-cert", "c.pem", "--tls-key", "k.pem", "--host", NAME], "c.pem cannot be read"),
    ] {
        let said = refused(dir.path(), args);
        assert!(said.contains(words), "{args:?}: {said}");
    }
    assert!(!dir.path().join("tls").exists(), "nothing is settled by a start that was refused");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_settings_file_may_ask_for_https() {
    let dir = tempfile::tempdir().unwrap();
    let settings =
        format!("tls = true\nhost = \"{NAME}\"\nlisten = \"127.0.0.1:0\"\nhttp_listen = \"127.0.0.1:0\"\n");
    std::fs::write(dir.path().join("airmuster.toml"), settings).unwrap();
    let mut running = Running::start(dir.path(), &[]);
    assert!(running.line().starts_with(&format!("airmuster is at https://{NAME}:")));
    running.stop();
}

#[tokio::test(flavor = "multi_thread")]
async fn plain_http_on_this_machine_stays_the_default() {
    let dir = tempfile::tempdir().unwrap();
    let mut running = Running::start(dir.path(), &["--listen", "127.0.0.1:0"]);
    let at = running.line();
    let to: SocketAddr = at.strip_prefix("airmuster is at http://").unwrap().parse().unwrap();
    let answer = over_http(to, &get("/sign-in")).await;
    assert_eq!((answer.status, answer.header("strict-transport-security")), (200, None));
    running.stop();
    assert!(!dir.path().join("tls").exists());
}
