//! The note as one self-contained HTML file: no scripts, nothing fetched, made for a phone, a screen and A4 paper.

mod board;
mod course;
mod keys;
mod memory;
mod svg;

use super::model::Note;
use super::page::*;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// The style sheet.
const STYLE: &str = include_str!("note.css");

/// The note as HTML.
pub fn render(note: &Note) -> String {
    let page = Page::of(note);
    let body = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light";
                title { (page.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (header(&page))
                (contents(&page))
                main {
                    @for section in &page.sections { (one_section(note, section)) }
                }
                footer { p { "Written by whichsocket from the ticket. Probabilities rest on guessed and counted failure rates: they say where to look first, not what is certain." } }
            }
        }
    };
    body.into_string()
}

fn header(page: &Page) -> Markup {
    let (tone, said) = &page.status;
    html! {
        header.first {
            div.top {
                div {
                    h1 { (page.title) }
                    p.under { (page.under) }
                }
                p class={ "status " (class(*tone)) } { span.sign aria-hidden="true" { (sign(*tone)) } (said) }
            }
            @if let Some(stop) = &page.stop {
                p.stop { strong { "SWITCH OFF" } " " (stop) }
            }
            @if let Some(complaint) = &page.complaint {
                p.complaint { span.label { "Complaint" } " " q { (complaint) } }
            }
            @if let Some(next) = &page.next {
                p.complaint { span.label { "Next" } " " (next) }
            }
            dl.glance {
                @for (label, text) in &page.glance {
                    div { dt { (label) } dd { (text) } }
                }
            }
        }
    }
}

fn contents(page: &Page) -> Markup {
    html! {
        nav aria-label="Sections" {
            ul { @for s in &page.sections { li { a href={ "#" (s.id) } { (s.title) } } } }
        }
    }
}

fn one_section(note: &Note, section: &Section) -> Markup {
    let heading = format!("{}-title", section.id);
    html! {
        section id=(section.id) aria-labelledby=(heading) {
            h2 id=(heading) { (section.title) }
            div.body { @for b in &section.blocks { (block(note, b)) } }
        }
    }
}

fn block(note: &Note, block: &Block) -> Markup {
    match block {
        Block::Head(text) => html! { h3 { (text) } },
        Block::Para(text) => html! { p { (text) } },
        Block::Caution(text) => html! { p.caution { (text) } },
        Block::Facts(all) => facts(all),
        Block::List(all) => html! { ul.plain { @for t in all { li { (t) } } } },
        Block::Seen(all) => html! { ul.seen { @for s in all { (seen(s)) } } },
        Block::Steps(all) => html! { ol.steps { @for s in all { (step(s)) } } },
        Block::Table(t) => table(t),
        Block::Figure(f) => figure(note, *f),
    }
}

fn facts(all: &[(String, String)]) -> Markup {
    html! {
        dl.facts { @for (label, text) in all { div { dt { (label) } dd { (text) } } } }
    }
}

fn seen(s: &Seen) -> Markup {
    html! {
        li class=(class(s.tone)) {
            span.word { (s.word) }
            span.what {
                (s.text)
                @if let Some(more) = &s.more { " " small { "(" (more) ")" } }
            }
        }
    }
}

fn step(s: &Step) -> Markup {
    html! {
        li {
            p.what { (s.what) }
            p class={ "verdict " (class(s.tone)) } { span.sign aria-hidden="true" { (sign(s.tone)) } (s.verdict) }
            (facts(&s.facts))
        }
    }
}

fn table(t: &Table) -> Markup {
    html! {
        section.scroll tabindex="0" aria-label=(t.caption) {
            table {
                caption { (t.caption) }
                thead { tr { @for h in &t.head { th scope="col" { (h) } } } }
                tbody {
                    @for row in &t.rows {
                        tr {
                            @for (i, cell) in row.iter().enumerate() {
                                @if i == 0 { th scope="row" { (cell) } } @else { td data-label=(t.head[i]) { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn figure(note: &Note, figure: Figure) -> Markup {
    let (drawing, caption) = match figure {
        Figure::Board => note.board.as_ref().map(|b| board::draw(note, b)),
        Figure::Course => Some(course::draw(&note.course)),
        Figure::Keys => note.keys.as_ref().map(keys::draw),
        Figure::Memory => note.memory.as_ref().map(memory::draw),
    }
    .unwrap_or_default();
    html! { figure { (drawing) figcaption { (caption) } } }
}

fn class(tone: Tone) -> &'static str {
    match tone {
        Tone::Good => "good",
        Tone::Bad => "bad",
        Tone::Open => "open",
        Tone::Plain => "neutral",
    }
}

/// A sign for the eye; the words beside it say the same.
fn sign(tone: Tone) -> &'static str {
    match tone {
        Tone::Good => "✓",
        Tone::Bad => "✕",
        Tone::Open => "…",
        Tone::Plain => "–",
    }
}
