//! Timers and clocks: the diagnosis of each rate that the published formulas give, on every shipped board with such clocks.
//!
//! Source of the numbers: `facts/published.md` 4.2 to 4.4 (tick divider: data sheet of the 6526, S20, S6b; crystals S9b, S9c; mains
//! EN 50160, S22). The rates are computed here from the formulas, never copied from the program.

#[path = "common/ranked.rs"]
mod ranked;

use ranked::{leader, p, ranked};
use whichsocket::observe::clocks::Ratio;
use whichsocket::observe::valued::version_ratio;
use whichsocket::sheet::State;
use whichsocket::shipped::Library;

/// Boards with time-of-day clocks, and where their adapters are (pin tables of the maps, `tests/wiring.rs`).
const BOARDS: [(&str, [&str; 2]); 3] = [
    ("dunlin-64", ["A1", "A2"]),
    ("64k-6510-wide", ["U1", "U2"]),
    ("64k-6510-narrow", ["U1", "U2"]),
];

/// Ticks in a tenth of a second on 50 Hz and 60 Hz (S6b: tenths advance every 5th or 6th pulse).
const TICKS: [f64; 2] = [5.0, 6.0];
/// 17.734475 MHz / 18 and 14.318180 MHz / 14 (4.3).
const PHASE_2: [f64; 2] = [17.734475e6 / 18.0, 14.318180e6 / 14.0];

/// The part that sets the speed of the machine's clock.
fn crystal(board: &str) -> &'static str {
    if board == "dunlin-64" { "X1" } else { "Y1" }
}

fn both(shown: f64, real: f64) -> String {
    format!("clock 1 {shown:.1} s in {real:.1} s\nclock 2 {shown:.1} s in {real:.1} s\n")
}

#[test]
fn every_board_with_clocks_is_in_the_list() {
    let library = Library::default();
    let with: Vec<String> = library
        .list()
        .into_iter()
        .map(|b| b.0)
        .filter(|b| library.board(b).unwrap().check("clock.1").is_some())
        .collect();
    let mut listed: Vec<String> = BOARDS.iter().map(|b| b.0.to_string()).collect();
    listed.sort();
    let mut with = with;
    with.sort();
    assert_eq!(with, listed);
}

/// 50 Hz into a clock that counts six: 5/6, 10.0 s show 8.3 s. 60 Hz into one that counts five: 6/5, they show 12.0 s (4.3).
#[test]
fn five_sixths_and_six_fifths_lead_to_the_mains_setting() {
    for (fed, counts) in [(0, 1), (1, 0)] {
        let q = TICKS[fed] / TICKS[counts];
        for (board, _) in BOARDS {
            for real in [10.0, 12.0, 60.0] {
                let lines = both(q * real, real);
                for intake in ["works, please check", "came in faulty"] {
                    let r = ranked(board, &format!("{intake}\n{lines}rest fine\n"));
                    assert_eq!(leader(&r), "MAINS", "{board}: {lines}");
                    assert!(p(&r, "MAINS") > 0.8, "{board} {lines} {}", p(&r, "MAINS"));
                }
            }
        }
    }
}

/// What the sheet says of the mains must fit: 5/6 needs 50 Hz, so with 'mains 60' it speaks less for the setting.
#[test]
fn the_mains_of_the_sheet_counts() {
    for (board, _) in BOARDS {
        let with = |mains: &str| {
            let r = ranked(
                board,
                &format!("{mains}works, please check\n{}rest fine\n", both(8.3, 10.0)),
            );
            p(&r, "MAINS")
        };
        assert!(with("mains 50\n") > with("mains 60\n"), "{board}");
    }
}

/// One clock alone cannot be the common setting: then the divider of its adapter.
#[test]
fn one_clock_alone_leads_to_its_adapter() {
    for (board, adapters) in BOARDS {
        for (n, adapter) in adapters.iter().enumerate() {
            let other = 2 - n;
            let text = format!(
                "came in faulty\nclock {} 8.3 s in 10.0 s\nclock {other} 10.0 s in 10.0 s\nrest fine\n",
                n + 1
            );
            let r = ranked(board, &text);
            assert_eq!(leader(&r), *adapter, "{board}:\n{text}");
        }
    }
}

/// EN 50160: 50 Hz ± 1 % in 99.5 % of the year; 9.9 to 10.1 s, and a displayed tenth more (4.4).
#[test]
fn within_the_tolerance_of_the_mains_nothing_is_accused() {
    for (board, _) in BOARDS {
        let without = ranked(board, "works, please check\nclocks ok\nrest fine\n");
        for shown in [9.8, 9.9, 10.0, 10.1, 10.2] {
            let r = ranked(
                board,
                &format!("works, please check\n{}rest fine\n", both(shown, 10.0)),
            );
            for s in &r.suspects {
                let before = p(&without, &s.name);
                assert!(
                    s.probability < before + 0.01,
                    "{board} {shown}: {} {before} -> {}",
                    s.name,
                    s.probability
                );
            }
        }
    }
}

/// 1022727.14 / 985248.61 = 1.03804: +3.80 % (4.3).
#[test]
fn the_clock_of_the_other_version_leads_to_the_crystal() {
    let q = PHASE_2[1] / PHASE_2[0];
    assert!((q - 1.03804).abs() < 5e-6);
    for board in ["64k-6510-wide", "64k-6510-narrow"] {
        let ratio = version_ratio(&Library::default().board(board).unwrap()).expect("two versions");
        // The map rounds the crystals to 17.734472 and 14.31818 MHz (one source prints the first).
        assert!((ratio - q).abs() < 1e-6, "{ratio}");
    }
    for (board, _) in BOARDS {
        for q in [q, 1.0 / q] {
            let percent = (q - 1.0) * 100.0;
            let word = if percent > 0.0 { "fast" } else { "slow" };
            let timers: String = ["1a", "1b", "2a", "2b"]
                .iter()
                .map(|t| format!("timer {t} {:.1} % {word}\n", percent.abs()))
                .collect();
            let r = ranked(board, &format!("came in faulty\n{timers}rest fine\n"));
            // On the narrow board the setting of the version (J3) does the same as the crystal.
            let clock = p(&r, crystal(board)) + p(&r, "J3");
            assert!(
                clock > 0.8,
                "{board} {percent:.1}: {clock}; first {}",
                leader(&r)
            );
            assert!(
                leader(&r) == crystal(board) || leader(&r) == "J3",
                "{board}: {}",
                leader(&r)
            );
        }
    }
}

/// One timer alone does not lead to the common clock.
#[test]
fn one_timer_that_counts_wrong_leads_to_its_adapter() {
    for (board, adapters) in BOARDS {
        let r = ranked(
            board,
            "came in faulty\ntimer 1 a 31 % slow\ntimer 1b 0 % fast\ntimer 2a 0 % fast\ntimer 2b 0 % fast\nrest fine\n",
        );
        assert_eq!(leader(&r), adapters[0], "{board}");
    }
}

/// No feed: the clocks stand and the timers run (4.3): not the setting, not the adapters.
#[test]
fn clocks_that_stand_while_timers_run_lead_to_the_tick() {
    for (board, adapters) in BOARDS {
        let r = ranked(
            board,
            &format!("came in faulty\n{}timers ok\nrest fine\n", both(0.0, 10.0)),
        );
        assert_ne!(leader(&r), "MAINS", "{board}");
        for adapter in adapters {
            assert_ne!(leader(&r), adapter, "{board}");
        }
    }
}

#[test]
fn jumps_drifts_and_interrupts_are_read() {
    for (board, adapters) in BOARDS {
        let r = ranked(
            board,
            "came in faulty\nclock 1 jumps\nclock 2 drifts\nrest fine\n",
        );
        assert!(!r.suspects.is_empty(), "{board}");
        let r = ranked(
            board,
            "came in faulty\ninterrupt 1 never seen\ninterrupt 2 seen\nrest fine\n",
        );
        assert_eq!(leader(&r), adapters[0], "{board}");
    }
}

/// A timer counts the machine's clock, so it cannot tell a wrong crystal by itself; a time-of-day clock counts the mains, and held against
/// the machine's clock (or a watch) it can (4.3). 'Ok' without a number clears it in part: nobody says how closely it was looked at.
#[test]
fn clocks_called_good_clear_the_crystal_and_timers_do_not() {
    let model = Library::default().board("dunlin-64").unwrap();
    let wrong = |lines: &str| {
        let r = ranked("dunlin-64", &format!("came in faulty\n{lines}"));
        let x1 = r.suspects.iter().find(|s| s.name == "X1");
        let modes = x1.map_or(Vec::new(), |s| s.modes.clone());
        let of = |what: &str| -> f64 {
            let is = |m: &&(u32, f64)| model.modes[m.0 as usize].what.starts_with(what);
            modes.iter().filter(is).map(|m| m.1).sum()
        };
        (of("another frequency"), of("no output"))
    };
    let (timers, dead) = wrong("timers ok\n");
    assert!(dead < 1e-4, "a machine that runs has a clock: {dead}");
    let (clocks, _) = wrong("timers ok\nclocks ok\n");
    assert!(
        clocks < 0.65 * timers && clocks > 0.3 * timers,
        "{timers} {clocks}"
    );
    let (measured, _) = wrong("timers ok\nclock 1 60.0 s in 60.0 s\nclock 2 60.0 s in 60.0 s\n");
    assert!(measured < 0.65 * timers, "{timers} {measured}");
}

/// Over all values that can be typed, each cause's probabilities sum to one.
#[test]
fn probabilities_of_all_ratios_sum_to_one() {
    use whichsocket::faultmap::model::KINDS;
    use whichsocket::faultmap::raw::Class;
    for state in [
        State::Rate {
            shown: 8.3,
            real: 10.0,
        },
        State::Rate {
            shown: 50.0,
            real: 60.0,
        },
        State::OffBy(3.8),
    ] {
        let ratio = Ratio::of(&state).unwrap();
        let grid = ratio.grid();
        let mut mixtures = vec![ratio.near(1.0), ratio.any()];
        for kind in KINDS {
            for class in [Class::Setting, Class::InterfaceAdapter, Class::Logic] {
                mixtures.extend([true, false].map(|clock| ratio.under(kind, class, clock)));
            }
        }
        for m in mixtures {
            let last = 30_000;
            let sum: f64 = (0..=last).map(|k| grid.p(k, &m)).sum();
            assert!(
                (sum + grid.p_above(last, &m) - 1.0).abs() < 1e-9,
                "{state:?}: {sum}"
            );
        }
    }
}
