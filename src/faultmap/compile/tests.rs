//! The compiler on a map of two chips.

use super::super::load::parse;
use super::*;

struct Flat;
impl Rates for Flat {
    fn part(&self, _: &RateRaw, _: usize) -> Result<f64, String> {
        Ok(1.0)
    }
    fn socket(&self, _: usize) -> f64 {
        0.1
    }
    fn joints(&self, _: usize) -> f64 {
        0.01
    }
    fn contact(&self) -> f64 {
        0.02
    }
    fn key(&self) -> f64 {
        0.03
    }
    fn exposures(&self, _: &[(Class, Vec<(f64, f64)>)]) -> Result<[f64; 3], String> {
        Ok([1.0, 0.5, 0.1])
    }
}

const CHIP: &str = r#"
family: chip
what: two gates
class: logic
pins: vcc in0..1 out0..1
rate: {fixed: {per_million_hours: 1.0, source: test}}
functions:
  gate.0..1: {needs: in#, power: vcc, drives: out#}
modes:
  dead: {what: dead, share: 2, loses: gate.0..1}
  gate.0..1: {what: "gate # dead", share: 1, loses: gate.#}
  short: {what: input 0 shorted, share: 1, low: in0}
"#;
const BOARD: &str = "
board: tiny
what: two chips in a row
sources: [test]
parts:
  U1: {family: chip, role: first, socket: true, pins: +5V A - B -}
  U2: {family: chip, role: second, pins: +5V B - C -}
rails:
  +5V: {line: +5V, nominal: 5, low: 4.75, high: 5.25, stop: 5.5, measure: U1.1, order: 1, source: test}
functions:
  report: {needs: C}
checks:
  out: {reads: C, test: true, what: output}
";

const PLUG: &str = "
family: plug
what: two contacts side by side
class: connector
pins: from to0..1
rate: {fixed: {per_million_hours: 1.0, source: test}}
functions:
  pass: {carries: from, needs: to0..1@0.3, drives: to0..1}
modes:
  dead: {what: dead, share: 1, loses: pass}
";

fn tiny(board: &str) -> Result<BoardModel, Vec<MapError>> {
    let family: FamilyRaw = parse("chip.yaml", CHIP).unwrap();
    let plug: FamilyRaw = parse("plug.yaml", PLUG).unwrap();
    let families = BTreeMap::from([("chip".to_string(), family), ("plug".into(), plug)]);
    compile(
        "tiny.yaml",
        &parse("tiny.yaml", board).unwrap(),
        &families,
        &Flat,
    )
}

fn strength(m: &BoardModel, node: &str, unit: &str, what: &str, kind: Kind) -> Option<f32> {
    let node = &m.nodes[m.node(node)? as usize];
    node.touches.iter().find_map(|t| {
        let mode = &m.modes[t.mode as usize];
        let fits = m.units[mode.unit as usize].name == unit && mode.what == what && t.kind == kind;
        fits.then_some(t.strength)
    })
}

#[test]
fn trouble_runs_down_the_line() {
    let m = tiny(BOARD).unwrap();
    assert_eq!(
        strength(&m, "C", "U1", "gate 0 dead", Kind::Lost),
        Some(1.0)
    );
    assert_eq!(strength(&m, "C", "U1", "gate 1 dead", Kind::Lost), None);
    // U2's shorted input pulls B low, so C is lost; A is not touched.
    assert_eq!(
        strength(&m, "B", "U2", "input 0 shorted", Kind::Low),
        Some(1.0)
    );
    assert_eq!(
        strength(&m, "C", "U2", "input 0 shorted", Kind::Lost),
        Some(1.0)
    );
    assert_eq!(strength(&m, "A", "U2", "input 0 shorted", Kind::Low), None);
    // An open output pin takes its line with it; the supply pin takes everything.
    let joints = m.units.iter().find(|u| u.name == "U2 joints").unwrap();
    let modes = &m.modes[joints.modes.start as usize..joints.modes.end as usize];
    assert_eq!(
        modes.len(),
        1,
        "all three pins of U2 show alike at C: {modes:?}"
    );
    assert!((modes[0].rate - 0.01).abs() < 1e-12);
    assert!(m.units.iter().any(|u| u.name == "U1 contacts"));
}

/// A regulator takes what is too much and most of the ripple; what is missing or too low is so behind it as well.
#[test]
fn a_regulator_holds_back_what_is_too_much() {
    let regulator: FamilyRaw = parse(
        "regulator.yaml",
        "family: regulator\nwhat: steady\nclass: regulator\npins: in out\nrate: {fixed: {per_million_hours: 1.0, source: test}}\n\
         functions:\n  hold: {steadies: in, drives: out}\nmodes:\n  dead: {what: dead, share: 1, loses: hold}\n",
    )
    .unwrap();
    let source: FamilyRaw = parse(
        "source.yaml",
        "family: source\nwhat: unsteady\nclass: supply\npins: out\nrate: {fixed: {per_million_hours: 1.0, source: test}}\n\
         functions:\n  give: {drives: out}\nmodes:\n  dead: {what: none, share: 1, loses: give}\n  low: {what: low, share: 1, low: give}\n  \
         high: {what: high, share: 1, high: give}\n  ripple: {what: ripple, share: 1, noisy: give}\n",
    )
    .unwrap();
    let board = "board: tiny\nwhat: a supply\nsources: [test]\nparts:\n  S1: {family: source, role: first, pins: RAW}\n  \
                 R1: {family: regulator, role: second, pins: RAW OUT}\nrails: {}\nfunctions: {}\nchecks:\n  out: {reads: OUT, test: true, what: output}\n";
    let families = BTreeMap::from([
        ("regulator".to_string(), regulator),
        ("source".into(), source),
    ]);
    let m = compile(
        "tiny.yaml",
        &parse("tiny.yaml", board).unwrap(),
        &families,
        &Flat,
    )
    .unwrap();
    let at = |line: &str, what: &str, kind: Kind| strength(&m, line, "S1", what, kind);
    assert_eq!(at("RAW", "high", Kind::High), Some(1.0));
    assert_eq!(at("OUT", "high", Kind::High), None);
    assert_eq!(at("OUT", "low", Kind::Low), Some(1.0));
    assert_eq!(at("OUT", "none", Kind::Lost), Some(1.0));
    let ripple = at("OUT", "ripple", Kind::Noisy).expect("some of it passes");
    assert!(ripple < 0.5, "{ripple}");
}

/// What must only not be held, and a rail that goes down with another.
#[test]
fn a_held_line_is_another_matter_than_one_that_nobody_drives() {
    let minus = "  -5V: {line: M, nominal: -5, low: -4.5, high: -5.5, stop: 6, measure: U3.2, order: 2, falls_with: +5V, source: test}";
    let board = BOARD
        .replace(
            "  report: {needs: C}",
            "  report: {needs: C}\n  clear: {free: B}",
        )
        .replace(
            "what: output}",
            "what: output}\n  clear: {reads: clear, test: true, what: clear}",
        )
        .replace("functions:", &format!("{minus}\nfunctions:"))
        .replace(
            "rails:",
            "  U3: {family: chip, role: third, pins: \"- M +5V - -\"}\nrails:",
        );
    let m = tiny(&board).unwrap();
    let lost = |node, unit, what| strength(&m, node, unit, what, Kind::Lost);
    assert_eq!(lost("clear", "U2", "input 0 shorted"), Some(1.0));
    assert_eq!(lost("clear", "U1", "gate 0 dead"), None);
    assert_eq!(lost("B", "U1", "gate 0 dead"), Some(1.0));
    // U3's first input is on the second rail, and nothing on the first takes it along but what pulls that down.
    assert_eq!(
        strength(&m, "+5V", "U3", "input 0 shorted", Kind::Low),
        None
    );
    let low = board.replace("pins: +5V A - B -", "pins: '- +5V - B -'");
    assert_ne!(low, board);
    let m = tiny(&low).unwrap();
    assert_eq!(
        strength(&m, "M", "U1", "input 0 shorted", Kind::Lost),
        Some(0.95)
    );
    let unknown = board.replace("falls_with: +5V", "falls_with: +6V");
    let errors = tiny(&unknown).unwrap_err();
    assert!(
        format!("{errors:?}").contains("no rail '+6V'"),
        "{errors:?}"
    );
}

#[test]
fn an_input_tied_to_a_rail_minds_the_rail_as_a_supply_pin_does() {
    let board = BOARD
        .replace("pins: +5V A - B -", "pins: +5V +5V - B -")
        .replace(
            "rails:",
            "  U3: {family: chip, role: third, pins: \"- +5V - - -\"}\nrails:",
        );
    let m = tiny(&board).unwrap();
    let lost = strength(&m, "C", "U3", "input 0 shorted", Kind::Lost);
    assert_eq!(lost, Some(0.7));
}

#[test]
fn two_contacts_of_one_driver_stand_in_for_each_other() {
    let board = BOARD.replace(
        "rails:",
        "  J1: {family: plug, role: plug, pins: IN A A}\nrails:",
    );
    let m = tiny(&board).unwrap();
    assert_eq!(strength(&m, "A", "J1", "dead", Kind::Lost), Some(1.0));
    assert_eq!(
        strength(&m, "A", "J1 joints", "pin 2 or 3 open", Kind::Lost),
        Some(0.3)
    );
    assert_eq!(
        strength(&m, "A", "J1 joints", "pin 1 open", Kind::Lost),
        Some(1.0)
    );
}

#[test]
fn shares_are_split_over_ranges() {
    let m = tiny(BOARD).unwrap();
    let rate = |what: &str| {
        m.modes
            .iter()
            .find(|f| f.unit == 0 && f.what == what)
            .unwrap()
            .rate
    };
    assert!((rate("dead") - 0.5).abs() < 1e-12);
    assert!((rate("gate 1 dead") - 0.125).abs() < 1e-12);
    assert_eq!(rate("not fitted"), 0.0);
}

#[test]
fn a_rail_measured_against_a_pin_reads_both_lines() {
    let reads = |board: &str| {
        let m = tiny(board).unwrap();
        let rail = m.check("rail.+5V").unwrap();
        let of = |r: &Read| m.nodes[r.node as usize].name.clone();
        rail.reads.iter().map(of).collect::<Vec<_>>()
    };
    assert_eq!(reads(BOARD), ["+5V"]);
    let against =
        |pin: &str| BOARD.replace("measure: U1.1,", &format!("measure: U1.1, against: {pin},"));
    assert_eq!(reads(&against("U1.2")), ["+5V", "A"]);
    for pin in ["U1.3", "U9.1", "U1.12", "U1"] {
        let told = tiny(&against(pin)).unwrap_err()[0].to_string();
        assert!(
            told.contains(&format!("'{pin}' is no pin with a line")),
            "{told}"
        );
    }
}

#[test]
fn every_mistake_is_told() {
    let bad = BOARD
        .replace("family: chip, role: second", "family: chop, role: second")
        .replace("needs: C", "needs: CC")
        .replace("pins: +5V A - B -", "pins: +5V A - B")
        .replace("line: +5V", "line: +6V");
    let errors = tiny(&bad).unwrap_err();
    let told = errors
        .iter()
        .map(|e| e.to_string())
        .collect::<Vec<_>>()
        .join("\n");
    for part in [
        "did you mean 'chip'?",
        "'CC' is no function",
        "4 lines for the 5 pins",
        "no pin is on line '+6V'",
    ] {
        assert!(told.contains(part), "{part} not in:\n{told}");
    }
}

const SERIES: &str = "
family: series
what: something in a line
class: passive
pins: a b
rate: {fixed: {per_million_hours: 0.1, source: test}}
functions:
  path: {carries: a, drives: b}
modes:
  open: {what: open, share: 1, loses: path}
";

/// What pulses before a bead or a small resistor pulses behind it; not behind a large one, which may feed a transistor.
#[test]
fn the_other_side_of_a_series_part_can_be_measured() {
    let board = |value: &str| {
        let board = BOARD
            .replace("pins: +5V B - C -", "pins: +5V E - C -")
            .replace("rails:", &format!("  R1: {{family: series, role: series, {value}pins: B D}}\n  R2: {{family: series, role: series, pins: D E}}\n  R3: {{family: series, role: series, pins: C +5V}}\nrails:"))
            + "lines:\n  B: {expect: pulsing, hz: 50, what: a signal, at: U1.4}\n  C: {expect: pulsing, what: out, at: U2.4}\n";
        let family: FamilyRaw = parse("chip.yaml", CHIP).unwrap();
        let series: FamilyRaw = parse("series.yaml", SERIES).unwrap();
        let families = BTreeMap::from([("chip".to_string(), family), ("series".into(), series)]);
        compile(
            "tiny.yaml",
            &parse("tiny.yaml", &board).unwrap(),
            &families,
            &Flat,
        )
        .unwrap()
    };
    let lines = |m: &BoardModel| m.lines.iter().map(|l| l.line.clone()).collect::<Vec<_>>();
    for value in ["", "value: \"33 ohm\", "] {
        let m = board(value);
        // Two in a row pass it on; a rail is none of it.
        assert_eq!(lines(&m), ["B", "C", "D", "E"], "{value}");
        let e = m.lines.iter().find(|l| l.line == "E").unwrap();
        assert_eq!((e.hz, &e.at[..]), (Some(50.0), &["U2.2".to_string()][..]));
        assert!(e.what.ends_with("on the other side of R2"), "{}", e.what);
    }
    for value in ["value: \"680 ohm\", ", "value: \"1k\", "] {
        assert_eq!(lines(&board(value)), ["B", "C"], "{value}");
    }
}

/// A line that two drive is lost when neither moves it: one that goes by a clock stands without it; one that answers to whatever comes
/// in stands when nothing comes in at all, when it is dead, or without power. A resistor between two buses makes them one.
#[test]
fn a_bus_is_lost_when_nobody_moves_it() {
    let family = |name: &str, text: &str| {
        let rate = "rate: {fixed: {per_million_hours: 1.0, source: test}}\n";
        let raw: FamilyRaw = parse(
            "f.yaml",
            &format!("family: {name}\nwhat: test\n{rate}{text}"),
        )
        .unwrap();
        (name.to_string(), raw)
    };
    let lines = "modes:\n  dead: {what: dead, share: 1, loses: give}\n";
    let families = BTreeMap::from([
        family(
            "source",
            &format!("class: clock\npins: out\nfunctions:\n  give: {{drives: out}}\n{lines}"),
        ),
        family(
            "master",
            &format!(
                "class: processor\npins: clock out\nfunctions:\n  give: {{needs: clock, drives: out}}\n{lines}"
            ),
        ),
        family(
            "answer",
            &format!(
                "class: memory\npins: vcc a b out\nfunctions:\n  give: {{needs: a b out, power: vcc, drives: out}}\n{lines}"
            ),
        ),
        family(
            "resistor",
            &format!(
                "class: passive\npins: a b\nfunctions:\n  give: {{carries: a, drives: b}}\n{lines}"
            ),
        ),
    ]);
    // U1 (by the clock C) and U2 (strobes S and T, supply V) share D; U3 (strobe S) has E, which R1 ties to D.
    let board = "board: tiny\nwhat: a bus\nsources: [test]\nparts:\n  C1: {family: source, role: clock, pins: C}\n  \
        S1: {family: source, role: strobe, pins: S}\n  T1: {family: source, role: strobe, pins: T}\n  V1: {family: source, role: supply, pins: V}\n  \
        U1: {family: master, role: first, pins: C D}\n  U2: {family: answer, role: second, pins: V S T D}\n";
    let ends = "rails: {}\nfunctions: {}\nchecks:\n  out: {reads: D, test: true, what: output}\n";
    let more = "  U3: {family: answer, role: third, pins: V S S E}\n  R1: {family: resistor, role: between, pins: D E}\n";
    // Clock and strobes come from one place, V from another.
    let all = "  G1: {family: source, role: all, pins: G}\n  C1: {family: master, role: clock, pins: G C}\n  S1: {family: master, role: strobe, pins: G S}\n  \
        T1: {family: master, role: strobe, pins: G T}\n  V1: {family: source, role: supply, pins: V}\n";
    let of = |text: &str| {
        compile(
            "tiny.yaml",
            &parse("tiny.yaml", text).unwrap(),
            &families,
            &Flat,
        )
        .unwrap()
    };
    let lost = |m: &BoardModel, line: &str, unit: &str| strength(m, line, unit, "dead", Kind::Lost);

    let apart = of(&format!("{board}{ends}"));
    for unit in ["C1", "U1", "U2", "S1", "T1", "V1"] {
        assert_eq!(
            lost(&apart, "D", unit),
            None,
            "{unit}: the other one drives on"
        );
    }
    let (head, _) = board.split_once("  C1").unwrap();
    let (_, tail) = board.split_once("  U1").unwrap();
    let one = of(&format!("{head}{all}  U1{tail}{ends}"));
    assert_eq!(
        lost(&one, "D", "G1"),
        Some(1.0),
        "clock and both strobes are gone"
    );
    assert_eq!(
        lost(&one, "D", "V1"),
        None,
        "the processor of this test needs no supply"
    );
    // U1 without its clock, and U2 with one strobe left of two.
    let left = of(&format!("{head}{all}  U1{tail}{ends}").replace(
        "T1: {family: master, role: strobe, pins: G T}",
        "T1: {family: source, role: strobe, pins: T}",
    ));
    assert_eq!(lost(&left, "D", "G1"), None);
    // U1 without its clock, and U2 without its supply; its strobes go on.
    let dark = of(&format!("{head}{all}  U1{tail}{ends}")
        .replace("pins: G S}", "pins: P S}")
        .replace("pins: G T}", "pins: P T}")
        .replace(
            "V1: {family: source, role: supply, pins: V}",
            "V1: {family: master, role: supply, pins: G V}",
        ));
    assert_eq!(lost(&dark, "D", "G1"), Some(1.0));
    // U3 drives E and, through R1, D.
    let joined = of(&format!("{head}{all}  U1{tail}{more}{ends}"));
    assert_eq!(lost(&joined, "D", "G1"), Some(1.0));
    assert_eq!(lost(&joined, "E", "G1"), Some(1.0));
    let third =
        of(&format!("{head}{all}  U1{tail}{more}{ends}").replace("pins: V S S E", "pins: V W W E"));
    assert_eq!(
        lost(&third, "D", "G1"),
        None,
        "U3 moves D through the resistor"
    );
}
