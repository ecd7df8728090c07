//! Lines of several recognitions laid beside each other: the least sum of differences and gaps (S. B. Needleman and
//! C. D. Wunsch, "A general method applicable to the search for similarities in the amino acid sequence of two proteins",
//! Journal of Molecular Biology 48, 1970, pages 443–453).

/// A line as each recognition has it; `None` where it is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// One entry a recognition.
    pub variants: Vec<Option<String>>,
}

/// Cost of a line that one recognition has and the other has not; a difference of two lines costs 0 to 1.
const GAP: f32 = 0.55;
/// Recognitions longer than this are laid beside each other line by line, without looking for gaps.
const LONGEST: usize = 1_200;
/// So are those for which more pairs of characters would have to be compared than this.
const MOST_PAIRS: usize = 30_000_000;

/// One space between words, straight quotes, no marks of the recognition's own.
fn plain(line: &str) -> String {
    let line: String = line
        .chars()
        .map(|c| match c {
            '\u{2018}' | '\u{2019}' => '\'',
            '\u{201c}' | '\u{201d}' => '"',
            '\u{2013}' | '\u{2014}' => '-',
            other => other,
        })
        .collect();
    line.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The rows of all pages.
pub fn rows(pages: &[&str]) -> Vec<Row> {
    let lines =
        |page: &str| -> Vec<String> { page.lines().map(plain).filter(|l| !l.is_empty()).collect() };
    let mut rows: Vec<Row> = Vec::new();
    for (k, page) in pages.iter().enumerate() {
        let new = lines(page);
        let old: Vec<String> = rows.iter().map(common).collect();
        let mut merged = Vec::new();
        for (i, j) in pairs(&old, &new) {
            let mut row = match i {
                Some(i) => rows[i].clone(),
                None => Row {
                    variants: vec![None; k],
                },
            };
            row.variants.push(j.map(|j| new[j].clone()));
            merged.push(row);
        }
        rows = merged;
    }
    rows
}

/// The text that most recognitions have; between equals that of the first.
pub fn common(row: &Row) -> String {
    let all: Vec<&String> = row.variants.iter().flatten().collect();
    let count = |text: &String| all.iter().filter(|t| t.eq_ignore_ascii_case(text)).count();
    let mut best: Option<(usize, &String)> = None;
    for text in &all {
        if best.is_none_or(|(n, _)| count(text) > n) {
            best = Some((count(text), text));
        }
    }
    best.map(|b| b.1.clone()).unwrap_or_default()
}

/// How different two lines are, 0 to 1.
fn difference(a: &str, b: &str) -> f32 {
    if a == b {
        0.0
    } else {
        1.0 - strsim::normalized_levenshtein(a, b) as f32
    }
}

fn pairs(old: &[String], new: &[String]) -> Vec<(Option<usize>, Option<usize>)> {
    let (n, m) = (old.len(), new.len());
    let characters = |lines: &[String]| lines.iter().map(String::len).sum::<usize>();
    if n.max(m) > LONGEST || characters(old).saturating_mul(characters(new)) > MOST_PAIRS {
        let both = |k: usize, len: usize| (k < len).then_some(k);
        return (0..n.max(m)).map(|k| (both(k, n), both(k, m))).collect();
    }
    let mut cost = vec![vec![0f32; m + 1]; n + 1];
    for (i, row) in cost.iter_mut().enumerate() {
        row[0] = i as f32 * GAP;
    }
    for (j, cell) in cost[0].iter_mut().enumerate() {
        *cell = j as f32 * GAP;
    }
    let reach = n.abs_diff(m) + 40;
    let differ = |i: usize, j: usize| {
        if i.abs_diff(j) > reach {
            2.0
        } else {
            difference(&old[i], &new[j])
        }
    };
    for i in 1..=n {
        for j in 1..=m {
            let both = cost[i - 1][j - 1] + differ(i - 1, j - 1);
            cost[i][j] = both.min(cost[i - 1][j] + GAP).min(cost[i][j - 1] + GAP);
        }
    }
    let (mut i, mut j, mut out) = (n, m, Vec::new());
    while i > 0 || j > 0 {
        let both =
            i > 0 && j > 0 && (cost[i - 1][j - 1] + differ(i - 1, j - 1) - cost[i][j]).abs() < 1e-4;
        if both {
            (i, j) = (i - 1, j - 1);
            out.push((Some(i), Some(j)));
        } else if i > 0 && (cost[i - 1][j] + GAP - cost[i][j]).abs() < 1e-4 {
            i -= 1;
            out.push((Some(i), None));
        } else {
            j -= 1;
            out.push((None, Some(j)));
        }
    }
    out.reverse();
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lost_and_doubled_lines_stand_alone() {
        let rows = rows(&[
            "a b c\nmemory bad\nrest fine",
            "a b c\nmem0ry bad\nvoice 2 dead\nrest fine",
        ]);
        let texts: Vec<Vec<Option<&str>>> = rows
            .iter()
            .map(|r| r.variants.iter().map(|v| v.as_deref()).collect())
            .collect();
        assert_eq!(texts[1], [Some("memory bad"), Some("mem0ry bad")]);
        assert_eq!(texts[2], [None, Some("voice 2 dead")]);
        assert_eq!(rows.len(), 4);
    }
}
