//! The narrow 6510-based board: the wide one's machine with other chips around it.

use crate::inject::config::{Analogue, Builder, By6510, Config, Ports6510, Stage, ports_6510};

/// Its memory map, ports and paths.
pub fn config(b: &Builder) -> Config {
    let ports = Ports6510 {
        cassette: "U6 24 24, U6 25 25, U6 26 26, R3 1 2, Q2 B C, Q2 E, Q1 B E, Q1 C, R1 1 2, U1 24 24",
        slot: "U8 44 44, U8 45 45, U8 49 49, U8 50 50",
        control: [
            ["n.CN9.1", "n.CN9.2", "n.CN9.3", "n.CN9.4", "KB_ROW4"],
            ["n.CN8.1", "n.CN8.2", "n.CN8.3", "n.CN8.4", "n.CN8.6"],
        ],
    };
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
        ports: ports_6510(b, &ports),
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
