//! The wide 6510-based board.

use crate::inject::config::{Analogue, Builder, By6510, Config, Ports6510, Stage, ports_6510};

/// Its memory map, ports and paths.
pub fn config(b: &Builder) -> Config {
    let ports = Ports6510 {
        cassette: "U7 24 24, U7 25 25, U7 26 26, R4 1 2, Q2 3 2, Q2 1, Q1 3 1, Q1 2, Q3 1 3, Q3 2, FB2 1 2, FB1 1 2, FB3 1 2, R2 1 2, U1 24 24",
        slot: "U17 10 10, U17 11 11, U15 9 9, U15 10 10, FB4 1 2",
        control: [
            ["KB_ROW0", "KB_ROW1", "KB_ROW2", "KB_ROW3", "KB_ROW4"],
            ["KB_COL0", "KB_COL1", "KB_COL2", "KB_COL3", "KB_COL4"],
        ],
    };
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
        ports: ports_6510(b, &ports),
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
