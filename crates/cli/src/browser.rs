//! Opening an address in the person's browser, by the system's own way; the printed address is there in any case.

use std::process::{Command, Stdio};

/// Asks the system to show an address. Where it can't, nothing happens: the address is printed too.
pub(crate) fn open(link: &str) {
    let Some(mut command) = opener() else { return };
    command.arg(link).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    if let Ok(mut child) = command.spawn() {
        // some openers last as long as the browser does
        std::thread::spawn(move || child.wait());
    }
}

#[cfg(windows)]
fn opener() -> Option<Command> {
    let mut command = Command::new("rundll32");
    command.arg("url.dll,FileProtocolHandler");
    Some(command)
}

#[cfg(target_os = "macos")]
fn opener() -> Option<Command> {
    Some(Command::new("open"))
}

#[cfg(not(any(windows, target_os = "macos")))]
fn opener() -> Option<Command> {
    let has_screen = ["DISPLAY", "WAYLAND_DISPLAY"]
        .iter()
        .any(|name| std::env::var_os(name).is_some_and(|value| !value.is_empty()));
    has_screen.then(|| Command::new("xdg-open"))
}
