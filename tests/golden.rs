//! Every sample's report, as a person and as a program sees it.

use std::path::Path;
use whichsocket::report::build::{Wanted, view};
use whichsocket::report::view::RankingView;
use whichsocket::sheet::parse;
use whichsocket::shipped::Library;

/// What `rank` makes of a sample.
fn ranked(path: &Path) -> RankingView {
    let name = format!("samples/{}", path.file_name().unwrap().to_string_lossy());
    let sheet = parse(&name, &std::fs::read(path).unwrap()).unwrap();
    let board = whichsocket::commands::input::board_of(&sheet)
        .expect("every sample names its board")
        .to_string();
    let model = Library::default().board(&board).unwrap();
    let sheets = [sheet];
    let ranking = whichsocket::rank::rank(&model, &sheets).unwrap();
    let mut v = view(
        &model,
        &sheets,
        &ranking,
        Wanted {
            top: 5,
            why: true,
            slips: true,
        },
    );
    v.next = whichsocket::next::steps(&model, &ranking);
    v
}

/// Numbers to as many digits as their priors earn, so that a snapshot does not change with the last bit.
fn rounded(value: &mut serde_json::Value) {
    match value {
        serde_json::Value::Number(n) => {
            if let Some(x) = n.as_f64().filter(|x| x.fract() != 0.0) {
                *value = serde_json::json!((x * 1000.0).round() / 1000.0);
            }
        }
        serde_json::Value::Array(all) => all.iter_mut().for_each(rounded),
        serde_json::Value::Object(all) => all.values_mut().for_each(rounded),
        _ => {}
    }
}

#[test]
fn samples_in_the_terminal_and_as_json() {
    let schema = serde_json::to_value(schemars::schema_for!(RankingView)).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    insta::glob!("../samples", "*.run", |path| {
        let v = ranked(path);
        let text = anstream::adapter::strip_str(&whichsocket::report::term::ranking(&v, false))
            .to_string();
        for line in text.lines() {
            assert!(
                textwrap::core::display_width(line) <= 80,
                "wider than 80 columns: {line}"
            );
        }
        insta::assert_snapshot!("terminal", text);
        let mut json = serde_json::to_value(&v).unwrap();
        let wrong: Vec<String> = validator
            .iter_errors(&json)
            .map(|e| e.to_string())
            .collect();
        assert!(wrong.is_empty(), "not as the schema says: {wrong:?}");
        rounded(&mut json);
        insta::assert_json_snapshot!("json", json);
    });
}

#[test]
fn the_schema_can_tell_wrong_from_right() {
    let schema = serde_json::to_value(schemars::schema_for!(RankingView)).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples/all-good.run");
    let mut json = serde_json::to_value(ranked(&path)).unwrap();
    assert!(validator.is_valid(&json));
    json["suspects"] = serde_json::json!("none");
    assert!(!validator.is_valid(&json));
}
