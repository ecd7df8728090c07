//! Every message about a sheet beside the sheet that gives it: `tests/errors/NAME.run` and its golden text.

use std::path::{Path, PathBuf};

use whichsocket::commands::input::board_of;
use whichsocket::diag::{Diag, code, render};
use whichsocket::observe::observe;
use whichsocket::sheet::{Bench, parse_at};
use whichsocket::shipped::Library;

/// How the sample is to be read: `# options: --photo --lines 5` in its first line.
fn bench(bytes: &[u8]) -> Bench<'static> {
    let first =
        String::from_utf8_lossy(bytes.split(|b| *b == b'\n').next().unwrap_or(b"")).into_owned();
    let options: Vec<&str> = first
        .strip_prefix("# options:")
        .map_or(Vec::new(), |o| o.split_whitespace().collect());
    let after = |name: &str| options.iter().position(|o| *o == name);
    Bench {
        photo: after("--photo").is_some(),
        lines: after("--lines").map(|i| options[i + 1].parse().expect("a number")),
        ..Bench::default()
    }
}

/// What is said about a file, as at a terminal without colour; where it names a board, what is said about it there, too.
fn messages(path: &Path) -> String {
    let bytes = std::fs::read(path).expect("a sample");
    let name = path.file_name().and_then(|n| n.to_str()).expect("a name");
    let sheet = match parse_at(name, &bytes, &bench(&bytes)) {
        Ok(sheet) => sheet,
        Err(error) => return format!("{error}\n"),
    };
    let mut diags: Vec<Diag> = sheet.diags.clone();
    if let Some(board) = board_of(&sheet) {
        let model = Library::default().board(board).expect("a shipped board");
        let observed = observe(&model, std::slice::from_ref(&sheet));
        diags.extend(observed.diags.into_iter().map(|(_, d)| d));
    }
    render(&diags, name, &sheet.text, false)
}

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/errors")
}

fn codes() -> impl Iterator<Item = &'static str> {
    code::SHEET.iter().chain(code::BOARD).map(|(code, _)| *code)
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
    for code in codes() {
        let path = samples().join(format!("{code}.run"));
        assert!(path.exists(), "no sample for {code}");
        let said = messages(&path);
        assert!(said.contains(&format!("[{code}]")), "{code}: {said}");
        assert!(
            samples().join(format!("{code}.snap")).exists(),
            "no golden text for {code}"
        );
    }
}

/// No code stands in the source that is not in the lists, so that none can lack a sample.
#[test]
fn every_code_in_the_source_is_in_the_lists() {
    let mut files = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    let mut seen = 0;
    while let Some(path) = files.pop() {
        if path.is_dir() {
            files.extend(
                std::fs::read_dir(&path)
                    .expect("a folder")
                    .flatten()
                    .map(|e| e.path()),
            );
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("a source file");
        let bare = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for written in ["code: \"", "warn( \"", "warn(\""] {
            assert!(
                !bare.contains(written),
                "{}: a code written out after {written}",
                path.display()
            );
        }
        seen += bare.matches("code::").count();
    }
    assert!(seen > 15, "the codes are used by name: {seen}");
}

#[test]
fn messages_keep_to_eighty_columns() {
    for code in codes().filter(|code| *code != code::LINE_TOO_LONG) {
        for line in messages(&samples().join(format!("{code}.run"))).lines() {
            assert!(line.chars().count() <= 80, "{code}: {line}");
        }
    }
}
