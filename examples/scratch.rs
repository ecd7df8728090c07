use std::path::Path;
use whichsocket::faultmap::{load::MapFolder, model::*};
use whichsocket::prior::{handbook::Handbook, exposure::*, common::CommonTable};
fn main() {
    let dir = std::env::args().nth(1).unwrap();
    let only: Vec<String> = std::env::args().skip(2).collect();
    let (folder, mut errors) = MapFolder::read(Path::new(&dir));
    let (models, more) = folder.compile(&Handbook);
    errors.extend(more);
    for e in &errors { println!("{e}"); }
    for m in &models {
        println!("{}: {} units {} modes {} nodes {} checks", m.board, m.units.len(), m.modes.len(), m.nodes.len(), m.checks.len());
        let total: f64 = m.modes.iter().map(|x| x.rate).sum();
        println!("total {total}");
        let mut by: std::collections::BTreeMap<String,f64> = Default::default();
        for f in &m.modes { let u=&m.units[f.unit as usize]; *by.entry(format!("{:?}", u.class)).or_default() += f.rate; }
        println!("{by:?}");
        let rates: Vec<Rate> = m.units.iter().map(|u| { let v: Vec<(f64,f64)> = m.modes[u.modes.start as usize..u.modes.end as usize].iter().map(|f| (f.rate,f.notice)).collect(); Rate::of_modes(u.class,&v)}).collect();
        let t=std::time::Instant::now();
        let ex = solve(&rates,&CommonTable::shipped(),FAULTS_CAME_IN_FAULTY,true).unwrap();
        println!("exposure {ex:?} in {:?}", t.elapsed());
        let mut us: Vec<_> = m.units.iter().zip(&rates).map(|(u,r)| (ex.probability(r.per_million,1.0), u.name.clone(), r.notice)).collect();
        us.sort_by(|a,b| b.0.total_cmp(&a.0));
        for u in us.iter().take(40) { println!("  {:.4} {} notice {:.2}", u.0,u.1,u.2); }
        // nothing seen
        let mut reach = vec![Vec::<(String,Kind,f32)>::new(); m.modes.len()];
        for c in &m.checks { for r in &c.reads { for t in &m.nodes[r.node as usize].touches { reach[t.mode as usize].push((c.id.clone(), t.kind, t.strength*r.weight)); } } }
        let rep = m.node("report").unwrap();
        for t in &m.nodes[rep as usize].touches { reach[t.mode as usize].push(("REPORT".into(), t.kind, t.strength)); }
        for (i,f) in m.modes.iter().enumerate() {
            let u=&m.units[f.unit as usize];
            if reach[i].is_empty() { println!("UNSEEN {} {} rate {:.5}", u.name, f.what, f.rate); }
            if only.iter().any(|o| o==&u.name) {
                let mut best: std::collections::BTreeMap<(String,Kind),f32> = Default::default();
                for (c,k,s) in &reach[i] { let e=best.entry((c.clone(),*k)).or_default(); if *s>*e {*e=*s;} }
                let keys = best.keys().filter(|k| k.0.starts_with("key.")).count();
                let txt: Vec<String> = best.iter().filter(|(k,_)| keys<12 || !k.0.starts_with("key.")).map(|((c,k),s)| format!("{c}:{k:?}={s:.2}")).collect();
                println!("{} | {} | {:.4} | keys {} | {}", u.name, f.what, f.rate, keys, txt.join(" "));
            }
        }
    }
}
