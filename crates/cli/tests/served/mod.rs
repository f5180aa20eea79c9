//! The command's server in a process of its own, and the plainest client that can speak to it.

#![allow(dead_code)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// A 64 × 64 grey PNG with a number in its pixels would need a packer; a TIFF needs none.
pub(crate) fn photograph(number: usize) -> Vec<u8> {
    let side = 64_u32;
    let mut tiff = b"II\x2a\0\x08\0\0\0".to_vec();
    let entries: [(u16, u16, u32); 8] = [
        (256, 4, side),
        (257, 4, side),
        (258, 3, 8),
        (259, 3, 1),
        (262, 3, 1),
        (273, 4, 8 + 2 + 8 * 12 + 4),
        (278, 4, side),
        (279, 4, side * side),
    ];
    tiff.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, value) in entries {
        tiff.extend(tag.to_le_bytes());
        tiff.extend(kind.to_le_bytes());
        tiff.extend(1_u32.to_le_bytes());
        tiff.extend(value.to_le_bytes());
    }
    tiff.extend(0_u32.to_le_bytes());
    tiff.extend((0..side * side).map(|i| (i as usize * 7 + number * 13) as u8));
    tiff
}

/// A server in a process of its own.
pub(crate) struct Server {
    /// To be killed.
    pub(crate) child: Child,
    /// Where it listens.
    pub(crate) port: u16,
    /// The session's.
    pub(crate) cookie: String,
}

/// Serves a notebook.
pub(crate) fn start(folder: &Path) -> Server {
    let mut command = Command::new(env!("CARGO_BIN_EXE_arcmass"));
    command.env("ARCMASS_CONFIG", "").args(["serve", "--no-open", "--port", "0"]).arg(folder);
    start_with(command)
}

/// Serves by a command of the caller's.
pub(crate) fn start_with(mut command: Command) -> Server {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let link = lines.map(Result::unwrap).find(|line| line.contains("key=")).unwrap();
    let (host, key) = link.trim().trim_start_matches("http://").split_once("/?key=").unwrap();
    let port: u16 = host.rsplit(':').next().unwrap().parse().unwrap();
    let (status, head, _) = ask_whole(port, "", "GET", &format!("/?key={key}"), b"").unwrap();
    assert_eq!(status, 303);
    let cookie = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    let cookie = cookie.split(';').next().unwrap().to_owned();
    Server { child, port, cookie }
}

/// One request: status and head; nothing where the connection broke before the whole answer's head came.
pub(crate) fn ask(port: u16, cookie: &str, method: &str, path: &str, body: &[u8]) -> Option<(u16, String)> {
    ask_whole(port, cookie, method, path, body).map(|(status, head, _)| (status, head))
}

/// One request: status, head and body.
pub(crate) fn ask_whole(
    port: u16,
    cookie: &str,
    method: &str,
    path: &str,
    body: &[u8],
) -> Option<(u16, String, String)> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(30))).ok()?;
    let head = format!(
        "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: http://127.0.0.1:{port}\r\nCookie: {cookie}\r\n\
         Content-Type: application/json\r\nConnection: close\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).ok()?;
    stream.write_all(body).ok()?;
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    let text = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = text.split_once("\r\n\r\n")?;
    Some((head.split(' ').nth(1)?.parse().ok()?, head.to_owned(), body.to_owned()))
}
