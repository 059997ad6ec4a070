//! The control channel: HTTP on a port of its own, for tests in other languages.

use std::io::Result;
use std::sync::Arc;

use tokio::io::AsyncWriteExt as _;
use tokio::net::{TcpListener, TcpStream};

use crate::wire::{Message, Reader};
use crate::{Proxy, Rule};

/// Answers until the program ends:
///
/// - `POST /mode` with a rule (see [`Rule::read`]): from now on, this goes wrong.
/// - `GET /counts`: what went through.
/// - `POST /forget`: count from nothing again.
///
/// # Errors
/// When no more connections can be taken.
pub async fn serve(listener: TcpListener, proxy: Arc<Proxy>) -> Result<()> {
    loop {
        let (client, _) = listener.accept().await?;
        tokio::spawn(answer_all(client, Arc::clone(&proxy)));
    }
}

async fn answer_all(client: TcpStream, proxy: Arc<Proxy>) -> Result<()> {
    let mut client = Reader::new(client);
    while let Some(request) = client.request().await? {
        let (status, body) = answer(&proxy, &request).await;
        let length = body.len();
        let reply = format!(
            "HTTP/1.1 {status}\r\nContent-Type: application/json\r\nContent-Length: {length}\r\n\r\n{body}"
        );
        client.get_mut().write_all(reply.as_bytes()).await?;
    }
    Ok(())
}

async fn answer(proxy: &Proxy, request: &Message) -> (&'static str, String) {
    match (request.head.method.as_str(), request.head.target.as_str()) {
        ("POST", "/mode") => match Rule::read(&request.body) {
            Ok(rule) => {
                proxy.set(rule).await;
                ("200 OK", "{}".to_owned())
            }
            Err(say) => ("400 Bad Request", serde_json::json!({ "say": say }).to_string()),
        },
        ("GET", "/counts") => ("200 OK", proxy.counts().to_json().to_string()),
        ("POST", "/forget") => {
            proxy.forget();
            ("200 OK", "{}".to_owned())
        }
        _ => ("404 Not Found", "{}".to_owned()),
    }
}
