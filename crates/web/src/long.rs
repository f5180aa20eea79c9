//! Long work: one of a kind at a time, with progress and a way to stop, its result kept while what it came from stands.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use arcmass_lab::LabError;
use arcmass_lab::photograph::Progress;
use serde::Serialize;

use crate::state::App;

/// How far it is.
pub(crate) enum Stand<T> {
    /// Nothing was asked for yet.
    Idle,
    /// Under way.
    Running(Running),
    /// Made from what this key names.
    Done(String, Arc<T>),
    /// Not possible, with what to do.
    Failed(String, Trouble),
}

/// Why there is no result.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Trouble {
    pub(crate) sentence: String,
    pub(crate) remedy: String,
}

impl From<LabError> for Trouble {
    fn from(error: LabError) -> Self {
        match error {
            LabError::Lacking { sentence, remedy, .. } => Self { sentence, remedy },
            LabError::Faults(faults) => faults.0.first().map_or_else(
                || Self { sentence: "the notebook has faults".to_owned(), remedy: String::new() },
                |fault| Self { sentence: fault.found.clone(), remedy: fault.remedy.clone() },
            ),
            other => Self { sentence: other.to_string(), remedy: "try again".to_owned() },
        }
    }
}

/// How far work has come, in words and in counts.
#[derive(Debug, Clone, Default)]
pub(crate) struct Told {
    pub(crate) what: String,
    pub(crate) done: usize,
    pub(crate) of: usize,
}

/// Work under way.
#[derive(Clone)]
pub(crate) struct Running {
    key: String,
    told: Arc<Mutex<Told>>,
    stop: Arc<AtomicBool>,
}

/// What a work tells its page while it lasts, and hears from it.
pub(crate) struct Watch {
    told: Arc<Mutex<Told>>,
    stop: Arc<AtomicBool>,
}

impl Watch {
    /// What is being done now.
    pub(crate) fn says(&self, what: &str) {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        *told = Told { what: what.to_owned(), ..Told::default() };
    }
}

impl Progress for Watch {
    fn done(&self, done: usize, of: usize, name: &str) {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        *told = Told { what: arcmass_notebook::printable(name), done, of };
    }

    fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

/// One kind of long work: a second wish waits for the first to end.
pub(crate) struct Long<T> {
    stand: Mutex<Stand<T>>,
}

impl<T> Default for Long<T> {
    fn default() -> Self {
        Self { stand: Mutex::new(Stand::Idle) }
    }
}

/// Work as its page sees it.
pub(crate) enum View<T> {
    /// Here it is.
    Done(Arc<T>),
    /// Not possible.
    Failed(Trouble),
    /// Under way, or waiting for what is.
    Waiting,
}

impl<T> Long<T> {
    fn lock(&self) -> MutexGuard<'_, Stand<T>> {
        self.stand.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What was made under this key.
    pub(crate) fn done(&self, key: &str) -> Option<Arc<T>> {
        match &*self.lock() {
            Stand::Done(of, made) if of == key => Some(Arc::clone(made)),
            _ => None,
        }
    }

    /// Whether it was tried under this key in vain.
    pub(crate) fn has_failed(&self, key: &str) -> bool {
        matches!(&*self.lock(), Stand::Failed(of, _) if of == key)
    }

    /// Asks the work to end as soon as it can.
    pub(crate) fn stop(&self) {
        if let Stand::Running(running) = &*self.lock() {
            running.stop.store(true, Ordering::Relaxed);
        }
    }

    /// Lets go of a failure, so that the next look tries once more.
    pub(crate) fn forget_failure(&self) {
        let mut stand = self.lock();
        if matches!(&*stand, Stand::Failed(..)) {
            *stand = Stand::Idle;
        }
    }

    /// How far work under way is; none where nothing is under way.
    pub(crate) fn told(&self) -> Option<Told> {
        match &*self.lock() {
            Stand::Running(running) => {
                Some(running.told.lock().unwrap_or_else(PoisonError::into_inner).clone())
            }
            _ => None,
        }
    }

    /// Takes the place of what was there, unless it is done, failed or under way for this key.
    fn claim(&self, key: &str) -> Option<Watch> {
        let mut stand = self.lock();
        match &*stand {
            Stand::Running(running) => {
                if running.key != key {
                    running.stop.store(true, Ordering::Relaxed); // what it makes is out of date
                }
                return None;
            }
            Stand::Done(of, _) | Stand::Failed(of, _) if of == key => return None,
            _ => {}
        }
        let told = Told { what: "reading the notebook".to_owned(), ..Told::default() };
        let (told, stop) = (Arc::new(Mutex::new(told)), Arc::new(AtomicBool::new(false)));
        let watch = Watch { told: Arc::clone(&told), stop: Arc::clone(&stop) };
        *stand = Stand::Running(Running { key: key.to_owned(), told, stop });
        Some(watch)
    }
}

/// What there is under this key; begins the work in a thread of its own where nothing was tried yet.
pub(crate) fn look<T: Send + Sync + 'static>(
    app: &Arc<App>,
    of: fn(&App) -> &Long<T>,
    key: &str,
    make: impl FnOnce(&App, &Watch) -> Result<T, Trouble> + Send + 'static,
) -> View<T> {
    if let Some(watch) = of(app).claim(key) {
        let (app, key) = (Arc::clone(app), key.to_owned());
        std::thread::spawn(move || {
            let run = std::panic::AssertUnwindSafe(|| make(&app, &watch));
            let stand = match std::panic::catch_unwind(run) {
                Ok(Ok(made)) => Stand::Done(key, Arc::new(made)),
                Ok(Err(trouble)) => Stand::Failed(key, trouble),
                Err(_) => Stand::Failed(key, broken()),
            };
            *of(&app).lock() = stand;
        });
    }
    match &*of(app).lock() {
        Stand::Done(of, made) if of == key => View::Done(Arc::clone(made)),
        Stand::Failed(of, trouble) if of == key => View::Failed(trouble.clone()),
        _ => View::Waiting,
    }
}

fn broken() -> Trouble {
    Trouble {
        sentence: "a fault of the program ended this work; nothing was half written".to_owned(),
        remedy: "please report the notebook that led here".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_is_begun_once_for_a_key_and_stopped_for_another() {
        let long = Long::<u8>::default();
        let watch = long.claim("a").unwrap();
        assert!(long.claim("a").is_none() && !watch.is_stopped());
        watch.done(2, 5, "b.jpg");
        assert_eq!(long.told().unwrap().done, 2);
        assert!(long.claim("b").is_none() && watch.is_stopped());
        *long.lock() = Stand::Done("a".to_owned(), Arc::new(7));
        assert_eq!(long.done("a").as_deref(), Some(&7));
        assert!(long.done("b").is_none() && long.claim("b").is_some());
        *long.lock() = Stand::Failed("b".to_owned(), broken());
        assert!(long.has_failed("b") && long.claim("b").is_none());
        long.forget_failure();
        assert!(long.claim("b").is_some());
    }
}
