//! Every message about a sheet beside the sheet that gives it: `tests/errors/NAME.run` and its golden text.

use std::path::Path;

use whichsocket::diag::{code, render};
use whichsocket::sheet::parse;

/// What is said about a file, as at a terminal without colour.
fn messages(path: &Path) -> String {
    let bytes = std::fs::read(path).expect("a sample");
    let name = path.file_name().and_then(|n| n.to_str()).expect("a name");
    match parse(name, &bytes) {
        Ok(sheet) => render(&sheet.diags, name, &sheet.text, false),
        Err(error) => format!("{error}\n"),
    }
}

#[test]
fn golden_messages() {
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("errors");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| {
        insta::glob!("errors/*.run", |path| {
            let stem = path.file_stem().and_then(|s| s.to_str()).expect("a name").to_string();
            insta::with_settings!({ snapshot_suffix => "" }, { insta::assert_snapshot!(stem, messages(path)) });
        });
    });
}

#[test]
fn every_code_has_a_sample_that_gives_it() {
    for (code, _) in code::SHEET {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/errors")
            .join(format!("{code}.run"));
        assert!(path.exists(), "no sample for {code}");
        let said = messages(&path);
        assert!(said.contains(&format!("[{code}]")), "{code}: {said}");
    }
}

#[test]
fn messages_keep_to_eighty_columns() {
    for (code, _) in code::SHEET
        .iter()
        .filter(|(code, _)| *code != code::LINE_TOO_LONG)
    {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/errors")
            .join(format!("{code}.run"));
        for line in messages(&path).lines() {
            assert!(line.chars().count() <= 80, "{code}: {line}");
        }
    }
}
