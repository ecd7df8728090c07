//! Coverage of the textbook tests over the textbook fault models, against the table computed beforehand by other code.

use crate::sim::functional::{always_found, faults};
use crate::sim::march::{SEQUENCES, elements};

/// Computed beforehand by other code (exhaustive simulation of four cells, sixteen start contents, both directions where left open);
/// what is published of the same tests is in [`published_claims_hold`].
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

/// What is published of these tests, in words: `true` is 'all of them', `false` 'not all'. Columns as in the table: SAF, TF, AF, and coupling
/// faults of all kinds or of one kind.
#[test]
fn published_claims_hold() {
    let kinds = faults();
    let all = |name: &str, kind: &str| {
        let test = elements(SEQUENCES.iter().find(|s| s.0 == name).unwrap().1);
        let of = kinds.iter().filter(|(k, _)| k.starts_with(kind));
        let mut faults = of.flat_map(|(_, list)| list);
        faults.all(|&f| always_found(&test, name == "Checkerboard", f))
    };
    for (name, kind, claimed) in [
        // University lecture on memory tests (VLSI Test 16.2): both find stuck cells, and not all of the rest.
        ("MSCAN", "SAF", true),
        ("MSCAN", "AF", false),
        ("MSCAN", "TF", false),
        ("MSCAN", "CF", false),
        ("Checkerboard", "SAF", true),
        ("Checkerboard", "AF", false),
        ("Checkerboard", "TF", false),
        ("Checkerboard", "CF", false),
        // van de Goor (1991), from memory: each adds something to the one before.
        ("MATS+", "SAF", true),
        ("MATS+", "AF", true),
        ("MATS+", "TF", false),
        ("MATS++", "TF", true),
        ("MATS++", "CFin", false),
        ("March X", "CFin", true),
        ("March X", "CFid", false),
        ("March C-", "CFid", true),
        ("March C-", "CFst", true),
        ("March C-", "CF", true),
    ] {
        assert_eq!(all(name, kind), claimed, "{name} {kind}");
    }
}
