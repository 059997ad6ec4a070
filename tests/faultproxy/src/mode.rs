//! What can go wrong with an exchange, and when it does.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use rand::Rng;
use serde_json::Value;

use crate::Fake;

/// What happens to one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mode {
    /// Nothing goes wrong.
    Pass,
    /// The connection is reset and the server hears nothing. Where nothing else can happen to any
    /// request, nobody listens at all: connecting is refused.
    Refuse,
    /// The request is taken and never answered; the server hears nothing.
    Blackhole,
    /// The server applies the request; the connection ends before the first byte of its reply.
    CutBeforeReply,
    /// The server applies the request; the connection ends somewhere inside its reply.
    CutInsideReply,
    /// The request waits before it goes on, and so does the reply. It goes on even if the client has
    /// given up by then, as a packet in a network does.
    Delay,
    /// The same bytes reach the server twice at once, on two connections; the client sees one reply.
    DeliverAgain,
    /// The request trickles to the server in small pieces.
    SlowUpload,
    /// Someone else answers; the server hears nothing.
    Instead(Fake),
}

impl Mode {
    /// All of them.
    pub fn all() -> impl Iterator<Item = Self> {
        [
            Self::Pass,
            Self::Refuse,
            Self::Blackhole,
            Self::CutBeforeReply,
            Self::CutInsideReply,
            Self::Delay,
            Self::DeliverAgain,
            Self::SlowUpload,
        ]
        .into_iter()
        .chain(Fake::ALL.into_iter().map(Self::Instead))
    }

    /// Its name.
    pub fn id(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Refuse => "refuse",
            Self::Blackhole => "blackhole",
            Self::CutBeforeReply => "cut-before-the-reply",
            Self::CutInsideReply => "cut-inside-the-reply",
            Self::Delay => "delay",
            Self::DeliverAgain => "deliver-again",
            Self::SlowUpload => "slow-upload",
            Self::Instead(fake) => fake.id(),
        }
    }
}

impl fmt::Display for Mode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

impl FromStr for Mode {
    type Err = String;
    fn from_str(s: &str) -> Result<Self, String> {
        Self::all().find(|m| m.id() == s).ok_or_else(|| {
            let known: Vec<_> = Self::all().map(Self::id).collect();
            format!("“{s}” is not a mode; there are {}", known.join(", "))
        })
    }
}

/// What goes wrong, how often, with which requests, and for how long.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// Modes with their weights.
    modes: Vec<(Mode, u32)>,
    /// Only requests whose path begins so are concerned; all others pass.
    path: String,
    /// After this many requests everything passes.
    pub(crate) times: Option<u32>,
    /// How long [`Mode::Delay`] waits each way and [`Mode::SlowUpload`] takes, at most.
    pub(crate) slow: Duration,
}

impl From<Mode> for Rule {
    fn from(mode: Mode) -> Self {
        Self { modes: vec![(mode, 1)], path: "/".to_owned(), times: None, slow: Duration::from_millis(300) }
    }
}

impl Rule {
    /// A mode is drawn for each request, by weight.
    ///
    /// # Errors
    /// When nothing can be drawn.
    pub fn drawn(modes: &[(Mode, u32)]) -> Result<Self, String> {
        if modes.iter().all(|(_, weight)| *weight == 0) {
            return Err("at least one mode needs a weight".to_owned());
        }
        Ok(Self { modes: modes.to_vec(), ..Self::from(Mode::Pass) })
    }

    /// The same for paths that begin so only.
    #[must_use]
    pub fn on(self, path: &str) -> Self {
        Self { path: path.to_owned(), ..self }
    }

    /// The same for this many requests only.
    #[must_use]
    pub fn times(self, times: u32) -> Self {
        Self { times: Some(times), ..self }
    }

    /// The same with waits up to this long.
    #[must_use]
    pub fn slow(self, slow: Duration) -> Self {
        Self { slow, ..self }
    }

    /// Whether nobody should listen.
    pub(crate) fn refuses_all(&self) -> bool {
        self.path == "/"
            && self.times.is_none()
            && self.modes.iter().all(|(m, w)| *m == Mode::Refuse || *w == 0)
    }

    pub(crate) fn concerns(&self, target: &str) -> bool {
        target.starts_with(&self.path)
    }

    pub(crate) fn draw(&self, rng: &mut impl Rng) -> Mode {
        let total = self.modes.iter().map(|(_, weight)| weight).sum::<u32>().max(1);
        let mut at = rng.random_range(0..total);
        for (mode, weight) in &self.modes {
            if at < *weight {
                return *mode;
            }
            at -= weight;
        }
        Mode::Pass
    }

    /// As the control channel gives it: `{"mode": "refuse"}` or `{"mode": {"pass": 9, "delay": 1}}`,
    /// with `path`, `times` and `slow` (milliseconds) where wanted.
    ///
    /// # Errors
    /// Says what is wrong with it.
    pub fn read(json: &[u8]) -> Result<Self, String> {
        let given: Value = serde_json::from_slice(json).map_err(|e| e.to_string())?;
        let fields = given.as_object().ok_or("a rule is an object")?;
        if let Some(odd) = fields.keys().find(|k| !["mode", "path", "times", "slow"].contains(&k.as_str())) {
            return Err(format!("a rule has no “{odd}”"));
        }
        let count = |name: &str| match fields.get(name) {
            None | Some(Value::Null) => Ok(None),
            Some(v) => v
                .as_u64()
                .and_then(|n| u32::try_from(n).ok())
                .map(Some)
                .ok_or(format!("“{name}” is a whole number")),
        };
        let mut rule = match fields.get("mode") {
            Some(Value::String(mode)) => Self::from(mode.parse::<Mode>()?),
            Some(Value::Object(modes)) => {
                let weight =
                    |v: &Value| v.as_u64().and_then(|n| u32::try_from(n).ok()).filter(|n| *n <= 10_000);
                let mut drawn = Vec::new();
                for (mode, v) in modes {
                    drawn.push((mode.parse()?, weight(v).ok_or("a weight is a whole number up to 10,000")?));
                }
                Self::drawn(&drawn)?
            }
            _ => return Err("a rule has a “mode”".to_owned()),
        };
        if let Some(path) = fields.get("path") {
            let path = path.as_str().filter(|p| p.starts_with('/')).ok_or("a path begins with /")?;
            rule = rule.on(path);
        }
        rule.times = count("times")?;
        if let Some(slow) = count("slow")? {
            rule = rule.slow(Duration::from_millis(slow.into()));
        }
        Ok(rule)
    }
}
