//! The server's keys in one file, encrypted under a passphrase, to be kept apart from backups of
//! the data: the certificate authority that tablets trust, and whatever else only this server has.
//!
//! argon2id makes the key of the passphrase (RFC 9106, second recommended option: 64 MiB, three
//! passes; from memory), AES-256-GCM seals. Everything outside the sealed part is authenticated too.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use argon2::{Algorithm, Argon2, Params, Version};
use ring::aead::{AES_256_GCM, Aad, LessSafeKey, NONCE_LEN, Nonce, UnboundKey};
use serde::{Deserialize, Serialize};

use super::private;
use crate::clock::Clock;

/// The folders in the data folder that hold keys.
const FOLDERS: [&str; 2] = ["tls", "keys"];
/// The shortest passphrase: four words of a few letters.
const SHORTEST: usize = 12;
/// Memory in KiB, passes, lanes.
const COST: (u32, u32, u32) = (64 * 1024, 3, 4);
/// The most that a file may ask for, so that a foreign one cannot take the machine away.
const MOST_MEMORY: u32 = 1024 * 1024;

/// Why keys were not written or read.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// Too easily guessed.
    #[error("choose a passphrase of at least {SHORTEST} letters, several words for example")]
    Short,
    /// There is nothing to keep.
    #[error("there are no keys in {0}")]
    None(PathBuf),
    /// Nothing is overwritten.
    #[error("{0} is there already; nothing was written")]
    Exists(PathBuf),
    /// Another passphrase, or a changed file: one cannot be told from the other.
    #[error("this passphrase does not open it, or the file was changed")]
    Shut,
    /// Not a file of ours.
    #[error("this is not a file of keys: {0}")]
    NotKeys(String),
    /// A file cannot be read or written.
    #[error("{0}: {1}")]
    File(PathBuf, std::io::Error),
}

#[derive(Serialize, Deserialize)]
struct KeyFile {
    airmuster_keys: u32,
    memory_kib: u32,
    passes: u32,
    lanes: u32,
    salt: String,
    nonce: String,
    sealed: String,
}

impl KeyFile {
    /// What stands outside, as it is authenticated.
    fn outside(&self) -> String {
        format!(
            "{} {} {} {} {} {}",
            self.airmuster_keys, self.memory_kib, self.passes, self.lanes, self.salt, self.nonce
        )
    }

    fn key(&self, passphrase: &str) -> Result<LessSafeKey, KeyError> {
        let wrong = |e: &dyn std::fmt::Display| KeyError::NotKeys(e.to_string());
        if self.memory_kib > MOST_MEMORY || self.passes > 16 {
            return Err(KeyError::NotKeys("it asks for too much work".to_owned()));
        }
        let params =
            Params::new(self.memory_kib, self.passes, self.lanes, Some(32)).map_err(|e| wrong(&e))?;
        let mut key = [0; 32];
        Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
            .hash_password_into(passphrase.as_bytes(), &unhex(&self.salt)?, &mut key)
            .map_err(|e| wrong(&e))?;
        UnboundKey::new(&AES_256_GCM, &key).map(LessSafeKey::new).map_err(|e| wrong(&e))
    }

    fn nonce(&self) -> Result<Nonce, KeyError> {
        let bytes: [u8; NONCE_LEN] = unhex(&self.nonce)?
            .try_into()
            .map_err(|_| KeyError::NotKeys("its nonce has another length".to_owned()))?;
        Ok(Nonce::assume_unique_for_key(bytes))
    }
}

/// Seals every key of a data folder into a file that must not exist yet. Says which there were.
///
/// # Errors
/// When there are none, or the file cannot be written.
pub fn back_up(data: &Path, file: &Path, passphrase: &str, clock: &Clock) -> Result<Vec<String>, KeyError> {
    if passphrase.chars().count() < SHORTEST {
        return Err(KeyError::Short);
    }
    if file.exists() {
        return Err(KeyError::Exists(file.to_owned()));
    }
    let mut keys = BTreeMap::new();
    for folder in FOLDERS {
        let dir = data.join(folder);
        if !dir.is_dir() {
            continue;
        }
        let failed = |e| KeyError::File(dir.clone(), e);
        for entry in std::fs::read_dir(&dir).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            if path.is_file()
                && let Some(name) = path.file_name().and_then(|n| n.to_str())
            {
                let bytes = std::fs::read(&path).map_err(|e| KeyError::File(path.clone(), e))?;
                keys.insert(format!("{folder}/{name}"), hex(&bytes));
            }
        }
    }
    if keys.is_empty() {
        return Err(KeyError::None(data.to_owned()));
    }
    let mut out = KeyFile {
        airmuster_keys: 1,
        memory_kib: COST.0,
        passes: COST.1,
        lanes: COST.2,
        salt: hex(&clock.random::<16>()),
        nonce: hex(&clock.random::<NONCE_LEN>()),
        sealed: String::new(),
    };
    let mut text = serde_json::to_vec(&keys).map_err(|e| KeyError::NotKeys(e.to_string()))?;
    out.key(passphrase)?
        .seal_in_place_append_tag(out.nonce()?, Aad::from(out.outside()), &mut text)
        .map_err(|_| KeyError::Shut)?;
    out.sealed = hex(&text);
    let text = serde_json::to_vec_pretty(&out).map_err(|e| KeyError::NotKeys(e.to_string()))?;
    write_new(file, &text).map_err(|e| KeyError::File(file.to_owned(), e))?;
    Ok(keys.into_keys().collect())
}

/// Puts the keys of a file back into a data folder that has none of them.
///
/// # Errors
/// When the passphrase does not open it, or a key is there already; nothing was written then.
pub fn restore(data: &Path, file: &Path, passphrase: &str) -> Result<Vec<String>, KeyError> {
    let text = std::fs::read(file).map_err(|e| KeyError::File(file.to_owned(), e))?;
    let sealed: KeyFile = serde_json::from_slice(&text).map_err(|e| KeyError::NotKeys(e.to_string()))?;
    if sealed.airmuster_keys != 1 {
        return Err(KeyError::NotKeys(format!("it is of version {}", sealed.airmuster_keys)));
    }
    let mut bytes = unhex(&sealed.sealed)?;
    let opened = sealed
        .key(passphrase)?
        .open_in_place(sealed.nonce()?, Aad::from(sealed.outside()), &mut bytes)
        .map_err(|_| KeyError::Shut)?;
    let keys: BTreeMap<String, String> =
        serde_json::from_slice(opened).map_err(|e| KeyError::NotKeys(e.to_string()))?;
    let mut files = Vec::new();
    for (name, content) in &keys {
        let place = name.split_once('/').filter(|(folder, file)| {
            FOLDERS.contains(folder)
                && !file.is_empty()
                && !file.contains(['/', '\\'])
                && !file.starts_with('.')
        });
        let Some((folder, file)) = place else {
            return Err(KeyError::NotKeys(format!("“{name}” is no key of this program")));
        };
        let path = data.join(folder).join(file);
        if path.exists() {
            return Err(KeyError::Exists(path));
        }
        files.push((data.join(folder), file, unhex(content)?));
    }
    for (folder, name, bytes) in files {
        private::write(&folder, name, &bytes).map_err(|e| KeyError::File(folder.join(name), e))?;
    }
    Ok(keys.into_keys().collect())
}

/// Writes a new file that only this user may read.
fn write_new(file: &Path, bytes: &[u8]) -> std::io::Result<()> {
    use std::io::Write as _;
    use std::os::unix::fs::OpenOptionsExt as _;
    let mut out = std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(file)?;
    out.write_all(bytes)?;
    out.sync_all()
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut out, b| {
        let _ = write!(out, "{b:02x}");
        out
    })
}

fn unhex(text: &str) -> Result<Vec<u8>, KeyError> {
    let wrong = || KeyError::NotKeys("a part of it is not hexadecimal".to_owned());
    if !text.is_ascii() || !text.len().is_multiple_of(2) {
        return Err(wrong());
    }
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).map_err(|_| wrong())).collect()
}
