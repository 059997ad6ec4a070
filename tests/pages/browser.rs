//! Asking for pages as a browser does, without one.

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Method, Request, Response, header};
use tower::ServiceExt;

/// Somebody in front of a screen.
pub struct Browser {
    router: Router,
    cookies: Vec<(String, String)>,
}

/// What came back.
#[derive(Debug)]
pub struct Page {
    pub status: u16,
    /// Where it leads, for a redirect.
    pub to: String,
    /// Whether the browser may keep it.
    pub kept: String,
    pub html: String,
    pub headers: HeaderMap,
}

impl Browser {
    /// Nobody in particular.
    pub fn new(router: Router) -> Self {
        Self { router, cookies: Vec::new() }
    }

    /// With a cookie that it has from before.
    pub fn with_cookie(mut self, name: &str, value: &str) -> Self {
        self.cookies.push((name.to_owned(), value.to_owned()));
        self
    }

    /// A cookie that it has.
    pub fn cookie(&self, name: &str) -> String {
        let found = self.cookies.iter().find(|(n, _)| n == name);
        found.unwrap_or_else(|| panic!("no cookie {name}")).1.clone()
    }

    pub async fn get(&mut self, path: &str) -> Page {
        self.ask(Method::GET, path, &[]).await
    }

    /// A file, as its bytes.
    pub async fn get_bytes(&self, path: &str) -> Vec<u8> {
        let request = Request::get(path).header("cookie", self.cookies()).body(Body::empty()).unwrap();
        let response = self.send(request).await;
        assert_eq!(response.status(), 200);
        axum::body::to_bytes(response.into_body(), usize::MAX).await.unwrap().to_vec()
    }

    pub async fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Page {
        self.ask(Method::POST, path, fields).await
    }

    /// The cookies, as they are sent.
    pub fn cookies(&self) -> String {
        self.cookies.iter().map(|(n, v)| format!("{n}={v}")).collect::<Vec<_>>().join("; ")
    }

    /// Sends a request as it is.
    pub async fn send(&self, request: Request<Body>) -> Response<Body> {
        self.router.clone().oneshot(request).await.unwrap()
    }

    /// Sends a form with files: name of the field, name of the file (none for a plain field), content.
    pub async fn post_files(&mut self, path: &str, parts: &[(&str, Option<&str>, &str)]) -> Page {
        let part = |&(name, file, content): &(&str, Option<&str>, &str)| {
            let file = file.map(|f| format!("; filename=\"{f}\"")).unwrap_or_default();
            format!("--part\r\nContent-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n{content}\r\n")
        };
        let body = parts.iter().map(part).collect::<String>() + "--part--\r\n";
        self.send_body(Method::POST, path, "multipart/form-data; boundary=part", body).await
    }

    pub async fn ask(&mut self, method: Method, path: &str, fields: &[(&str, &str)]) -> Page {
        self.send_body(method, path, "application/x-www-form-urlencoded", coded(fields)).await
    }

    async fn send_body(&mut self, method: Method, path: &str, kind: &str, body: String) -> Page {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "airmuster.example")
            .header(header::COOKIE, self.cookies())
            .header(header::CONTENT_TYPE, kind)
            .body(Body::from(body))
            .unwrap();
        self.visit(request).await
    }

    /// Hands a record in as a tablet's script does, with headers of its own.
    pub async fn hand_in(&mut self, bytes: Vec<u8>, headers: &[(&str, &str)]) -> Page {
        let mut request = Request::post("/api/v1/records")
            .header(header::COOKIE, self.cookies())
            .header(header::CONTENT_TYPE, "application/json");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        self.visit(request.body(Body::from(bytes)).unwrap()).await
    }

    async fn visit(&mut self, request: Request<Body>) -> Page {
        let response = self.send(request).await;
        for set in response.headers().get_all(header::SET_COOKIE) {
            let pair = set.to_str().unwrap().split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            self.cookies.retain(|(n, _)| n != name);
            self.cookies.push((name.to_owned(), value.to_owned()));
        }
        let to = response.headers().get(header::LOCATION).map_or("", |v| v.to_str().unwrap()).to_owned();
        let status = response.status().as_u16();
        let headers = response.headers().clone();
        let kept = headers.get(header::CACHE_CONTROL).map_or("", |v| v.to_str().unwrap()).to_owned();
        let body = to_bytes(response.into_body(), usize::MAX).await.unwrap();
        let html = String::from_utf8_lossy(&body).into_owned();
        Page { status, to, kept, html, headers }
    }
}

fn coded(fields: &[(&str, &str)]) -> String {
    let one = |s: &str| {
        s.bytes().fold(String::new(), |mut out, b| {
            use std::fmt::Write;
            if b.is_ascii_alphanumeric() {
                out.push(char::from(b));
            } else {
                write!(out, "%{b:02X}").unwrap();
            }
            out
        })
    };
    fields.iter().map(|(n, v)| format!("{}={}", one(n), one(v))).collect::<Vec<_>>().join("&")
}

impl Page {
    /// The page, which must be there.
    pub fn ok(self) -> Self {
        assert_eq!(self.status, 200, "{}", self.text());
        self
    }

    /// What is read on the page, one line a block.
    pub fn text(&self) -> String {
        let main = self.html.split("<main").nth(1).unwrap_or(&self.html);
        let main = main.split("</main>").next().unwrap_or(main);
        let main = main.split_once('>').map_or(main, |(_, rest)| rest);
        let mut out = String::new();
        let mut rest = main;
        while let Some((before, tag_on)) = rest.split_once('<') {
            out.push_str(before);
            let (tag, after) = tag_on.split_once('>').unwrap_or((tag_on, ""));
            let name = tag.trim_start_matches('/').split_whitespace().next().unwrap_or("");
            rest = match name {
                // Drawings and what nobody sees.
                "svg" | "script" | "select" | "textarea" if !tag.starts_with('/') => {
                    after.split_once(&format!("</{name}>")).map_or("", |(_, rest)| rest)
                }
                "a" | "b" | "span" | "small" | "em" => {
                    out.push(' ');
                    after
                }
                _ => {
                    out.push('\n');
                    after
                }
            };
        }
        out.push_str(rest);
        let lines = out.lines().map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "));
        let read: Vec<String> = lines.filter(|l| !l.is_empty()).map(|l| plain(&l)).collect();
        // Where a tag ended before a comma there is no space to be seen.
        read.join("\n").replace(" ,", ",").replace(" .", ".")
    }

    /// The lines from one that begins so, up to one that begins so.
    pub fn part(&self, from: &str, to: &str) -> String {
        let text = self.text();
        let lines = text.lines().skip_while(|l| !l.starts_with(from)).take_while(|l| !l.starts_with(to));
        lines.collect::<Vec<_>>().join("\n")
    }

    /// The value of a hidden field or a filled-in one.
    pub fn value(&self, name: &str) -> String {
        let mark = format!("name=\"{name}\"");
        let field = self.html.split(&mark).nth(1).unwrap_or_else(|| panic!("no {name}"));
        let tag = field.split('>').next().unwrap();
        let value = tag.split("value=\"").nth(1).and_then(|v| v.split('"').next());
        plain(value.unwrap_or_else(|| panic!("{name} has no value")))
    }

    /// The values of all fields of this name.
    pub fn values(&self, name: &str) -> Vec<String> {
        let mark = format!("name=\"{name}\" value=\"");
        let fields = self.html.split(&mark).skip(1);
        fields.map(|f| plain(f.split('"').next().unwrap())).collect()
    }

    /// What is said at a field.
    pub fn said_at(&self, field: &str) -> String {
        let mark = format!("id=\"{field}-problem\">");
        let at = self.html.split(&mark).nth(1).unwrap_or_default();
        plain(at.split('<').next().unwrap())
    }
}

fn plain(html: &str) -> String {
    let mut out = html.to_owned();
    for (code, sign) in [("&#60;", "<"), ("&#62;", ">"), ("&#34;", "\""), ("&#39;", "'"), ("&#38;", "&")] {
        out = out.replace(code, sign);
    }
    out
}
