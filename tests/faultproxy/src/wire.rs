//! Where an HTTP/1.1 message begins and ends (RFC 9112, sections 6 and 7.1). The bytes are kept as
//! they came.

use std::io::{Error, ErrorKind, Result};

use tokio::io::{AsyncRead, AsyncReadExt as _};

/// The largest head taken.
const LARGEST_HEAD: usize = 64 * 1024;
/// The largest request taken.
const LARGEST_REQUEST: usize = 64 * 1024 * 1024;
const HEADERS: usize = 64;

/// The head of a request or a reply.
#[derive(Debug, Clone, Default)]
pub struct Head {
    /// As it came, with the empty line at its end.
    pub bytes: Vec<u8>,
    /// A request's method.
    pub method: String,
    /// A request's target.
    pub target: String,
    /// A reply's status.
    pub status: u16,
    /// Whether the connection ends with this message.
    pub last: bool,
    length: Option<u64>,
    chunked: bool,
}

/// A message in full.
#[derive(Debug, Clone)]
pub struct Message {
    /// Its head.
    pub head: Head,
    /// Its body as it came.
    pub body: Vec<u8>,
}

impl Message {
    /// Head and body.
    pub fn bytes(&self) -> Vec<u8> {
        [self.head.bytes.as_slice(), &self.body].concat()
    }
}

/// How much of a body is still to come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rest {
    Length(u64),
    /// The size of the next chunk.
    Chunk,
    /// What is left of this chunk, with the line's end behind it.
    InChunk(u64),
    Trailer,
    UntilEnd,
    Nothing,
}

/// The end of a body, known from the head before it.
#[derive(Debug, Clone, Copy)]
pub struct Body(Rest);

impl Body {
    /// The body of a request.
    pub fn of_request(head: &Head) -> Self {
        Self(match (head.chunked, head.length) {
            (true, _) => Rest::Chunk,
            (false, length) => Rest::Length(length.unwrap_or(0)),
        })
    }

    /// The body of the reply to a request with this method.
    pub fn of_reply(head: &Head, method: &str) -> Self {
        Self(match (head.chunked, head.length) {
            _ if method == "HEAD" || head.status < 200 || [204, 304].contains(&head.status) => Rest::Nothing,
            (true, _) => Rest::Chunk,
            (false, Some(length)) => Rest::Length(length),
            (false, None) => Rest::UntilEnd,
        })
    }

    /// Whether only the end of the connection ends it.
    pub fn ends_the_connection(self) -> bool {
        self.0 == Rest::UntilEnd
    }
}

/// Reads messages, one after the other, from one side of a connection.
#[derive(Debug)]
pub struct Reader<R> {
    from: R,
    ahead: Vec<u8>,
}

impl<R: AsyncRead + Unpin> Reader<R> {
    /// Nothing was read yet.
    pub fn new(from: R) -> Self {
        Self { from, ahead: Vec::new() }
    }

    /// The other end.
    pub fn get_mut(&mut self) -> &mut R {
        &mut self.from
    }

    /// Whether the other side ended the connection, or spoke out of turn. Can be given up at any time.
    pub async fn ended(&mut self) {
        if self.ahead.is_empty() {
            let _ = self.more().await;
        }
    }

    async fn more(&mut self) -> Result<bool> {
        Ok(self.from.read_buf(&mut self.ahead).await? > 0)
    }

    /// The next head; `None` at an end between messages. Can be given up at any time.
    ///
    /// # Errors
    /// When the connection breaks, or what comes is not HTTP.
    pub async fn head(&mut self, request: bool) -> Result<Option<Head>> {
        loop {
            if let Some((mut head, length)) = parse(&self.ahead, request)? {
                head.bytes = self.ahead.drain(..length).collect();
                return Ok(Some(head));
            }
            if self.ahead.len() > LARGEST_HEAD {
                return Err(not_http("the head is too long"));
            }
            if !self.more().await? {
                return if self.ahead.is_empty() { Ok(None) } else { Err(ErrorKind::UnexpectedEof.into()) };
            }
        }
    }

    /// The next piece of a body, `None` behind its last.
    ///
    /// # Errors
    /// When the connection ends before the body does.
    pub async fn piece(&mut self, body: &mut Body) -> Result<Option<Vec<u8>>> {
        match body.0 {
            Rest::Nothing | Rest::Length(0) => Ok(None),
            Rest::InChunk(0) => {
                body.0 = Rest::Chunk;
                Box::pin(self.piece(body)).await
            }
            Rest::Length(left) => {
                let piece = self.at_most(left).await?;
                body.0 = Rest::Length(left - piece.len() as u64);
                Ok(Some(piece))
            }
            Rest::InChunk(left) => {
                let piece = self.at_most(left).await?;
                body.0 = Rest::InChunk(left - piece.len() as u64);
                Ok(Some(piece))
            }
            Rest::Chunk => {
                let line = self.line().await?;
                body.0 = match httparse::parse_chunk_size(&line) {
                    Ok(httparse::Status::Complete((_, 0))) => Rest::Trailer,
                    Ok(httparse::Status::Complete((_, size))) => Rest::InChunk(size + 2),
                    _ => return Err(not_http("a chunk has no size")),
                };
                Ok(Some(line))
            }
            Rest::Trailer => {
                let line = self.line().await?;
                if line == b"\r\n" {
                    body.0 = Rest::Nothing;
                }
                Ok(Some(line))
            }
            Rest::UntilEnd => {
                if self.ahead.is_empty() && !self.more().await? {
                    body.0 = Rest::Nothing;
                    return Ok(None);
                }
                Ok(Some(std::mem::take(&mut self.ahead)))
            }
        }
    }

    /// All that is left of a body.
    ///
    /// # Errors
    /// As [`Reader::piece`], or when it is too long.
    pub async fn rest(&mut self, mut body: Body) -> Result<Vec<u8>> {
        let mut whole = Vec::new();
        while let Some(piece) = self.piece(&mut body).await? {
            whole.extend(piece);
            if whole.len() > LARGEST_REQUEST {
                return Err(not_http("the body is too long"));
            }
        }
        Ok(whole)
    }

    /// A whole request; `None` at an end between requests.
    ///
    /// # Errors
    /// When the connection breaks.
    pub async fn request(&mut self) -> Result<Option<Message>> {
        let Some(head) = self.head(true).await? else { return Ok(None) };
        let body = self.rest(Body::of_request(&head)).await?;
        Ok(Some(Message { head, body }))
    }

    /// A whole reply to a request with this method, without what only announces it.
    ///
    /// # Errors
    /// When the connection ends before it does.
    pub async fn reply(&mut self, method: &str) -> Result<Message> {
        loop {
            let head = self.head(false).await?.ok_or(ErrorKind::UnexpectedEof)?;
            if head.status >= 200 {
                let body = self.rest(Body::of_reply(&head, method)).await?;
                return Ok(Message { head, body });
            }
        }
    }

    async fn at_most(&mut self, most: u64) -> Result<Vec<u8>> {
        if self.ahead.is_empty() && !self.more().await? {
            return Err(ErrorKind::UnexpectedEof.into());
        }
        let take = usize::try_from(most).unwrap_or(usize::MAX).min(self.ahead.len());
        Ok(self.ahead.drain(..take).collect())
    }

    async fn line(&mut self) -> Result<Vec<u8>> {
        loop {
            if let Some(end) = self.ahead.windows(2).position(|w| w == b"\r\n") {
                return Ok(self.ahead.drain(..end + 2).collect());
            }
            if self.ahead.len() > LARGEST_HEAD || !self.more().await? {
                return Err(ErrorKind::UnexpectedEof.into());
            }
        }
    }
}

fn not_http(say: &str) -> Error {
    Error::new(ErrorKind::InvalidData, say)
}

fn parse(bytes: &[u8], request: bool) -> Result<Option<(Head, usize)>> {
    let mut headers = [httparse::EMPTY_HEADER; HEADERS];
    let mut head = Head::default();
    let (status, headers) = if request {
        let mut r = httparse::Request::new(&mut headers);
        let status = r.parse(bytes).map_err(|e| not_http(&e.to_string()))?;
        r.method.unwrap_or_default().clone_into(&mut head.method);
        r.path.unwrap_or_default().clone_into(&mut head.target);
        (status, r.headers)
    } else {
        let mut r = httparse::Response::new(&mut headers);
        let status = r.parse(bytes).map_err(|e| not_http(&e.to_string()))?;
        head.status = r.code.unwrap_or_default();
        (status, r.headers)
    };
    let httparse::Status::Complete(length) = status else { return Ok(None) };
    for h in headers.iter() {
        let value = String::from_utf8_lossy(h.value).trim().to_ascii_lowercase();
        match h.name.to_ascii_lowercase().as_str() {
            "content-length" => {
                head.length = Some(value.parse().map_err(|_| not_http("a length is no number"))?);
            }
            "transfer-encoding" => head.chunked = value.ends_with("chunked"),
            "connection" => head.last = value == "close",
            _ => {}
        }
    }
    Ok(Some((head, length)))
}
