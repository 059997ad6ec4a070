//! `airmuster config check`: whether the program would start with these settings, and which hold.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use super::{Failure, mail, print};
use crate::config::{FILE, File, LISTEN};
use crate::infra::logging;

#[derive(Debug, clap::Subcommand)]
pub(super) enum Config {
    /// Tell which settings hold and where each comes from, and what is wrong with them
    Check {
        /// Folder with the database
        #[arg(long, env = "AIRMUSTER_DATA", value_name = "DIR")]
        data: PathBuf,
        /// Settings file [default: airmuster.toml in the data folder, if there is one]
        #[arg(long, env = "AIRMUSTER_CONFIG", value_name = "FILE")]
        config: Option<PathBuf>,
    },
}

/// A setting: its name in the file, and what holds where nobody says anything. Its environment
/// variable is `AIRMUSTER_` and the name in capitals.
const SETTINGS: [(&str, &str); 18] = [
    ("listen", LISTEN),
    ("log", "info"),
    ("log_format", "text"),
    ("tls", "false"),
    ("host", ""),
    ("tls_cert", ""),
    ("tls_key", ""),
    ("http_listen", ""),
    ("backups", ""),
    ("backups_copy", ""),
    ("backups_keep", "31"),
    ("metrics_listen", ""),
    ("mail_server", ""),
    ("mail_from", ""),
    ("mail_to", ""),
    ("mail_about", "out-of-service,seat-open,check-late"),
    ("mail_user", ""),
    ("mail_password_file", ""),
];

impl Config {
    pub(super) fn run(self) -> Result<(), Failure> {
        let Self::Check { data, config } = self;
        let path = config.clone().unwrap_or_else(|| data.join(FILE));
        // Also tells a setting that is not known, and a file that was named and is not there.
        File::read(config.as_deref(), &data).map_err(|e| Failure::input(e.to_string()))?;
        let mut settings = from_file(&path)?;
        let mut out = String::new();
        // Read as if written in the file: the same names, the same rules.
        let mut held = toml::Table::new();
        for (name, default) in &SETTINGS {
            let variable = format!("AIRMUSTER_{}", name.to_uppercase());
            let (value, from) = match (std::env::var(&variable), settings.remove(*name)) {
                (Ok(value), _) => {
                    held.insert((*name).to_owned(), typed(name, &value));
                    (value, variable)
                }
                (Err(_), Some(value)) => {
                    let words = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
                    held.insert((*name).to_owned(), value);
                    (words, path.display().to_string())
                }
                (Err(_), None) if default.is_empty() => continue,
                (Err(_), None) => ((*default).to_owned(), "default".to_owned()),
            };
            writeln!(out, "{name} = {value}    ({from})")?;
        }
        let held: File =
            held.try_into().map_err(|e| Failure::input(format!("a setting cannot be used: {e}")))?;
        let problems = problems(&held);
        if problems.is_empty() {
            print(format_args!("{out}nothing is wrong with these settings; flags win over them"))
        } else {
            Err(Failure::input(problems.join("\n")))
        }
    }
}

fn from_file(path: &Path) -> Result<toml::Table, Failure> {
    match std::fs::read_to_string(path) {
        Ok(text) => text.parse().map_err(|e| Failure::input(format!("{}: {e}", path.display()))),
        Err(_) => Ok(toml::Table::new()),
    }
}

fn typed(name: &str, value: &str) -> toml::Value {
    match name {
        "tls" => toml::Value::Boolean(value == "true"),
        "backups_keep" => value.parse().map_or_else(|_| value.into(), toml::Value::Integer),
        _ => value.into(),
    }
}

fn problems(s: &File) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(Err(e)) = s.log.as_deref().map(logging::check) {
        out.push(e);
    }
    let https = s.tls == Some(true) || s.tls_cert.is_some();
    if s.tls_cert.is_some() != s.tls_key.is_some() {
        out.push("tls_cert and tls_key go together; name both".to_owned());
    }
    if !https && (s.host.is_some() || s.http_listen.is_some()) {
        out.push("host and http_listen go with HTTPS only; add tls = true".to_owned());
    }
    for (name, path) in [("tls_cert", &s.tls_cert), ("tls_key", &s.tls_key)] {
        if let Some(path) = path
            && let Err(e) = std::fs::File::open(path)
        {
            out.push(format!("{name}: {} cannot be read: {e}", path.display()));
        }
    }
    if s.backups_copy.is_some() && s.backups.is_none() {
        out.push("backups_copy goes with backups; name that folder too".to_owned());
    }
    if let Some(copy) = s.backups_copy.as_ref().filter(|c| !c.is_dir()) {
        out.push(format!("backups_copy: {} is not there; is its disk mounted?", copy.display()));
    }
    if let Some(addr) = s.metrics_listen.filter(|a| !a.ip().is_loopback()) {
        out.push(format!("metrics_listen: {addr} can be reached from elsewhere; use a loopback address"));
    }
    out.extend(mail::settings(s).err());
    out
}
