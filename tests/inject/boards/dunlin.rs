//! The invented school computer.

use crate::inject::config::{Adapter, Analogue, Builder, Config, Port, Stage, Wire, user_lines};
use crate::inject::machine::V;

/// Its memory map, ports and paths.
pub fn config(b: &Builder) -> Config {
    let stick = |socket: &str, letter: &str, address: u16| {
        let ground = b.socket(socket, "GND");
        let mut wires: Vec<Wire> = (0..5u8)
            .map(|bit| {
                let (socket, pin) = b.socket(socket, &format!("J{letter}{bit}"));
                Wire::InAt {
                    address,
                    bit,
                    socket,
                    pin,
                }
            })
            .collect();
        wires.push(Wire::Stage(Stage::Touches(ground.0, ground.1)));
        wires
    };
    let user = ["UP0", "UP1", "UP2", "UP3", "UP4", "UP5", "UP6", "UP7"];
    let mut user_wires = user_lines(b, "J7", 1, 0, &user);
    user_wires.extend(user_lines(b, "J7", 1, 1, &["UPB0", "UPB1"]));
    user_wires.extend(b.stages("A2 18 18, A2 24 24, A2 39 39, A2 40 40, J7 3, J7 4, J7 5, J7 6"));
    let a2 = b.p("A2");
    user_wires.extend(["flag", "shift"].map(|k| Wire::Stage(Stage::Block(a2, k))));
    let a1 = b.p("A1");
    let mut cassette = b.stages(
        "J8 3, J8 2, C8 1 2, A1 24 24, A2 12 12, W14 1 2, J8 1, A2 13 13, Q2 3 2, Q2 1, J8 4",
    );
    cassette.push(Wire::Stage(Stage::Block(a1, "flag")));
    cassette.push(b.out(1, 1, 3, "Q2", "MOTOR", false));
    let mut network = b.stages("A1 39 39, A1 40 40, J10 1, J10 2, J10 3");
    network.push(Wire::Stage(Stage::Block(a1, "shift")));
    let amplifier = "C7 1 2, Q1 3 1, Q1 2, LS1";
    Config {
        adapters: vec![
            Adapter {
                part: a1,
                base: 0x8800,
            },
            Adapter {
                part: a2,
                base: 0x8C00,
            },
        ],
        roms: vec![
            ("os", b.p("R1"), 0xE000, 0x2000),
            ("language", b.p("R2"), 0xA000, 0x2000),
        ],
        cartridge_base: 0xC000,
        cartridge_first: (V::Z, V::Z),
        memory_top: 0x8000,
        banked: true,
        colour: None,
        columns_on_a: true,
        ports: vec![
            Port {
                name: "control port 1",
                plug: None,
                wires: stick("J5", "A", 0x9000),
            },
            Port {
                name: "control port 2",
                plug: None,
                wires: stick("J6", "B", 0x9400),
            },
            Port {
                name: "user port",
                plug: Some(b.p("LOOP")),
                wires: user_wires,
            },
            Port {
                name: "cassette port",
                plug: None,
                wires: cassette,
            },
            Port {
                name: "serial port",
                plug: None,
                wires: network,
            },
        ],
        paddles: Vec::new(),
        sound: b.p("T1"),
        sound_base: 0x8400,
        voices: [("4", "W11"), ("3", "W12"), ("38", "W13")]
            .iter()
            .map(|(pin, mix)| b.through(&format!("T1 {pin} {pin}, {mix} 1 2, {amplifier}")))
            .collect(),
        filter: None,
        video: b.p("V1"),
        video_base: 0x8000,
        picture: [
            b.through("V1 39 39, V1 40 40, L14 12 11, L14 13 11, W6 1 2, J2 5, J2 1"),
            vec![Stage::Cable("sync")],
        ]
        .concat(),
        colours: vec![
            [
                b.through("A2 15 15, L14 2 3, L18 2 18, W7 1 2, J2 2"),
                vec![Stage::Cable("red")],
            ]
            .concat(),
            [
                b.through("A2 16 16, L14 5 6, L18 3 17, W8 1 2, J2 3"),
                vec![Stage::Cable("green")],
            ]
            .concat(),
            [
                b.through("A2 17 17, L14 10 8, L18 4 16, W9 1 2, J2 4"),
                vec![Stage::Cable("blue")],
            ]
            .concat(),
        ],
        break_key: b.through("J3 19, J3 10, P1 6"),
        interrupts: vec![b.through("P1 4"), b.through("P1 4")],
        by_6510: false,
        analogue: Analogue::default(),
        port_at_rest: 7,
    }
}
