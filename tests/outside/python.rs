//! Runs the library in an environment of its own under the build folder.

use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// What the library found for one file.
#[derive(Debug, Deserialize)]
pub struct Found {
    /// The file.
    pub file: PathBuf,
    /// Seconds for all posteriors, reading not included.
    #[allow(dead_code)]
    pub seconds: f64,
    /// Posterior of each variable.
    pub values: BTreeMap<String, Vec<f64>>,
}

/// Packages with the versions that the comparison was made with.
const PACKAGES: [&str; 2] = ["pyagrum==3.3.1", "numpy==2.4.6"];

fn run(command: &mut Command) -> String {
    let out = command
        .output()
        .unwrap_or_else(|e| panic!("{command:?}: {e}"));
    assert!(
        out.status.success(),
        "{command:?}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8(out.stdout).expect("text")
}

/// The Python of an environment with the library; made once.
pub fn python() -> &'static Path {
    static PYTHON: OnceLock<PathBuf> = OnceLock::new();
    PYTHON.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("python");
        let python = folder.join("bin/python");
        let ready = folder.join("ready");
        let wanted = PACKAGES.join("\n");
        if std::fs::read_to_string(&ready).is_ok_and(|have| have == wanted) {
            return python;
        }
        run(Command::new("python3")
            .args(["-m", "venv", "--clear"])
            .arg(&folder));
        run(Command::new(&python)
            .args(["-m", "pip", "install", "--quiet", "--no-deps"])
            .args(PACKAGES));
        std::fs::write(&ready, wanted).expect("can be written");
        python
    })
}

/// Posteriors of these files by the library.
pub fn posteriors(files: &[&Path]) -> BTreeMap<PathBuf, Found> {
    let out = run(Command::new(python())
        .arg("tests/outside/bn.py")
        .args(files));
    out.lines()
        .map(|line| {
            let found: Found = serde_json::from_str(line).expect("a result");
            (found.file.clone(), found)
        })
        .collect()
}
