//! Who may see the page: a start key, sessions in a cookie, codes for a phone that work once and expire.

use std::collections::HashSet;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::own::{KEY_LENGTH, Own};

/// How long a code for a phone stands.
pub(crate) const CODE_LASTS: Duration = Duration::from_secs(10 * 60);
/// Wrong codes before all standing ones are taken back: guessing stays hopeless (32¹⁰ codes).
const WRONG_CODES: usize = 20;
/// Sessions kept; the oldest make way.
const MOST_SESSIONS: usize = 64;
/// Letters and digits that nobody confuses.
const LETTERS: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";

/// Keys, sessions and codes of one running server.
pub(crate) struct Keys {
    start: String,
    inner: Mutex<Inner>,
}

#[derive(Default)]
struct Inner {
    sessions: Vec<String>,
    codes: Vec<(String, Instant)>,
    used: HashSet<String>,
    wrong: usize,
}

/// What a code was good for.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum CodeAnswer {
    /// A new session.
    Session(String),
    /// It was used already.
    Used,
    /// Unknown or expired.
    Unknown,
}

impl Keys {
    /// With the key that was kept for the person, or a fresh one.
    pub(crate) fn new(own: &Own) -> Result<Self, getrandom::Error> {
        Ok(Self { start: own.key(random(KEY_LENGTH)?), inner: Mutex::default() })
    }

    /// The key in the printed address.
    pub(crate) fn start(&self) -> &str {
        &self.start
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A session for whoever brings the start key.
    pub(crate) fn by_start_key(&self, key: &str) -> Option<String> {
        if same(key, &self.start) { self.open() } else { None }
    }

    fn open(&self) -> Option<String> {
        let session = random(32).ok()?;
        let mut inner = self.inner();
        if inner.sessions.len() >= MOST_SESSIONS {
            inner.sessions.remove(0);
        }
        inner.sessions.push(session.clone());
        Some(session)
    }

    /// Whether a cookie's session stands.
    pub(crate) fn is_open(&self, session: &str) -> bool {
        self.inner().sessions.iter().any(|known| same(known, session))
    }

    /// A new code that works once within [`CODE_LASTS`].
    pub(crate) fn code(&self, now: Instant) -> Option<String> {
        let code = random(10).ok()?;
        let mut inner = self.inner();
        inner.codes.retain(|(_, made)| now.duration_since(*made) < CODE_LASTS);
        if inner.codes.len() >= 8 {
            inner.codes.remove(0);
        }
        inner.codes.push((code.clone(), now));
        inner.wrong = 0;
        Some(code)
    }

    /// Turns a code into a session, once.
    pub(crate) fn by_code(&self, code: &str, now: Instant) -> CodeAnswer {
        let code = code.trim().to_ascii_uppercase();
        let mut inner = self.inner();
        inner.codes.retain(|(_, made)| now.duration_since(*made) < CODE_LASTS);
        if let Some(at) = inner.codes.iter().position(|(known, _)| same(known, &code)) {
            let (used, _) = inner.codes.remove(at);
            inner.used.insert(used);
            drop(inner);
            return self.open().map_or(CodeAnswer::Unknown, CodeAnswer::Session);
        }
        if inner.used.contains(&code) {
            return CodeAnswer::Used;
        }
        inner.wrong += 1;
        if inner.wrong > WRONG_CODES {
            inner.codes.clear();
        }
        CodeAnswer::Unknown
    }
}

/// Compares without telling by its time where two texts differ.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |all, (x, y)| all | (x ^ y)) == 0
}

fn random(length: usize) -> Result<String, getrandom::Error> {
    let mut bytes = vec![0_u8; length];
    getrandom::fill(&mut bytes)?;
    let letter = |byte: &u8| char::from(*LETTERS.get(usize::from(byte % 32)).unwrap_or(&b'A'));
    Ok(bytes.iter().map(letter).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_works_once_and_expires() {
        let keys = Keys::new(&Own::default()).unwrap();
        let now = Instant::now();
        let code = keys.code(now).unwrap();
        let CodeAnswer::Session(session) = keys.by_code(&code.to_lowercase(), now) else {
            panic!("no session")
        };
        assert!(keys.is_open(&session));
        assert_eq!(keys.by_code(&code, now), CodeAnswer::Used);
        let late = keys.code(now).unwrap();
        assert_eq!(keys.by_code(&late, now + CODE_LASTS), CodeAnswer::Unknown);
    }

    #[test]
    fn guessing_takes_the_standing_codes_back() {
        let keys = Keys::new(&Own::default()).unwrap();
        let now = Instant::now();
        let code = keys.code(now).unwrap();
        for guess in 0..=WRONG_CODES {
            assert_eq!(keys.by_code(&format!("GUESS{guess}"), now), CodeAnswer::Unknown);
        }
        assert_eq!(keys.by_code(&code, now), CodeAnswer::Unknown);
    }

    #[test]
    fn only_the_start_key_opens() {
        let keys = Keys::new(&Own::default()).unwrap();
        assert!(keys.by_start_key("").is_none() && keys.by_start_key(&keys.start()[1..]).is_none());
        let session = keys.by_start_key(keys.start()).unwrap();
        assert!(keys.is_open(&session) && !keys.is_open("") && !keys.is_open(keys.start()));
    }
}
