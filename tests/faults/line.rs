//! A client's connection, used again as a browser uses it.

use std::io::{Error, ErrorKind, Result};
use std::net::SocketAddr;
use std::time::Duration;

use faultproxy::wire::Reader;
use serde_json::Value;
use tokio::io::AsyncWriteExt as _;
use tokio::net::TcpStream;

use super::site::token_of;

/// What was answered.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    /// The body, where it is JSON.
    pub json: Value,
}

/// A way to one server.
#[derive(Debug)]
pub struct Line {
    to: SocketAddr,
    patience: Duration,
    cookie: String,
    open: Option<Reader<TcpStream>>,
    /// Requests sent again without being asked to.
    pub repeats: u64,
}

impl Line {
    /// A line of tablet `t1`.
    pub fn new(to: SocketAddr, patience: Duration) -> Self {
        let line = Self { to, patience, cookie: String::new(), open: None, repeats: 0 };
        line.of("t1")
    }

    /// The same, of another tablet.
    pub fn of(mut self, tablet: &str) -> Self {
        self.cookie = format!("Cookie: airmuster_enrolled={}\r\n", token_of(tablet));
        self
    }

    /// Hands in a record, or a list of them. An error leaves it unknown whether it arrived.
    pub async fn post(&mut self, body: &[u8]) -> Result<Reply> {
        self.post_with("Content-Type: application/json\r\nSec-Fetch-Site: same-origin\r\n", body).await
    }

    /// The same with other headers, each with its line's end.
    pub async fn post_with(&mut self, headers: &str, body: &[u8]) -> Result<Reply> {
        let head = format!(
            "POST /api/v1/records HTTP/1.1\r\nHost: {}\r\n{}{headers}Content-Length: {}\r\n\r\n",
            self.to,
            self.cookie,
            body.len()
        );
        let request = [head.as_bytes(), body].concat();
        let in_time = tokio::time::timeout(self.patience, self.exchange(&request)).await;
        in_time.unwrap_or_else(|_| {
            // What may still come on it must not be taken for the answer to another request.
            self.open = None;
            Err(ErrorKind::TimedOut.into())
        })
    }

    async fn exchange(&mut self, request: &[u8]) -> Result<Reply> {
        // As Chromium does it (measured): a request on a used connection that ends before the first byte of
        // the reply is sent once more, and the page never hears of it.
        if let Some(mut used) = self.open.take() {
            match self.send(&mut used, request).await {
                Err(e) if e.kind() != ErrorKind::InvalidData => self.repeats += 1,
                reply => return self.keep(used, reply),
            }
        }
        let mut fresh = Reader::new(TcpStream::connect(self.to).await?);
        let reply = self.send(&mut fresh, request).await;
        self.keep(fresh, reply)
    }

    /// `InvalidData` for what breaks after the reply has begun.
    async fn send(&mut self, line: &mut Reader<TcpStream>, request: &[u8]) -> Result<(Reply, bool)> {
        line.get_mut().write_all(request).await?;
        line.get_mut().readable().await?;
        if line.get_mut().peek(&mut [0]).await? == 0 {
            return Err(ErrorKind::UnexpectedEof.into());
        }
        let reply = line.reply("POST").await.map_err(|e| Error::new(ErrorKind::InvalidData, e))?;
        let json = serde_json::from_slice(&reply.body).unwrap_or_default();
        Ok((Reply { status: reply.head.status, json }, reply.head.last))
    }

    fn keep(&mut self, line: Reader<TcpStream>, reply: Result<(Reply, bool)>) -> Result<Reply> {
        let (reply, last) = reply?;
        self.open = (!last).then_some(line);
        Ok(reply)
    }
}
