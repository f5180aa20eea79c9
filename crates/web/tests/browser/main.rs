//! The page in a real browser: the first way from an empty notebook to its mass, by hand and by photographs, and two pages at once.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod chromium;
#[path = "../common/mod.rs"]
mod common;
mod day;
mod drawn;
mod first;
mod first_hour;
mod lesson;
mod looks;
mod matching;
mod picture;
mod tables;
mod together;

use chromium::{Browser, chromium};
use common::Bench;

/// An empty notebook served, and a browser on its first page: bench, browser, the page's own address. None without Chromium.
fn first_page() -> Option<(Bench, Browser, String)> {
    let program = chromium()?;
    let bench = Bench::new(None);
    let own = format!("http://{}", bench.host());
    let mut page = Browser::open(&program);
    page.size(1280, 800);
    page.go(&format!("{own}/?key={}", bench.key));
    Some((bench, page, own))
}
