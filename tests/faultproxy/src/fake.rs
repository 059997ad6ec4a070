//! Answers that are not the server's: what a network in between, or a server gone wrong, can say.

use serde_json::value::RawValue;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

/// Who answers instead of the server, and what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fake {
    /// 200 with the page of a network that wants a login first.
    LoginPage,
    /// 200 with `{}`.
    EmptyObject,
    /// 204.
    NoContent,
    /// 302 to a sign-in page.
    Redirect,
    /// 500.
    ServerError,
    /// 200 with a receipt for another record.
    WrongId,
    /// 200 with a receipt for other bytes.
    WrongHash,
    /// 200 with a perfect receipt for what was never stored. No client can see through it; whoever
    /// compares the client's history with the logbook must.
    FalseReceipt,
}

impl Fake {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::LoginPage,
        Self::EmptyObject,
        Self::NoContent,
        Self::Redirect,
        Self::ServerError,
        Self::WrongId,
        Self::WrongHash,
        Self::FalseReceipt,
    ];

    /// Its name.
    pub fn id(self) -> &'static str {
        match self {
            Self::LoginPage => "login-page",
            Self::EmptyObject => "empty-object",
            Self::NoContent => "no-content",
            Self::Redirect => "redirect",
            Self::ServerError => "server-error",
            Self::WrongId => "wrong-id",
            Self::WrongHash => "wrong-hash",
            Self::FalseReceipt => "false-receipt",
        }
    }

    /// The reply to a request with this body, as bytes.
    pub(crate) fn reply(self, body: &[u8]) -> Vec<u8> {
        let page = "<!doctype html><title>Welcome</title><p>Accept the terms to use this network.";
        match self {
            Self::LoginPage => whole("200 OK", "Content-Type: text/html; charset=utf-8\r\n", page),
            Self::EmptyObject => whole("200 OK", JSON, "{}"),
            Self::NoContent => b"HTTP/1.1 204 No Content\r\n\r\n".to_vec(),
            Self::Redirect => whole("302 Found", "Location: /sign-in\r\n", ""),
            Self::ServerError => whole("500 Internal Server Error", "Content-Type: text/plain\r\n", "no"),
            Self::WrongId | Self::WrongHash | Self::FalseReceipt => {
                whole("200 OK", JSON, &self.receipts(body).to_string())
            }
        }
    }

    fn receipts(self, body: &[u8]) -> Value {
        match serde_json::from_slice::<Vec<&RawValue>>(body) {
            Ok(records) => records.iter().map(|r| self.receipt(r.get().as_bytes())).collect(),
            Err(_) => self.receipt(body),
        }
    }

    fn receipt(self, record: &[u8]) -> Value {
        let sent: Value = serde_json::from_slice(record).unwrap_or_default();
        let mut id = sent["id"].clone();
        let mut digest = hex(&Sha256::digest(record));
        match self {
            Self::WrongId => id = json!("0190a8c0-0000-7000-8000-00000000dead"),
            Self::WrongHash => digest = hex(&Sha256::digest([record, b" "].concat())),
            _ => {}
        }
        let head = "0".repeat(64);
        json!({ "id": id, "digest": digest, "status": "stored", "seq": 1, "received": 1, "epoch": "none", "head": head })
    }
}

const JSON: &str = "Content-Type: application/json\r\n";

fn whole(status: &str, header: &str, body: &str) -> Vec<u8> {
    format!("HTTP/1.1 {status}\r\n{header}Content-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, b| {
        let _ = write!(text, "{b:02x}");
        text
    })
}
