//! Compiles the shipped board maps into the binary, so that nothing is parsed at start.

#[path = "faultmap/mod.rs"]
#[allow(dead_code)]
mod faultmap;
#[path = "prior/mod.rs"]
#[allow(dead_code)]
mod prior;
mod sheet {
    #[path = "statement.rs"]
    #[allow(dead_code)]
    mod statement;
    pub use statement::Intake;
}

use std::path::Path;

/// A program at a fixed address, whose calls into libraries are looked up when first made: nothing in its tables is put right at start.
/// It is safe code throughout that reads local text, and starts once a sheet.
fn link_for_a_quick_start() {
    let target = |what: &str| std::env::var(format!("CARGO_CFG_TARGET_{what}")).unwrap_or_default();
    let shared = !target("FEATURE").split(',').any(|f| f == "crt-static");
    if target("OS") == "linux" && target("ENV") == "gnu" && shared {
        println!("cargo::rustc-link-arg-bins=-no-pie");
        println!("cargo::rustc-link-arg-bins=-Wl,-z,lazy");
    }
}

fn main() {
    link_for_a_quick_start();
    for input in [
        "faultmaps",
        "src/faultmap",
        "src/prior",
        "src/sheet/statement.rs",
        "src/build.rs",
    ] {
        println!("cargo::rerun-if-changed={input}");
    }
    let (folder, mut errors) = faultmap::load::MapFolder::read(Path::new("faultmaps"));
    let (models, more) = folder.compile(&prior::rates::Handbook);
    errors.extend(more);
    for error in &errors {
        println!("cargo::error={error}");
    }
    if !errors.is_empty() {
        return;
    }
    let out = std::env::var("OUT_DIR").expect("cargo sets OUT_DIR");
    let mut index = String::from("&[\n");
    for model in &models {
        let bytes = postcard::to_stdvec(model).expect("a model can be written down");
        let file = Path::new(&out).join(format!("{}.bin", model.board));
        std::fs::write(&file, bytes).expect("OUT_DIR can be written");
        index += &format!(
            "    ({:?}, {:?}, include_bytes!({:?})),\n",
            model.board, model.what, file
        );
    }
    index += "]\n";
    std::fs::write(Path::new(&out).join("boards.rs"), index).expect("OUT_DIR can be written");
    maps(&folder, Path::new(&out));
}

/// The maps as typed, for what needs more than the compiled model: their texts, and all of them parsed.
fn maps(folder: &faultmap::load::MapFolder, out: &Path) {
    let here = std::env::var("CARGO_MANIFEST_DIR").expect("cargo sets CARGO_MANIFEST_DIR");
    let mut errors = Vec::new();
    let mut list = String::from("&[\n");
    for (file, _) in faultmap::load::texts(Path::new("faultmaps"), &mut errors) {
        let path = Path::new(&here).join(&file);
        list += &format!("    ({file:?}, include_str!({path:?})),\n");
    }
    list += "]\n";
    std::fs::write(out.join("texts.rs"), list).expect("OUT_DIR can be written");
    let raw = (&folder.families, &folder.boards);
    let bytes = postcard::to_stdvec(&raw).expect("the maps can be written down");
    std::fs::write(out.join("raw.bin"), bytes).expect("OUT_DIR can be written");
}
