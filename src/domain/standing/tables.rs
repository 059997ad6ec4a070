//! Rule tables by the hash of their text.

use std::collections::HashMap;
use std::sync::Arc;

use crate::ground::Forms;
use crate::record::Digest;
use crate::rules::{self, Form, Purpose, Table, TableErrors};

/// Rule tables by the hash of their text, with their forms worked out once.
#[derive(Debug)]
pub struct Tables {
    tables: HashMap<Digest, Arc<Table>>,
    forms: HashMap<(Digest, String, Purpose), Option<Arc<Form>>>,
    default: Digest,
}

impl Default for Tables {
    fn default() -> Self {
        Self::new()
    }
}

impl Tables {
    /// The table that ships with the program.
    ///
    /// # Panics
    /// Never: a test reads the shipped table.
    #[expect(clippy::expect_used, reason = "the shipped table is part of the program")]
    pub fn new() -> Self {
        let mut out = Self { tables: HashMap::new(), forms: HashMap::new(), default: Digest([0; 32]) };
        out.default = out.add(rules::DEFAULT).expect("the shipped rule table can be read");
        out
    }

    /// Adds a table.
    ///
    /// # Errors
    /// When the text is not a rule table.
    pub fn add(&mut self, text: &str) -> Result<Digest, TableErrors> {
        let digest = Digest::of(text.as_bytes());
        if !self.tables.contains_key(&digest) {
            self.tables.insert(digest, Arc::new(rules::parse(text)?));
            self.forms.retain(|(d, _, _), _| *d != digest);
        }
        Ok(digest)
    }

    /// The shipped table.
    pub fn default_digest(&self) -> Digest {
        self.default
    }

    /// The table of this hash.
    pub fn get(&self, digest: &Digest) -> Option<&Arc<Table>> {
        self.tables.get(digest)
    }
}

impl Forms for Tables {
    fn form(&mut self, rules: &Digest, profile: &str, purpose: Purpose) -> Option<Arc<Form>> {
        let key = (*rules, profile.to_owned(), purpose);
        if let Some(form) = self.forms.get(&key) {
            return form.clone();
        }
        let table = self.tables.get(rules)?;
        let form = rules::resolve(table, profile, purpose).ok().map(Arc::new);
        self.forms.insert(key, form.clone());
        form
    }
}
