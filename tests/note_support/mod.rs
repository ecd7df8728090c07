//! Notes of tickets, and what a page of one says block by block.

use whichsocket::note::figure_text::figure;
use whichsocket::note::page::{Block, Page};
use whichsocket::note::{Note, build};
use whichsocket::shipped::Library;
use whichsocket::ticket::Ticket;

/// The note of a ticket.
pub fn ticket_note(name: &str, bytes: &[u8]) -> Note {
    let ticket = Ticket::parse(name, bytes).unwrap();
    let board = ticket.board().expect("the ticket names its board");
    let model = Library::default().board(&board).unwrap();
    build(&model, &ticket).unwrap()
}

/// The leaf blocks of a note, in order: kind and text, runs of blanks as one.
pub fn leaves(note: &Note) -> Vec<(&'static str, String)> {
    let page = Page::of(note);
    let mut out: Vec<(&'static str, String)> =
        vec![("h1", page.title.clone()), ("p", page.under.clone())];
    out.push(("li", format!("Status: {}", page.status.1)));
    out.extend(page.stop.iter().map(|s| ("li", format!("SWITCH OFF: {s}"))));
    out.extend(
        page.complaint
            .iter()
            .map(|c| ("li", format!("Complaint: {c}"))),
    );
    out.extend(page.next.iter().map(|n| ("li", format!("Next: {n}"))));
    out.extend(page.glance.iter().map(|(l, t)| ("li", format!("{l}: {t}"))));
    for section in &page.sections {
        out.push(("h2", section.title.into()));
        section.blocks.iter().for_each(|b| block(note, b, &mut out));
    }
    for (kind, text) in &mut out {
        if *kind != "code" {
            *text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        }
    }
    out
}

fn block(note: &Note, block: &Block, out: &mut Vec<(&'static str, String)>) {
    let facts = |f: &[(String, String)]| {
        f.iter()
            .map(|(l, t)| ("li", format!("{l}: {t}")))
            .collect::<Vec<_>>()
    };
    match block {
        Block::Head(t) => out.push(("h3", t.clone())),
        Block::Para(t) => out.push(("p", t.clone())),
        Block::Caution(t) => out.push(("quote", t.clone())),
        Block::Facts(f) => out.extend(facts(f)),
        Block::List(all) => out.extend(all.iter().map(|t| ("li", t.clone()))),
        Block::Seen(all) => out.extend(all.iter().map(|s| {
            let word = if s.word.is_empty() {
                String::new()
            } else {
                format!("{}: ", s.word)
            };
            let more = s
                .more
                .as_ref()
                .map(|m| format!(" ({m})"))
                .unwrap_or_default();
            ("li", format!("{word}{}{more}", s.text))
        })),
        Block::Steps(all) => {
            for s in all {
                out.push(("li", format!("{}: {}", s.what, s.verdict)));
                out.extend(facts(&s.facts));
            }
        }
        Block::Table(t) => out.extend(
            t.head
                .iter()
                .chain(t.rows.iter().flatten())
                .map(|c| ("cell", c.clone())),
        ),
        Block::Figure(f) => {
            out.extend(figure(note, *f).map(|t| ("code", format!("{}\n", t.trim_end()))))
        }
    }
}
