//! `bench`, `soak` and `rates` as a process.

use std::io::Write;
use std::process::{Command, Output, Stdio};

fn run(args: &[&str], input: &[u8]) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_whichsocket"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // The program may have ended before all is written.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

fn json(args: &[&str]) -> serde_json::Value {
    let out = run(args, b"");
    assert_eq!(
        out.status.code(),
        Some(0),
        "{args:?}: {}",
        text(&out.stderr)
    );
    serde_json::from_slice(&out.stdout).unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn soak_counts_cold_and_warm_apart() {
    let v = json(&[
        "soak",
        "--json",
        "--failed",
        "1",
        "--of",
        "5",
        "--clean",
        "20",
        "--cold-failed",
        "4",
        "--cold-of",
        "20",
        "--cold-clean",
        "3",
    ]);
    let part = |i: usize, key: &str| v["parts"][i][key].clone();
    assert_eq!(
        (part(0, "kind"), part(0, "needed"), part(0, "to_go")),
        ("warm loops".into(), 20.into(), 0.into())
    );
    assert_eq!(
        (part(1, "kind"), part(1, "needed"), part(1, "to_go")),
        ("cold starts".into(), 16.into(), 13.into())
    );
    assert_eq!(
        (part(0, "proved"), part(1, "proved")),
        (true.into(), false.into())
    );
    let v = json(&["soak", "--json", "--rate", "0.2", "--clean", "2"]);
    assert_eq!(
        (&v["parts"][0]["needed"], &v["parts"][0]["to_go"]),
        (&14.into(), &12.into())
    );
    let v = json(&["soak", "--json", "--clean", "100"]);
    assert!((v["parts"][0]["rate_below"].as_f64().unwrap() - 0.0295).abs() < 1e-4);
    let v = json(&[
        "soak",
        "--json",
        "--failed",
        "1",
        "--hours",
        "10",
        "--clean-hours",
        "4",
    ]);
    assert!(
        (v["parts"][0]["to_go"].as_f64().unwrap() - 30.7214).abs() < 1e-3,
        "{v}"
    );
    let said = text(&run(&["soak", "--failed", "1", "--of", "5", "--clean", "6"], b"").stdout);
    assert!(said.contains("14 more for 95 % (20 in all)"), "{said}");
    assert!(said.lines().all(|l| l.chars().count() <= 80), "{said}");
}

#[test]
fn soak_refuses_what_cannot_be() {
    for args in [
        &["soak"][..],
        &["soak", "--failed", "3", "--of", "2"],
        &["soak", "--rate", "1.5"],
        &["soak", "--clean", "3", "--confidence", "1"],
        &["soak", "--clean-hours", "3"],
        &["soak", "--hours", "-3"],
        &["rates", "no-such-folder"],
        &["rank", "--rates", "README.md", "samples/all-good.run"],
        &["rank", "--rates", "no-such-file", "samples/all-good.run"],
    ] {
        let out = run(args, b"");
        assert_eq!(
            (out.status.code(), out.stdout.is_empty()),
            (Some(2), true),
            "{args:?}"
        );
        assert!(!out.stderr.is_empty());
    }
}

#[test]
fn rates_are_counted_exported_and_used() {
    let v = json(&["rates", "samples/closed", "--json"]);
    assert_eq!(
        (&v["tickets"], &v["not_counted"][0]["why"]),
        (&1.into(), &"closed without a proof".into())
    );
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("rates.yaml");
    let file = file.to_str().unwrap();
    assert_eq!(
        run(&["rates", "samples/closed", "--export", file], b"")
            .status
            .code(),
        Some(0)
    );
    let of = |option: [&str; 2]| {
        let v = json(&[
            "rank",
            "--json",
            "--no-next",
            option[0],
            option[1],
            "samples/sound-socket-empty.run",
        ]);
        v["suspects"].clone()
    };
    let counted = of(["--tickets", "samples/closed"]);
    assert_eq!(of(["--rates", file]), counted);
    assert_ne!(
        json(&[
            "rank",
            "--json",
            "--no-next",
            "samples/sound-socket-empty.run"
        ])["suspects"],
        counted
    );
}

#[test]
fn a_session_reads_a_script_and_leaves_a_ticket_that_the_other_commands_read() {
    let folder = tempfile::tempdir().unwrap();
    let named = folder.path().join("0402");
    let answers =
        b"0402\ndunlin-64\nfaulty\nwrong letters\n\n\n\nmemory bit 3 bad\nrest fine\n\nhelp\n";
    let out = run(&["bench", named.to_str().unwrap()], answers);
    assert_eq!(
        (out.status.code(), text(&out.stderr)),
        (Some(0), String::new())
    );
    let said = text(&out.stdout);
    for expected in ["Suspects", "1  M3", "skip      not this step", "Careful: "] {
        assert!(said.contains(expected), "{expected} not in:\n{said}");
    }
    assert!(!said.contains('\u{1b}'), "nothing but text");
    let ticket = named.with_extension("ticket");
    let v = json(&["rank", "--json", "--no-next", ticket.to_str().unwrap()]);
    assert_eq!(v["suspects"][0]["socket"], "M3");
    let text_of = std::fs::read_to_string(&ticket).unwrap();
    assert!(
        text_of.starts_with("ticket 0402\n")
            && text_of.ends_with("rest fine\nnote end of the first look\n"),
        "{text_of}"
    );
    // Not a text: said, and left as it is.
    std::fs::write(&ticket, [0u8, 1, 2]).unwrap();
    assert_eq!(
        run(&["bench", ticket.to_str().unwrap()], b"quit\n")
            .status
            .code(),
        Some(2)
    );
    assert_eq!(std::fs::read(&ticket).unwrap(), [0u8, 1, 2]);
}
