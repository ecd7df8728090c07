//! The commands of README.md and DEVELOPERS.md: those of the program are executed (the tour's output compared), those of the
//! build tool are held against the targets, tests and files that are there.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The README with the output of every `$ whichsocket …` of its console blocks as it is now.
fn refreshed(readme: &str) -> (String, usize) {
    let (mut out, mut inside, mut skipping, mut commands) = (String::new(), false, false, 0);
    for line in readme.lines() {
        if line.starts_with("```") {
            (inside, skipping) = (line == "```console", false);
        }
        let command = line
            .strip_prefix("$ ")
            .filter(|c| inside && c.contains("whichsocket"));
        if skipping && command.is_none() {
            continue;
        }
        out += line;
        out.push('\n');
        if let Some(command) = command {
            commands += 1;
            skipping = true;
            let bin = Path::new(env!("CARGO_BIN_EXE_whichsocket"))
                .parent()
                .unwrap();
            let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap());
            let run = Command::new("sh")
                .args(["-c", command])
                .env("PATH", path)
                .current_dir(env!("CARGO_MANIFEST_DIR"))
                .output()
                .unwrap();
            assert!(
                run.status.success(),
                "{command}: {}",
                String::from_utf8_lossy(&run.stderr)
            );
            out += &String::from_utf8(run.stdout).unwrap();
        }
    }
    (out, commands)
}

/// `UPDATE_README=1 cargo test --test readme` writes the present output into the README.
#[test]
fn the_tour_is_real() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let readme = std::fs::read_to_string(&path).unwrap();
    let (now, commands) = refreshed(&readme);
    assert!(commands >= 5, "the tour has lost its commands");
    if std::env::var_os("UPDATE_README").is_some() {
        std::fs::write(&path, now).unwrap();
    } else {
        assert!(
            now == readme,
            "the README shows other output than the program prints now:\n{now}"
        );
    }
}

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// What became of a command that a document shows.
#[derive(Debug, PartialEq, Eq)]
enum Met {
    /// It was run, and ended well.
    Executed,
    /// It is too long for a test: all that it names is there.
    Resolved,
}

/// Commands of a document: lines of its `sh` blocks, and code within its text.
fn commands(document: &str) -> Vec<String> {
    let text = std::fs::read_to_string(Path::new(ROOT).join(document)).unwrap();
    let (mut out, mut plain, mut block) = (Vec::new(), String::new(), None);
    for line in text.lines() {
        if let Some(kind) = line.strip_prefix("```") {
            block = if block.is_some() { None } else { Some(kind) };
        } else if block == Some("sh") {
            let command = line.split(" #").next().unwrap_or(line).trim();
            out.extend((!command.is_empty()).then(|| command.to_string()));
        } else if block.is_none() {
            plain += line;
            plain.push(' ');
        }
    }
    let code = plain.split('`').skip(1).step_by(2);
    let begins = [
        "cargo ",
        "whichsocket ",
        "tests/fuzz/run",
        "tests/full",
        ".ci/run",
        "valgrind ",
    ];
    out.extend(
        code.filter(|c| begins.iter().any(|b| c.starts_with(b)))
            .map(String::from),
    );
    out
}

/// Runs the built program with these words of a shell.
fn run(words: &str) -> Met {
    let bin = Path::new(env!("CARGO_BIN_EXE_whichsocket"))
        .parent()
        .unwrap();
    let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap());
    let out = Command::new("sh")
        .args(["-c", &format!("whichsocket {words}")])
        .env("PATH", path)
        .current_dir(ROOT)
        .output()
        .unwrap();
    assert!(
        out.status.success() && !out.stdout.is_empty(),
        "whichsocket {words}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
    Met::Executed
}

/// A command of the program: run as it stands, or with `--help` when a word of it stands for something else (`BOARD`).
fn program(words: &str) -> Met {
    let stands_for = |w: &str| w.len() > 1 && w.chars().all(|c| c.is_ascii_uppercase());
    if !words.split(' ').any(stands_for) {
        return run(words);
    }
    let named = words
        .split(' ')
        .take_while(|w| !stands_for(w) && !w.starts_with('-'));
    run(&format!("{} --help", named.collect::<Vec<_>>().join(" ")));
    Met::Resolved
}

/// All Rust sources below a folder of the project.
fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

/// Whether a test target has a function whose path holds this filter.
fn has_test(target: &str, filter: &str) -> bool {
    let root = Path::new(ROOT).join("tests");
    let mut files = vec![root.join(format!("{target}.rs"))];
    if root.join(target).is_dir() {
        sources(&root.join(target), &mut files);
    }
    files.iter().any(|f| {
        let text = std::fs::read_to_string(f).unwrap_or_default();
        let mut names = text.lines().filter_map(|l| l.trim().strip_prefix("fn "));
        names.any(|name| name.split('(').next().unwrap_or(name).contains(filter))
            || text.contains(&format!("mod {filter}"))
    })
}

/// A command of the build tool: its targets and tests are there.
fn of_cargo(command: &str) -> Met {
    let words: Vec<&str> = command.split_whitespace().collect();
    if let ["cargo", "run", "--quiet", "--", arguments @ ..] = &words[..] {
        return run(&arguments.join(" "));
    }
    let manifest = std::fs::read_to_string(Path::new(ROOT).join("Cargo.toml")).unwrap();
    let verbs = ["test", "bench", "build", "install", "fmt", "clippy", "doc"];
    assert!(
        verbs.contains(&words[1]),
        "{command}: no verb of the build tool that is known here"
    );
    let mut target = None;
    for pair in words.windows(2) {
        match pair {
            ["--test", name] => {
                let file = Path::new(ROOT).join(format!("tests/{name}.rs"));
                let stated = manifest.contains(&format!("name = \"{name}\""));
                assert!(file.exists() || stated, "{command}: no test target {name}");
                target = Some(*name);
            }
            ["--bench", name] => assert!(
                manifest.contains(&format!("path = \"tests/bench/{name}.rs\"")),
                "{command}: no bench {name}"
            ),
            _ => {}
        }
    }
    let after = words.iter().skip_while(|w| **w != "--test").skip(2);
    for filter in after.filter(|w| !w.starts_with('-')) {
        let target = target.expect("a filter stands behind its target");
        assert!(
            has_test(target, filter),
            "{command}: no test {filter} in {target}"
        );
    }
    Met::Resolved
}

fn met(command: &str) -> Met {
    // Settings may stand before it.
    let at = command
        .find("cargo ")
        .filter(|_| command.contains('='))
        .unwrap_or(0);
    let words: Vec<&str> = command[at..].split(' ').collect();
    let bare = words.join(" ").replace('\'', " ");
    let built = "target/release/whichsocket ";
    match words[0] {
        "cargo" => of_cargo(&words.join(" ")),
        "whichsocket" => program(&words[1..].join(" ")),
        // What is measured is run; how long it takes, or how much it needs, is not a matter of a test.
        _ if bare.contains(built) => run(bare.split(built).last().unwrap_or_default().trim()),
        file => {
            let path = Path::new(ROOT).join(file);
            let text = std::fs::read_to_string(&path).unwrap_or_default();
            assert!(
                text.starts_with("#!"),
                "{command}: {file} is no script of the project"
            );
            Met::Resolved
        }
    }
}

/// The tour has its own test; this is every other command of both documents.
#[test]
fn the_other_commands_are_executed_or_name_what_is_there() {
    for (document, at_least) in [("README.md", 6), ("DEVELOPERS.md", 9)] {
        let all = commands(document);
        assert!(
            all.len() >= at_least,
            "{document} has lost its commands: {all:?}"
        );
        for command in all {
            println!("{document}: {command}: {:?}", met(&command));
        }
    }
}

/// Every line that the tour shows as typed is one that [`the_tour_is_real`] runs.
#[test]
fn the_tour_shows_nothing_that_is_not_run() {
    let readme = std::fs::read_to_string(Path::new(ROOT).join("README.md")).unwrap();
    let typed: Vec<&str> = readme.lines().filter(|l| l.starts_with("$ ")).collect();
    assert!(typed.len() >= 10, "{typed:?}");
    for line in typed {
        assert!(line.contains("whichsocket"), "{line} is not run");
    }
}
