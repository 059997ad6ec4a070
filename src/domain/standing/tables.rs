//! Rule tables by the hash of their text.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::{Arc, LazyLock};

use crate::ground::Forms;
use crate::record::{Body, Desk, Digest, Record};
use crate::rules::{self, Form, Purpose, Table, TableErrors};

/// The table that ships with the program. A test reads it, so that it can be read here.
#[expect(clippy::expect_used, reason = "the shipped table is part of the program")]
static SHIPPED: LazyLock<(Digest, Arc<Table>)> = LazyLock::new(|| {
    let table = rules::parse(rules::DEFAULT).expect("the shipped rule table can be read");
    (Digest::of(rules::DEFAULT.as_bytes()), Arc::new(table))
});

/// The shipped table as it was before it said what a repair touches: records made with it name it by its hash.
#[expect(clippy::expect_used, reason = "it has the shipped table's lines")]
static FIRST: LazyLock<(Digest, Arc<Table>)> = LazyLock::new(|| {
    let said = |line: &&str| !line.starts_with("touches = ") && !line.starts_with("# touches: ");
    let text: String = rules::DEFAULT.split_inclusive('\n').filter(said).collect();
    let text = text.replacen("edition = \"2\"", "edition = \"1\"", 1);
    let table = rules::parse(&text).expect("the first shipped table can be read");
    (Digest::of(text.as_bytes()), Arc::new(table))
});

/// Rule tables by the hash of their text, with their forms worked out once.
#[derive(Debug, Clone)]
pub struct Tables {
    known: HashMap<Digest, Arc<Table>>,
    forms: HashMap<(Digest, String, Purpose), Option<Arc<Form>>>,
}

impl Default for Tables {
    fn default() -> Self {
        Self::new()
    }
}

impl Tables {
    /// With the table that ships with the program, and the one that did before it.
    pub fn new() -> Self {
        Self { known: HashMap::from([SHIPPED.clone(), FIRST.clone()]), forms: HashMap::new() }
    }

    /// Adds a table.
    ///
    /// # Errors
    /// When the text is not a rule table.
    pub fn add(&mut self, text: &str) -> Result<Digest, TableErrors> {
        let digest = Digest::of(text.as_bytes());
        if let Entry::Vacant(place) = self.known.entry(digest) {
            place.insert(Arc::new(rules::parse(text)?));
        }
        Ok(digest)
    }

    /// Adds every table that records of the desk hold.
    pub fn add_all<'a>(&mut self, desk: impl IntoIterator<Item = &'a Record>) {
        for record in desk {
            if let Body::Desk(Desk::Rules(r)) = &record.body {
                // One that cannot be read is refused at the desk; here it is simply not known.
                let _ = self.add(&r.text);
            }
        }
    }

    /// The shipped table.
    pub fn default_digest(&self) -> Digest {
        SHIPPED.0
    }

    /// The table of this hash.
    pub fn get(&self, digest: &Digest) -> Option<&Arc<Table>> {
        self.known.get(digest)
    }
}

impl Forms for Tables {
    fn form(&mut self, rules: &Digest, profile: &str, purpose: Purpose) -> Option<Arc<Form>> {
        let key = (*rules, profile.to_owned(), purpose);
        if let Some(form) = self.forms.get(&key) {
            return form.clone();
        }
        let table = self.known.get(rules)?;
        let form = rules::resolve(table, profile, purpose).ok().map(Arc::new);
        self.forms.insert(key, form.clone());
        form
    }
}
