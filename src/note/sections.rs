//! The sections of a page, from the note. A section with nothing to say is left out.

use super::model::*;
use super::page::*;
use crate::report::words::chance;

/// All sections, in reading order.
pub fn all(note: &Note) -> Vec<Section> {
    let made = [
        ("suspects", "Suspects", suspects(note)),
        ("done", "What was done", done(note)),
        ("proof", "Proof", proof(note)),
        ("cautions", "Cautions", cautions(note)),
        ("doubts", "Open doubts", doubts(note)),
        ("machine", "The machine", machine(note)),
        ("seen", "What was seen and measured", seen(note)),
        ("course", "The ranking over time", course(note)),
        ("parts", "Parts used", parts(note)),
        ("advice", "What may be fitted", advice(note)),
    ];
    let full = made.into_iter().filter(|(_, _, b)| !b.is_empty());
    full.map(|(id, title, blocks)| Section { id, title, blocks })
        .collect()
}

fn fact(label: &str, value: impl Into<String>) -> (String, String) {
    (label.to_string(), value.into())
}

fn machine(note: &Note) -> Vec<Block> {
    let m = &note.machine;
    let mut facts = vec![
        fact("Board", format!("{}: {}", m.board, m.what)),
        fact("Intake", &m.intake),
    ];
    let label = |kind| match kind {
        SaidKind::Complaint => "Complaint",
        SaidKind::History => "History",
        SaidKind::Remark => "Remark",
    };
    let others = note.said.iter().filter(|s| s.kind != SaidKind::Complaint);
    facts.extend(others.map(|s| fact(label(s.kind), &s.text)));
    facts.extend(m.mains.map(|hz| fact("Mains", format!("{hz} Hz"))));
    facts.extend(m.cartridge.as_ref().map(|c| fact("Test cartridge", c)));
    facts.extend(m.fitted.iter().map(|f| {
        let role = if f.role.is_empty() {
            String::new()
        } else {
            format!(" ({})", f.role)
        };
        fact("Fitted", format!("{} in {}{role}", f.part, f.socket))
    }));
    facts.extend(m.ends.iter().map(|e| fact("Before", e)));
    if !m.empty.is_empty() {
        facts.push(fact("Empty", m.empty.join(", ")));
    }
    vec![Block::Facts(facts)]
}

fn part_and_role(s: &SuspectNote) -> String {
    let part = s.part.iter().map(String::as_str);
    part.chain(std::iter::once(s.role.as_str()))
        .collect::<Vec<_>>()
        .join(", ")
}

fn last(s: &SuspectNote) -> f64 {
    s.probability.last().copied().unwrap_or(0.0)
}

/// How likely, as one piece that is not broken over lines.
fn likely(p: f64) -> String {
    chance(p).replace(' ', "\u{a0}")
}

fn suspects(note: &Note) -> Vec<Block> {
    if note.course.suspects.is_empty() {
        return Vec::new();
    }
    let rows = note
        .course
        .suspects
        .iter()
        .filter(|s| s.is_listed())
        .map(|s| {
            let what = format!("{}: {}", part_and_role(s), s.fault);
            vec![format!("{} {}", s.number, s.unit), likely(last(s)), what]
        });
    let mut blocks = Vec::new();
    if let Some(rates) = &note.course.rates {
        let own = match rates.tickets {
            1 => "With this bench's own failure rates, counted from 1 ticket.".to_string(),
            n => format!("With this bench's own failure rates, counted from {n} tickets."),
        };
        let changed = rates
            .changed
            .as_ref()
            .map_or(String::new(), |c| format!(" {c}"));
        blocks.push(Block::Para(format!("{own}{changed}")));
    }
    if note.board.is_some() {
        blocks.push(Block::Figure(Figure::Board));
    }
    blocks.push(Block::Table(Table {
        caption: "At fault, or was at fault, by all that was read and done".into(),
        head: [
            "Suspect",
            "How likely",
            "What it is, and its likeliest fault",
        ]
        .map(String::from)
        .to_vec(),
        rows: rows.collect(),
    }));
    blocks
}

fn done(note: &Note) -> Vec<Block> {
    let step = |r: &RemedyNote| {
        let mut facts = Vec::new();
        let mut list = |label: &str, what: &[String]| {
            if !what.is_empty() {
                facts.push(fact(label, what.join(", ")));
            }
        };
        list("Good since", &r.gone);
        list("Fails still", &r.still);
        list("Good so far", &r.early);
        list("Fails only since", &r.new);
        list("Fails, not read before", &r.first);
        list("Not read since", &r.unread);
        let at = r.at.as_ref().map(|t| format!(", {t}")).unwrap_or_default();
        facts.push(fact("In the ticket", format!("line {}{at}", r.line)));
        Step {
            what: r.what.clone(),
            tone: tone(r.verdict),
            verdict: r.verdict_said.clone(),
            facts,
        }
    };
    if note.remedies.is_empty() {
        return Vec::new();
    }
    vec![Block::Steps(note.remedies.iter().map(step).collect())]
}

fn tone(v: Verdict) -> Tone {
    match v {
        Verdict::Fixed => Tone::Good,
        Verdict::NewFault => Tone::Bad,
        Verdict::PartlyFixed | Verdict::Moved | Verdict::TooEarly => Tone::Open,
        Verdict::NeverTheFault | Verdict::Unclear => Tone::Plain,
    }
}

fn proof(note: &Note) -> Vec<Block> {
    let p = &note.proof;
    // The first screen says it all; what a proof would take is of no use while the fault shows.
    if p.kinds.is_empty() || p.failed_again {
        return Vec::new();
    }
    let row = |k: &LoopsNote| {
        let needed = match (k.needed, k.rate_below) {
            (Some(n), _) => n.to_string(),
            (None, Some(_)) => "never failed".into(),
            (None, None) => "failed too rarely".into(),
        };
        let unseen = k.unseen.map_or_else(|| "-".into(), percent);
        vec![
            k.kind.clone(),
            match k.loops_before {
                0 => "not counted".into(),
                n => format!("{} of {n}", k.failed_before),
            },
            k.clean.to_string(),
            needed,
            unseen,
        ]
    };
    let mut blocks = vec![
        Block::Para(p.said.clone()),
        Block::Table(Table {
            caption: "Loops before and after the last remedy".into(),
            head: [
                "Kind",
                "Failed before",
                "Clean since",
                "Needed for 95\u{a0}%",
                "Uncured, it would stay unseen",
            ]
            .map(String::from)
            .to_vec(),
            rows: p.kinds.iter().map(row).collect(),
        }),
    ];
    blocks.extend(
        p.formula
            .as_ref()
            .map(|f| Block::Para(format!("Formula: {f}."))),
    );
    blocks
}

fn doubts(note: &Note) -> Vec<Block> {
    let one = |d: &DoubtNote| {
        let line = match d.line {
            0 => String::new(),
            n => format!("line {n}: "),
        };
        if d.text.is_empty() {
            format!("{line}{}", d.doubt)
        } else {
            format!("{line}“{}”: {}", d.text, d.doubt)
        }
    };
    if note.doubts.is_empty() {
        return Vec::new();
    }
    vec![Block::List(note.doubts.iter().map(one).collect())]
}

fn seen(note: &Note) -> Vec<Block> {
    let mut blocks = Vec::new();
    for run in &note.runs {
        let at = run
            .at
            .as_ref()
            .map(|t| format!(", {t}"))
            .unwrap_or_default();
        blocks.push(Block::Head(format!("Run {}{at}", run.run)));
        blocks.push(Block::Para(run.summary.clone()));
        let of = |s: &SeenNote| {
            let (tone, word) = match s.result {
                SeenResult::Good => (Tone::Good, "good"),
                SeenResult::Bad => (Tone::Bad, "bad"),
                SeenResult::Intermittent => (Tone::Open, "comes and goes"),
                SeenResult::Neutral => (Tone::Plain, ""),
            };
            Seen {
                tone,
                word,
                text: s.text.clone(),
                more: s.more.clone(),
            }
        };
        if !run.lines.is_empty() {
            blocks.push(Block::Seen(run.lines.iter().map(of).collect()));
        }
        if !run.photos.is_empty() {
            let photos = fact("Photographs", run.photos.join(", "));
            blocks.push(Block::Facts(vec![photos]));
        }
        if note.memory.as_ref().is_some_and(|m| m.run == run.run) {
            blocks.push(Block::Figure(Figure::Memory));
        }
        if note.keys.as_ref().is_some_and(|k| k.run == run.run) {
            blocks.push(Block::Figure(Figure::Keys));
        }
    }
    blocks
}

fn course(note: &Note) -> Vec<Block> {
    let c = &note.course;
    if c.points.len() < 3 || c.suspects.is_empty() {
        return Vec::new();
    }
    let mut head = vec!["After".to_string(), "What was read or done".to_string()];
    head.extend(c.suspects.iter().map(|s| s.unit.clone()));
    let cells = |i: usize| -> Vec<String> {
        let all = c.suspects.iter().map(|s| percent(s.probability[i]));
        all.collect()
    };
    // Readings one after another that change nothing share a row.
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut still = 0;
    for (i, p) in c.points.iter().enumerate() {
        let changes_nothing = i > 0 && !p.remedy && cells(i) == cells(i - 1);
        still = if changes_nothing { still + 1 } else { 0 };
        if still >= 2
            && let Some(row) = rows.last_mut()
        {
            row[0] = format!("{} to {}", p.number + 1 - still, p.number);
            row[1] = format!("{still} readings that change nothing, the last {}", p.text);
            continue;
        }
        let mut row = vec![p.number.to_string(), p.text.clone()];
        row.extend(cells(i));
        rows.push(row);
    }
    vec![
        Block::Para(
            "How likely each suspect was at fault after each reading, from what was known then."
                .into(),
        ),
        Block::Figure(Figure::Course),
        Block::Table(Table {
            caption: "Probability after each reading".into(),
            head,
            rows,
        }),
    ]
}

/// Whole per cent: the priors are guesses.
pub fn percent(p: f64) -> String {
    match p * 100.0 {
        x if x < 0.5 => "0\u{a0}%".into(),
        x if x > 99.5 => ">\u{a0}99\u{a0}%".into(),
        x => format!("{x:.0}\u{a0}%"),
    }
}

fn parts(note: &Note) -> Vec<Block> {
    if note.parts.is_empty() {
        return Vec::new();
    }
    let rows = note.parts.iter().map(|p| {
        let part = p.part.clone().unwrap_or_else(|| "not said".into());
        let old = p.old.clone().unwrap_or_else(|| "not said".into());
        vec![p.socket.clone(), part, p.origin.clone(), old]
    });
    vec![Block::Table(Table {
        caption: "Parts that were put in".into(),
        head: ["Position", "Part", "Where from", "What came out"]
            .map(String::from)
            .to_vec(),
        rows: rows.collect(),
    })]
}

fn advice(note: &Note) -> Vec<Block> {
    let mut blocks = Vec::new();
    for a in &note.advice {
        blocks.push(Block::Head(format!("{}, {}", a.socket, a.role)));
        let mut facts = Vec::new();
        facts.extend(a.made_for.as_ref().map(|t| fact("Made for", t)));
        facts.extend(a.fitted.as_ref().map(|t| fact("Fitted", t)));
        let how = if a.in_socket {
            "in a socket: refit it squarely, pin 1 first"
        } else {
            "soldered: use a socket when it is renewed, if the height allows"
        };
        facts.push(fact("Mounted", how));
        facts.extend(a.clearance.as_ref().map(|c| fact("Height", c)));
        blocks.push(Block::Facts(facts));
        let row = |verdict: &str, t: &TypeNote| {
            let mut conditions = t.conditions.join("; ");
            if conditions.is_empty() {
                conditions = "no condition known".into();
            }
            if t.from_memory {
                conditions += " (from memory)";
            }
            vec![t.part.clone(), verdict.to_string(), conditions]
        };
        let verdicts = [("yes", &a.may), ("check", &a.unsure), ("NO", &a.not)];
        let rows: Vec<_> = verdicts
            .iter()
            .flat_map(|(word, types)| types.iter().map(|t| row(word, t)))
            .collect();
        if !rows.is_empty() {
            blocks.push(Block::Table(Table {
                caption: format!("Types for {}", a.socket),
                head: ["Type", "Fits", "Conditions"].map(String::from).to_vec(),
                rows,
            }));
        }
    }
    blocks
}

fn cautions(note: &Note) -> Vec<Block> {
    note.cautions
        .iter()
        .map(|c| Block::Caution(c.clone()))
        .collect()
}
