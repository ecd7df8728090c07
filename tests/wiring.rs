//! The shipped maps deserialise, and every pin that a board map states is on the line that the wiring facts say.

use std::path::Path;
use whichsocket::faultmap::raw::{BoardRaw, FamilyRaw};

/// Every YAML file of a folder of the shipped maps, by path.
fn texts(folder: &str) -> Vec<(String, String)> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("faultmaps")
        .join(folder);
    let mut files: Vec<_> = std::fs::read_dir(&dir)
        .unwrap_or_else(|e| panic!("{}: {e}", dir.display()))
        .map(|f| f.expect("a directory entry").path())
        .filter(|p| p.extension().is_some_and(|x| x == "yaml"))
        .collect();
    files.sort();
    files
        .into_iter()
        .map(|p| {
            (
                p.display().to_string(),
                std::fs::read_to_string(&p).expect("a readable map"),
            )
        })
        .collect()
}

#[test]
fn shipped_families_deserialise() {
    let mut bad = vec![];
    let mut n = 0;
    for (path, text) in texts("parts") {
        match serde_yaml::from_str::<FamilyRaw>(&text) {
            Ok(f) => {
                n += 1;
                if !path.ends_with(&format!("/{}.yaml", f.family)) {
                    bad.push(format!("{path}: holds family {}", f.family));
                }
            }
            Err(e) => bad.push(format!("{path}: {e}")),
        }
    }
    assert!(bad.is_empty(), "{}", bad.join("\n"));
    assert!(n > 30, "only {n} families");
}
