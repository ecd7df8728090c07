//! Sound: notes and tones of the chips as published, the interval of a wrong clock, and types on the wrong supply.
//!
//! Source: `facts/published.md` section 5 (6581: S24, appendix note values S24b; 8910: S25; supplies S16, S24d, S24e) and the table
//! `facts/notes_equal_tempered.csv`, of which `tests/outside` holds a copy.

#[path = "common/ranked.rs"]
mod ranked;

use ranked::{leader, p, ranked};
use whichsocket::observe::sound::Pitch;
use whichsocket::rank::Ranking;
use whichsocket::sheet::{State, Statement, parse};
use whichsocket::shipped::Library;
use whichsocket::tones::{Generator, cents, note, note_hertz};

/// Section 4.3: 17.734475 MHz / 18, 14.318180 MHz / 14.
const PHASE_2: [f64; 2] = [985_248.61, 1_022_727.14];

/// Every note of the table: its frequency, the number for it at both clocks and the tone that this gives, and the tone periods of
/// the other chip at four clocks.
#[test]
fn notes_and_numbers_are_those_of_the_table() {
    let table = include_str!("outside/notes_equal_tempered.csv");
    let mut notes = 0;
    for line in table.lines().skip(1) {
        let cell: Vec<&str> = line.split(',').collect();
        let number = |k: usize| cell.get(k).and_then(|c| c.parse::<f64>().ok());
        let midi = note(cell[0]).unwrap_or_else(|| panic!("{line}"));
        assert_eq!(Some(f64::from(midi)), number(1), "{line}");
        let hertz = note_hertz(midi);
        assert!(
            (hertz - number(2).unwrap()).abs() < 6e-5 * hertz.max(1.0),
            "{line}: {hertz}"
        );
        for (k, clock) in PHASE_2.into_iter().enumerate() {
            let Some(register) = number(3 + 3 * k) else {
                continue;
            };
            let own = Generator::Accumulator.register(clock, hertz);
            assert_eq!(f64::from(own), register, "{line}");
            let gives = Generator::Accumulator.hertz(clock, own);
            assert!(
                (gives / number(4 + 3 * k).unwrap() - 1.0).abs() < 1e-5,
                "{line}: {gives}"
            );
            let off = cents(gives, hertz);
            assert!(
                (off - number(5 + 3 * k).unwrap()).abs() < 0.01,
                "{line}: {off}"
            );
            assert!(
                off.abs() <= Generator::Accumulator.rounding(clock, hertz) + 0.01,
                "{line}"
            );
        }
        for (k, clock) in [1.0e6, 1.7734475e6, 1.7897725e6, 2.0e6]
            .into_iter()
            .enumerate()
        {
            let Some(period) = number(9 + 2 * k) else {
                continue;
            };
            let own = Generator::Divider.register(clock, hertz);
            assert_eq!(f64::from(own), period, "{line} at {clock}");
            let off = cents(Generator::Divider.hertz(clock, own), hertz);
            assert!(
                (off - number(10 + 2 * k).unwrap()).abs() < 0.02,
                "{line}: {off}"
            );
        }
        notes += 1;
    }
    assert_eq!(notes, 108);
}

/// S24b prints 7217 for A-4; at the other clock it is 423.821 Hz, 64.86 cents low; the ratio of the clocks is 64.63 cents.
#[test]
fn the_published_number_of_a4_sounds_as_computed() {
    let a4 = note_hertz(note("A4").unwrap());
    assert_eq!(a4, 440.0);
    let at = |clock| Generator::Accumulator.hertz(clock, 7217);
    assert!((at(PHASE_2[1]) - 439.943).abs() < 0.001 && (at(PHASE_2[0]) - 423.821).abs() < 0.001);
    assert!((cents(at(PHASE_2[0]), a4) + 64.86).abs() < 0.01);
    assert!((cents(PHASE_2[1], PHASE_2[0]) - 64.63).abs() < 0.01);
    assert_eq!(note("C#4"), Some(61));
    assert_eq!(note("Bb3"), Some(58));
    assert_eq!(note("A-4"), Some(69));
    assert_eq!(note("H4"), None);
}

/// Boards with a sound chip that the processor's clock drives, the part that sets it, and the chip.
const CHIPS: [(&str, &[&str], &str); 3] = [
    ("64k-6510-wide", &["Y1"], "U18"),
    ("64k-6510-narrow", &["Y1", "J3"], "U9"),
    ("dunlin-64", &["X1"], "T1"),
];

fn clock_leads(r: &Ranking, clock: &[&str]) -> bool {
    clock.contains(&leader(r))
}

/// All voices off by the interval of the clocks: the clock, not the chip; in hertz, in cents and at other tones.
#[test]
fn all_voices_off_by_the_clock_ratio_accuse_the_clock() {
    let interval = cents(PHASE_2[1], PHASE_2[0]);
    for (board, clock, chip) in CHIPS {
        for sign in [-1.0, 1.0] {
            for tone in [130.81, 440.0, 1046.5] {
                let heard = tone * 2f64.powf(sign * interval / 1200.0);
                let hertz: String = (1..=3)
                    .map(|n| format!("voice {n} {heard:.1} Hz expected {tone}\n"))
                    .collect();
                let word = if sign < 0.0 { "low" } else { "high" };
                let in_cents = format!("all voices {interval:.1} cents {word}\n");
                for lines in [hertz, in_cents] {
                    let r = ranked(board, &format!("came in faulty\n{lines}rest fine\n"));
                    assert!(
                        clock_leads(&r, clock),
                        "{board}: {} for\n{lines}",
                        leader(&r)
                    );
                    let all: f64 = clock.iter().map(|c| p(&r, c)).sum();
                    assert!(
                        all > 0.8 && p(&r, chip) < 0.1,
                        "{board} {lines}: {all}, {chip} {}",
                        p(&r, chip)
                    );
                }
            }
        }
    }
}

/// One voice off by anything else, the others in tune: the chip.
#[test]
fn one_voice_out_of_tune_accuses_the_chip() {
    for (board, clock, chip) in &CHIPS[..2] {
        for n in 1..=3 {
            let others: String = (1..=3)
                .filter(|k| *k != n)
                .map(|k| format!("voice {k} 440 Hz expected A4\n"))
                .collect();
            for off in ["310 Hz expected 440", "190 cents high", "64.6 cents low"] {
                let r = ranked(
                    board,
                    &format!("came in faulty\nvoice {n} {off}\n{others}rest fine\n"),
                );
                assert_eq!(leader(&r), *chip, "{board}: voice {n} {off}");
                assert!(
                    clock.iter().all(|c| p(&r, c) < 0.05),
                    "{board}: voice {n} {off}"
                );
            }
        }
    }
}

#[test]
fn in_tune_accuses_nothing() {
    for (board, _, _) in CHIPS {
        let fine = ranked(board, "works, please check\nvoices 1 2 3 ok\nrest fine\n");
        let r = ranked(
            board,
            "works, please check\nvoice 1 441 Hz expected A4\nvoice 2 2 cents low\nvoice 3 439.5 Hz expected 440\nrest fine\n",
        );
        for s in &r.suspects {
            assert!(
                s.probability < p(&fine, &s.name) + 0.01,
                "{board}: {}",
                s.name
            );
        }
    }
}

#[test]
fn notes_are_read_as_their_frequencies() {
    let state = |line: &str| {
        let s = parse("test", line.as_bytes()).unwrap();
        let mut all = s.statements().map(|s| s.value.clone());
        match all.next() {
            Some(Statement::Finding(f)) => f.state,
            other => panic!("{line}: {other:?}"),
        }
    };
    let State::Pitch { heard, expected } = state("voice 1 G#4 instead of A4") else {
        panic!("no pitch");
    };
    assert!((cents(heard, expected) + 100.0).abs() < 1e-9 && expected == 440.0);
    assert_eq!(state("voice 1 plays A4 flat"), State::Flat);
    assert_eq!(state("voice 2 65 cents low"), State::Cents(-65.0));
}

/// Parts of a voice, noise and level lead to the sound chip or what follows it, hum to the way of the sound.
#[test]
fn parts_of_a_voice_lead_to_the_chip() {
    for (board, _, chip) in CHIPS {
        let lines = if board == "dunlin-64" {
            vec!["noise generator dead", "voice 1 envelope bad"]
        } else {
            vec![
                "voice 1 waveform wrong",
                "voice 2 envelope bad",
                "noise generator bad",
            ]
        };
        for line in lines {
            let r = ranked(board, &format!("came in faulty\n{line}\nrest fine\n"));
            assert_eq!(leader(&r), chip, "{board}: {line}");
        }
        let r = ranked(board, "came in faulty\nloudness low\nrest fine\n");
        assert!(!r.suspects.is_empty(), "{board}");
    }
}

/// 6581: 12 V at VDD; 8580: 9 V, 12 V is likely to destroy it (S16, S24d, S24e).
#[test]
fn a_part_on_the_wrong_supply_is_called_out() {
    // The 9 V part on the 12 V board: switch off.
    let r = ranked(
        "64k-6510-wide",
        "came in faulty\nfitted U18 8580\nsound dead\nrest fine\n",
    );
    let stop = r.observed.stop.as_ref().expect("a stop");
    assert!(
        stop.reason.contains("9 V") && stop.reason.contains("12 V"),
        "{}",
        stop.reason
    );
    assert!(
        stop.remedy.contains("switch off")
            && stop.remedy.contains("U18")
            && stop.remedy.contains("6581"),
        "{}",
        stop.remedy
    );
    assert_eq!(leader(&r), "U18");
    // The 12 V part on the 9 V board: no danger, but no sound chip for it.
    let r = ranked(
        "64k-6510-narrow",
        "came in faulty\nfitted U9 6581\nloudness low\nrest fine\n",
    );
    assert!(r.observed.stop.is_none());
    assert_eq!(leader(&r), "U9");
    let hint = r
        .observed
        .hints
        .iter()
        .find(|h| h.text.contains("6581"))
        .expect("a hint");
    assert!(
        hint.text.contains("12 V") && hint.text.contains("9 V") && hint.text.contains("Fit 8580"),
        "{}",
        hint.text
    );
    // The right part is not called out, and one that was replaced since is no matter.
    for lines in ["fitted U18 6581", "fitted U18 8580\nfitted U18 6581"] {
        let r = ranked(
            "64k-6510-wide",
            &format!("came in faulty\n{lines}\nsound dead\nrest fine\n"),
        );
        assert!(
            r.observed.stop.is_none() && r.observed.hints.is_empty(),
            "{lines}"
        );
    }
}

/// A 12 V part on 9 V is weak and its filter is off: that explains weak, noisy or filtered sound, before a bad part or its supply do.
#[test]
fn a_12_volt_part_on_9_volts_is_that_and_no_weak_supply() {
    const NARROW: &str = "64k-6510-narrow";
    let model = Library::default().board(NARROW).unwrap();
    for line in ["sound noisy", "loudness low", "filter bad"] {
        let with = |fitted: &str| {
            ranked(
                NARROW,
                &format!("came in faulty\n{fitted}{line}\nrest fine\n"),
            )
        };
        let (right, wrong) = (with("fitted U9 8580\n"), with("fitted U9 6581\n"));
        assert_eq!(leader(&wrong), "U9", "{line}");
        let mode = &model.modes[wrong.suspects[0].modes[0].0 as usize];
        assert_eq!(
            mode.of_type.as_deref(),
            Some("6581"),
            "{line}: {}",
            mode.what
        );
        // The supply of the sound chip and its capacitors are less suspected than with the right part.
        for part in ["C66", "C63", "C65", "CR2"] {
            assert!(p(&wrong, part) <= p(&right, part) + 1e-9, "{line}: {part}");
        }
    }
    // Typed alone it is about that part, and does not make it dead.
    let alone = ranked(NARROW, "came in faulty\nfitted U9 6581\n");
    let mode = &model.modes[alone.suspects[0].modes[0].0 as usize];
    assert_eq!(mode.of_type.as_deref(), Some("6581"), "{}", mode.what);
}

#[test]
fn nothing_fitted_explains_the_silence_and_a_substitute_needs_time() {
    let r = ranked(
        "64k-6510-wide",
        "came in faulty\nempty U18\nsound dead\nrest fine\n",
    );
    assert!(
        r.suspects
            .iter()
            .filter(|s| s.name != "U18")
            .all(|s| s.probability < 0.3)
    );
    let with = |line: &str| {
        ranked(
            "64k-6510-wide",
            &format!("works, please check\n{line}\nvoices 1 2 3 dead\nrest fine\n"),
        )
    };
    let substitute = with("fitted U18 substitute");
    assert!(
        substitute
            .observed
            .hints
            .iter()
            .any(|h| h.text.contains("some seconds"))
    );
    assert!(with("fitted U18 6581").observed.hints.is_empty());
}

/// Over all intervals that can be typed, each cause's probabilities sum to one.
#[test]
fn probabilities_of_all_intervals_sum_to_one() {
    use whichsocket::faultmap::model::KINDS;
    use whichsocket::observe::valued::{system_clock, version_ratio};
    let model = Library::default().board("64k-6510-wide").unwrap();
    let grid = Pitch::grid();
    for pitch in [
        Pitch::of(440.0, Generator::Accumulator),
        Pitch::of(4000.0, Generator::Divider),
    ] {
        let mut all = vec![pitch.near(0.0), pitch.any()];
        all.extend(KINDS.map(|k| pitch.under(k)));
        let clocks = system_clock(&model);
        assert!(!clocks.is_empty());
        all.extend(
            clocks
                .iter()
                .map(|c| pitch.system(c, version_ratio(&model))),
        );
        for m in all {
            let sum: f64 = (grid.lowest..=5000).map(|k| grid.p(k, &m)).sum();
            assert!((sum + grid.p_above(5000, &m) - 1.0).abs() < 1e-9, "{sum}");
        }
    }
}
