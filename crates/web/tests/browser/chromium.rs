//! A headless Chromium driven over its debugging socket: open, type, look, and hear every complaint.

use std::collections::VecDeque;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

/// How long anything may take, on a machine that does other work too.
const PATIENCE: Duration = Duration::from_secs(240);

/// A page of a browser; the first one ends the browser with itself.
pub(crate) struct Browser {
    started: Option<(Child, tempfile::TempDir)>,
    port: u16,
    socket: TcpStream,
    next: u64,
    /// Complaints and requests heard so far.
    pub(crate) events: VecDeque<Value>,
}

/// Where Chromium is, if it is installed and these tests are not run elsewhere.
///
/// `ARCMASS_BROWSER` is `elsewhere` in the run of all tests, `required` in the stage that is for the page alone: there a
/// browser that is missing is a failure.
pub(crate) fn chromium() -> Option<PathBuf> {
    let wish = std::env::var("ARCMASS_BROWSER").unwrap_or_default();
    if wish == "elsewhere" {
        eprintln!("left to `cargo xtask test \"page in a browser\"`");
        return None;
    }
    let found = installed();
    if found.is_none() {
        let remedy = "no Chromium here; install it with: apt-get install chromium";
        assert!(wish != "required", "{remedy}");
        eprintln!("{remedy}");
    }
    found
}

fn installed() -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    let names = ["chromium", "chromium-browser"];
    std::env::split_paths(&path).flat_map(|dir| names.map(|name| dir.join(name))).find(|file| file.is_file())
}

impl Browser {
    pub(crate) fn open(program: &PathBuf) -> Self {
        let profile = tempfile::tempdir().unwrap();
        let child = Command::new(program)
            .args([
                "--headless=new",
                "--no-sandbox",
                "--remote-debugging-port=0",
                "--disable-gpu",
                "--hide-scrollbars",
            ])
            .args(["--no-first-run", "--disable-background-networking", "--disable-component-update"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .arg("about:blank")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let begun = Instant::now();
        let port: u16 = loop {
            let told = std::fs::read_to_string(profile.path().join("DevToolsActivePort")).unwrap_or_default();
            match told.lines().next().and_then(|line| line.parse().ok()) {
                Some(port) => break port,
                None if begun.elapsed() > PATIENCE => panic!("the browser does not start"),
                None => std::thread::sleep(Duration::from_millis(50)),
            }
        };
        Self::page(port, Some((child, profile)))
    }

    /// Another page of the same browser, with the same cookies.
    pub(crate) fn another(&self) -> Self {
        Self::page(self.port, None)
    }

    fn page(port: u16, started: Option<(Child, tempfile::TempDir)>) -> Self {
        let page = new_page(port);
        let address = page["webSocketDebuggerUrl"].as_str().unwrap().to_owned();
        let socket = connect(port, address.split_once(&format!(":{port}")).unwrap().1);
        let mut browser = Self { started, port, socket, next: 0, events: VecDeque::new() };
        for domain in ["Page", "Runtime", "Log", "Network"] {
            browser.call(&format!("{domain}.enable"), &json!({}));
        }
        browser
    }

    /// One command of the debugging protocol and its result.
    pub(crate) fn call(&mut self, method: &str, parameters: &Value) -> Value {
        self.next += 1;
        let id = self.next;
        let text = json!({ "id": id, "method": method, "params": parameters }).to_string();
        send(&mut self.socket, text.as_bytes());
        loop {
            let message: Value = serde_json::from_slice(&receive(&mut self.socket)).unwrap();
            if message["id"] == json!(id) {
                return message["result"].clone();
            }
            self.events.push_back(message);
        }
    }

    /// The value of an expression on the page.
    pub(crate) fn value(&mut self, expression: &str) -> Value {
        let asked = json!({ "expression": expression, "awaitPromise": true, "returnByValue": true });
        self.call("Runtime.evaluate", &asked)["result"]["value"].clone()
    }

    /// Puts files into a field, as a person would by its dialogue.
    pub(crate) fn choose(&mut self, field: &str, files: &[PathBuf]) {
        let object = self
            .call("Runtime.evaluate", &json!({ "expression": format!("document.querySelector('{field}')") }));
        let files: Vec<String> = files.iter().map(|file| file.display().to_string()).collect();
        let of = &object["result"]["objectId"];
        self.call("DOM.setFileInputFiles", &json!({ "files": files, "objectId": of }));
    }

    /// A click at a place of the window.
    pub(crate) fn clicks(&mut self, [x, y]: [f64; 2]) {
        for kind in ["mousePressed", "mouseReleased"] {
            let event = json!({ "type": kind, "x": x, "y": y, "button": "left", "clickCount": 1 });
            self.call("Input.dispatchMouseEvent", &event);
        }
    }

    /// A finger put down, drawn along and lifted.
    pub(crate) fn touches(&mut self, way: &[[f64; 2]]) {
        let point = |[x, y]: [f64; 2]| json!([{ "x": x, "y": y }]);
        for (at, place) in way.iter().enumerate() {
            let kind = if at == 0 { "touchStart" } else { "touchMove" };
            self.call("Input.dispatchTouchEvent", &json!({ "type": kind, "touchPoints": point(*place) }));
        }
        self.call("Input.dispatchTouchEvent", &json!({ "type": "touchEnd", "touchPoints": [] }));
    }

    /// A click, or what a browser makes of a tap, on the middle of an element, scrolled to as a person would.
    pub(crate) fn presses_on(&mut self, element: &str) {
        self.value(&format!("document.querySelector('{element}').scrollIntoView({{ block: 'nearest' }})"));
        let middle = format!(
            "(() => {{ const b = document.querySelector('{element}').getBoundingClientRect(); \
             return [b.left + b.width / 2, b.top + b.height / 2]; }})()"
        );
        let middle = self.value(&middle);
        self.clicks([0, 1].map(|k| middle[k].as_f64().unwrap()));
    }

    /// A screen with touch, as a phone has it.
    pub(crate) fn phone(&mut self) {
        let screen = json!({ "width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": true });
        self.call("Emulation.setDeviceMetricsOverride", &screen);
        self.call("Emulation.setTouchEmulationEnabled", &json!({ "enabled": true }));
    }

    /// Waits until an expression is true.
    pub(crate) fn until(&mut self, expression: &str) {
        let begun = Instant::now();
        while self.value(expression) != json!(true) {
            assert!(
                begun.elapsed() < PATIENCE,
                "never came true: {expression}\n{}",
                self.value("document.body.innerText")
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub(crate) fn go(&mut self, address: &str) {
        self.call("Page.navigate", &json!({ "url": address }));
        std::thread::sleep(Duration::from_millis(100));
        self.until("document.readyState === 'complete'");
    }

    /// Types a text where the focus is.
    pub(crate) fn types(&mut self, text: &str) {
        self.call("Input.insertText", &json!({ "text": text }));
    }

    /// Presses one key.
    pub(crate) fn presses(&mut self, key: &str) {
        self.presses_with(key, 0);
    }

    /// Presses one key with shift held.
    pub(crate) fn presses_shifted(&mut self, key: &str) {
        self.presses_with(key, 8);
    }

    fn presses_with(&mut self, key: &str, modifiers: u8) {
        let (code, text) = match key {
            "Enter" => (13, "\r"),
            "Tab" => (9, ""),
            " " => (32, " "),
            "ArrowLeft" => (37, ""),
            "ArrowRight" => (39, ""),
            "ArrowUp" => (38, ""),
            "ArrowDown" => (40, ""),
            "Delete" => (46, ""),
            "Escape" => (27, ""),
            "PageUp" => (33, ""),
            "PageDown" => (34, ""),
            _ => (0, key),
        };
        let down = json!({ "type": "keyDown", "key": key, "code": key, "windowsVirtualKeyCode": code, "text": text, "modifiers": modifiers });
        self.call("Input.dispatchKeyEvent", &down);
        let up = json!({ "type": "keyUp", "key": key, "code": key, "windowsVirtualKeyCode": code, "modifiers": modifiers });
        self.call("Input.dispatchKeyEvent", &up);
    }

    pub(crate) fn size(&mut self, width: u32, height: u32) {
        let screen =
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600 });
        self.call("Emulation.setDeviceMetricsOverride", &screen);
    }

    /// The page as a PNG.
    pub(crate) fn picture(&mut self) -> Vec<u8> {
        let shot = self.call("Page.captureScreenshot", &json!({ "format": "png" }));
        unbase64(shot["data"].as_str().unwrap_or_default())
    }

    /// Exceptions, console errors and warnings, and requests to any other address, since the start.
    pub(crate) fn complaints(&self, own: &str) -> Vec<String> {
        let told = |event: &Value| {
            let parameters = &event["params"];
            let is_bad = match event["method"].as_str()? {
                "Runtime.exceptionThrown" => true,
                "Log.entryAdded" => {
                    matches!(parameters["entry"]["level"].as_str(), Some("error" | "warning"))
                }
                "Runtime.consoleAPICalled" => parameters["type"] == "error",
                "Network.requestWillBeSent" => {
                    let address = parameters["request"]["url"].as_str().unwrap_or_default();
                    !["about:", "data:", "blob:", own].iter().any(|good| address.starts_with(good))
                }
                _ => false,
            };
            is_bad.then(|| parameters.to_string())
        };
        self.events.iter().filter_map(told).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if let Some((child, _)) = &mut self.started {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// A page of its own; the browser keeps the connection open, so the body's length is read from its head.
fn new_page(port: u16) -> Value {
    let mut socket = open(port);
    let head =
        format!("PUT /json/new?about:blank HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 0\r\n\r\n");
    socket.write_all(head.as_bytes()).unwrap();
    let head = read_head(&mut socket).to_lowercase();
    let length = head.lines().find_map(|line| line.strip_prefix("content-length:")).unwrap().trim().parse();
    let mut body = vec![0; length.unwrap()];
    socket.read_exact(&mut body).unwrap();
    serde_json::from_slice(&body).unwrap()
}

fn open(port: u16) -> TcpStream {
    let socket = TcpStream::connect(("127.0.0.1", port)).unwrap();
    socket.set_read_timeout(Some(PATIENCE)).unwrap();
    socket
}

fn read_head(socket: &mut TcpStream) -> String {
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") {
        socket.read_exact(&mut byte).unwrap();
        head.push(byte[0]);
    }
    String::from_utf8_lossy(&head).into_owned()
}

fn connect(port: u16, path: &str) -> TcpStream {
    let mut socket = open(port);
    // RFC 6455; the key is the standard's own example, nothing here needs it to be secret
    let head = format!(
        "GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n\
         Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
    );
    socket.write_all(head.as_bytes()).unwrap();
    let answer = read_head(&mut socket);
    assert!(answer.starts_with("HTTP/1.1 101"), "{answer}");
    socket
}

/// One text frame, masked with zeros as a client may.
fn send(socket: &mut TcpStream, payload: &[u8]) {
    let mut frame = vec![0x81];
    match payload.len() {
        short if short < 126 => frame.push(0x80 | short as u8),
        middle if middle < 65_536 => {
            frame.push(0x80 | 126);
            frame.extend((middle as u16).to_be_bytes());
        }
        long => {
            frame.push(0x80 | 127);
            frame.extend((long as u64).to_be_bytes());
        }
    }
    frame.extend([0; 4]);
    frame.extend(payload);
    socket.write_all(&frame).unwrap();
}

/// One message, joined from its frames.
fn receive(socket: &mut TcpStream) -> Vec<u8> {
    let mut whole = Vec::new();
    loop {
        let mut head = [0; 2];
        socket.read_exact(&mut head).unwrap();
        let length = match head[1] & 0x7f {
            126 => {
                let mut bytes = [0; 2];
                socket.read_exact(&mut bytes).unwrap();
                u64::from(u16::from_be_bytes(bytes))
            }
            127 => {
                let mut bytes = [0; 8];
                socket.read_exact(&mut bytes).unwrap();
                u64::from_be_bytes(bytes)
            }
            short => u64::from(short),
        };
        let mut part = vec![0; usize::try_from(length).unwrap()];
        socket.read_exact(&mut part).unwrap();
        if head[0] & 0x0f <= 2 {
            whole.extend(part);
            if head[0] & 0x80 != 0 {
                return whole;
            }
        }
    }
}

fn unbase64(text: &str) -> Vec<u8> {
    let digit = |c: u8| match c {
        b'A'..=b'Z' => Some(c - b'A'),
        b'a'..=b'z' => Some(c - b'a' + 26),
        b'0'..=b'9' => Some(c - b'0' + 52),
        b'+' => Some(62),
        b'/' => Some(63),
        _ => None,
    };
    let (mut out, mut bits, mut held) = (Vec::new(), 0_u32, 0);
    for value in text.bytes().filter_map(digit) {
        bits = bits << 6 | u32::from(value);
        held += 6;
        if held >= 8 {
            held -= 8;
            out.push((bits >> held) as u8);
        }
    }
    out
}
