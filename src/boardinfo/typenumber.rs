//! Type numbers as printed on chips: makers put letters before and after them.

/// Whether what is printed is this type: `SN74LS257AN` is a 74LS257, `27128` is no 2712.
///
/// The type must stand in the print with no digit before or after it, and without letters that make another type of it
/// (74 257 and 74LS257 differ).
///
/// ```
/// use whichsocket::boardinfo::typenumber::is_type;
/// assert!(is_type("XX74LS257AN", "74LS257"));
/// assert!(is_type("ZZ4164-15", "4164") && is_type("6526a", "6526A"));
/// assert!(!is_type("27128", "2712") && !is_type("74LS04", "7404"));
/// ```
pub fn is_type(printed: &str, known: &str) -> bool {
    let plain = |s: &str| -> Vec<u8> {
        let kept = s.bytes().filter(u8::is_ascii_alphanumeric);
        kept.map(|b| b.to_ascii_uppercase()).collect()
    };
    let printed_parts = printed.split(|c: char| !c.is_ascii_alphanumeric());
    let known = plain(known);
    if known.is_empty() {
        return false;
    }
    // A speed grade after a hyphen is no part of the number; a type with a hyphen of its own is met as a whole.
    let whole = plain(printed);
    let mut candidates: Vec<Vec<u8>> = printed_parts.map(plain).collect();
    candidates.push(whole);
    candidates.iter().any(|p| holds(p, &known))
}

fn holds(printed: &[u8], known: &[u8]) -> bool {
    printed.windows(known.len()).enumerate().any(|(i, w)| {
        let digit = |at: Option<&u8>| at.is_some_and(u8::is_ascii_digit);
        let before = i.checked_sub(1).and_then(|j| printed.get(j));
        let clear = match known[0].is_ascii_digit() {
            true => !digit(before),
            false => !before.is_some_and(u8::is_ascii_alphanumeric),
        };
        w == known && clear && !digit(printed.get(i + known.len()))
    })
}

/// How many and which: `8x4164` is eight of 4164, `4164x8` too.
///
/// ```
/// use whichsocket::boardinfo::typenumber::counted;
/// assert_eq!(counted("8x4164"), (8, "4164"));
/// assert_eq!(counted("4164x2"), (2, "4164"));
/// assert_eq!(counted("2114"), (1, "2114"));
/// ```
pub fn counted(word: &str) -> (usize, &str) {
    let split = |c: char| matches!(c, 'x' | 'X' | '×' | '*');
    let small = |s: &str| (s.len() <= 2).then(|| s.parse::<usize>().ok()).flatten();
    if let Some((n, rest)) = word.split_once(split)
        && let Some(n) = small(n).filter(|n| *n > 0)
        && rest.len() >= 3
    {
        return (n, rest);
    }
    if let Some((rest, n)) = word.rsplit_once(split)
        && let Some(n) = small(n).filter(|n| *n > 0)
        && rest.len() >= 3
        && rest.bytes().all(|b| b.is_ascii_digit())
    {
        return (n, rest);
    }
    (1, word)
}
