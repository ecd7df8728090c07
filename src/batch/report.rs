//! A batch drawn: one list of blocks, and a printer for each format.

use super::view::*;
use crate::report::term::WIDTH;
use crate::report::words::{chance, minutes, money};
use comfy_table::presets::UTF8_HORIZONTAL_ONLY;
use comfy_table::{ContentArrangement, Table};
use maud::{DOCTYPE, Markup, html};
use owo_colors::{OwoColorize, Style};
use std::fmt::Write as _;

/// A piece of the report.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// A heading.
    Head(String),
    /// A table: titles, rows.
    Rows(Vec<&'static str>, Vec<Vec<String>>),
    /// A paragraph.
    Text(String),
    /// A list: numbered or not; each entry with what is said below it.
    List(bool, Vec<(String, Vec<String>)>),
}

/// Everything that is to be said, in order.
pub fn blocks(v: &BatchView) -> Vec<Block> {
    let mut out = vec![Block::Head("Machines".into())];
    if v.machines.is_empty() {
        out.push(Block::Text("None could be read.".into()));
    } else {
        let heads = vec!["Machine", "State", "Suspects", "Missing, doubtful", "To go"];
        out.push(Block::Rows(heads, v.machines.iter().map(row).collect()));
    }
    if !v.refused.is_empty() {
        out.push(Block::Head("Not read".into()));
        let of = |r: &RefusedSheets| (r.error.clone(), Vec::new());
        out.push(Block::List(false, v.refused.iter().map(of).collect()));
    }
    if let Some(plan) = &v.plan {
        out.extend(plan_blocks(plan, v.machines.len()));
    }
    if !v.swap_tests.is_empty() {
        out.push(Block::Head("Parts that may be lent for a swap test".into()));
        out.push(Block::List(false, v.swap_tests.iter().map(swap).collect()));
    }
    if !v.remarks.is_empty() {
        out.push(Block::Head("Check the stock file".into()));
        let of = |r: &String| (r.clone(), Vec::new());
        out.push(Block::List(false, v.remarks.iter().map(of).collect()));
    }
    out
}

fn state(m: &MachineView) -> String {
    let word = match m.state {
        State::Closed => "closed",
        State::Stop => "SWITCHED OFF",
        State::Suspects => "suspects",
        State::NothingAccused => "nothing accused",
    };
    match &m.why {
        Some(why) => format!("{word}: {why}"),
        None => word.into(),
    }
}

fn units(all: &[UnitView]) -> Vec<String> {
    all.iter()
        .map(|u| format!("{} {}", u.unit, chance(u.probability)))
        .collect()
}

fn parts(m: &MachineView) -> Vec<String> {
    let missing = (m.missing.iter()).map(|p| format!("{} ({}) missing", p.socket, p.part));
    let doubtful = (m.doubtful.iter())
        .take(3)
        .map(|p| format!("{} ({})", p.socket, p.part));
    let more = m.doubtful.len().saturating_sub(3);
    let more = (more > 0).then(|| format!("{more} more"));
    missing.chain(doubtful).chain(more).collect()
}

fn to_go(m: &MachineView) -> String {
    m.minutes.map_or("-".into(), minutes)
}

fn row(m: &MachineView) -> Vec<String> {
    let lost = match m.not_understood {
        0 => String::new(),
        1 => "\n1 line not understood".into(),
        n => format!("\n{n} lines not understood"),
    };
    let or_none = |all: Vec<String>| {
        if all.is_empty() {
            "-".into()
        } else {
            all.join("\n")
        }
    };
    vec![
        format!("{}\n{}", m.machine, m.board),
        format!("{}{lost}", state(m)),
        or_none(units(&m.suspects)),
        or_none(parts(m)),
        to_go(m),
    ]
}

fn plan_blocks(p: &PlanView, machines: usize) -> Vec<Block> {
    let mut out = vec![Block::Head("Plan, in the order of work".into())];
    if p.work.is_empty() {
        out.push(Block::Text(
            "No machine can be finished with what there is.".into(),
        ));
    } else {
        let heads = vec!["", "Machine", "Fit", "Works then", "Takes", "Costs"];
        let rows = (1..).zip(&p.work).map(|(i, w)| work_row(i, w));
        out.push(Block::Rows(heads, rows.collect()));
        out.push(Block::List(true, p.work.iter().map(work).collect()));
    }
    out.push(Block::Text(totals(p, machines)));
    if !p.buy.is_empty() {
        out.push(Block::Head("Buy".into()));
        let of = |b: &BuyView| {
            let text = format!(
                "{} x {} at {}, for {}",
                b.count,
                b.part,
                money(b.price),
                b.machines.join(", ")
            );
            (text, Vec::new())
        };
        out.push(Block::List(false, p.buy.iter().map(of).collect()));
    }
    if !p.left.is_empty() {
        out.push(Block::Head("Left as they are".into()));
        let of = |l: &LeftView| (format!("{}: {}", l.machine, l.why), Vec::new());
        out.push(Block::List(false, p.left.iter().map(of).collect()));
    }
    out
}

fn source(f: &FitView) -> String {
    match f.from.as_str() {
        "shelf" => "from the shelf".into(),
        "buy" => format!("bought for {}", money(f.price)),
        donor => {
            let more = if f.donor_sockets.len() > 1 {
                " or "
            } else {
                ""
            };
            let at = f.donor_sockets.iter().take(2).cloned();
            let at: Vec<String> = at.collect();
            format!("out of {donor}, {}", at.join(more))
        }
    }
}

fn work_row(i: usize, w: &WorkView) -> Vec<String> {
    let fit: Vec<String> = (w.parts.iter())
        .map(|f| format!("{} ({}) {}", f.socket, f.part, source(f)))
        .collect();
    vec![
        i.to_string(),
        w.machine.clone(),
        if fit.is_empty() {
            "no part".into()
        } else {
            fit.join("\n")
        },
        chance(w.works),
        minutes(w.minutes),
        money(w.price),
    ]
}

/// `An` before a part that is spoken with a vowel first: an 8910.
fn article(part: &str) -> &'static str {
    if part.starts_with(['8', 'a', 'e', 'i', 'o', 'A', 'E', 'I', 'O']) {
        "An"
    } else {
        "A"
    }
}

fn work(w: &WorkView) -> (String, Vec<String>) {
    let mut lines: Vec<String> = Vec::new();
    lines.extend(w.first.iter().map(|f| format!("First: {f}.")));
    for f in &w.parts {
        let why = if f.suspected >= 1.0 {
            format!("{} is empty", f.socket)
        } else {
            format!(
                "what is in {} now is at fault {}",
                f.socket,
                chance(f.suspected)
            )
        };
        lines.push(format!(
            "{} {} {} for {}: {why}; the part is good {}.",
            article(&f.part),
            f.part,
            source(f),
            f.socket,
            chance(f.good)
        ));
    }
    let with = if w.parts.is_empty() {
        "Without any part".to_string()
    } else {
        "With this".to_string()
    };
    lines.push(format!(
        "{with}, and the work that needs no part, what is wrong is reached {}; the machine works then {}. A part that changes nothing comes out again.",
        chance(w.covered),
        chance(w.works)
    ));
    lines.push(format!(
        "About {} if all of it is done, {} for a working machine.",
        minutes(w.minutes),
        minutes(w.minutes_each)
    ));
    if w.parts.is_empty() {
        lines.retain(|l| !l.starts_with("With this"));
    }
    (w.machine.clone(), lines)
}

fn totals(p: &PlanView, machines: usize) -> String {
    let mut text = format!(
        "Expected: {:.1} of {machines} machines work ({:.1} when no part is fitted). Parts cost {} of a budget of {}.",
        p.machines,
        p.without_parts,
        money(p.spent),
        money(p.budget)
    );
    if let Some(value) = p.value {
        let _ = write!(
            text,
            " Worth of the machines less parts and work: {}.",
            money(value)
        );
    }
    text += if p.exact {
        " By these figures no plan is better."
    } else {
        " The batch is large: a better plan may have been missed."
    };
    text
}

fn swap(s: &SwapView) -> (String, Vec<String>) {
    let from = match &s.lender_socket {
        Some(socket) => format!("{}, {socket}", s.from),
        None => format!("the {}", s.from),
    };
    let head = format!(
        "{}, {} ({}), at fault {}: try the {} of {from}, good {}",
        s.machine,
        s.socket,
        s.part,
        chance(s.suspected),
        s.part,
        chance(s.good)
    );
    (head, vec![format!("Careful: {}.", s.hazard)])
}

const HEAD: Style = Style::new().bold();

/// For a terminal of 80 columns; a printer that strips the styles makes plain text of it.
pub fn text(v: &BatchView) -> String {
    let mut out = String::new();
    let hang = |out: &mut String, first: &str, text: &str| {
        let indent = " ".repeat(textwrap::core::display_width(first));
        let options = textwrap::Options::new(WIDTH)
            .initial_indent(first)
            .subsequent_indent(&indent);
        let _ = writeln!(out, "{}", textwrap::fill(text, options));
    };
    for (i, block) in blocks(v).into_iter().enumerate() {
        match block {
            Block::Head(head) => {
                let above = if i > 0 { "\n" } else { "" };
                let _ = writeln!(out, "{above}{}", head.style(HEAD));
            }
            Block::Rows(heads, rows) => {
                let mut table = Table::new();
                table
                    .load_style(UTF8_HORIZONTAL_ONLY)
                    .set_content_arrangement(ContentArrangement::Dynamic)
                    .set_width(WIDTH as u16)
                    .set_header(heads)
                    .add_rows(rows);
                let _ = writeln!(out, "{}", table.trim_fmt());
            }
            Block::Text(text) => hang(&mut out, "", &text),
            Block::List(numbered, entries) => {
                for (n, (entry, below)) in (1..).zip(entries) {
                    let mark = if numbered {
                        format!("{n:>2}. ")
                    } else {
                        "  - ".into()
                    };
                    hang(&mut out, &mark, &entry);
                    for line in below {
                        hang(&mut out, "    ", &line);
                    }
                }
            }
        }
    }
    out
}

/// Text that means nothing else in Markdown.
fn md(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '<' | '>' | '#' | '~' | '&' => {
                out.push('\\');
                out.push(c);
            }
            '\n' => out += "<br>",
            _ => out.push(c),
        }
    }
    out
}

/// Markdown, with tables.
pub fn markdown(v: &BatchView) -> String {
    let mut out = String::from("# Batch\n");
    for block in blocks(v) {
        out.push('\n');
        match block {
            Block::Head(head) => {
                let _ = writeln!(out, "## {}", md(&head));
            }
            Block::Rows(heads, rows) => {
                let line = |cells: Vec<String>| format!("| {} |\n", cells.join(" | "));
                out += &line(heads.iter().map(|h| md(h)).collect());
                out += &line(heads.iter().map(|_| "---".into()).collect());
                for row in rows {
                    out += &line(row.iter().map(|c| md(c)).collect());
                }
            }
            Block::Text(text) => {
                let _ = writeln!(out, "{}", md(&text));
            }
            Block::List(numbered, entries) => {
                for (n, (entry, below)) in (1..).zip(entries) {
                    let mark = if numbered {
                        format!("{n}.")
                    } else {
                        "-".into()
                    };
                    let all: Vec<String> = std::iter::once(&entry)
                        .chain(&below)
                        .map(|t| md(t))
                        .collect();
                    let indent = " ".repeat(mark.len() + 1);
                    let _ = writeln!(out, "{mark} {}", all.join(&format!("<br>\n{indent}")));
                }
            }
        }
    }
    out
}

/// A page of HTML that needs nothing else.
pub fn html_page(v: &BatchView) -> String {
    let lines = |text: &str| -> Markup {
        html! {
            @for (i, line) in text.lines().enumerate() {
                @if i > 0 { br; }
                (line)
            }
        }
    };
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { "Batch" }
                style { (STYLE) }
            }
            body {
                h1 { "Batch" }
                @for block in blocks(v) {
                    @match block {
                        Block::Head(head) => h2 { (head) },
                        Block::Rows(heads, rows) => table {
                            thead { tr { @for h in heads { th scope="col" { (h) } } } }
                            tbody {
                                @for row in rows {
                                    tr { @for cell in row { td { (lines(&cell)) } } }
                                }
                            }
                        },
                        Block::Text(text) => p { (text) },
                        Block::List(true, entries) => ol { @for e in entries { (entry(&e)) } },
                        Block::List(false, entries) => ul { @for e in entries { (entry(&e)) } },
                    }
                }
            }
        }
    };
    let mut out = page.into_string();
    out.push('\n');
    out
}

const STYLE: &str = "body{font-family:sans-serif;max-width:60em;margin:2em auto;padding:0 1em}\
table{border-collapse:collapse}th,td{border:1px solid #888;padding:.3em .6em;text-align:left;vertical-align:top}";

fn entry((head, below): &(String, Vec<String>)) -> Markup {
    html! {
        li {
            (head)
            @for line in below { p { (line) } }
        }
    }
}

/// One row a machine, with its place in the plan.
pub fn csv(v: &BatchView) -> String {
    let heads = [
        "machine",
        "board",
        "state",
        "why",
        "suspects",
        "missing",
        "doubtful",
        "minutes_to_go",
        "order",
        "fit",
        "works",
        "minutes",
        "price",
        "left_because",
    ];
    let mut out = line(heads.iter().map(|h| (*h).to_string()));
    for m in &v.machines {
        let at = v.plan.as_ref().and_then(|p| {
            let at = p.work.iter().position(|w| w.machine == m.machine)?;
            Some((at + 1, &p.work[at]))
        });
        let left = v
            .plan
            .as_ref()
            .and_then(|p| p.left.iter().find(|l| l.machine == m.machine));
        let list = |all: &[PartView]| {
            let one = |p: &PartView| format!("{} {} {:.3}", p.socket, p.part, p.probability);
            all.iter().map(one).collect::<Vec<_>>().join("; ")
        };
        let suspects: Vec<String> = (m.suspects.iter())
            .map(|u| format!("{} {:.3}", u.unit, u.probability))
            .collect();
        let word = serde_json::to_value(m.state).ok();
        let fit = at.map(|(_, w)| {
            let one = |f: &FitView| format!("{} {} {}", f.socket, f.part, source(f));
            w.parts.iter().map(one).collect::<Vec<_>>().join("; ")
        });
        out += &line(
            [
                m.machine.clone(),
                m.board.clone(),
                word.as_ref()
                    .and_then(|w| w.as_str())
                    .unwrap_or_default()
                    .into(),
                m.why.clone().unwrap_or_default(),
                suspects.join("; "),
                list(&m.missing),
                list(&m.doubtful),
                m.minutes.map_or(String::new(), |x| format!("{x:.0}")),
                at.map_or(String::new(), |a| a.0.to_string()),
                fit.unwrap_or_default(),
                at.map_or(String::new(), |a| format!("{:.3}", a.1.works)),
                at.map_or(String::new(), |a| format!("{:.0}", a.1.minutes)),
                at.map_or(String::new(), |a| format!("{:.2}", a.1.price)),
                left.map_or(String::new(), |l| l.why.clone()),
            ]
            .into_iter(),
        );
    }
    out
}

/// A line of CSV (RFC 4180).
fn line(cells: impl Iterator<Item = String>) -> String {
    let quoted = cells.map(|c| {
        if c.contains([',', '"', '\n', '\r']) {
            format!("\"{}\"", c.replace('"', "\"\""))
        } else {
            c
        }
    });
    quoted.collect::<Vec<_>>().join(",") + "\r\n"
}
