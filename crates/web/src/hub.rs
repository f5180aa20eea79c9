//! Which notebook is open: one at a time, another one takes its place without a new start.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use arcmass_lab::Desk;
use axum::extract::FromRef;

use crate::keys::Keys;
use crate::own::Own;
use crate::pages::start::Making;
use crate::state::App;

/// Who may come in, and how.
pub(crate) struct Door {
    /// Where the server listens.
    pub(crate) address: SocketAddr,
    /// Whether other machines may ask.
    pub(crate) listens: bool,
    /// How a phone reaches this machine, if it may.
    pub(crate) outside: Option<String>,
    /// Who may see the page.
    pub(crate) keys: Keys,
}

impl Door {
    pub(crate) fn port(&self) -> u16 {
        self.address.port()
    }

    /// Whether a request comes from this machine itself.
    pub(crate) fn is_here(&self, peer: SocketAddr) -> bool {
        let ip = peer.ip().to_canonical();
        ip.is_loopback() || ip == self.address.ip().to_canonical()
    }
}

/// All that requests share, whichever notebook is open.
#[derive(Clone)]
pub(crate) struct Hub(Arc<Inner>);

struct Inner {
    door: Arc<Door>,
    desk: Desk,
    own: Own,
    home: PathBuf,
    here: Option<PathBuf>,
    making: Making,
    open: RwLock<Arc<App>>,
}

impl Hub {
    /// Opens the folder if it is a notebook; else the page begins with the choice of one.
    pub(crate) fn new(door: Door, desk: Desk, folder: Option<PathBuf>, own: Own, home: PathBuf) -> Self {
        let door = Arc::new(door);
        let (notebook, here) = match folder {
            Some(folder) if folder.join("bench.toml").exists() => (Some(folder), None),
            other => (None, other),
        };
        let root = notebook.clone().unwrap_or_default();
        let open = RwLock::new(Arc::new(App::new(root, desk, Arc::clone(&door))));
        let hub = Self(Arc::new(Inner { door, desk, own, home, here, making: Making::default(), open }));
        if let Some(notebook) = notebook {
            hub.remember(&notebook);
        }
        hub
    }

    pub(crate) fn door(&self) -> &Door {
        &self.0.door
    }

    pub(crate) fn desk(&self) -> &Desk {
        &self.0.desk
    }

    pub(crate) fn own(&self) -> &Own {
        &self.0.own
    }

    /// Where new notebooks are proposed.
    pub(crate) fn home(&self) -> &Path {
        &self.0.home
    }

    /// The folder that was named at the start and holds no notebook yet.
    pub(crate) fn here(&self) -> Option<&Path> {
        self.0.here.as_deref()
    }

    /// The demo under way.
    pub(crate) fn making(&self) -> &Making {
        &self.0.making
    }

    /// The notebook that is open now.
    pub(crate) fn app(&self) -> Arc<App> {
        Arc::clone(&self.0.open.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Whether there is one.
    pub(crate) fn is_open(&self) -> bool {
        !self.app().root.as_os_str().is_empty()
    }

    /// Opens a notebook in place of the one before; long work of that one is stopped.
    pub(crate) fn open(&self, folder: &Path) {
        let before = self.app();
        if before.root != folder {
            before.work.stop();
            before.plan.long.stop();
            let next = Arc::new(App::new(folder.to_owned(), self.0.desk, Arc::clone(&self.0.door)));
            *self.0.open.write().unwrap_or_else(PoisonError::into_inner) = next;
        }
        self.remember(folder);
    }

    /// Notes a notebook that was opened, and clears what killed programs left half-written in it.
    fn remember(&self, folder: &Path) {
        arcmass_notebook::folder::clear_stale_parts(folder);
        self.own().opened(&std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned()));
    }
}

impl FromRef<Hub> for Arc<App> {
    fn from_ref(hub: &Hub) -> Self {
        hub.app()
    }
}
