//! The supply of the board with the custom array: 9 V from outside, a 7805, and a self-swinging converter that makes +12 V and -5 V out
//! of the 9 V. Volts of broken states are guesses from the circuit, none is measured.

use super::overlay::Overlay;
use super::supply::{Supply, shorted};
use super::wiring::{Kind, Wired};

/// Whether a board is supplied like that.
pub fn fits(w: &Wired) -> bool {
    w.of_kind(Kind::AdapterNine).next().is_some()
}

/// Small parts by name.
struct Parts<'a> {
    w: &'a Wired,
    o: &'a Overlay,
    /// Whether shorts act.
    shorts: bool,
    /// Lines that some part shorts to ground.
    down: Vec<usize>,
}

impl Parts<'_> {
    fn how(&self, name: &str, how: &str) -> bool {
        self.o.broken(self.w.part(name), how)
    }

    /// Neither open nor with an open leg.
    fn passes(&self, name: &str) -> bool {
        let part = self.w.part(name);
        let legs = 0..self.w.parts[part].pins.len();
        !self.how(name, "open") && legs.into_iter().all(|k| !self.o.is_open(part, k))
    }

    fn short(&self, name: &str) -> bool {
        self.shorts && self.how(name, "short")
    }

    fn pulled_down(&self, line: &str) -> bool {
        self.shorts && self.down.contains(&self.w.line(line))
    }

    fn open(&self, name: &str, pin: &str) -> bool {
        let part = self.w.part(name);
        self.o.is_open(part, self.w.pin(part, pin))
    }
}

/// The supplies with these faults; without `shorts` what they would be if nothing took too much.
pub fn of(w: &Wired, o: &Overlay, shorts: bool) -> Supply {
    let down = shorted(w, o).into_iter().flat_map(|s| s.1).collect();
    let p = Parts { w, o, shorts, down };
    let mut s = Supply {
        nominal: w.lines.iter().map(|n| nominal(n)).collect(),
        circuit: true,
        ..Supply::default()
    };
    let mut nine = entering(&p);
    if p.pulled_down("9V_UNREG") {
        nine = 0.4;
    }
    let mut five = regulated(&p, nine);
    if p.pulled_down("+5V") && five > 0.0 {
        five = 0.3;
        nine = nine.min(7.8);
    }
    let converter = converter(&p, nine, five);
    // The coil lies across the 9 V.
    let heavy = p.short("TR4") || p.short("C49") || p.pulled_down("+12V");
    if heavy && nine > 7.4 {
        nine = 7.4;
        five = regulated(&p, nine);
    }
    let mut put = |line: &str, volts: f64| {
        if volts.abs() > 0.03 {
            s.volts.insert(w.line(line), volts);
        }
    };
    put("9V_UNREG", nine);
    put("+5V", five);
    put("+12V", converter.twelve);
    put("-5V", converter.minus);
    put("+12VA", converter.encoder);
    let behind = |parts: &[&str], shorted: &str, drop: f64| match () {
        () if parts.iter().any(|r| !p.passes(r)) => 0.0,
        () if p.pulled_down(shorted) => 0.2,
        () => (five - drop).max(0.0),
    };
    put("ARRAY_VCC2", behind(&["R34"], "ARRAY_VCC2", 0.75));
    put("+5V_VIDEO_STAGE", behind(&["R64"], "+5V_VIDEO_STAGE", 0.25));
    // Absolute maxima of 74LS and 4116 (data sheets, from memory).
    for (line, volts, most) in [("+5V", five, 7.0), ("+12V", converter.twelve, 15.0)] {
        if volts > most {
            s.too_high.push(w.line(line));
        }
    }
    if converter.swings {
        s.alternating.insert(w.line("BOOST_AC"), 1);
    }
    ripples(&p, &mut s);
    s
}

fn nominal(line: &str) -> f64 {
    match line {
        "-5V" => -5.0,
        "ARRAY_VCC2" => 4.3,
        "+12VA" => 11.5,
        n if n.contains("12V") => 12.0,
        n if n.starts_with("9V") => 9.0,
        _ => 5.0,
    }
}

/// Volts that come in through the socket.
fn entering(p: &Parts) -> f64 {
    let adapter = p.w.of_kind(Kind::AdapterNine).next().expect("an adapter");
    let socket = p.w.of_kind(Kind::NineSocket).next().expect("a socket");
    let name = p.w.parts[socket].name.as_str();
    // Both contacts of the plus side are on one line.
    let plus = !p.open(name, "2") || !p.open(name, "MP");
    let touches = plus && !p.open(name, "1") && !p.open(name, "P2") && !p.how(name, "open");
    match () {
        () if p.o.broken(adapter, "dead") || !touches => 0.0,
        () if p.o.broken(adapter, "9V low") => 6.5,
        () if p.how(name, "low") => 6.2,
        () if p.o.broken(adapter, "9V high") => 14.5,
        // Junctions to ground take the wrong way round.
        () if p.o.broken(adapter, "polarity") => -0.9,
        () => 9.8,
    }
}

fn regulated(p: &Parts, nine: f64) -> f64 {
    let r = p.w.of_kind(Kind::Regulator).next().expect("a regulator");
    let name = p.w.parts[r].name.as_str();
    match () {
        () if p.open(name, "1") || p.open(name, "3") || p.how(name, "dead") || nine < 1.0 => 0.0,
        () if p.how(name, "high") || p.open(name, "2") => nine - 1.2,
        () if p.how(name, "low") => 4.0_f64.min(nine - 2.0),
        () => 5.02_f64.min(nine - 2.0).max(0.0),
    }
}

/// What the converter gives.
struct Converter {
    swings: bool,
    twelve: f64,
    minus: f64,
    encoder: f64,
}

/// TR5 feeds the base of TR4 through the second winding while the divider R59, R58 has its base below the 5 V.
fn converter(p: &Parts, nine: f64, five: f64) -> Converter {
    let coil = |how: &str| p.how("T1", how);
    let main = !coil("open main") && !p.open("T1", "3") && !p.open("T1", "4");
    let back = !coil("open feedback") && !p.open("T1", "1") && !p.open("T1", "2");
    let feed = ["TR5", "R60", "R61", "R58"].iter().all(|n| p.passes(n))
        && !["C43", "C77", "C74"].iter().any(|n| p.short(n))
        && five > 4.0;
    let load = p.pulled_down("+12V");
    // A diode or a pump that is shorted takes the swing; so does a short behind the diode.
    let free = !load && !["D15", "C46", "C49", "TR4"].iter().any(|n| p.short(n));
    let swings = main && back && feed && free && p.passes("TR4") && nine > 5.0;
    let encoder_short = p.pulled_down("+12VA");
    let twelve = match () {
        () if nine <= 0.8 || !main || !p.passes("D15") => 0.0,
        () if load => 1.2,
        () if p.short("TR4") || p.short("C49") => 0.0,
        () if p.short("D15") || p.short("C46") => 0.6,
        () if !swings => nine - 0.8,
        () if encoder_short => 7.5,
        () if coil("turns") => 9.6,
        // No divider or a TR5 that always feeds: nothing stops it at 12 V.
        () if !p.passes("R59") || p.short("TR5") => 16.5,
        () => 12.1,
    };
    let pump = ["C46", "R55", "D12"].iter().all(|n| p.passes(n))
        && !p.short("D11")
        && !p.short("D16")
        && !p.pulled_down("-5V");
    let minus = match () {
        () if !swings || !pump => 0.0,
        // The other diode of the pump is then D16, forwards, behind a resistor.
        () if !p.passes("D11") => -2.5,
        () if coil("turns") => -3.6,
        () if !p.passes("D16") => -10.2,
        () => -5.05,
    };
    let encoder = match () {
        () if !p.passes("R62") => 0.0,
        () if encoder_short => 0.3,
        () => (twelve - 0.5).max(0.0),
    };
    Converter {
        swings,
        twelve,
        minus,
        encoder,
    }
}

fn ripples(p: &Parts, s: &mut Supply) {
    let adapter = p.w.of_kind(Kind::AdapterNine).next().expect("an adapter");
    let mut put = |line: &str, volts: f64| {
        s.ripple.insert(p.w.line(line), volts);
    };
    if p.o.broken(adapter, "ripple") {
        put("9V_UNREG", 3.0);
        put("+5V", 0.6);
    }
    for (capacitor, line, volts) in [
        ("C44", "+12V", 2.0),
        ("C45", "+12VA", 0.4),
        ("C47", "-5V", 0.5),
        ("C25", "+5V_VIDEO_STAGE", 0.3),
        ("C50", "9V_UNREG", 0.1),
    ] {
        if p.how(capacitor, "weak") || !p.passes(capacitor) {
            put(line, volts);
        }
    }
}

/// Volts at the plug of the adapter with nothing on it.
pub fn at_plug(w: &Wired, o: &Overlay) -> f64 {
    let adapter = w.of_kind(Kind::AdapterNine).next().expect("an adapter");
    match () {
        () if o.broken(adapter, "dead") => 0.0,
        () if o.broken(adapter, "9V low") => 11.8,
        () if o.broken(adapter, "9V high") => 20.0,
        () if o.broken(adapter, "polarity") => -13.8,
        () => 13.9,
    }
}
