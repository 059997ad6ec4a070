//! The proxy as a program, as tests in other languages use it.

use std::io::{BufRead as _, BufReader};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use faultproxy::wire::Reader;
use tokio::io::AsyncWriteExt as _;
use tokio::net::{TcpListener, TcpStream};

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_faultproxy"));
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

async fn post(to: &str, target: &str, body: &str) -> u16 {
    let mut line = Reader::new(TcpStream::connect(to).await.unwrap());
    let request = format!("POST {target} HTTP/1.1\r\nContent-Length: {}\r\n\r\n{body}", body.len());
    line.get_mut().write_all(request.as_bytes()).await.unwrap();
    line.reply("POST").await.unwrap().head.status
}

#[tokio::test]
async fn it_says_where_it_is_can_be_controlled_and_ends_by_itself() {
    let server = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let to = server.local_addr().unwrap().to_string();
    let since = Instant::now();
    let mut child = program().args(["--to", &to, "--seed", "3", "--for", "2"]).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut place = |what: &str| lines.next().unwrap().unwrap().strip_prefix(what).unwrap().to_owned();
    let (proxy, control) = (place("proxy http://"), place("control http://"));
    assert_eq!(post(&control, "/mode", r#"{"mode": "no-content"}"#).await, 200);
    assert_eq!(post(&proxy, "/", "x").await, 204);
    let ended = tokio::task::spawn_blocking(move || child.wait().unwrap()).await.unwrap();
    assert!(ended.success());
    assert!(since.elapsed() < Duration::from_mins(1));
}

#[test]
fn it_says_what_is_wrong_with_its_arguments() {
    for (args, words) in [
        (&[][..], "--to says where the server is"),
        (&["--to"], "--to needs a value"),
        (&["--to", "nowhere"], "--to nowhere"),
        (&["--to", "192.0.2.1:80"], "not on this machine"),
        (&["--to", "127.0.0.1:1", "--for", "ever"], "--for ever"),
        (&["--too", "127.0.0.1:1"], "there is no --too"),
    ] {
        let ran = program().args(args).output().unwrap();
        let said = String::from_utf8(ran.stderr).unwrap();
        assert!(ran.status.code() == Some(2) && said.contains(words), "{args:?}: {said}");
    }
}
