//! A run sheet as somebody would type it.

use super::picture::Screen;
use super::program::{Outcome, Results, Test};
use rand::rngs::StdRng;
use rand::seq::{IndexedRandom, SliceRandom};
use rand::{Rng, RngExt};

/// One of several ways to say the same.
fn say(rng: &mut StdRng, ways: &[&str]) -> String {
    (*ways.choose(rng).expect("some way")).to_string()
}

/// A state of the picture in words.
pub fn picture(rng: &mut StdRng, s: Screen) -> String {
    let ways: &[&str] = match s {
        Screen::Normal => &["picture ok", "picture normal", "screen fine"],
        Screen::NoSignal => &["no signal", "picture no signal"],
        Screen::Black => &["black screen", "picture black", "screen black"],
        Screen::OneColour => &["picture one colour", "screen one colour"],
        Screen::Garbage => &["picture garbage", "screen garbage"],
        Screen::WrongCharacters => &["wrong characters", "picture wrong characters"],
        Screen::Unstable => &["picture unstable", "screen rolls"],
        Screen::WrongColours => &["wrong colours", "picture wrong colours"],
        Screen::NoText => &["picture no text", "screen no text"],
    };
    say(rng, ways)
}

/// A result in words.
pub fn result(rng: &mut StdRng, test: &Test, outcome: Outcome) -> String {
    let subject = subject(rng, test);
    let how: &[&str] = match outcome {
        Outcome::Ok => &["ok", "good", "fine", "passed"],
        Outcome::Bad => &["bad", "failed", "faulty"],
        Outcome::Dead => &["dead"],
        Outcome::Stuck => &["stuck"],
        Outcome::Stopped => &["stopped", "does not run"],
        Outcome::Slow => return format!("{subject} 10.0 s in 12.0 s"),
        Outcome::Fast => return format!("{subject} 12.0 s in 10.0 s"),
    };
    format!("{subject} {}", say(rng, how))
}

fn subject(rng: &mut StdRng, test: &Test) -> String {
    match test {
        Test::MemoryBit(k) => format!("{} {k}", say(rng, &["memory bit", "mem bit", "ram bit"])),
        Test::UpperBit(k) => {
            let words = ["upper memory bit", "upper ram bit", "upper mem bit"];
            format!("{} {k}", say(rng, &words))
        }
        Test::Rom(word) => format!("{word} rom"),
        Test::VideoBit(k) => format!("video memory bit {k}"),
        Test::ColourBit(k) => format!("{} bit {k}", say(rng, &["colour", "color"])),
        Test::Timer(a, l) => format!("timer {a}{l}"),
        Test::Clock(a) => format!("{} {a}", say(rng, &["clock", "tod"])),
        Test::Interrupt(a) => format!("{} {a}", say(rng, &["interrupt", "interrupts"])),
        Test::Key(k) => format!("key {}", key(k)),
        Test::Port(p) => (*p).to_string(),
        Test::Voice(k) => format!("voice {k}"),
        Test::Sound => say(rng, &["sound", "audio"]),
        Test::Filter => "filter".into(),
        Test::Paddles(k) => format!("paddles {k}"),
    }
}

/// A key's name as typed: long and odd names in quotes, and one that is a word of other meaning.
fn key(name: &str) -> String {
    let plain = [
        "RETURN", "SPACE", "ESC", "TAB", "CTRL", "HOME", "HELP", "BREAK", "RESTORE",
    ];
    let short = name.len() <= 2 && name != "AT" && name.chars().all(|c| c.is_ascii_alphanumeric());
    if short || plain.contains(&name) {
        name.into()
    } else {
        format!("\"{name}\"")
    }
}

/// A rail as typed, or the pin it is measured at.
pub fn rail(name: &str) -> String {
    match name.contains('.') {
        true => name.into(),
        false => format!("rail {}", name.trim_start_matches('+')),
    }
}

/// What goes on a sheet besides the results of the run.
#[derive(Debug, Clone, Default)]
pub struct Hand {
    /// Rail and its true volts.
    pub rails: Vec<(String, f64)>,
    /// Place or line, and the probe's word.
    pub levels: Vec<(String, &'static str)>,
    /// Volts of the supply by itself.
    pub plug: Option<f64>,
}

/// Writes one sheet. `share`: the fault shows in this share of the loops. `slips`: chance of a mistyped word in a line.
pub fn write(
    rng: &mut StdRng,
    board: &str,
    r: &Results,
    hand: &Hand,
    share: Option<f64>,
    slips: f64,
) -> String {
    let mut head = vec![format!("board {board}"), "came in faulty".to_string()];
    if rng.random_bool(0.3) {
        head.push("mains 50".into());
    }
    let mut lines = Vec::new();
    if r.screen != Screen::Normal || rng.random_bool(0.5) {
        lines.push(
            picture(rng, r.screen) + &loops(rng, share.filter(|_| r.screen != Screen::Normal)),
        );
    }
    for (rail, volts) in &hand.rails {
        let read = volts * (1.0 + 0.01 * (rng.random::<f64>() - 0.5)) + 0.01;
        lines.push(format!("{} {read:.2} V", self::rail(rail)));
    }
    if let Some(volts) = hand.plug {
        lines.push(format!("supply {:.1} V unplugged", volts + 0.04));
    }
    for (place, word) in &hand.levels {
        lines.push(format!("{place} {word}"));
    }
    if r.ran {
        lines.extend(results(rng, r, share));
    } else if !matches!(r.screen, Screen::NoSignal | Screen::Black) || rng.random_bool(0.5) {
        // With a dark screen it goes without saying.
        lines.push(say(rng, &["test does not run", "test dead"]));
    }
    lines.shuffle(rng);
    // Cells and the count of those not typed belong together, and 'rest fine' comes last.
    lines.extend(tail(rng, r));
    head.extend(lines);
    let mut text = String::new();
    for line in head {
        text += &typed(rng, &line, slips);
        text.push('\n');
    }
    text
}

fn loops(rng: &mut StdRng, share: Option<f64>) -> String {
    let Some(share) = share else {
        return String::new();
    };
    let of = *[5u32, 10, 20].choose(rng).expect("some");
    let n = (0..of).filter(|_| rng.random_bool(share)).count().max(1);
    format!(" {n} of {of} loops")
}

fn results(rng: &mut StdRng, r: &Results, share: Option<f64>) -> Vec<String> {
    let failing: Vec<_> = r.failing().cloned().collect();
    let mut out = Vec::new();
    let loops = loops(rng, share);
    let keys: Vec<_> = failing
        .iter()
        .filter(|t| matches!(t.0, Test::Key(_)))
        .collect();
    let asked = r.tests.iter().filter(|t| matches!(t.0, Test::Key(_)));
    let many = keys.len() > 60 || !keys.is_empty() && keys.len() == asked.count();
    let all_dead = many && keys.iter().all(|k| k.1 == Outcome::Dead);
    if all_dead {
        out.push(format!("keyboard dead{loops}"));
    }
    let clocks = failing
        .iter()
        .filter(|t| matches!(t.0, Test::Clock(_)) && t.1 == Outcome::Stopped)
        .count();
    let both = clocks == 2 && rng.random_bool(0.5);
    if both {
        out.push(format!("both clocks stopped{loops}"));
    }
    let several = failing.len() > 1;
    for (test, outcome) in &failing {
        let told = (all_dead && matches!(test, Test::Key(_)) && *outcome == Outcome::Dead)
            || (both && matches!(test, Test::Clock(_)));
        // A result among several is sometimes not written down.
        if told
            || several
                && !matches!(test, Test::MemoryBit(_) | Test::UpperBit(_))
                && rng.random_bool(0.03)
        {
            continue;
        }
        out.push(result(rng, test, *outcome) + &loops);
    }
    for (test, outcome) in r.tests.iter().filter(|t| t.1 == Outcome::Ok) {
        if !matches!(test, Test::Key(_)) && rng.random_bool(0.08) {
            out.push(result(rng, test, *outcome));
        }
    }
    // One sheet in a hundred holds a failure that was none.
    if rng.random_bool(0.01) {
        let passed: Vec<_> = r.tests.iter().filter(|t| t.1 == Outcome::Ok).collect();
        if let Some((test, _)) = passed.choose(rng) {
            out.push(result(rng, test, Outcome::Bad));
        }
    }
    out
}

fn tail(rng: &mut StdRng, r: &Results) -> Vec<String> {
    let mut out = Vec::new();
    if r.cells.len() > 2 && rng.random_bool(0.3) {
        let n = r.cells.len().min(rng.random_range(3..8));
        for (a, wrote, read) in r.cells.iter().take(n) {
            out.push(format!("{a:04X} wrote {wrote:02X} read {read:02X}"));
        }
        if r.cells.len() > n {
            out.push(format!("{} more", r.cells.len() - n));
        }
    }
    if r.ran && !r.stopped && rng.random_bool(0.7) {
        out.push("rest fine".into());
    }
    out
}

/// A line as fingers bring it: letters large or small, blanks doubled, now and then two letters turned around.
fn typed(rng: &mut StdRng, line: &str, slips: f64) -> String {
    let mut line = line.to_string();
    if rng.random_bool(0.1) {
        line = line.replace(' ', "  ");
    }
    if rng.random_bool(slips) {
        let words: Vec<&str> = line.split(' ').collect();
        let k = rng.random_range(0..words.len());
        let word = words[k];
        if word.len() >= 6 && word.chars().all(|c| c.is_ascii_lowercase()) {
            let at = rng.random_range(1..word.len() - 2);
            let mut letters: Vec<char> = word.chars().collect();
            letters.swap(at, at + 1);
            let turned: String = letters.into_iter().collect();
            let mut words: Vec<String> = words.iter().map(|w| (*w).to_string()).collect();
            words[k] = turned;
            line = words.join(" ");
        }
    }
    line
}

/// For callers that need a number from the same source of chance.
pub fn seed(rng: &mut impl Rng) -> u64 {
    rng.random()
}
