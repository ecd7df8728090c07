//! The command line as a whole: help, manual pages, completions, quiet, colours, pipes, and the program as a filter.

use clap::CommandFactory;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use whichsocket::cli::Cli;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const PROGRAM: &str = env!("CARGO_BIN_EXE_whichsocket");

fn run(args: &[&str]) -> Output {
    let mut command = Command::new(PROGRAM);
    command.args(args).current_dir(ROOT).stdin(Stdio::null());
    command.output().unwrap()
}

fn shell(script: &str, settings: &[(&str, &str)]) -> Output {
    let bin = Path::new(PROGRAM).parent().unwrap().display();
    let path = format!("{bin}:{}", std::env::var("PATH").unwrap());
    let mut command = Command::new("bash");
    command
        .args(["-c", script])
        .current_dir(ROOT)
        .env("PATH", path);
    command
        .env_remove("NO_COLOR")
        .envs(settings.iter().copied());
    command.output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Names of all commands, with the words in front of them (`board find`), and what they are.
fn commands() -> Vec<(String, clap::Command)> {
    fn walk(before: &str, command: &clap::Command, out: &mut Vec<(String, clap::Command)>) {
        for sub in command.get_subcommands().filter(|s| s.get_name() != "help") {
            let name = format!("{before} {}", sub.get_name()).trim().to_string();
            if sub.has_subcommands() {
                walk(&name, sub, out);
            } else {
                out.push((name, sub.clone()));
            }
        }
    }
    let mut out = Vec::new();
    walk("", &Cli::command(), &mut out);
    out
}

#[test]
fn every_command_has_help_with_an_example_of_itself() {
    let all = commands();
    assert!(all.len() >= 18, "{all:?}");
    for (name, command) in all {
        let help = command
            .get_after_help()
            .map(ToString::to_string)
            .unwrap_or_default();
        assert!(
            help.contains("Example") && help.contains(&format!("whichsocket {name}")),
            "{name} has no example: {help}"
        );
        let mut args: Vec<&str> = name.split(' ').collect();
        args.push("--help");
        let out = run(&args);
        assert_eq!(out.status.code(), Some(0), "{name}");
        assert!(
            text(&out.stdout).contains(&format!("whichsocket {name}")),
            "{name}"
        );
        let widest = text(&out.stdout).lines().map(|l| l.chars().count()).max();
        assert!(widest <= Some(100), "{name}: {widest:?} columns");
    }
}

#[test]
fn manual_pages_and_completions_know_every_command() {
    let dir = tempfile::tempdir().unwrap();
    let to = dir.path().join("man/man1");
    let out = run(&["man", to.to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    for (name, _) in commands() {
        let page = to.join(format!("whichsocket-{}.1", name.replace(' ', "-")));
        let page = std::fs::read_to_string(&page).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert!(
            page.contains(".TH") && page.contains("Example"),
            "{name}:\n{page}"
        );
    }
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let out = run(&["completions", shell]);
        assert_eq!(out.status.code(), Some(0), "{shell}");
        let script = text(&out.stdout);
        for (name, _) in commands() {
            let word = name.split(' ').next_back().unwrap_or_default();
            assert!(script.contains(word), "{shell}: {name}");
        }
    }
    // A folder that cannot be made.
    let out = run(&["man", "Cargo.toml/man"]);
    assert_eq!(out.status.code(), Some(2));
}

#[test]
fn bash_takes_the_completions_and_completes() {
    let script = "source <(whichsocket completions bash); COMP_WORDS=(whichsocket ra); COMP_CWORD=1; \
                  _whichsocket whichsocket ra whichsocket; echo ${COMPREPLY[@]}";
    let out = shell(script, &[]);
    assert_eq!(
        text(&out.stdout).trim(),
        "rank rates",
        "{}",
        text(&out.stderr)
    );
}

#[test]
fn quiet_says_nothing_but_what_fails() {
    let loud = run(&["read", "samples/typed-in-haste.run"]);
    let quiet = run(&["--quiet", "read", "samples/typed-in-haste.run"]);
    assert!(!loud.stderr.is_empty());
    assert_eq!(text(&quiet.stderr), "");
    assert_eq!(loud.stdout, quiet.stdout);
    let out = run(&["rank", "-q", "no/such.run"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(text(&out.stderr).contains("no such file"));
}

/// `script` (of the Debian package bsdutils, which every Debian has) gives the program a terminal.
#[test]
fn colours_on_a_terminal_unless_they_are_not_wanted() {
    let on_terminal = |options: &str, settings: &[(&str, &str)]| {
        let rank = format!("whichsocket rank {options} samples/over-voltage.run");
        let out = shell(
            &format!("TERM=xterm script -qec '{rank}' /dev/null </dev/null"),
            settings,
        );
        assert!(
            text(&out.stdout).contains("SWITCH OFF"),
            "{}",
            text(&out.stderr)
        );
        text(&out.stdout).contains("\x1b[")
    };
    assert!(on_terminal("", &[]));
    assert!(!on_terminal("", &[("NO_COLOR", "1")]));
    assert!(!on_terminal("--color never", &[]));
    assert!(on_terminal("--color always", &[("NO_COLOR", "1")]));
}

#[test]
fn whoever_stops_reading_is_told_nothing() {
    let script = "whichsocket schema map | head -c 1 >/dev/null; echo ${PIPESTATUS[0]}; \
                  for i in 1 2 3 4 5 6 7 8; do cat samples/*.run; done | wc -c >/dev/null; \
                  whichsocket rank --json --no-next samples/*.run | head -c 1 >/dev/null; echo ${PIPESTATUS[0]}";
    let out = shell(script, &[]);
    assert_eq!(text(&out.stdout), "0\n0\n");
    assert_eq!(text(&out.stderr), "");
}

/// As DEVELOPERS.md shows it; GNU parallel is a Debian package of that name, which this test installs where it is not there.
#[test]
fn the_program_is_a_filter_under_gnu_parallel_and_in_a_pipe_step() {
    let sheets: String = (0..40)
        .map(|i| format!("{{\"name\": \"s{i}\", \"sheet\": \"board dunlin-64; memory bit {} bad; rest fine\"}}\n", i % 8))
        .collect();
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("sheets.jsonl");
    std::fs::write(&file, &sheets).unwrap();
    let file = file.display();
    let alone = shell(&format!("whichsocket rank --json --no-next - <{file}"), &[]);
    assert_eq!(
        text(&alone.stdout).lines().count(),
        40,
        "{}",
        text(&alone.stderr)
    );
    // A pipe step hands each partition to a process of its own and joins what they print.
    let parts =
        format!("split -l 11 --filter='whichsocket rank --json --no-next --threads 1 -' {file}");
    assert_eq!(shell(&parts, &[]).stdout, alone.stdout);
    let install = "command -v parallel >/dev/null || { apt-get update -q && apt-get install -y -q parallel; } >&2";
    let installed = shell(install, &[]);
    assert!(
        installed.status.success(),
        "GNU parallel is needed: {}",
        text(&installed.stderr)
    );
    let parallel = format!(
        "parallel --will-cite --pipe --keep-order --lines 11 whichsocket rank --json --no-next --threads 1 - <{file}"
    );
    let out = shell(&parallel.replace("--lines 11", "-N 11"), &[]);
    assert_eq!(
        text(&out.stdout),
        text(&alone.stdout),
        "{}",
        text(&out.stderr)
    );
}
