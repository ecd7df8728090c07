//! The tour of the README is what the program prints.

use std::path::Path;
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
