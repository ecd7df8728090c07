//! Every shipped map loads and compiles.

use std::path::Path;
use whichsocket::faultmap::{
    compile::Rates,
    load::MapFolder,
    raw::{Class, RateRaw},
};

/// Stands in for the handbook: this test is about wiring, not about rates.
struct Flat;
impl Rates for Flat {
    fn part(&self, _: &RateRaw, _: usize) -> Result<f64, String> {
        Ok(0.1)
    }
    fn socket(&self, _: usize) -> f64 {
        0.01
    }
    fn joints(&self, _: usize) -> f64 {
        0.01
    }
    fn contact(&self) -> f64 {
        0.01
    }
    fn key(&self) -> f64 {
        0.01
    }
    fn exposures(&self, _: &[(Class, Vec<(f64, f64)>)]) -> Result<[f64; 3], String> {
        Ok([1.0, 0.5, 0.1])
    }
}

#[test]
fn shipped_maps_compile() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("faultmaps");
    let (folder, mut errors) = MapFolder::read(&dir);
    let (models, more) = folder.compile(&Flat);
    errors.extend(more);
    let told: Vec<String> = errors.iter().map(|e| e.to_string()).collect();
    assert!(told.is_empty(), "\n{}", told.join("\n"));
    assert_eq!(models.len(), folder.boards.len());
    for m in &models {
        println!(
            "{}: {} units, {} modes, {} nodes, {} checks, {} touches",
            m.board,
            m.units.len(),
            m.modes.len(),
            m.nodes.len(),
            m.checks.len(),
            m.nodes.iter().map(|n| n.touches.len()).sum::<usize>()
        );
    }
}
