//! Each fault as the client and the server see it.

use std::io::ErrorKind;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use faultproxy::wire::{Message, Reader};
use faultproxy::{Counts, Fake, Mode, Proxy, Rule};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

/// A server that writes down what it hears, with the connection it came on, and answers with the body.
#[derive(Clone, Default)]
struct Heard(Arc<Mutex<Vec<(usize, Message)>>>);

impl Heard {
    fn bodies(&self) -> Vec<Vec<u8>> {
        self.0.lock().unwrap().iter().map(|(_, m)| m.body.clone()).collect()
    }

    async fn serve(self) -> SocketAddr {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(async move {
            for connection in 0.. {
                let (client, _) = listener.accept().await.unwrap();
                let heard = self.clone();
                tokio::spawn(async move {
                    let mut client = Reader::new(client);
                    while let Ok(Some(request)) = client.request().await {
                        let reply = reply_to(&request);
                        heard.0.lock().unwrap().push((connection, request));
                        client.get_mut().write_all(&reply).await.unwrap();
                    }
                });
            }
        });
        address
    }
}

fn reply_to(request: &Message) -> Vec<u8> {
    match request.head.target.as_str() {
        "/chunked" => {
            b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n4;x=y\r\nwell\r\n0\r\nA: b\r\n\r\n"
                .to_vec()
        }
        "/none" => b"HTTP/1.1 304 Not Modified\r\nContent-Length: 9\r\n\r\n".to_vec(),
        "/early" => {
            b"HTTP/1.1 103 Early Hints\r\nLink: x\r\n\r\nHTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n"
                .to_vec()
        }
        _ => {
            let head = format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n", request.body.len());
            [head.as_bytes(), &request.body].concat()
        }
    }
}

struct Stage {
    heard: Heard,
    proxy: Proxy,
}

impl Stage {
    async fn new(rule: impl Into<Rule>) -> Self {
        let heard = Heard::default();
        let proxy = Proxy::start(heard.clone().serve().await, 1).await.unwrap();
        proxy.set(rule).await;
        Self { heard, proxy }
    }

    async fn connect(&self) -> std::io::Result<Reader<TcpStream>> {
        TcpStream::connect(self.proxy.address()).await.map(Reader::new)
    }

    fn counts(&self) -> Counts {
        self.proxy.counts()
    }
}

async fn post(line: &mut Reader<TcpStream>, target: &str, body: &str) -> std::io::Result<Message> {
    let request =
        format!("POST {target} HTTP/1.1\r\nHost: here\r\nContent-Length: {}\r\n\r\n{body}", body.len());
    line.get_mut().write_all(request.as_bytes()).await?;
    line.reply("POST").await
}

#[tokio::test]
async fn what_passes_is_unchanged_both_ways_on_one_connection() {
    let stage = Stage::new(Mode::Pass).await;
    let mut line = stage.connect().await.unwrap();
    for n in 0..20 {
        let body = format!("{n}").repeat(n * 997);
        assert_eq!(post(&mut line, "/a?b=c", &body).await.unwrap().body, body.as_bytes());
    }
    let chunked = post(&mut line, "/chunked", "").await.unwrap();
    assert_eq!(chunked.body, b"4;x=y\r\nwell\r\n0\r\nA: b\r\n\r\n");
    assert_eq!(post(&mut line, "/none", "").await.unwrap().head.status, 304);
    assert_eq!(post(&mut line, "/early", "").await.unwrap().head.status, 200);
    line.get_mut()
        .write_all(b"GET /end HTTP/1.1\r\nHOST:  here \r\nConnection: close\r\n\r\n")
        .await
        .unwrap();
    line.reply("GET").await.unwrap();
    assert_eq!(line.get_mut().read(&mut [0; 1]).await.unwrap(), 0, "the client wanted it ended");
    let heard = stage.heard.0.lock().unwrap();
    assert!(heard.iter().all(|(connection, _)| *connection == heard[0].0));
    assert_eq!(
        heard.last().unwrap().1.head.bytes,
        b"GET /end HTTP/1.1\r\nHOST:  here \r\nConnection: close\r\n\r\n"
    );
    assert_eq!(stage.counts().reached("POST", "/a"), 20);
    assert_eq!((stage.counts().replies, stage.counts().connections), (24, 1));
}

#[tokio::test]
async fn nobody_listens_while_everything_is_refused_and_open_connections_are_reset() {
    let stage = Stage::new(Mode::Pass).await;
    let mut line = stage.connect().await.unwrap();
    post(&mut line, "/", "before").await.unwrap();
    for _ in 0..20 {
        stage.proxy.set(Mode::Refuse).await;
        assert_eq!(stage.connect().await.unwrap_err().kind(), ErrorKind::ConnectionRefused);
        stage.proxy.set(Mode::Pass).await;
        let mut line = stage.connect().await.unwrap();
        post(&mut line, "/", "after").await.unwrap();
    }
    assert_eq!(line.get_mut().read(&mut [0; 1]).await.unwrap_err().kind(), ErrorKind::ConnectionReset);
    assert_eq!(stage.heard.bodies().len(), 21);
}

#[tokio::test]
async fn a_request_that_is_refused_among_others_is_reset_and_not_heard() {
    let stage = Stage::new(Rule::from(Mode::Refuse).on("/api").times(1)).await;
    let mut line = stage.connect().await.unwrap();
    post(&mut line, "/page", "page").await.unwrap();
    assert_eq!(post(&mut line, "/api/x", "lost").await.unwrap_err().kind(), ErrorKind::ConnectionReset);
    let mut line = stage.connect().await.unwrap();
    post(&mut line, "/api/x", "kept").await.unwrap();
    assert_eq!(stage.heard.bodies(), [b"page", b"kept"]);
}

#[tokio::test]
async fn a_black_hole_takes_and_never_answers() {
    let stage = Stage::new(Mode::Blackhole).await;
    let mut line = stage.connect().await.unwrap();
    let waited = tokio::time::timeout(Duration::from_millis(300), post(&mut line, "/", "lost")).await;
    assert!(waited.is_err(), "{waited:?}");
    stage.proxy.set(Mode::Pass).await;
    let mut line = stage.connect().await.unwrap();
    post(&mut line, "/", "kept").await.unwrap();
    assert_eq!(stage.heard.bodies(), [b"kept"]);
    assert_eq!(stage.counts().requests, [(Mode::Pass, 1), (Mode::Blackhole, 1)].into());
}

#[tokio::test]
async fn a_cut_before_the_reply_leaves_the_client_without_a_byte_of_what_the_server_did() {
    let stage = Stage::new(Mode::CutBeforeReply).await;
    let mut line = stage.connect().await.unwrap();
    line.get_mut().write_all(b"POST / HTTP/1.1\r\nContent-Length: 4\r\n\r\ndone").await.unwrap();
    assert_eq!(line.get_mut().read(&mut [0; 1]).await.unwrap(), 0);
    assert_eq!(stage.heard.bodies(), [b"done"]);
    assert_eq!(stage.counts().replies, 1);
}

#[tokio::test]
async fn a_cut_inside_the_reply_leaves_the_client_with_a_part_of_it() {
    let stage = Stage::new(Mode::CutInsideReply).await;
    let body = "done".repeat(20);
    let whole = format!("HTTP/1.1 200 OK\r\nContent-Length: 80\r\n\r\n{body}");
    let mut cut = Vec::new();
    for _ in 0..30 {
        let mut line = stage.connect().await.unwrap();
        let request = format!("POST / HTTP/1.1\r\nContent-Length: 80\r\n\r\n{body}");
        line.get_mut().write_all(request.as_bytes()).await.unwrap();
        let mut part = Vec::new();
        line.get_mut().read_to_end(&mut part).await.unwrap();
        assert!(!part.is_empty() && part.len() < whole.len() && whole.as_bytes().starts_with(&part));
        cut.push(part.len());
    }
    assert!(
        cut.iter().any(|n| *n < 38) && cut.iter().any(|n| *n > 38),
        "in the head and in the body: {cut:?}"
    );
    assert_eq!(stage.heard.bodies().len(), 30);
}

#[tokio::test]
async fn a_delayed_request_goes_on_although_the_client_has_given_up() {
    let stage = Stage::new(Rule::from(Mode::Delay).slow(Duration::from_millis(400))).await;
    for _ in 0..10 {
        let mut line = stage.connect().await.unwrap();
        let _ = tokio::time::timeout(Duration::from_millis(1), post(&mut line, "/", "late")).await;
    }
    let since = Instant::now();
    while stage.heard.bodies().len() < 10 {
        assert!(since.elapsed() < Duration::from_secs(10), "{:?}", stage.counts());
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let mut line = stage.connect().await.unwrap();
    assert_eq!(post(&mut line, "/", "waited for").await.unwrap().body, b"waited for");
}

#[tokio::test]
async fn what_is_delivered_again_reaches_the_server_twice_on_two_connections_and_is_answered_once() {
    let stage = Stage::new(Mode::DeliverAgain).await;
    let mut line = stage.connect().await.unwrap();
    for n in 1..=10 {
        assert_eq!(post(&mut line, "/", "twice").await.unwrap().body, b"twice");
        let heard = stage.heard.0.lock().unwrap();
        let [.., (one, first), (two, second)] = heard.as_slice() else { panic!("{heard:?}") };
        assert_eq!(heard.len(), 2 * n);
        assert_ne!(one, two);
        assert_eq!(first.bytes(), second.bytes());
    }
    assert_eq!(stage.counts().reached("POST", "/"), 20);
    assert_eq!(stage.counts().requests, [(Mode::DeliverAgain, 10)].into());
}

#[tokio::test]
async fn a_slow_upload_arrives_whole_and_late() {
    let stage = Stage::new(Rule::from(Mode::SlowUpload).slow(Duration::from_millis(200))).await;
    let mut line = stage.connect().await.unwrap();
    let since = Instant::now();
    let body = "slow".repeat(1000);
    assert_eq!(post(&mut line, "/", &body).await.unwrap().body, body.as_bytes());
    assert!(since.elapsed() >= Duration::from_millis(150), "{:?}", since.elapsed());
}

#[tokio::test]
async fn what_someone_else_answers_the_server_does_not_hear() {
    let stage = Stage::new(Mode::Pass).await;
    let record = r#"{"id":"a","x":1}"#;
    // printf '{"id":"a","x":1}' | sha256sum
    let digest = "362c5209cf1eac9ec46fe7b7b08ec5ec9a4867e5590f1bb49d1e5618890ccfcd";
    for fake in Fake::ALL {
        stage.proxy.set(Mode::Instead(fake)).await;
        let mut line = stage.connect().await.unwrap();
        let reply = post(&mut line, "/", record).await.unwrap();
        let said: serde_json::Value = serde_json::from_slice(&reply.body).unwrap_or_default();
        let names = (said["id"] == "a", said["digest"] == digest);
        let expected = match fake {
            Fake::LoginPage | Fake::EmptyObject => (200, (false, false)),
            Fake::NoContent => (204, (false, false)),
            Fake::Redirect => (302, (false, false)),
            Fake::ServerError => (500, (false, false)),
            Fake::WrongId => (200, (false, true)),
            Fake::WrongHash => (200, (true, false)),
            Fake::FalseReceipt => (200, (true, true)),
        };
        assert_eq!((reply.head.status, names), expected, "{}", fake.id());
        let many = post(&mut line, "/", &format!("[{record}, {record}]")).await.unwrap();
        if expected.1 != (false, false) {
            assert_eq!(
                serde_json::from_slice::<serde_json::Value>(&many.body).unwrap(),
                serde_json::json!([said, said])
            );
        }
    }
    assert!(stage.heard.bodies().is_empty());
}

#[tokio::test]
async fn what_is_drawn_depends_on_the_seed_alone() {
    let drawn = async |seed| {
        let to = Heard::default().serve().await;
        let proxy = Proxy::start(to, seed).await.unwrap();
        let weights = [
            (Mode::Pass, 1),
            (Mode::DeliverAgain, 1),
            (Mode::Instead(Fake::EmptyObject), 2),
            (Mode::Delay, 0),
        ];
        proxy.set(Rule::drawn(&weights).unwrap()).await;
        let mut seen = Vec::new();
        let mut line = TcpStream::connect(proxy.address()).await.map(Reader::new).unwrap();
        for _ in 0..40 {
            let before = proxy.counts();
            post(&mut line, "/", "x").await.unwrap();
            let after = proxy.counts();
            let counted = |c: &Counts, m: &Mode| c.requests.get(m).copied().unwrap_or(0);
            seen.extend(Mode::all().filter(|m| counted(&after, m) > counted(&before, m)));
        }
        seen
    };
    let one = drawn(7).await;
    assert_eq!(one, drawn(7).await);
    assert_ne!(one, drawn(8).await);
    assert!(one.contains(&Mode::Pass) && one.contains(&Mode::DeliverAgain) && !one.contains(&Mode::Delay));
}

#[tokio::test]
async fn a_server_that_is_gone_ends_the_connections_that_led_to_it() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let proxy = Proxy::start(listener.local_addr().unwrap(), 1).await.unwrap();
    let mut line = TcpStream::connect(proxy.address()).await.map(Reader::new).unwrap();
    let server = async {
        let (client, _) = listener.accept().await.unwrap();
        let mut client = Reader::new(client);
        let request = client.request().await.unwrap().unwrap();
        client.get_mut().write_all(&reply_to(&request)).await.unwrap();
    };
    let (reply, ()) = tokio::join!(post(&mut line, "/", "well"), server);
    assert_eq!(reply.unwrap().body, b"well");
    assert_eq!(line.get_mut().read(&mut [0; 1]).await.unwrap(), 0);
}

#[tokio::test]
async fn it_is_set_and_read_over_http() {
    let stage = Stage::new(Mode::Pass).await;
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut control = TcpStream::connect(listener.local_addr().unwrap()).await.map(Reader::new).unwrap();
    let Stage { heard, proxy } = stage;
    let proxy = Arc::new(proxy);
    tokio::spawn(faultproxy::control(listener, Arc::clone(&proxy)));
    let rule = r#"{"mode": {"empty-object": 1}, "path": "/api/", "times": 2, "slow": 10}"#;
    assert_eq!(post(&mut control, "/mode", rule).await.unwrap().head.status, 200);
    let mut line = TcpStream::connect(proxy.address()).await.map(Reader::new).unwrap();
    for (target, answer) in [("/api/a", "{}"), ("/b", "x"), ("/api/a", "{}"), ("/api/a?q", "x")] {
        assert_eq!(post(&mut line, target, "x").await.unwrap().body, answer.as_bytes());
    }
    control.get_mut().write_all(b"GET /counts HTTP/1.1\r\n\r\n").await.unwrap();
    let counts: serde_json::Value =
        serde_json::from_slice(&control.reply("GET").await.unwrap().body).unwrap();
    let expected = serde_json::json!({
        "connections": 1, "requests": { "empty-object": 2, "pass": 2 },
        "reached": { "POST /api/a": 1, "POST /b": 1 }, "replies": 2,
    });
    assert_eq!(counts, expected);
    assert_eq!(post(&mut control, "/forget", "").await.unwrap().head.status, 200);
    assert_eq!(proxy.counts(), Counts::default());
    assert_eq!(heard.bodies().len(), 2);
    for wrong in [
        "",
        "{}",
        r#"{"mode":"x"}"#,
        r#"{"mode":{}}"#,
        r#"{"mode":"pass","time":1}"#,
        r#"{"mode":"pass","path":"a"}"#,
    ] {
        assert_eq!(post(&mut control, "/mode", wrong).await.unwrap().head.status, 400, "{wrong}");
    }
}

#[tokio::test]
async fn it_leads_nowhere_but_to_this_machine() {
    assert!(Proxy::start("192.0.2.1:80".parse().unwrap(), 1).await.is_err());
}
