//! Listening, routes, and a graceful end.

use std::future::Future;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use arcmass_lab::Desk;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

use crate::hub::{Door, Hub};
use crate::keys::Keys;
use crate::own::Own;
use crate::{guard, pages};

/// Largest body of a change; photographs have a limit of their own.
const LARGEST_CHANGE: usize = 1 << 20;
/// How long answers under way may take when the server is asked to end.
const PATIENCE: Duration = Duration::from_secs(3);
/// Stack of a thread that answers: paths and fits are traced there.
const STACK: usize = 8 << 20;

/// What to serve, and to whom.
#[derive(Debug, Clone)]
pub struct ServeOptions {
    /// The notebook's folder; none, or one without a bench file: the page begins with the choice of a notebook.
    pub folder: Option<PathBuf>,
    /// The person's own folder, where key and list of notebooks are kept from start to start; none: nothing is kept.
    pub own: Option<PathBuf>,
    /// Where new notebooks are proposed.
    pub home: PathBuf,
    /// Port; 0 takes a free one.
    pub port: u16,
    /// The address other machines may reach; none: this machine only.
    pub listen: Option<IpAddr>,
    /// Seed and workers.
    pub desk: Desk,
}

/// Why nothing is served.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ServeError {
    /// The port is taken or not allowed.
    #[error("{address} can't be listened on: {error}")]
    Port {
        /// Where.
        address: SocketAddr,
        /// What the system said.
        error: std::io::Error,
    },
    /// The system refused.
    #[error("the page can't be served: {0}")]
    System(String),
}

/// A server that runs in threads of its own.
pub struct Running {
    /// Where it listens.
    pub address: SocketAddr,
    /// The address to open, with the start key.
    pub link: String,
    /// The same with a code that works once, to be handed to a browser: what it is started with, others may see.
    pub open: Option<String>,
    /// The address for another machine of the network, with a code that works once; none without `listen`.
    pub outside: Option<String>,
    stop: Option<oneshot::Sender<()>>,
    ended: Receiver<Result<(), ServeError>>,
    thread: Option<JoinHandle<()>>,
}

impl Running {
    /// Waits until the server ends by itself, such as by an interrupt.
    pub fn wait(mut self) -> Result<(), ServeError> {
        let ended = self.ended.recv().unwrap_or(Ok(()));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        ended
    }

    /// Ends it: answers under way are finished.
    pub fn stop(mut self) -> Result<(), ServeError> {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        self.wait()
    }
}

/// Serves until interrupted; `told` gets the addresses once the server listens.
pub fn serve(options: &ServeOptions, told: impl FnOnce(&Running)) -> Result<(), ServeError> {
    let running = start(options, true)?;
    told(&running);
    running.wait()
}

/// Starts serving; with `until_interrupted` the system's interrupt ends it too.
pub fn start(options: &ServeOptions, until_interrupted: bool) -> Result<Running, ServeError> {
    let system = |error: &dyn std::fmt::Display| ServeError::System(error.to_string());
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .thread_stack_size(STACK)
        .max_blocking_threads(8)
        .enable_all()
        .build()
        .map_err(|error| system(&error))?;
    let address = SocketAddr::new(options.listen.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST)), options.port);
    let listener =
        runtime.block_on(TcpListener::bind(address)).map_err(|error| ServeError::Port { address, error })?;
    let address = listener.local_addr().map_err(|error| system(&error))?;
    let own = Own::new(options.own.clone());
    let keys = Keys::new(&own).map_err(|error| system(&error))?;
    let listens = options.listen.is_some_and(|ip| !ip.is_loopback());
    let outside = if listens { outside(address) } else { None };
    let door = Door { address, listens, outside: outside.clone(), keys };
    let hub = Hub::new(door, options.desk, options.folder.clone(), own, options.home.clone());
    let keys = &hub.door().keys;
    let here = own_name(address);
    let link = format!("http://{here}/?key={}", keys.start());
    let join = |base: String| Some(format!("{base}/join?code={}", keys.code(Instant::now())?));
    let open = join(format!("http://{here}"));
    let outside = outside.and_then(join);
    let (stop, stopped) = oneshot::channel();
    let (tell, ended) = channel();
    let router = router(hub);
    let thread = std::thread::spawn(move || {
        let outcome = runtime.block_on(run(listener, router, stopped, until_interrupted));
        runtime.shutdown_timeout(Duration::from_millis(200));
        let _ = tell.send(outcome);
    });
    Ok(Running { address, link, open, outside, stop: Some(stop), ended, thread: Some(thread) })
}

fn router(hub: Hub) -> Router {
    pages::routes()
        .layer(DefaultBodyLimit::max(LARGEST_CHANGE))
        .layer(from_fn_with_state(hub.clone(), guard::guard))
        .with_state(hub)
}

async fn run(
    listener: TcpListener,
    router: Router,
    stopped: oneshot::Receiver<()>,
    until_interrupted: bool,
) -> Result<(), ServeError> {
    let (begin, begun) = oneshot::channel::<()>();
    let asked = async move {
        let by_hand = async move {
            if stopped.await.is_err() {
                std::future::pending::<()>().await;
            }
        };
        either(by_hand, interrupted(until_interrupted)).await;
        let _ = begin.send(());
    };
    let service = router.into_make_service_with_connect_info::<SocketAddr>();
    let served = axum::serve(listener, service).with_graceful_shutdown(asked);
    let served = async { served.await.map_err(|error| ServeError::System(error.to_string())) };
    let late = async {
        let _ = begun.await;
        tokio::time::sleep(PATIENCE).await;
        Ok(())
    };
    either(served, late).await
}

/// Whichever comes first.
async fn either<T>(one: impl Future<Output = T>, other: impl Future<Output = T>) -> T {
    let (mut one, mut other) = (Box::pin(one), Box::pin(other));
    std::future::poll_fn(move |context| {
        let first = one.as_mut().poll(context);
        if first.is_ready() { first } else { other.as_mut().poll(context) }
    })
    .await
}

async fn interrupted(listens: bool) {
    if !listens {
        return std::future::pending().await;
    }
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    either(interrupt, terminated()).await;
}

#[cfg(unix)]
async fn terminated() {
    match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
        Ok(mut signal) => {
            signal.recv().await;
        }
        Err(_) => std::future::pending().await,
    }
}

#[cfg(not(unix))]
async fn terminated() {
    std::future::pending().await
}

/// How this machine reaches its own server.
fn own_name(address: SocketAddr) -> SocketAddr {
    let ip = if address.ip().is_unspecified() { IpAddr::V4(Ipv4Addr::LOCALHOST) } else { address.ip() };
    SocketAddr::new(ip, address.port())
}

/// How others reach it: the address asked for, or the one this machine would send from. No packet leaves for that.
fn outside(address: SocketAddr) -> Option<String> {
    let ip = if address.ip().is_unspecified() {
        let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
        socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?; // an address kept for documentation (RFC 5737)
        socket.local_addr().ok()?.ip()
    } else {
        address.ip()
    };
    Some(format!("http://{}", SocketAddr::new(ip, address.port())))
}
