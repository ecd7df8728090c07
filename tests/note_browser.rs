//! The HTML notes in a real browser: phone, tablet and A4 paper, by a validator and an accessibility checker.
//!
//! What it needs (Chromium and Node.js from Debian's packages, three packages of the npm registry) is installed into the
//! system and into `target/note-check` when it is missing. Where that is impossible the test fails.

#[allow(dead_code)]
mod note_support;

use note_support::ticket_note;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

/// Packages with their exact versions.
const PACKAGES: [&str; 3] = [
    "playwright-core@1.64.1",
    "axe-core@4.14.1",
    "html-validate@10.17.0",
];

/// Notes that are looked at beside the samples of tickets: sheets with much or with nothing in them.
const SHEETS: [&str; 4] = [
    "all-good.run",
    "keyboard-unplugged.run",
    "sound-socket-empty.run",
    "wide-all-bits-bad.run",
];

fn run(command: &mut Command) -> String {
    let out = command
        .output()
        .unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let (stdout, stderr) = (
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr),
    );
    assert!(
        out.status.success(),
        "{command:?}: {}\n{stdout}\n{stderr}",
        out.status
    );
    stdout.into_owned()
}

fn is_there(program: &str) -> bool {
    Command::new(program)
        .arg("--version")
        .output()
        .is_ok_and(|o| o.status.success())
}

fn install(packages: &[&str]) {
    run(Command::new("apt-get").args(["update"]));
    let mut apt = Command::new("apt-get");
    run(apt
        .env("DEBIAN_FRONTEND", "noninteractive")
        .args(["install", "-y", "--no-install-recommends"])
        .args(packages));
}

/// The folder with the tools, ready.
static TOOLS: LazyLock<PathBuf> = LazyLock::new(|| {
    if !(is_there("node") && is_there("npm")) {
        install(&["nodejs", "npm"]);
    }
    if !is_there("/usr/bin/chromium") {
        install(&["chromium"]);
    }
    let prefix = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .parent()
        .unwrap()
        .join("note-check");
    std::fs::create_dir_all(&prefix).unwrap();
    let there = |package: &&str| {
        let (name, version) = package.rsplit_once('@').unwrap();
        let about = prefix.join("node_modules").join(name).join("package.json");
        std::fs::read_to_string(about)
            .is_ok_and(|json| json.contains(&format!("\"version\": \"{version}\"")))
    };
    if !PACKAGES.iter().all(there) {
        let mut npm = Command::new("npm");
        npm.args([
            "install",
            "--no-audit",
            "--no-fund",
            "--save-exact",
            "--prefix",
        ])
        .arg(&prefix);
        run(npm.args(PACKAGES));
    }
    prefix
});

/// What the browser, the validator and the accessibility checker find, by file.
fn problems(files: &[PathBuf], out: &str) -> serde_json::Map<String, serde_json::Value> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/note/check.mjs");
    let said = run(Command::new("node")
        .arg(script)
        .arg(&*TOOLS)
        .arg(TOOLS.join(out))
        .args(files));
    serde_json::from_str(&said).unwrap()
}

fn write(name: &str, html: &str) -> PathBuf {
    let file = TOOLS.join(name);
    std::fs::write(&file, html).unwrap();
    file
}

#[test]
fn notes_in_a_browser() {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let mut tickets: Vec<PathBuf> = std::fs::read_dir(&samples)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "ticket"))
        .collect();
    tickets.extend(SHEETS.iter().map(|s| samples.join(s)));
    tickets.sort();
    let files: Vec<PathBuf> = tickets
        .iter()
        .map(|p| {
            let name = p.file_name().unwrap().to_string_lossy().into_owned();
            let note = ticket_note(&name, &std::fs::read(p).unwrap());
            write(
                &format!("{name}.html"),
                &whichsocket::note::html::render(&note),
            )
        })
        .collect();
    assert!(files.len() >= 8, "only {} notes to look at", files.len());
    let found = problems(&files, "looked");
    assert_eq!(found.len(), files.len());
    let bad: Vec<_> = found
        .iter()
        .filter(|(_, p)| p.as_array().is_none_or(|p| !p.is_empty()))
        .collect();
    assert!(
        bad.is_empty(),
        "{}",
        serde_json::to_string_pretty(&bad).unwrap()
    );
}

/// The checks can fail: a page with one of each mistake.
#[test]
fn mistakes_are_found() {
    let page = r##"<!DOCTYPE html><html><head><meta charset="utf-8"><title>x</title></head><body>
<p style="color:#999">pale</p><div style="width:1200px">wide</div><p><div>nested</div></p>
<svg viewBox="0 0 100 40" width="100"><rect width="100" height="40" fill="#888888"/><text x="50" y="20" fill="#777777">grey</text></svg>
<img src="http://127.0.0.1:9/none.png"><script>console.error("said")</script></body></html>"##;
    let found = problems(&[write("bad.html", page)], "bad");
    let all = found["bad.html"].to_string();
    for sign in [
        "html 2:",
        "phone overflow",
        "paper overflow",
        "axe color-contrast",
        "axe html-has-lang",
        "drawing text",
        "asks for http",
        "needs scripts",
        "console: said",
    ] {
        assert!(all.contains(sign), "'{sign}' was not found in {all}");
    }
}
