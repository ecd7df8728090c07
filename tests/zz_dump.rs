use std::path::Path;
use whichsocket::faultmap::load::MapFolder;
use whichsocket::prior::rates::Handbook;
#[test]
fn dump() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("faultmaps");
    let (folder, e) = MapFolder::read(&dir);
    assert!(e.is_empty(), "{e:?}");
    let (models, e) = folder.compile(&Handbook);
    assert!(e.is_empty(), "{e:?}");
    let m = models.iter().find(|m| m.board.starts_with("64k")).unwrap();
    let want = std::env::var("UNIT").unwrap_or_default();
    for (i, mode) in m.modes.iter().enumerate() {
        let u = &m.units[mode.unit as usize];
        let all = want == "*";
        if !(all || u.name == want || u.name.starts_with(&format!("{want} "))) { continue; }
        let mut out = vec![];
        for c in &m.checks {
            let mut best: (f32, String) = (0.0, String::new());
            for r in &c.reads {
                for t in m.nodes[r.node as usize].touches.iter().filter(|t| t.mode == i as u32) {
                    let s = t.strength * r.weight;
                    if s > best.0 { best = (s, format!("{:?}", t.kind)); }
                    
                }
            }
            if best.0 > 0.02 { out.push(format!("{}={:.2}{}", c.id, best.0, &best.1[..2])); }
        }
        let rep = m.nodes[m.node("report").unwrap() as usize].touches.iter().filter(|t| t.mode == i as u32).map(|t| t.strength).fold(0.0, f32::max);
        if all {
            if out.is_empty() { println!("SILENT {} / {} rep {rep:.2}", u.name, mode.what); }
            continue;
        }
        if std::env::var("NOKEY").is_ok() { out.retain(|o| !o.starts_with("key.")); }
        println!("{} / {} [report {rep:.2}] {}", u.name, mode.what, out.join(" "));
        if std::env::var("LINES").is_ok() {
            let l: Vec<String> = m.nodes.iter().filter(|n| n.line).flat_map(|n| n.touches.iter().filter(|t| t.mode == i as u32).map(move |t| format!("{}={:?}{:.2}", n.name, t.kind, t.strength))).collect();
            println!("    {}", l.join(" "));
        }
    }
}
