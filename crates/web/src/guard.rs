//! What every request must show before anything is done for it, and what every answer carries.

use std::net::{IpAddr, SocketAddr};

use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use maud::{DOCTYPE, html};

use crate::hub::{Door, Hub};

/// A body that claims more than this is refused before any of it is read.
pub(crate) const LARGEST_BODY: u64 = 80 << 20;

/// Which notebook the page that asks shows, by its [`crate::state::App::id`].
const NOTEBOOK: &str = "x-notebook";

/// No script or style but our own files, nothing from elsewhere, never inside another page.
pub(crate) const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; \
     connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Checks host, origin and session; adds the headers that hold a browser to what is meant.
pub(crate) async fn guard(
    State(hub): State<Hub>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    request: Request,
    next: Next,
) -> Response {
    let verdict = judge(&hub, peer, &request);
    let mut response = match verdict {
        Verdict::Pass => next.run(request).await,
        Verdict::Enter(session) => enter(hub.door(), &session, "/"),
        Verdict::Choose => axum::response::Redirect::to("/start").into_response(),
        Verdict::Other => another(),
        Verdict::Refuse(status, sentence) => refusal(status, sentence),
    };
    let headers = response.headers_mut();
    let mut set = |name: HeaderName, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    set(header::CONTENT_SECURITY_POLICY, POLICY);
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::X_FRAME_OPTIONS, "DENY");
    set(header::REFERRER_POLICY, "no-referrer");
    set(header::CACHE_CONTROL, "no-store");
    set(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    set(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    set(HeaderName::from_static("permissions-policy"), "camera=(), microphone=(), geolocation=()");
    response
}

enum Verdict {
    Pass,
    /// A key or a code was right: this session goes into the cookie.
    Enter(String),
    Refuse(StatusCode, &'static str),
    /// No notebook is open yet.
    Choose,
    /// The page that asks shows another notebook than the one that is open.
    Other,
}

fn judge(hub: &Hub, peer: SocketAddr, request: &Request) -> Verdict {
    let door = hub.door();
    let headers = request.headers();
    let length =
        headers.get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|length| length > LARGEST_BODY) {
        return Verdict::Refuse(
            StatusCode::PAYLOAD_TOO_LARGE,
            "This is larger than any photograph that is taken here.",
        );
    }
    let Some(host) = host(headers, request) else {
        return Verdict::Refuse(StatusCode::BAD_REQUEST, "The request names no host.");
    };
    if !is_our_host(door, &host) {
        return Verdict::Refuse(StatusCode::FORBIDDEN, "This server does not answer to that name.");
    }
    if let Some(sentence) = foreign(headers, &host, request.method()) {
        return Verdict::Refuse(StatusCode::FORBIDDEN, sentence);
    }
    let path = request.uri().path();
    if request.method() == Method::GET
        && path == "/"
        && let Some(key) = query(request, "key")
    {
        // on the network only a code opens: the start key is for the screen of this machine
        let session = if door.is_here(peer) { door.keys.by_start_key(&key) } else { None };
        return session.map_or(
            Verdict::Refuse(StatusCode::UNAUTHORIZED, "This key is not the one of the running server."),
            Verdict::Enter,
        );
    }
    if path == "/join" {
        return Verdict::Pass;
    }
    let session = cookie(headers, &cookie_name(door.port()));
    match session {
        Some(session) if door.keys.is_open(&session) => allowed(hub, peer, request),
        _ => Verdict::Refuse(
            StatusCode::UNAUTHORIZED,
            "Open the address that the command printed: it holds the key of this page.",
        ),
    }
}

/// What a session may do: folders are chosen on this machine only, everything else needs a notebook, the one the page shows.
fn allowed(hub: &Hub, peer: SocketAddr, request: &Request) -> Verdict {
    let path = request.uri().path();
    if path == "/start" || path.starts_with("/start/") {
        return if hub.door().is_here(peer) {
            Verdict::Pass
        } else {
            Verdict::Refuse(
                StatusCode::FORBIDDEN,
                "Notebooks are chosen on the machine that serves this page.",
            )
        };
    }
    if path.starts_with("/assets/") || path == "/mark.svg" {
        return Verdict::Pass;
    }
    if !hub.is_open() {
        return if request.method() == Method::GET { Verdict::Choose } else { Verdict::Other };
    }
    let shown = request.headers().get(NOTEBOOK).and_then(|id| id.to_str().ok());
    if shown.is_some_and(|id| id != hub.app().id()) { Verdict::Other } else { Verdict::Pass }
}

fn another() -> Response {
    crate::answer::trouble(
        StatusCode::CONFLICT,
        "another notebook was opened meanwhile; nothing was saved",
        "open the notebook of this page again from the list of notebooks, then load this page again",
    )
}

fn host(headers: &HeaderMap, request: &Request) -> Option<String> {
    let named = headers.get(header::HOST).and_then(|host| host.to_str().ok()).map(str::to_owned);
    named.or_else(|| request.uri().authority().map(ToString::to_string))
}

/// Our own names only, so that no foreign name can be pointed at this machine.
fn is_our_host(door: &Door, host: &str) -> bool {
    let Some(name) = host.strip_suffix(&format!(":{}", door.port())) else { return false };
    if matches!(name, "127.0.0.1" | "localhost" | "[::1]") {
        return true;
    }
    // on the network this machine is reached by its number, which no other page can claim
    let bare = name.trim_start_matches('[').trim_end_matches(']');
    door.listens && bare.parse::<IpAddr>().is_ok()
}

/// Whether the request was sent by another site's page.
fn foreign(headers: &HeaderMap, host: &str, method: &Method) -> Option<&'static str> {
    let sentence = "Requests from other pages are refused.";
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let site = text("sec-fetch-site");
    if headers.contains_key("sec-fetch-site") && !matches!(site, Some("same-origin" | "none")) {
        return Some(sentence);
    }
    let own = format!("http://{host}");
    if headers.contains_key("origin") && text("origin") != Some(own.as_str()) {
        return Some(sentence);
    }
    let changes = !matches!(*method, Method::GET | Method::HEAD);
    let shown = headers.contains_key("origin") || site == Some("same-origin");
    if changes && !shown {
        return Some("A change must say from which page it comes.");
    }
    None
}

/// One value of the query, as it stands there: keys and codes hold nothing that needs decoding.
pub(crate) fn query(request: &Request, name: &str) -> Option<String> {
    let pairs = request.uri().query()?.split('&');
    pairs.filter_map(|pair| pair.split_once('=')).find(|(key, _)| *key == name).map(|(_, v)| v.to_owned())
}

/// The cookie's name: browsers share cookies between ports of one host.
pub(crate) fn cookie_name(port: u16) -> String {
    format!("arcmass-{port}")
}

/// One cookie of a request.
pub(crate) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value.to_owned())
}

/// Sets the cookie and leads on to a page, so that the key leaves the address.
pub(crate) fn enter(door: &Door, session: &str, to: &'static str) -> Response {
    let cookie = format!("{}={session}; HttpOnly; SameSite=Strict; Path=/", cookie_name(door.port()));
    let mut response = (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response();
    if let Ok(value) = HeaderValue::from_str(&cookie) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

/// A page that says why nothing was done.
pub(crate) fn refusal(status: StatusCode, sentence: &str) -> Response {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head { meta charset="utf-8"; meta name="viewport" content="width=device-width, initial-scale=1"; title { "arcmass" } }
            body { main { h1 { "arcmass" } p { (sentence) } } }
        }
    };
    (status, [(header::CONTENT_TYPE, "text/html; charset=utf-8")], page.into_string()).into_response()
}
