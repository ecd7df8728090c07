//! Coverage of the textbook tests over the textbook fault models, against the table computed beforehand by other code.

use crate::sim::functional::{always_found, faults};
use crate::sim::march::{SEQUENCES, elements};

/// `march_coverage_computed.csv` of the facts that the project was given: exhaustive simulation of four cells, sixteen start contents, both
/// directions where left open. It agrees with van de Goor (1991), from memory: MATS+ finds SAF and AF, MATS++ adds TF, March X
/// CFin, March C- CFid and CFst; and with the coverage table of a university lecture (VLSI Test 16.2).
const TABLE: [(&str, usize, [usize; 6]); 10] = [
    ("MSCAN", 4, [8, 4, 8, 0, 0, 24]),
    ("MATS", 4, [8, 4, 32, 12, 0, 24]),
    ("MATS+", 5, [8, 4, 44, 18, 18, 36]),
    ("MATS++", 6, [8, 8, 44, 18, 18, 36]),
    ("March X", 6, [8, 8, 44, 24, 24, 36]),
    ("March Y", 8, [8, 8, 44, 24, 24, 36]),
    ("March C-", 10, [8, 8, 44, 24, 48, 48]),
    ("March A", 15, [8, 8, 44, 24, 48, 48]),
    ("March B", 17, [8, 8, 44, 24, 48, 48]),
    ("Checkerboard", 4, [8, 4, 32, 6, 6, 30]),
];

/// How many faults of each kind there are.
const MODELLED: [usize; 6] = [8, 8, 44, 24, 48, 48];

#[test]
fn coverage_equals_the_table() {
    let kinds = faults();
    assert_eq!(kinds.each_ref().map(|(_, all)| all.len()), MODELLED);
    for (name, length, expected) in TABLE {
        let sequence = SEQUENCES.iter().find(|s| s.0 == name).unwrap().1;
        let test = elements(sequence);
        let operations: usize = test.iter().map(|e| e.ops.len()).sum();
        assert_eq!(operations, length, "{name}: length");
        let found = kinds.each_ref().map(|(_, all)| {
            let checker = name == "Checkerboard";
            all.iter()
                .filter(|&&f| always_found(&test, checker, f))
                .count()
        });
        assert_eq!(found, expected, "{name}");
    }
}

/// Where the file is at hand, it says the same as the table above.
#[test]
fn the_table_is_that_of_the_file() {
    let here = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let places = ["../shared", "../../shared"]
        .map(|p| here.join(p).join("facts/march_coverage_computed.csv"));
    let Some(path) = places.iter().find(|p| p.exists()) else {
        return;
    };
    let text = std::fs::read_to_string(path).unwrap();
    let rows = text.lines().skip(1).map(|l| {
        let of = |f: &str| f.split('/').next().unwrap().parse::<usize>().unwrap();
        let f: Vec<&str> = l.split(',').collect();
        let length: usize = f[1].trim_end_matches('N').parse().unwrap();
        let counts: [usize; 6] = std::array::from_fn(|i| of(f[2 + i]));
        (f[0].to_string(), length, counts)
    });
    let ours = TABLE.map(|(n, l, c)| (n.to_string(), l, c));
    assert_eq!(rows.collect::<Vec<_>>(), ours);
}
