//! Tables in the Bayesian-network interchange format (BIF 0.15, F. Cozman, 1998: the grammar its parsers agree on).
//!
//! Names become identifiers of letters, digits and `_`, unique. What was observed stands in comments at the
//! end, `// seen VARIABLE = VALUE`: the format has no place for it that all readers accept. Numbers are written so that they read back exactly.

use super::tables::Tables;
use std::collections::BTreeSet;
use std::fmt::Write;

/// Identifiers for names, in order.
fn identifiers<'n>(names: impl Iterator<Item = &'n str>) -> Vec<String> {
    let mut used = BTreeSet::new();
    names
        .map(|name| {
            let mut id: String = name
                .chars()
                .map(|c| if c.is_ascii_alphanumeric() { c } else { '_' })
                .collect();
            if !id.starts_with(|c: char| c.is_ascii_alphabetic()) {
                id.insert_str(0, "n_");
            }
            let plain = id.clone();
            let mut count = 2;
            while !used.insert(id.clone()) {
                id = format!("{plain}__{count}");
                count += 1;
            }
            id
        })
        .collect()
}

/// The identifier of each variable.
pub fn names(tables: &Tables) -> Vec<String> {
    identifiers(tables.variables.iter().map(|v| v.name.as_str()))
}

/// The text of a network; `about` stands in its head.
pub fn write(tables: &Tables, about: &str) -> String {
    let names = names(tables);
    let values: Vec<Vec<String>> = tables
        .variables
        .iter()
        .map(|v| identifiers(v.values.iter().map(String::as_str)))
        .collect();
    let mut out = String::new();
    // Writing to a string does not fail.
    let _ = writeln!(
        out,
        "network {} {{\n}}",
        identifiers(std::iter::once(about))[0]
    );
    for (i, v) in tables.variables.iter().enumerate() {
        let list = values[i].join(", ");
        let _ = writeln!(out, "variable {} {{", names[i]);
        let _ = writeln!(out, "  type discrete [ {} ] {{ {list} }};", v.values.len());
        let _ = writeln!(out, "}}");
    }
    for (i, v) in tables.variables.iter().enumerate() {
        let rows = v.table.chunks_exact(v.values.len());
        if v.parents.is_empty() {
            let _ = writeln!(out, "probability ( {} ) {{", names[i]);
            for row in rows {
                let _ = writeln!(out, "  table {};", numbers(row));
            }
        } else {
            let parents: Vec<&str> = v.parents.iter().map(|&p| names[p].as_str()).collect();
            let _ = writeln!(
                out,
                "probability ( {} | {} ) {{",
                names[i],
                parents.join(", ")
            );
            for (k, row) in rows.enumerate() {
                let mut at = k;
                let mut of: Vec<&str> = Vec::with_capacity(parents.len());
                for &p in v.parents.iter().rev() {
                    of.push(&values[p][at % values[p].len()]);
                    at /= values[p].len();
                }
                of.reverse();
                let _ = writeln!(out, "  ({}) {};", of.join(", "), numbers(row));
            }
        }
        let _ = writeln!(out, "}}");
    }
    for (i, v) in tables.variables.iter().enumerate() {
        if let Some(seen) = v.seen {
            let _ = writeln!(out, "// seen {} = {}", names[i], values[i][seen]);
        }
    }
    out
}

/// Numbers without exponents lost: the shortest digits that read back as the same number.
fn numbers(row: &[f64]) -> String {
    let list: Vec<String> = row.iter().map(|p| format!("{p:e}")).collect();
    list.join(", ")
}

#[cfg(test)]
mod tests {
    use super::identifiers;

    #[test]
    fn identifiers_are_plain_and_unique() {
        let names = ["U10 contacts", "U10-contacts", "5V", "U10_contacts"];
        let found = identifiers(names.into_iter());
        assert_eq!(
            found,
            ["U10_contacts", "U10_contacts__2", "n_5V", "U10_contacts__3"]
        );
    }
}
