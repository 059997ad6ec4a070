//! How far long work has come. Like a log it is told to whoever listens, and to nobody otherwise: what
//! works does not carry it through its arguments, and behaves no differently when it is watched.

use std::future::Future;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What a piece of long work has last said of itself.
#[derive(Debug, Clone, Default)]
pub struct Progress(Arc<Mutex<Said>>);

#[derive(Debug, Clone, Copy, Default)]
struct Said {
    what: &'static str,
    done: i64,
    of: i64,
}

tokio::task_local! {
    static HEARD: Progress;
}

impl Progress {
    /// In words: `proving: 120,000 of 2,200,000 records`. Nothing before anything was said.
    pub fn words(&self) -> Option<String> {
        let Said { what, done, of } = *self.said();
        match (what, of) {
            ("", _) => None,
            (what, 0) => Some(what.to_owned()),
            (what, of) => Some(format!("{what}: {} of {} records", apart(done), apart(of))),
        }
    }

    fn said(&self) -> MutexGuard<'_, Said> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Does work while `to` hears how far it has come.
pub async fn heard<F: Future>(to: Progress, work: F) -> F::Output {
    HEARD.scope(to, work).await
}

/// Says what is begun, and of how many records it is; none where that cannot be counted.
pub fn begin(what: &'static str, of: i64) {
    let _ = HEARD.try_with(|p| *p.said() = Said { what, done: 0, of });
}

/// Says how many records of it are done.
pub fn done(done: i64) {
    let _ = HEARD.try_with(|p| p.said().done = done);
}

/// A count with its thousands apart.
fn apart(count: i64) -> String {
    let digits = count.to_string();
    let first = digits.len() % 3;
    let mut parts = vec![&digits[..first]];
    parts.extend((first..digits.len()).step_by(3).map(|at| &digits[at..at + 3]));
    parts.retain(|part| !part.is_empty());
    parts.join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn who_listens_hears_how_far_it_has_come_and_nobody_else_does() {
        let progress = Progress::default();
        assert_eq!(progress.words(), None);
        begin("proving", 9);
        assert_eq!(progress.words(), None, "that was said to nobody");
        heard(progress.clone(), async {
            begin("copying", 0);
            assert_eq!(progress.words().as_deref(), Some("copying"));
            begin("proving", 2_200_000);
            done(120_000);
            assert_eq!(progress.words().as_deref(), Some("proving: 120,000 of 2,200,000 records"));
            done(7);
        })
        .await;
        assert_eq!(progress.words().as_deref(), Some("proving: 7 of 2,200,000 records"));
    }
}
