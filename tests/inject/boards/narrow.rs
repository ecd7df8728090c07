//! The narrow 6510-based board: the wide one's machine with other chips around it.

use crate::inject::config::{
    Analogue, Builder, By6510, Config, Port, Stage, Wire, control, user_lines,
};

/// Its memory map, ports and paths.
pub fn config(b: &Builder) -> Config {
    let audio = "R9 1 2, Q3 B E, Q3 C, R12, C77 1 2, CN5 3";
    let voice = [
        b.through(&format!("U9 27 27, {audio}")),
        vec![Stage::Cable("audio")],
    ]
    .concat();
    let pot = |pins: &str, axes: &str| {
        b.through(&format!("U9 24 24, U9 23 23, U18 {pins}, {axes}, C80, C81"))
    };
    let of = By6510 {
        adapters: ["U1", "U2"],
        roms: ["U4", "U4", "U5"],
        sound: "U9",
        video: "U7",
    };
    Config {
        ports: ports(b),
        paddles: vec![
            pot("3 4, U18 11 10, U18 5, U18 12", "CN9 5, CN9 9, CN9 7"),
            pot("1 2, U18 8 9, U18 13, U18 6", "CN8 5, CN8 9, CN8 7"),
        ],
        voices: vec![voice.clone(), voice.clone(), voice],
        filter: Some(b.through("C70, C71, U9 1, U9 2, U9 3, U9 4")),
        picture: [
            b.through("U7 15 15, M1 2 5, M1 1, FB2 1 2, CN5 4, CN5 2"),
            vec![Stage::Cable("luma")],
        ]
        .concat(),
        colours: vec![[b.through("U7 14 14, M1 4"), vec![Stage::Cable("chroma")]].concat()],
        // Its capacitor only takes the bounce off, but must not short.
        break_key: b
            .through("CN1 3, CN1 1, L4 1 2, R17, U23 11 10, U8 9 8, U22 11 10, U6 4")
            .into_iter()
            .chain([Stage::NotShorted(b.p("C59"))])
            .collect(),
        analogue: Analogue {
            reset_trigger: None,
            sound_rail: "+9V_SOUND",
            voice_rail: "+9V_SOUND",
            stage_rail: ("+5V_MOD", 4.5),
            lock: Vec::new(),
            tuned: vec![b.p("J3")],
            ripple_line: None,
        },
        ..Config::with_6510(b, &of)
    }
}

fn ports(b: &Builder) -> Vec<Port> {
    let (u1, u2) = (b.p("U1"), b.p("U2"));
    let pb = ["PB0", "PB1", "PB2", "PB3", "PB4", "PB5", "PB6", "PB7"];
    let mut user = user_lines(b, "CN2", 1, 1, &pb);
    user.push(b.out(1, 0, 2, "CN2", "PA2", false));
    user.extend(b.stages("U2 18 18, U2 24 24, U2 39 39, U2 40 40, U1 39 39, U1 40 40, CN2 4, CN2 5, CN2 6, CN2 7, CN2 8, CN2 B"));
    user.extend(
        [(u2, "flag"), (u2, "shift"), (u1, "shift")].map(|(p, k)| Wire::Stage(Stage::Block(p, k))),
    );
    let mut serial = vec![
        b.out(1, 0, 3, "CN4", "SER_ATN", true),
        b.out(1, 0, 4, "CN4", "SER_CLK", true),
        b.out(1, 0, 5, "CN4", "SER_DATA", true),
        b.input(1, 0, 6, "CN4", "SER_CLK"),
        b.input(1, 0, 7, "CN4", "SER_DATA"),
    ];
    serial.extend(b.stages("CN4 2"));
    let mut cassette = b.stages(
        "U6 24 24, U6 25 25, U6 26 26, R3 1 2, Q2 B C, Q2 E, Q1 B E, Q1 C, R1 1 2, U1 24 24",
    );
    cassette.push(Wire::Stage(Stage::Block(u1, "flag")));
    let cartridge: Vec<String> = b.0.parts[b.p("CN6")]
        .pins
        .iter()
        .filter(|p| !["1", "22", "A", "Z", "2", "3"].contains(&p.0.as_str()))
        .map(|p| format!("CN6 {}", p.0))
        .collect();
    let mut slot = b.stages(&cartridge.join(", "));
    slot.extend(b.stages("U8 44 44, U8 45 45, U8 49 49, U8 50 50"));
    let port = |name, plug: Option<&str>, wires| Port {
        name,
        plug: plug.map(|p| b.p(p)),
        wires,
    };
    let first = ["n.CN9.1", "n.CN9.2", "n.CN9.3", "n.CN9.4", "KB_ROW4"];
    let second = ["n.CN8.1", "n.CN8.2", "n.CN8.3", "n.CN8.4", "n.CN8.6"];
    let one = control(b, 0, 1, "CN9", first);
    let two = control(b, 0, 0, "CN8", second);
    vec![
        port("control port 1", Some("LOOP-CONTROL"), one),
        port("control port 2", Some("LOOP-CONTROL"), two),
        port("serial port", Some("LOOP-SERIAL"), serial),
        port("user port", Some("LOOP-USER"), user),
        port("cassette port", Some("LOOP-CASSETTE"), cassette),
        port("cartridge port", None, slot),
    ]
}
