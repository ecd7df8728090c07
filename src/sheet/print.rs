//! A sheet written back in canonical form: one statement a line, so that reading it gives the same statements.

use super::statement::*;
use super::{Line, RunSheet};
use crate::quantity::{Unit, show};
use crate::source::Span;

/// Writes a sheet in canonical form. What was not understood is kept as it was typed, comments on lines of their own.
pub fn print(sheet: &RunSheet) -> String {
    let mut out = String::new();
    let mut comments = sheet.comments.iter().peekable();
    let mut comments_before = |end: usize, out: &mut String| {
        while let Some(place) = comments.next_if(|c| c.start < end) {
            out.push_str(&comment_text(&sheet.text[place.start..place.end]));
            out.push('\n');
        }
    };
    for line in &sheet.lines {
        comments_before(line.span.start, &mut out);
        let read = line
            .statements
            .iter()
            .map(|s| (s.span.start, print_statement(&s.value)));
        let unread = kept_together(line).into_iter().map(|piece| {
            let typed = &sheet.text[piece.start..piece.end];
            (piece.start, typed.trim().to_string())
        });
        let mut all: Vec<(usize, String)> = read.chain(unread).collect();
        if let Some(first) = line.struck.first() {
            // One `undo` struck them together, so they stay on one line.
            let texts: Vec<String> = line
                .struck
                .iter()
                .map(|s| print_statement(&s.value))
                .collect();
            all.push((first.span.start, texts.join("; ")));
        }
        if line.statements.is_empty() && line.struck.is_empty() {
            // As it was typed, marks too: `(skip U7.40` is not read, and without its mark it would be. Or marks alone, such as a line
            // drawn under a heading.
            let typed = &sheet.text[line.span.start..line.span.end];
            let words = &typed[..super::cut::comment_start(typed)];
            all = vec![(line.span.start, words.trim().to_string())];
        }
        all.sort_by_key(|(start, _)| *start);
        for (_, text) in all {
            out.push_str(&text);
            out.push('\n');
        }
    }
    comments_before(usize::MAX, &mut out);
    out
}

/// What of a line was not read. Pieces with nothing read between them stay on one line: what `front` behind `photo a.jp;` keeps from
/// being read would be read alone.
fn kept_together(line: &Line) -> Vec<Span> {
    let mut all: Vec<Span> = Vec::new();
    for piece in line.not_understood.iter().flat_map(|n| &n.pieces) {
        let read_between = |before: &Span| {
            let between = before.end..piece.start;
            let mut read = line.statements.iter().chain(&line.struck);
            read.any(|s| between.contains(&s.span.start))
        };
        match all.last_mut() {
            Some(before) if !read_between(before) => before.end = piece.end,
            _ => all.push(*piece),
        }
    }
    all
}

/// A comment on a line of its own: behind a blank, a number is no ticket's.
fn comment_text(typed: &str) -> String {
    match typed.strip_prefix('#').map(str::trim) {
        Some("") => "#".into(),
        Some(text) => format!("# {text}"),
        None => typed.to_string(),
    }
}

/// Writes one statement in canonical form.
pub fn print_statement(statement: &Statement) -> String {
    match statement {
        Statement::Ticket(id) => format!("ticket {id}"),
        Statement::Board(id) => format!("board {id}"),
        Statement::Mains(hz) => format!("mains {}", show(*hz, Unit::Hertz)),
        Statement::Cartridge(name) => format!("cartridge {name}"),
        Statement::Obtained(Obtained::Photo) => "from photo".into(),
        Statement::Obtained(Obtained::Typed) => "from typed".into(),
        Statement::Fitted { place, part } => format!("fitted {} {part}", place_text(place)),
        Statement::Empty(places) => format!("empty {}", place_list(places)),
        Statement::Intake(Intake::Faulty) => "came in faulty".into(),
        Statement::Intake(Intake::Works) => "works, please check".into(),
        Statement::Intake(Intake::Untested) => "untested".into(),
        Statement::Complaint(text) => format!("complaint {}", one_line(text)),
        Statement::Note(text) => format!("note {}", one_line(text)),
        Statement::Finding(finding) => finding_text(finding),
        Statement::HandsOn(done) => hands_on_text(done),
        Statement::NotReached(subjects) => {
            format!(
                "not reached: {}",
                subjects
                    .iter()
                    .map(subject_text)
                    .collect::<Vec<_>>()
                    .join(", ")
            )
        }
        Statement::RestFine => "rest fine".into(),
        Statement::NewRun => "new run".into(),
        Statement::History(text) => format!("history {}", one_line(text)),
        Statement::At(moment) => format!("at {}", moment_text(*moment)),
        Statement::Photo { file, caption } => photo_text(file, caption),
        Statement::Origin { places, from } => {
            format!("origin {} {}", place_list(places), origin_text(from))
        }
        Statement::OldPart { place, what } => {
            format!("old part {} {}", place_text(place), one_line(what))
        }
        Statement::Undo => "undo".into(),
        Statement::Skip(text) => format!("skip {}", one_line(text)).trim_end().to_string(),
        Statement::Proved(text) => format!("proved {}", one_line(text)),
        Statement::Outcome(outcome) => outcome_text(*outcome).into(),
    }
}

/// `2026-11-25 14:03`.
pub fn moment_text(m: Moment) -> String {
    format!(
        "{:04}-{:02}-{:02} {:02}:{:02}",
        m.year, m.month, m.day, m.hour, m.minute
    )
}

/// Where a part came from, in words: `shelf`, `new`, `ticket 0398`.
pub fn origin_text(origin: &Origin) -> String {
    match origin {
        Origin::Shelf => "shelf".into(),
        Origin::New => "new".into(),
        Origin::Donor(ticket) => format!("ticket {ticket}"),
    }
}

/// How a ticket ended, as a line of it.
pub fn outcome_text(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::CuredProved => "closed: cured and proved",
        Outcome::CauseUnknown => "closed: sent out, cause unknown",
        Outcome::UsedForParts => "closed: used for parts",
        Outcome::Reopened => "reopened",
    }
}

fn photo_text(file: &str, caption: &str) -> String {
    let name = if file.contains(char::is_whitespace) {
        format!("\"{}\"", one_line(file).replace('"', ""))
    } else {
        file.to_string()
    };
    format!("photo {name} {}", one_line(caption))
        .trim_end()
        .to_string()
}

/// Free text never breaks a line.
fn one_line(text: &str) -> String {
    text.split(['\n', '\r'])
        .map(str::trim)
        .collect::<Vec<_>>()
        .join(" ")
        .trim()
        .to_string()
}

pub(super) fn place_text(place: &Place) -> String {
    if let Some(key) = place.key() {
        return format!("key {}", key_text(key));
    }
    // A part by its type: `8255 pin 16`, `9918`.
    let by_type = place.name.starts_with(|c: char| c.is_ascii_digit());
    match &place.pin {
        Some(pin) if by_type => format!("{} pin {pin}", place.name),
        Some(pin) => format!("{}.{pin}", place.name),
        None if by_type => place.name.clone(),
        None if reads_as_it_stands(&place.name) => place.name.clone(),
        None => format!("\"{}\"", place.name),
    }
}

/// Whether a position is read without quotes: `U17`, and names that are words of the sheet, but not `LOOP-SERIAL`, `SLOT1`,
/// nor `REG1` or `EAR0`, which begin with words of the sheet.
fn reads_as_it_stands(name: &str) -> bool {
    let short = name.bytes().take_while(u8::is_ascii_alphabetic).count() <= 2;
    let position = short && super::correct::is_position(&name.to_lowercase());
    let word = name.chars().all(|c| c.is_ascii_uppercase() || c == '_') && name != "LOOP";
    position || word
}

fn place_list(places: &[Place]) -> String {
    let keys: Option<Vec<String>> = places.iter().map(|p| p.key().map(Into::into)).collect();
    if let Some(keys) = keys.filter(|k| k.len() > 1) {
        return format!("keys {}", key_list(&keys));
    }
    places.iter().map(place_text).collect::<Vec<_>>().join(" ")
}

/// A line by name is announced unless it is a pin, so that any name reads back.
fn level_text(place: &Place) -> String {
    if place.pin.is_some() {
        place_text(place)
    } else {
        format!("line {}", place.name)
    }
}

fn finding_text(finding: &Finding) -> String {
    let mut text = core_text(&finding.subject, &finding.state);
    if let Some((failing, run)) = finding.loops {
        text.push_str(&format!(" in {failing} of {run} loops"));
    }
    match finding.warmth {
        Some(Warmth::Cold) => text.push_str(" when cold"),
        Some(Warmth::Warm) => text.push_str(" when warm"),
        None => {}
    }
    text
}

/// Subject and state; some pairs have a form of their own.
fn core_text(subject: &Subject, state: &State) -> String {
    match (subject, state) {
        (
            Subject::MemoryCell {
                address,
                wrote,
                read,
            },
            _,
        ) => format!("${address:04X} wrote {wrote:02X} read {read:02X}"),
        (Subject::Key(name), State::Ghost(with)) => {
            format!("ghost {} when {}", key_text(name), key_list(with))
        }
        (Subject::Key(name), State::Ohms(ohms)) => match ohms.is_infinite() {
            true => format!("key {} contact open", key_text(name)),
            false => format!("key {} contact {}", key_text(name), show(*ohms, Unit::Ohm)),
        },
        (Subject::Key(name), State::Also(others)) => {
            format!("key {} also presses {}", key_text(name), key_list(others))
        }
        (Subject::Key(name), State::Gives(others)) => {
            format!("key {} gives {}", key_text(name), key_list(others))
        }
        (_, State::DeadUntil(held)) => {
            format!(
                "{} dead until {} held",
                subject_text(subject),
                key_list(held)
            )
        }
        (_, State::StuckUntil(held)) => {
            format!(
                "{} stuck until {} held",
                subject_text(subject),
                key_list(held)
            )
        }
        (Subject::Key(_) | Subject::KeyRow(_) | Subject::KeyColumn(_), State::Noisy) => {
            format!("{} only if pressed hard", subject_text(subject))
        }
        (_, State::More(n)) => format!("{n} more addresses"),
        (_, State::BytesFree(n)) => format!("{n} bytes free"),
        (_, State::WrongCharacter(expected, seen)) => {
            format!(
                "shows {} for {}",
                character_text(*seen),
                character_text(*expected)
            )
        }
        (Subject::Rom(_), State::Value(value)) => {
            format!("{} checksum ${value}", subject_text(subject))
        }
        (Subject::Capacitor(place), State::Capacitor(reading)) => {
            format!(
                "cap {}",
                crate::caps::entry::write(Some(&place.name), reading)
            )
        }
        (Subject::Drop(_), State::Low) => format!("{} lowest", subject_text(subject)),
        (Subject::Drop(_), State::High) => format!("{} higher", subject_text(subject)),
        (Subject::Resistance(_) | Subject::Across(_) | Subject::Along(..), State::Ohms(ohms))
            if ohms.is_infinite() =>
        {
            format!("{} open", subject_text(subject))
        }
        (Subject::Supply(_), State::Volts(_)) => format!(
            "{} {} off the board",
            subject_text(subject),
            state_text(state)
        ),
        (Subject::Supply(_) | Subject::Fuse(_), _) => {
            format!("{} {}", subject_text(subject), state_text(state))
        }
        (Subject::Looks(place), State::Ok) => format!("{} looks ok", place_text(place)),
        (Subject::Looks(place), State::Seen(what)) if what == ADDED_BOARD => {
            format!("{what} in {}", place_text(place))
        }
        (Subject::Looks(place), State::Seen(what)) => match what.strip_prefix("joint ") {
            Some(how) => format!("joint of {} {how}", place_text(place)),
            None => format!("{} {what}", place_text(place)),
        },
        _ => format!("{} {}", subject_text(subject), state_text(state)),
    }
}

fn subject_text(subject: &Subject) -> String {
    let numbered = |word: &str, n: &Option<u8>, all: &str| {
        n.map_or(all.to_string(), |n| format!("{word} {n}"))
    };
    match subject {
        Subject::Test => "test".into(),
        Subject::Memory => "memory".into(),
        Subject::MemoryBit(n) => format!("memory bit {n}"),
        Subject::MemorySocket(place) => format!("memory {}", place_text(place)),
        Subject::MemoryCell { address, .. } => format!("memory ${address:04X}"),
        Subject::MemoryRange(first, last) => format!("memory ${first:04X}-${last:04X}"),
        Subject::Rom(name) if name == "all" => "roms".into(),
        Subject::Rom(name) if matches!(&**name, "os" | "language" | "character") => {
            format!("{name} rom")
        }
        Subject::Rom(name) => format!("rom {name}"),
        Subject::ColourMemory => "colour memory".into(),
        Subject::OtherMemory(bank, None) => format!("{bank} memory"),
        Subject::OtherMemory(bank, Some(n)) => format!("{bank} memory bit {n}"),
        Subject::ColourBit(n) => format!("colour bit {n}"),
        Subject::Timer(adapter, letter) => match (adapter, letter) {
            (Some(n), Some(l)) => format!("timer {n}{l}"),
            (Some(n), None) => format!("timer {n}"),
            (None, Some(l)) => format!("timer {l}"),
            (None, None) => "timers".into(),
        },
        Subject::Clock(n) => numbered("clock", n, "clocks"),
        Subject::Interrupt(n) => numbered("interrupt", n, "interrupts"),
        Subject::Key(name) => format!("key {}", key_text(name)),
        Subject::AllKeys => "keyboard".into(),
        Subject::KeyRow(n) => format!("row {n}"),
        Subject::KeyColumn(n) => format!("column {n}"),
        Subject::Port(name) if name == "all" => "ports".into(),
        Subject::Port(name) => match name.strip_prefix("control ") {
            Some(n) => format!("control port {n}"),
            None => format!("{name} port"),
        },
        Subject::Stick(port, direction) => format!("control port {port} {}", direction.word()),
        Subject::Sound => "sound".into(),
        Subject::Voice(n) => format!("voice {n}"),
        Subject::Filter => "filter".into(),
        Subject::Paddles(n) => numbered("paddles", n, "paddles"),
        Subject::Picture => "picture".into(),
        Subject::StartText => "start text".into(),
        Subject::BlindTyping => "blind typing".into(),
        Subject::Own(name) => match name.as_str() {
            "lamp.power" => "power lamp".into(),
            "lamp.caps" => "caps lamp".into(),
            "click" => "key click".into(),
            name => format!("check {name}"),
        },
        Subject::Part(place) => place_text(place),
        Subject::Rail(name) => rail_text(name),
        Subject::Ripple(name) => format!("ripple {}", rail_text(name)),
        Subject::Resistance(name) => format!("resistance {}", rail_text(name)),
        Subject::Drop(place) => format!("drop at {}", place_text(place)),
        Subject::Across(place) => format!("ohms across {}", place_text(place)),
        Subject::Along(legs) => {
            let [from, to] = &**legs;
            format!("{} to {}", place_text(from), place_text(to))
        }
        Subject::Supply(None) => "supply".into(),
        Subject::Supply(Some(name)) => format!("psu {}", rail_text(name)),
        Subject::Fuse(place) if place.name == "FUSE" => "fuse".into(),
        Subject::Fuse(place) => format!("fuse {}", place_text(place)),
        Subject::Level(place) => level_text(place),
        Subject::OtherKeys => "other keys".into(),
        Subject::Current(None) => "current".into(),
        Subject::Current(Some(name)) => format!("current {}", rail_text(name)),
        Subject::Capacitance(place) => place_text(place),
        Subject::Capacitor(place) => format!("cap {}", place_text(place)),
        Subject::Waveform(n) => format!("voice {n} waveform"),
        Subject::Envelope(n) => format!("voice {n} envelope"),
        Subject::NoiseSource => "noise generator".into(),
        Subject::Loudness => "loudness".into(),
        Subject::SeriesResistance(place) => format!("{} esr", place_text(place)),
        Subject::Heat(place) | Subject::Looks(place) => place_text(place),
    }
}

fn rail_text(name: &str) -> String {
    if name == "all" {
        "rails".into()
    } else {
        format!("rail {name}")
    }
}

fn key_text(name: &str) -> String {
    let plain = name.len() == 1 && name.bytes().all(|b| b.is_ascii_alphanumeric());
    if plain {
        name.to_string()
    } else {
        format!("\"{}\"", one_line(name).replace('"', ""))
    }
}

fn key_list(names: &[String]) -> String {
    let names: Vec<String> = names.iter().map(|k| key_text(k)).collect();
    names.join(" ")
}

fn character_text(code: u8) -> String {
    match code {
        b' ' => "space".into(),
        b'"' => "quote".into(),
        c => format!("\"{}\"", char::from(c)),
    }
}

pub(super) fn state_text(state: &State) -> String {
    match state {
        State::Ok => "ok".into(),
        State::Bad => "bad".into(),
        State::Low => "low".into(),
        State::High => "high".into(),
        State::Dead => "dead".into(),
        State::Stuck => "stuck".into(),
        State::Ghost(_) => "ghost".into(),
        State::Also(keys) => format!("also presses {}", key_list(keys)),
        State::Gives(keys) => format!("gives {}", key_list(keys)),
        State::DeadUntil(keys) => format!("dead until {} held", key_list(keys)),
        State::StuckUntil(keys) => format!("stuck until {} held", key_list(keys)),
        State::Upsets(upset) => upset.words().into(),
        State::Stopped => "stopped".into(),
        State::Slow => "slow".into(),
        State::Fast => "fast".into(),
        State::Rate { shown, real } => format!(
            "{} in {}",
            show(*shown, Unit::Second),
            show(*real, Unit::Second)
        ),
        State::OffBy(percent) if *percent < 0.0 => format!("{} % slow", -percent),
        State::OffBy(percent) => format!("{percent} % fast"),
        State::Capacitor(reading) => crate::caps::entry::write(None, reading),
        State::Pitch { heard, expected } => format!("{heard} Hz expected {expected} Hz"),
        State::Cents(c) if *c < 0.0 => format!("{} cents low", -c),
        State::Cents(c) => format!("{c} cents high"),
        State::Flat => "flat".into(),
        State::Sharp => "sharp".into(),
        State::Jumps => "jumps".into(),
        State::Drifts => "drifts".into(),
        State::Wrong => "wrong".into(),
        State::Noisy => "noisy".into(),
        State::Pulsing => "pulsing".into(),
        State::Floating => "floating".into(),
        State::Picture(picture) => picture_text(*picture).into(),
        State::Volts(v) => volts_text(*v),
        State::Ohms(r) => show(*r, Unit::Ohm),
        State::Hertz(f) => show(*f, Unit::Hertz),
        State::Value(value) => value.clone(),
        State::BytesFree(n) => format!("{n} bytes free"),
        State::WrongCharacter(expected, seen) => format!("{seen} for {expected}"),
        State::Cold => "cold".into(),
        State::Warm => "warm".into(),
        State::Hot => "hot".into(),
        State::TooHot => "too hot".into(),
        State::Shorted => "shorted".into(),
        State::Seen(what) => what.clone(),
        State::More(n) => format!("{n} more"),
        State::Amperes(i) => show(*i, Unit::Ampere),
        State::Celsius(t) => format!("{t} degrees"),
        State::Farads(c, None) => show(*c, Unit::Farad),
        State::Farads(c, Some(nominal)) => {
            format!(
                "{} of {}",
                show(*c, Unit::Farad),
                show(*nominal, Unit::Farad)
            )
        }
    }
}

/// Volts with a decimal, so that a reading never looks like the name of a rail.
fn volts_text(volts: f64) -> String {
    let text = show(volts, Unit::Volt);
    match text.strip_suffix(" V") {
        Some(number) if !number.contains('.') => format!("{number}.0 V"),
        _ => text,
    }
}

fn picture_text(picture: PictureState) -> &'static str {
    match picture {
        PictureState::Normal => "ok",
        PictureState::NoSignal => "no signal",
        PictureState::Black => "black",
        PictureState::OneColour => "one colour",
        PictureState::Garbage => "garbage",
        PictureState::WrongCharacters => "wrong characters",
        PictureState::Unstable => "flickers",
        PictureState::WrongColours => "wrong colours",
        PictureState::NoText => "no text",
    }
}

pub(super) fn hands_on_text(done: &HandsOn) -> String {
    let places = if done.places.is_empty() {
        "all".to_string()
    } else {
        place_list(&done.places)
    };
    if done.action == Action::TestedElsewhere {
        let verdict = if done.result == Effect::TestedGood {
            "good"
        } else {
            "bad"
        };
        return format!("{places} {verdict} in tester");
    }
    let effect = match done.result {
        Effect::Cured => ": cured",
        Effect::NoChange => ": no change",
        Effect::Changed => ": changed",
        Effect::Moved => ": fault moved",
        Effect::Worse => ": worse",
        Effect::TestedGood | Effect::TestedBad | Effect::Unknown => "",
    };
    format!("{} {places}{effect}", action_text(done.action))
}

fn action_text(action: Action) -> &'static str {
    match action {
        Action::Swap => "swapped",
        Action::Replace => "replaced",
        Action::Piggyback => "piggyback",
        Action::Bridge => "bridged",
        Action::Lift => "lifted",
        Action::Pull => "pulled",
        Action::Press => "pressed",
        Action::Reseat => "reseated",
        Action::Cool => "cooled",
        Action::WarmUp => "heated",
        Action::Clean => "cleaned",
        Action::Resolder => "resoldered",
        Action::TestedElsewhere => "tested",
        Action::PutBack => "put back",
        Action::Direct => "took added board out of",
    }
}
