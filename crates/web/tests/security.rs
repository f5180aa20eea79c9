//! Who may see the page and what it refuses: each line of its safety, asked as an attacker would.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Bench, raw};

const PAGES: [&str; 11] = [
    "/",
    "/bench",
    "/readings",
    "/ring",
    "/mass",
    "/path",
    "/field",
    "/board",
    "/report",
    "/now",
    "/assets/page.js",
];

#[test]
fn nothing_is_shown_without_the_key() {
    let bench = Bench::new(None);
    for page in PAGES {
        let answer = bench.send("GET", page, &[], b"");
        assert_eq!(answer.status, 401, "{page}");
        let wrong = format!("arcmass-{}=ABCDEF", bench.address.port());
        assert_eq!(bench.get(&wrong, page).status, 401, "{page}");
    }
    assert_eq!(bench.send("GET", "/?key=WRONG", &[], b"").status, 401);
    let cookie = bench.cookie();
    for page in &PAGES[1..] {
        assert_eq!(bench.get(&cookie, page).status, 200, "{page}");
    }
    bench.stop();
}

#[test]
fn the_cookie_is_kept_from_scripts_and_other_sites() {
    let bench = Bench::new(None);
    let answer = bench.send("GET", &format!("/?key={}", bench.key), &[], b"");
    let cookie = answer.header("set-cookie").unwrap();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    assert!(!cookie.contains(&bench.key), "the key itself is no session");
    assert_eq!(answer.header("location"), Some("/"), "the key leaves the address");
    bench.stop();
}

#[test]
fn a_foreign_host_name_is_refused_even_with_the_key() {
    let bench = Bench::new(None);
    let (cookie, port) = (bench.cookie(), bench.address.port());
    for host in
        ["evil.example", "evil.example:80", "localhost.evil.example:7117", "127.0.0.1", "192.0.2.7", ""]
    {
        let host = if host.contains(':') { host.to_owned() } else { format!("{host}:1") };
        let answer = raw(port, "GET", "/bench", &[("Host", &host), ("Cookie", &cookie)], b"");
        assert_eq!(answer.status, 403, "{host}");
    }
    let named = format!("evil.example:{port}");
    assert_eq!(raw(port, "GET", "/bench", &[("Host", &named), ("Cookie", &cookie)], b"").status, 403);
    let localhost = format!("localhost:{port}");
    assert_eq!(raw(port, "GET", "/bench", &[("Host", &localhost), ("Cookie", &cookie)], b"").status, 200);
    bench.stop();
}

#[test]
fn requests_from_other_pages_are_refused() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let change = br#"{"table":"bench","key":"name","seen":"Window bench","typed":"Taken over"}"#;
    let json = ("Content-Type", "application/json");
    let own = format!("http://{}", bench.host());
    for bad in [
        vec![("Origin", "http://evil.example")],
        vec![("Origin", "null")],
        vec![("Origin", "https://127.0.0.1")],
        vec![("Sec-Fetch-Site", "cross-site")],
        vec![("Sec-Fetch-Site", "same-site")],
        vec![("Sec-Fetch-Site", "cross-site"), ("Origin", own.as_str())],
        vec![],
    ] {
        let mut headers = vec![("Cookie", cookie.as_str()), json];
        headers.extend(bad.clone());
        assert_eq!(bench.send("POST", "/bench/set", &headers, change).status, 403, "{bad:?}");
    }
    assert_eq!(
        bench.send("GET", "/bench", &[("Cookie", &cookie), ("Sec-Fetch-Site", "cross-site")], b"").status,
        403
    );
    // a form of another page can't send JSON
    let form = [("Cookie", cookie.as_str()), ("Origin", own.as_str()), ("Content-Type", "text/plain")];
    assert_eq!(bench.send("POST", "/bench/set", &form, change).status, 415);
    assert!(std::fs::read_to_string(bench.root.join("bench.toml")).unwrap().contains("Window bench"));
    assert_eq!(bench.post(&cookie, "/bench/set", std::str::from_utf8(change).unwrap()).status, 200);
    assert!(std::fs::read_to_string(bench.root.join("bench.toml")).unwrap().contains("Taken over"));
    bench.stop();
}

#[test]
fn every_answer_carries_a_strict_policy_and_its_type() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    for page in PAGES.iter().skip(1).chain(&["/nowhere", "/photos/view?name=x.jpg"]) {
        let answer = bench.get(&cookie, page);
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.contains("default-src 'none'"), "{page}: {policy}");
        assert!(!policy.contains("unsafe"), "{page}: {policy}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{page}");
        assert_eq!(answer.header("referrer-policy"), Some("no-referrer"), "{page}");
        let body = answer.text();
        let is_page = answer.header("content-type").is_some_and(|kind| kind.starts_with("text/html"));
        if is_page {
            let inline = body.split("<script").skip(1).any(|tag| !tag.contains("src=\"/assets/"));
            assert!(
                !inline
                    && !body.contains("<style")
                    && !body.contains(" style=")
                    && !body.contains("javascript:"),
                "{page}"
            );
            let handler = body.split_whitespace().any(|word| word.starts_with("on") && word.contains("=\""));
            assert!(!handler, "{page}: no handler in the markup");
            let outside = body.matches("://").count() - body.matches("http://www.w3.org/2000/svg").count();
            assert_eq!(outside, 0, "{page}: no other address");
        }
    }
    bench.stop();
}

#[test]
fn only_this_machine_is_listened_to_unless_told() {
    let bench = Bench::new(None);
    assert!(bench.address.ip().is_loopback() && bench.code.is_none());
    let cookie = bench.cookie();
    assert_eq!(bench.get(&cookie, "/phone").status, 404);
    assert_eq!(bench.send("GET", "/join?code=AAAAAAAAAA", &[], b"").status, 401);
    bench.stop();
}

#[test]
fn a_code_for_the_network_works_once() {
    let bench = Bench::new(Some(std::net::Ipv4Addr::UNSPECIFIED.into()));
    let Some(code) = bench.code.clone() else {
        eprintln!("no network here: nothing to join from");
        return bench.stop();
    };
    assert_eq!(bench.send("GET", "/join?code=WRONGWRONG", &[], b"").status, 401);
    let joined = bench.send("GET", &format!("/join?code={code}"), &[], b"");
    assert_eq!(joined.status, 303);
    let cookie = joined.header("set-cookie").unwrap().split(';').next().unwrap().to_owned();
    assert_eq!(bench.get(&cookie, "/readings").status, 200);
    let again = bench.send("GET", &format!("/join?code={code}"), &[], b"");
    assert_eq!(again.status, 401);
    assert!(again.text().contains("used already") && again.header("set-cookie").is_none());
    // on the network a machine is named by its number, never by a name somebody else could point here
    let port = bench.address.port();
    let number = format!("192.0.2.7:{port}");
    assert_eq!(raw(port, "GET", "/bench", &[("Host", &number), ("Cookie", &cookie)], b"").status, 200);
    let name = format!("bench.example:{port}");
    assert_eq!(raw(port, "GET", "/bench", &[("Host", &name), ("Cookie", &cookie)], b"").status, 403);
    bench.stop();
}

#[test]
fn folders_are_chosen_on_this_machine_only() {
    let bench = Bench::new(Some(std::net::Ipv4Addr::UNSPECIFIED.into()));
    let cookie = bench.cookie();
    assert_eq!(bench.get(&cookie, "/start").status, 200);
    assert_eq!(bench.send("GET", "/start", &[], b"").status, 401);
    assert_eq!(bench.send("GET", "/start/folders?at=/", &[], b"").status, 401);
    let listed = bench.get(&cookie, "/start/folders?at=/");
    assert!(listed.status == 200 && !listed.text().contains("passwd"), "folders alone: {}", listed.text());
    // through an address of the network the same session may not: a phone has one like it
    let Some(outside) = bench.outside_ip() else {
        eprintln!("no network here: nothing to ask from");
        return bench.stop();
    };
    let port = bench.address.port();
    let host = format!("{outside}:{port}");
    let from_outside = |method: &str, path: &str, body: &[u8]| {
        let origin = format!("http://{host}");
        let headers = [
            ("Host", host.as_str()),
            ("Cookie", cookie.as_str()),
            ("Origin", origin.as_str()),
            ("Content-Type", "application/json"),
        ];
        common::raw_at(outside, port, method, path, &headers, body).status
    };
    assert_eq!(from_outside("GET", "/readings", b""), 200);
    for path in ["/start", "/start/folders?at=/", "/start/demo"] {
        assert_eq!(from_outside("GET", path, b""), 403, "{path}");
    }
    let folder = format!("{{\"folder\":{:?}}}", bench.root.display().to_string());
    for path in ["/start/open", "/start/forget", "/start/new", "/start/demo"] {
        assert_eq!(from_outside("POST", path, folder.as_bytes()), 403, "{path}");
    }
    bench.stop();
}

#[test]
fn without_a_notebook_only_the_choice_of_one_is_shown() {
    let bench = Bench::empty();
    let cookie = bench.cookie();
    for page in ["/bench", "/readings", "/ring", "/mass", "/board", "/photos/view?name=a.jpg"] {
        let answer = bench.get(&cookie, page);
        assert_eq!((answer.status, answer.header("location")), (303, Some("/start")), "{page}");
    }
    assert_eq!(bench.post(&cookie, "/readings/add", r#"{"cells":[]}"#).status, 409);
    assert_eq!(bench.get(&cookie, "/start").status, 200);
    let nowhere = r#"{"folder":"/nowhere/at/all"}"#;
    assert_eq!(bench.post(&cookie, "/start/open", nowhere).status, 422);
    assert_eq!(bench.post(&cookie, "/start/new", r#"{"name":"Attic","here":true}"#).status, 200);
    assert_eq!(bench.get(&cookie, "/bench").status, 200);
    assert!(bench.root.join("bench.toml").is_file());
    bench.stop();
}

#[test]
fn a_page_of_another_notebook_changes_nothing() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let origin = format!("http://{}", bench.host());
    let change = br#"{"cells":[["run","1"],["voltage_V","200"],["current_A","1.5"]]}"#;
    let send = |id: &str| {
        let headers = [
            ("Cookie", cookie.as_str()),
            ("Origin", origin.as_str()),
            ("Content-Type", "application/json"),
            ("X-Notebook", id),
        ];
        bench.send("POST", "/readings/add", &headers, change).status
    };
    let page = bench.get(&cookie, "/readings").text();
    let own = page.split("data-notebook=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    assert_eq!((send("0123456789abcdef"), send(&own)), (409, 200));
    bench.stop();
}

#[test]
fn no_path_leads_out_of_the_folder() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    std::fs::write(bench.root.join("../secret.jpg"), b"\xff\xd8\xffsecret").unwrap();
    for name in [
        "../secret.jpg",
        "..%2Fsecret.jpg",
        "%2e%2e%2fsecret.jpg",
        "%2Fetc%2Fpasswd",
        "..%5Csecret.jpg",
        "a%00.jpg",
    ] {
        for address in ["/photos/view?name=", "/photos/small?name=", "/ring/beam?name="] {
            let answer = bench.get(&cookie, &format!("{address}{name}"));
            assert!(answer.status == 404 || answer.status == 400, "{address}{name}: {}", answer.status);
            assert!(!answer.text().contains("secret"), "{address}{name}");
        }
        assert_ne!(
            bench.put(&cookie, &format!("/photos/new?name={name}"), &photograph()).status,
            200,
            "{name}"
        );
    }
    for path in ["/assets/../../Cargo.toml", "/assets/..%2F..%2FCargo.toml", "/assets/%2e%2e/x"] {
        assert_eq!(bench.get(&cookie, path).status, 404, "{path}");
    }
    let marks = r#"{"photo":"../../x.jpg","marks":[],"seen":[]}"#;
    assert_eq!(bench.post(&cookie, "/ring/keep", marks).status, 422);
    assert!(!bench.root.join("../x.jpg.csv").exists() && !bench.root.join("marks").exists());
    bench.stop();
}

/// A small grey PNG, 64 × 64, made by hand: stored blocks need no packer.
fn photograph() -> Vec<u8> {
    let mut raw = Vec::new();
    for row in 0..64_u8 {
        raw.push(0);
        raw.extend((0..64_u8).map(|x| x.wrapping_mul(3).wrapping_add(row)));
    }
    let length = u16::try_from(raw.len()).unwrap();
    let mut packed = vec![0x78, 0x01, 0x01];
    packed.extend(length.to_le_bytes());
    packed.extend((!length).to_le_bytes());
    packed.extend(&raw);
    let (mut a, mut b) = (1_u32, 0_u32);
    for byte in &raw {
        a = (a + u32::from(*byte)) % 65_521;
        b = (b + a) % 65_521;
    }
    packed.extend((b << 16 | a).to_be_bytes());
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |name: &[u8; 4], data: &[u8]| {
        png.extend(u32::try_from(data.len()).unwrap().to_be_bytes());
        let mut body = name.to_vec();
        body.extend(data);
        let crc = body.iter().fold(!0_u32, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { c >> 1 ^ 0xedb8_8320 } else { c >> 1 })
        });
        png.extend(&body);
        png.extend((!crc).to_be_bytes());
    };
    chunk(b"IHDR", &[0, 0, 0, 64, 0, 0, 0, 64, 8, 0, 0, 0, 0]);
    chunk(b"IDAT", &packed);
    chunk(b"IEND", &[]);
    png
}

#[test]
fn only_photographs_are_taken_and_served_as_nothing_else() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let good = photograph();
    assert_eq!(bench.put(&cookie, "/photos/new?name=ring-01.png", &good).status, 200);
    assert_eq!(
        bench.put(&cookie, "/photos/new?name=ring-01.png", &good).status,
        200,
        "the same again is no fault"
    );
    let mut other = good.clone();
    other.push(0);
    let second = bench.put(&cookie, "/photos/new?name=ring-01.png", &other);
    assert!(second.status == 200 && second.text().contains("ring-01-2.png"), "{}", second.text());
    assert_eq!(std::fs::read(bench.root.join("photos/ring-01.png")).unwrap(), good);
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>";
    let html = b"<html><script>alert(1)</script></html>";
    let cut = &good[..good.len() / 2];
    // 60 000 × 60 000 claimed in a few bytes
    let mut huge = good[..33].to_vec();
    huge[16..24].copy_from_slice(&[0, 0, 0xea, 0x60, 0, 0, 0xea, 0x60]);
    for (name, bytes) in [
        ("a.svg", &svg[..]),
        ("a.png", svg),
        ("b.jpg", html),
        ("c.png", cut),
        ("d.png", &huge),
        ("e.jpg", b""),
        ("f.html", &good),
    ] {
        let answer = bench.put(&cookie, &format!("/photos/new?name={name}"), bytes);
        assert_eq!(answer.status, 422, "{name}: {}", answer.text());
        assert!(!bench.root.join("photos").join(name).exists(), "{name}");
    }
    // what a person put there by hand is served as a picture or not at all
    std::fs::write(bench.root.join("photos/trick.png"), html).unwrap();
    assert_eq!(bench.get(&cookie, "/photos/view?name=trick.png").status, 404);
    let served = bench.get(&cookie, "/photos/view?name=ring-01.png");
    assert_eq!(served.header("content-type"), Some("image/png"));
    assert!(served.header("content-security-policy").unwrap().contains("sandbox"));
    let left = std::fs::read_dir(bench.root.join("photos")).unwrap().count();
    assert_eq!(left, 3, "no part of a refused photograph stays");
    bench.stop();
}

#[test]
fn photographs_are_moved_within_the_notebook_alone() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    assert_eq!(bench.put(&cookie, "/photos/new?name=a.png", &photograph()).status, 200);
    let outside = bench.root.join("../outside.png");
    std::fs::write(&outside, photograph()).unwrap();
    let before = std::fs::read_to_string(bench.root.join("bench.toml")).unwrap();
    for name in
        ["../outside.png", "../../outside.png", "..\\\\outside.png", "/outside.png", "../bench.toml", ""]
    {
        for (path, body) in [
            ("/photos/rename", format!(r#"{{"photo":"{name}","to":"b.png"}}"#)),
            ("/photos/rename", format!(r#"{{"photo":"a.png","to":"{name}"}}"#)),
            ("/photos/remove", format!(r#"{{"name":"{name}"}}"#)),
            ("/photos/restore", format!(r#"{{"name":"{name}"}}"#)),
        ] {
            let answer = bench.post(&cookie, path, &body);
            assert_ne!(answer.status, 200, "{path} {body}");
        }
    }
    assert!(outside.is_file() && bench.root.join("photos/a.png").is_file());
    assert_eq!(std::fs::read_to_string(bench.root.join("bench.toml")).unwrap(), before);
    bench.stop();
}

#[test]
fn what_is_too_large_is_refused() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let answer = bench.post(
        &cookie,
        "/readings/add",
        &format!("{{\"cells\":[[\"run\",\"{}\"]]}}", "x".repeat(2 << 20)),
    );
    assert!(answer.status == 413 || answer.status == 0, "{}", answer.status);
    let before = std::fs::read_to_string(bench.root.join("readings.csv")).unwrap();
    let origin = format!("http://{}", bench.host());
    let length = (200_u64 << 20).to_string();
    let headers =
        [("Host", bench.host()), ("Cookie", cookie.clone()), ("Origin", origin), ("Content-Length", length)];
    let headers: Vec<(&str, &str)> = headers.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let answer = raw_without_length(bench.address.port(), "/photos/new?name=big.jpg", &headers);
    assert_eq!(answer, 413);
    assert_eq!(std::fs::read_to_string(bench.root.join("readings.csv")).unwrap(), before);
    bench.stop();
}

/// A head alone: its length is claimed, the body never comes.
fn raw_without_length(port: u16, path: &str, headers: &[(&str, &str)]) -> u16 {
    use std::io::{Read, Write};
    let mut stream = std::net::TcpStream::connect(("127.0.0.1", port)).unwrap();
    stream.set_read_timeout(Some(std::time::Duration::from_secs(20))).unwrap();
    let mut head = format!("PUT {path} HTTP/1.1\r\nConnection: close\r\n");
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    stream.write_all(format!("{head}\r\n").as_bytes()).unwrap();
    let mut answer = [0_u8; 64];
    let count = stream.read(&mut answer).unwrap_or(0);
    String::from_utf8_lossy(&answer[..count]).split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0)
}

#[test]
fn hostile_text_is_shown_harmlessly() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    let hostile = "<script>alert(1)</script>\\\" onfocus=\\\"alert(2)";
    let name = format!(r#"{{"table":"bench","key":"name","seen":"Window bench","typed":"{hostile}"}}"#);
    assert_eq!(bench.post(&cookie, "/bench/set", &name).status, 200);
    let row = format!(
        r#"{{"cells":[["run","{hostile}"],["voltage_V","200"],["current_A","1.5"],["remark","{hostile}"],["diameter_mm","80"]]}}"#
    );
    assert_eq!(bench.post(&cookie, "/readings/add", &row).status, 200);
    std::fs::write(bench.root.join("photos/x' onerror=alert(3) '.jpg"), b"no").unwrap();
    for page in ["/bench", "/readings", "/readings/work", "/ring", "/path", "/board", "/mass", "/field"] {
        let body = bench.get(&cookie, page).text();
        assert!(!body.contains("<script>alert"), "{page}");
        assert!(!body.contains("\" onfocus=\""), "{page}");
        assert!(!body.contains("' onerror="), "{page}");
    }
    let check = bench.get(&cookie, "/readings/check?run=%3Cscript%3E");
    assert_eq!(check.header("content-type"), Some("application/json"));
    bench.stop();
}

#[test]
fn broken_requests_never_end_the_server() {
    let bench = Bench::new(None);
    let cookie = bench.cookie();
    for body in ["", "{", "[]", "null", r#"{"cells":5}"#, r#"{"line":-1,"raw":1}"#, "\u{0}"] {
        for path in [
            "/bench/set",
            "/readings/add",
            "/readings/set",
            "/readings/remove",
            "/photos/match",
            "/photos/accept",
            "/photos/rename",
            "/photos/remove",
            "/photos/restore",
            "/ring/measure",
            "/ring/keep",
            "/ring/undo",
        ] {
            let status = bench.post(&cookie, path, body).status;
            assert!((400..500).contains(&status), "{path} {body:?}: {status}");
        }
    }
    for path in [
        "/path/at",
        "/path/at?voltage=x&current=1",
        "/path/at?voltage=nan&current=1",
        "/path/at?voltage=-1&current=1",
        "/path/at?voltage=1e300&current=1e-300",
        "/readings/check?run=none",
        "/field/figure?kind=svg&name=none",
        "/report/preview",
    ] {
        let status = bench.get(&cookie, path).status;
        assert!((400..500).contains(&status), "{path}: {status}");
    }
    let marks = r#"{"photo":"a.jpg","marks":[{"what":"beam","x_px":1e300,"y_px":0,"along_mm":null,"across_mm":null}]}"#;
    assert_eq!(bench.post(&cookie, "/ring/measure", marks).status, 422);
    assert_eq!(bench.get(&cookie, "/bench").status, 200);
    bench.stop();
}
