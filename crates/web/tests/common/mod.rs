//! A server on a notebook of its own, and the plainest client that can speak to it.

#![allow(dead_code)]

use std::io::{Read, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpStream};
use std::path::PathBuf;
use std::time::Duration;

use arcmass_lab::Desk;
use arcmass_web::{Running, ServeOptions, start};

/// A running server with its folder.
pub(crate) struct Bench {
    /// The notebook.
    pub(crate) root: PathBuf,
    /// Where it listens.
    pub(crate) address: SocketAddr,
    /// The start key.
    pub(crate) key: String,
    /// The code for another machine, if it listens.
    pub(crate) code: Option<String>,
    outside: Option<String>,
    running: Option<Running>,
    _folder: tempfile::TempDir,
}

/// An answer.
#[derive(Debug)]
pub(crate) struct Answer {
    /// 200, 403 …
    pub(crate) status: u16,
    /// Header lines, names in lower case.
    pub(crate) headers: Vec<(String, String)>,
    /// The body.
    pub(crate) body: Vec<u8>,
}

impl Answer {
    /// One header.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    /// The body as text.
    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
}

impl Bench {
    /// A server on a new notebook, for this machine only or for all.
    pub(crate) fn new(listen: Option<IpAddr>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().join("bench");
        arcmass_notebook::new_notebook(&root).unwrap();
        std::fs::write(root.join("bench.toml"), arcmass_notebook::example_bench()).unwrap();
        Self::serving(folder, root, listen)
    }

    /// A server on a folder that is empty: nothing is open yet.
    pub(crate) fn empty() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().join("bench");
        std::fs::create_dir(&root).unwrap();
        Self::serving(folder, root, None)
    }

    fn serving(folder: tempfile::TempDir, root: PathBuf, listen: Option<IpAddr>) -> Self {
        let desk = Desk { seed: 1, workers: 2 };
        let (own, home) = (Some(folder.path().join("own")), folder.path().join("home"));
        let options = ServeOptions { folder: Some(root.clone()), own, home, port: 0, listen, desk };
        let running = start(&options, false).unwrap();
        let key = running.link.split("key=").nth(1).unwrap().to_owned();
        let code = running.outside.as_ref().and_then(|link| link.split("code=").nth(1)).map(str::to_owned);
        let outside = running.outside.clone();
        Self { root, address: running.address, key, code, outside, running: Some(running), _folder: folder }
    }

    /// Its name in an address.
    pub(crate) fn host(&self) -> String {
        format!("127.0.0.1:{}", self.address.port())
    }

    /// The cookie that the start key gives.
    pub(crate) fn cookie(&self) -> String {
        let answer = self.send("GET", &format!("/?key={}", self.key), &[], b"");
        assert_eq!(answer.status, 303, "{}", answer.text());
        answer.header("set-cookie").unwrap().split(';').next().unwrap().to_owned()
    }

    /// A request with just these headers beside Host.
    pub(crate) fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let own = self.host();
        let mut all = vec![("Host", own.as_str())];
        all.extend_from_slice(headers);
        raw(self.address.port(), method, path, &all, body)
    }

    /// As the page itself would ask.
    pub(crate) fn get(&self, cookie: &str, path: &str) -> Answer {
        self.send("GET", path, &[("Cookie", cookie)], b"")
    }

    /// As the page itself would change something.
    pub(crate) fn post(&self, cookie: &str, path: &str, json: &str) -> Answer {
        let origin = format!("http://{}", self.host());
        let headers = [("Cookie", cookie), ("Origin", &origin), ("Content-Type", "application/json")];
        self.send("POST", path, &headers, json.as_bytes())
    }

    /// As the page itself would send a photograph.
    pub(crate) fn put(&self, cookie: &str, path: &str, bytes: &[u8]) -> Answer {
        let origin = format!("http://{}", self.host());
        self.send("PUT", path, &[("Cookie", cookie), ("Origin", &origin)], bytes)
    }

    /// This machine's own address on the network, if it listens there and has one that is not taken for the machine itself.
    pub(crate) fn outside_ip(&self) -> Option<IpAddr> {
        let link = self.outside.as_ref()?;
        let ip = link.strip_prefix("http://")?.split("/join").next()?.parse::<SocketAddr>().ok()?.ip();
        (!ip.is_loopback()).then_some(ip)
    }

    /// Ends it.
    pub(crate) fn stop(mut self) {
        self.running.take().unwrap().stop().unwrap();
    }
}

/// One request over a connection of its own.
pub(crate) fn raw(port: u16, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
    raw_at(Ipv4Addr::LOCALHOST.into(), port, method, path, headers, body)
}

/// The same to another address of this machine.
pub(crate) fn raw_at(
    ip: IpAddr,
    port: u16,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &[u8],
) -> Answer {
    let mut stream = TcpStream::connect((ip, port)).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let mut head =
        format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    head.push_str("\r\n");
    stream.write_all(head.as_bytes()).unwrap();
    // a refused body may be cut off while it is sent
    let _ = stream.write_all(body);
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    parsed(&bytes)
}

fn parsed(bytes: &[u8]) -> Answer {
    let end = bytes.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(bytes.len());
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let mut lines = head.lines();
    let status =
        lines.next().and_then(|line| line.split(' ').nth(1)).and_then(|s| s.parse().ok()).unwrap_or(0);
    let headers = lines.filter_map(|line| line.split_once(": "));
    let headers: Vec<_> = headers.map(|(name, value)| (name.to_lowercase(), value.to_owned())).collect();
    let mut body = bytes.get(end + 4..).unwrap_or_default().to_vec();
    if headers.iter().any(|(name, value)| name == "transfer-encoding" && value == "chunked") {
        body = unchunked(&body);
    }
    Answer { status, headers, body }
}

fn unchunked(mut rest: &[u8]) -> Vec<u8> {
    let mut whole = Vec::new();
    while let Some(end) = rest.windows(2).position(|w| w == b"\r\n") {
        let size = usize::from_str_radix(String::from_utf8_lossy(&rest[..end]).trim(), 16).unwrap_or(0);
        if size == 0 {
            break;
        }
        whole.extend_from_slice(&rest[end + 2..end + 2 + size]);
        rest = &rest[end + 4 + size..];
    }
    whole
}
