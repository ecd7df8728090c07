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

fn main() {
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
}
