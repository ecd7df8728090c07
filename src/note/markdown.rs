//! The note as Markdown: CommonMark with tables. What people typed is escaped, so that it shows as typed, and only where
//! it has to be, so that it reads well pasted as plain text.

use super::figure_text::figure;
use super::model::Note;
use super::page::*;
use std::fmt::Write as _;
use textwrap::core::display_width;

/// The note as Markdown.
pub fn render(note: &Note) -> String {
    let page = Page::of(note);
    let mut m = Markdown {
        out: String::new(),
        bullet: None,
    };
    m.para(&format!("# {}", escape(&page.title, Place::Heading)));
    m.para(&escape(&page.under, Place::Start));
    let mut glance = vec![("Status".to_string(), page.status.1.clone())];
    glance.extend(
        page.stop
            .iter()
            .map(|s| ("SWITCH OFF".to_string(), s.clone())),
    );
    glance.extend(
        page.complaint
            .iter()
            .map(|c| ("Complaint".to_string(), c.clone())),
    );
    glance.extend(page.next.iter().map(|n| ("Next".to_string(), n.clone())));
    glance.extend(page.glance.iter().map(|(l, t)| (l.to_string(), t.clone())));
    m.facts(&glance);
    for section in &page.sections {
        m.para(&format!("## {}", escape(section.title, Place::Heading)));
        for block in &section.blocks {
            m.block(note, block);
        }
    }
    m.out.truncate(m.out.trim_end().len());
    m.out.push('\n');
    m.out
}

struct Markdown {
    out: String,
    /// The bullets of the list just written: a list that follows at once takes the other kind, or both would be one.
    bullet: Option<char>,
}

impl Markdown {
    fn para(&mut self, text: &str) {
        self.bullet = None;
        let _ = writeln!(self.out, "{text}\n");
    }

    fn items(&mut self, items: impl Iterator<Item = String>) {
        let bullet = if self.bullet == Some('-') { '*' } else { '-' };
        for item in items {
            let _ = writeln!(self.out, "{bullet} {item}");
        }
        self.out.push('\n');
        self.bullet = Some(bullet);
    }

    fn facts(&mut self, facts: &[(String, String)]) {
        self.items(facts.iter().map(fact));
    }

    fn block(&mut self, note: &Note, block: &Block) {
        match block {
            Block::Head(text) => self.para(&format!("### {}", escape(text, Place::Heading))),
            Block::Para(text) => self.para(&escape(text, Place::Start)),
            Block::Caution(text) => self.para(&format!("> {}", escape(text, Place::Start))),
            Block::Facts(facts) => self.facts(facts),
            Block::List(all) => self.items(all.iter().map(|t| escape(t, Place::Start))),
            Block::Seen(all) => self.items(all.iter().map(seen)),
            Block::Steps(all) => {
                for (i, s) in all.iter().enumerate() {
                    let first = format!("{}. ", i + 1);
                    let indent = " ".repeat(first.len());
                    let _ = writeln!(
                        self.out,
                        "{first}{}: **{}**",
                        escape(&s.what, Place::Start),
                        escape(&s.verdict, Place::Inside)
                    );
                    for f in &s.facts {
                        let _ = writeln!(self.out, "{indent}- {}", fact(f));
                    }
                }
                self.out.push('\n');
            }
            Block::Table(t) => self.table(t),
            Block::Figure(f) => {
                if let Some(text) = figure(note, *f) {
                    self.para(&format!(
                        "```text\n{}\n```",
                        text.trim_end().replace('`', "'")
                    ));
                }
            }
        }
    }

    /// Columns padded, so that the source reads as a table too.
    fn table(&mut self, t: &Table) {
        self.bullet = None;
        let cells = |r: &Vec<String>| r.iter().map(|c| escape(c, Place::Cell)).collect::<Vec<_>>();
        let (head, rows) = (cells(&t.head), t.rows.iter().map(cells).collect::<Vec<_>>());
        let widths: Vec<usize> = (0..head.len())
            .map(|c| {
                rows.iter()
                    .chain([&head])
                    .map(|r| display_width(&r[c]))
                    .max()
                    .unwrap_or(0)
                    .max(3)
            })
            .collect();
        let mut line = |r: &[String]| {
            let padded = r
                .iter()
                .zip(&widths)
                .map(|(c, w)| format!("{c}{}", " ".repeat(w - display_width(c))));
            let _ = writeln!(self.out, "| {} |", padded.collect::<Vec<_>>().join(" | "));
        };
        line(&head);
        line(&widths.iter().map(|w| "-".repeat(*w)).collect::<Vec<_>>());
        rows.iter().for_each(|r| line(r));
        self.out.push('\n');
    }
}

fn fact((label, text): &(String, String)) -> String {
    format!(
        "**{}:** {}",
        escape(label, Place::Inside),
        escape(text, Place::Inside)
    )
}

fn seen(s: &Seen) -> String {
    let more = s
        .more
        .as_ref()
        .map(|m| format!(" ({})", escape(m, Place::Inside)))
        .unwrap_or_default();
    match s.word {
        "" => format!("{}{more}", escape(&s.text, Place::Start)),
        word => format!("**{word}:** {}{more}", escape(&s.text, Place::Inside)),
    }
}

/// Where a text stands: signs that open a block matter only at the start of one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// First of its block.
    Start,
    /// After something else on its line.
    Inside,
    /// A heading.
    Heading,
    /// In a cell of a table.
    Cell,
}

/// A text so written that a CommonMark parser shows it as it is. Blanks at its ends and runs of blanks become one blank.
pub fn escape(text: &str, place: Place) -> String {
    let words: Vec<&str> = text
        .split(|c: char| c.is_whitespace() || c.is_control())
        .filter(|w| !w.is_empty())
        .collect();
    let text: Vec<char> = words.join(" ").chars().collect();
    let mut out = String::new();
    for (i, &c) in text.iter().enumerate() {
        let before = i.checked_sub(1).map(|k| text[k]);
        if must_escape(c, before, &text[i + 1..], place)
            || (i == 0 && place == Place::Start && opens_block(&text))
        {
            out.push('\\');
        }
        out.push(c);
        // `1.` and `1)` open a numbered list: the sign after the number is escaped, not the number.
        if i + 1 == number_before_mark(&text, place) {
            out.push('\\');
        }
    }
    out
}

fn must_escape(c: char, before: Option<char>, rest: &[char], place: Place) -> bool {
    let after = rest.first().copied();
    let word = |c: Option<char>| c.is_some_and(char::is_alphanumeric);
    match c {
        '`' | '*' | '[' | '<' | '~' | '$' => true,
        '|' => place == Place::Cell,
        // Inside a word (`RES_N`) an underscore means nothing.
        '_' => !(word(before) && word(after)),
        '&' => is_entity(rest),
        '\\' => after.is_none_or(|a| a.is_ascii_punctuation()),
        // `# heading #`: closing signs of a heading.
        '#' => place == Place::Heading,
        _ => false,
    }
}

/// Whether what follows `&` makes an entity of it (`&amp;`, `&#124;`).
fn is_entity(rest: &[char]) -> bool {
    let end = rest
        .iter()
        .position(|c| !(c.is_ascii_alphanumeric() || *c == '#'));
    end.is_some_and(|e| e > 0 && rest[e] == ';')
}

/// Whether the first sign of a block would make something else of it.
fn opens_block(text: &[char]) -> bool {
    matches!(text.first(), Some('#' | '>' | '+' | '-' | '='))
}

/// Digits at the start that are followed by `.` or `)`: how many; 0 when there are none.
fn number_before_mark(text: &[char], place: Place) -> usize {
    let digits = text.iter().take_while(|c| c.is_ascii_digit()).count();
    let marked = matches!(text.get(digits), Some('.' | ')'));
    if place == Place::Start && marked {
        digits
    } else {
        0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_the_bench_stay_readable() {
        for plain in [
            "RES_N high",
            "5V_VIDEO 4.9 V",
            "R&D",
            "+5V: 4.98 V",
            "a > b",
            "C:\\dir",
            "50 %",
        ] {
            assert_eq!(escape(plain, Place::Inside), plain);
        }
    }

    #[test]
    fn signs_with_a_meaning_are_escaped_where_they_have_one() {
        assert_eq!(
            escape("*hot* _really_", Place::Inside),
            "\\*hot\\* \\_really\\_"
        );
        assert_eq!(escape("# 5", Place::Start), "\\# 5");
        assert_eq!(escape("1. try", Place::Start), "1\\. try");
        assert_eq!(escape("1. try", Place::Inside), "1. try");
        assert_eq!(escape("a|b", Place::Cell), "a\\|b");
        assert_eq!(escape("a|b", Place::Start), "a|b");
        assert_eq!(escape("&amp; & <b>", Place::Inside), "\\&amp; & \\<b>");
        assert_eq!(escape("end\\", Place::Inside), "end\\\\");
    }
}
