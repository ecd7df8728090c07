//! The wide 6510-based board.

use crate::inject::config::{
    Analogue, Builder, By6510, Config, Port, Stage, Wire, control, user_lines,
};

/// Its memory map, ports and paths.
pub fn config(b: &Builder) -> Config {
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
    let mut cassette = b.stages("U7 24 24, U7 25 25, U7 26 26, R4 1 2, Q2 3 2, Q2 1, Q1 3 1, Q1 2, Q3 1 3, Q3 2, FB2 1 2, FB1 1 2, FB3 1 2, R2 1 2, U1 24 24");
    cassette.push(Wire::Stage(Stage::Block(u1, "flag")));
    let cartridge: Vec<String> = b.0.parts[b.p("CN6")]
        .pins
        .iter()
        .filter(|p| !["1", "22", "A", "Z", "2", "3"].contains(&p.0.as_str()))
        .map(|p| format!("CN6 {}", p.0))
        .collect();
    let mut slot = b.stages(&cartridge.join(", "));
    slot.extend(b.stages("U17 10 10, U17 11 11, U15 9 9, U15 10 10, FB4 1 2"));
    let audio = "FB13 1 2, R7 1 2, Q8 3 1, Q8 2, R38, C13 1 2, R6, CN5 3";
    let voice = [
        b.through(&format!("U18 27 27, {audio}")),
        vec![Stage::Cable("audio")],
    ]
    .concat();
    let pot = |pins: &str, axes: &str, port: &str| {
        b.through(&format!(
            "U18 24 24, U18 23 23, U28 {pins}, {axes}, C48, C93, {port}"
        ))
    };
    let of = By6510 {
        adapters: ["U1", "U2"],
        roms: ["U4", "U3", "U5"],
        sound: "U18",
        video: "U19",
    };
    Config {
        ports: vec![
            Port {
                name: "control port 1",
                plug: Some(b.p("LOOP-CONTROL")),
                wires: control(
                    b,
                    0,
                    1,
                    "CN9",
                    ["KB_ROW0", "KB_ROW1", "KB_ROW2", "KB_ROW3", "KB_ROW4"],
                ),
            },
            Port {
                name: "control port 2",
                plug: Some(b.p("LOOP-CONTROL")),
                wires: control(
                    b,
                    0,
                    0,
                    "CN8",
                    ["KB_COL0", "KB_COL1", "KB_COL2", "KB_COL3", "KB_COL4"],
                ),
            },
            Port {
                name: "serial port",
                plug: Some(b.p("LOOP-SERIAL")),
                wires: serial,
            },
            Port {
                name: "user port",
                plug: Some(b.p("LOOP-USER")),
                wires: user,
            },
            Port {
                name: "cassette port",
                plug: Some(b.p("LOOP-CASSETTE")),
                wires: cassette,
            },
            Port {
                name: "cartridge port",
                plug: None,
                wires: slot,
            },
        ],
        paddles: vec![
            pot("8 9, U28 11 10, U28 6, U28 12", "CN9 5, CN9 9", "CN9 7"),
            pot("1 2, U28 4 3, U28 13, U28 5", "CN8 5, CN8 9", "CN8 7"),
        ],
        voices: vec![voice.clone(), voice.clone(), voice],
        filter: Some(b.through("C10, C11, U18 1, U18 2, U18 3, U18 4")),
        picture: [
            b.through("U19 15 15, FB15 1 2, M1 2 5, M1 1, CN5 4, CN5 2"),
            vec![Stage::Cable("luma")],
        ]
        .concat(),
        colours: vec![
            [
                b.through("U19 14 14, FB14 1 2, M1 3"),
                vec![Stage::Cable("chroma")],
            ]
            .concat(),
        ],
        break_key: b.through("CN1 3, CN1 1, R41, C38, R35, U20 6 5, U8 5 6, U7 4"),
        analogue: Analogue {
            reset_trigger: Some(b.p("C105")),
            sound_rail: "+12V_SOUND",
            voice_rail: "+12V",
            stage_rail: ("9V_UNREG", 7.0),
            lock: ["U29", "U30", "U32"].map(|n| b.p(n)).to_vec(),
            tuned: vec![b.p("Q7")],
            ripple_line: Some("9V_UNREG"),
        },
        ..Config::with_6510(b, &of)
    }
}
