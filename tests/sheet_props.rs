//! Properties of reading run sheets: nothing panics, every line is kept, and printing says the same again.

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use whichsocket::sheet::*;

/// Short sheets whose slips the mutations below make.
const SAMPLES: &[&str] = &[
    "ticket 0412\nboard dunlin-64\nmains 50\nmemory bit 3 bad\nrest fine\n",
    "from photo\n4000 wrote 55 read 5D\n17 more\ncolour memory ok; timers ok; both clocks stopped\n",
    "complaint black screen\n+5V 4.98, +12V 11.9 # loaded\n9VAC 9,4\nU17 too hot to touch\n",
    "keys dead A-F, 3 5\nghost T when R Y\n\"left shift\" key stuck\nswapped U17 (known good): no change\n",
    "at 2026-11-25 14:03; rail 5v 4.98\nskip U7 pin 40\nundo\nphoto a.jpg front\nfitted U18 8580 from shelf\nclosed: cured and proved\n",
    "U7 pin 40 high; U7.39 pulsing; CN6.C 1.02 MHz\nclock 1 10.0 s in 12.0 s\nsupply 5.1 off the board\n",
];

fn name() -> impl Strategy<Value = String> {
    "(U|IC|C|R|CN|TR)[1-9][0-9]?"
}

fn place() -> impl Strategy<Value = Place> {
    name().prop_map(|name| Place { name, pin: None })
}

fn pin_place() -> impl Strategy<Value = Place> {
    (name(), "[1-9][0-9]?|[A-Z]").prop_map(|(name, pin)| Place {
        name,
        pin: Some(pin),
    })
}

fn line_place() -> impl Strategy<Value = Place> {
    "[A-Z]{2,8}|[A-Z]{3,5}_N|/[A-Z]{2,6}".prop_map(|name| Place { name, pin: None })
}

fn key_name() -> impl Strategy<Value = String> {
    prop_oneof![
        "[A-Z0-9]",
        select(vec!["LEFT SHIFT", "SPACE", "F1", "@", "+ PLUS", "RUN/STOP"]).prop_map(String::from)
    ]
}

fn rail_name() -> impl Strategy<Value = String> {
    prop_oneof![
        select(vec!["+5V", "-5V", "+12V", "-12V", "9VAC", "+9V"]).prop_map(String::from),
        "[A-Z]{3,6}".prop_map(String::from)
    ]
}

fn number(low: i64, high: i64) -> impl Strategy<Value = f64> {
    (low..high, 0u32..4).prop_map(|(n, e)| format!("{n}e-{e}").parse().expect("a number"))
}

/// Subjects with the states that the test words can say of them.
fn tested() -> impl Strategy<Value = (Subject, State)> {
    let ok_bad = || select(vec![State::Ok, State::Bad]);
    let ok_bad_dead = || select(vec![State::Ok, State::Bad, State::Dead]);
    prop_oneof![
        ok_bad().prop_map(|s| (Subject::Test, s)),
        ok_bad_dead().prop_map(|s| (Subject::Memory, s)),
        (
            0u8..8,
            select(vec![State::Ok, State::Bad, State::Low, State::High])
        )
            .prop_map(|(n, s)| (Subject::MemoryBit(n), s)),
        (place(), ok_bad_dead()).prop_map(|(p, s)| (Subject::MemorySocket(p), s)),
        (any::<u16>(), any::<u16>(), ok_bad()).prop_map(|(a, b, s)| {
            (
                Subject::MemoryRange(u32::from(a.min(b)), u32::from(a.max(b))),
                s,
            )
        }),
        (any::<u16>(), any::<u8>(), any::<u8>()).prop_map(|(a, wrote, read)| {
            let state = if wrote == read { State::Ok } else { State::Bad };
            (
                Subject::MemoryCell {
                    address: u32::from(a),
                    wrote,
                    read,
                },
                state,
            )
        }),
        (
            select(vec!["os", "language", "character", "all", "U4"]),
            select(vec![State::Ok, State::Bad, State::Wrong])
        )
            .prop_map(|(n, s)| (Subject::Rom(n.into()), s)),
        (select(vec!["os", "U4"]), "[0-9A-F]{2,6}")
            .prop_map(|(n, v)| (Subject::Rom(n.into()), State::Value(v))),
        ok_bad().prop_map(|s| (Subject::ColourMemory, s)),
        (0u8..4, ok_bad()).prop_map(|(n, s)| (Subject::ColourBit(n), s)),
        (select(vec!["upper", "video"]), option::of(0u8..8), ok_bad())
            .prop_map(|(bank, n, s)| (Subject::OtherMemory(bank.into(), n), s)),
        (
            option::of(1u8..3),
            option::of(select(vec!['a', 'b'])),
            ok_bad_dead()
        )
            .prop_map(|(n, l, s)| (Subject::Timer(n, l), s)),
        (
            option::of(1u8..3),
            select(vec![
                State::Ok,
                State::Stopped,
                State::Slow,
                State::Fast,
                State::Bad
            ])
        )
            .prop_map(|(n, s)| (Subject::Clock(n), s)),
        (1u8..3, number(0, 999), number(1, 999)).prop_map(|(n, shown, real)| {
            (Subject::Clock(Some(n)), State::Rate { shown, real })
        }),
        (
            prop_oneof![
                option::of(1u8..3).prop_map(Subject::Clock),
                (1u8..3, option::of(select(vec!['a', 'b'])))
                    .prop_map(|(n, l)| Subject::Timer(Some(n), l)),
            ],
            prop_oneof![
                number(-99, 900).prop_map(State::OffBy),
                (number(0, 999), number(1, 999))
                    .prop_map(|(shown, real)| State::Rate { shown, real }),
                Just(State::Jumps),
                Just(State::Drifts)
            ]
        ),
        voices(),
        (option::of(1u8..3), ok_bad_dead()).prop_map(|(n, s)| (Subject::Interrupt(n), s)),
        ok_bad_dead().prop_map(|s| (Subject::AllKeys, s)),
        (0u8..8, ok_bad_dead()).prop_map(|(n, s)| (Subject::KeyRow(n), s)),
        (0u8..8, ok_bad_dead()).prop_map(|(n, s)| (Subject::KeyColumn(n), s)),
        (
            select(vec![
                "control 1",
                "control 2",
                "control",
                "serial",
                "user",
                "cassette",
                "cartridge",
                "all"
            ]),
            ok_bad_dead()
        )
            .prop_map(|(n, s)| (Subject::Port(n.into()), s)),
        (
            key_name(),
            select(vec![State::Ok, State::Bad, State::Dead, State::Stuck])
        )
            .prop_map(|(k, s)| (Subject::Key(k), s)),
        (key_name(), vec(key_name(), 1..4))
            .prop_map(|(k, with)| (Subject::Key(k), State::Ghost(with))),
        (key_name(), vec(key_name(), 1..4), any::<bool>())
            .prop_filter("another key", |(k, others, _)| !others.contains(k))
            .prop_map(|(k, others, gives)| {
                let state = if gives {
                    State::Gives(others)
                } else {
                    State::Also(others)
                };
                (Subject::Key(k), state)
            }),
        (
            prop_oneof![
                key_name().prop_map(Subject::Key),
                (0u8..8).prop_map(Subject::KeyRow),
                (0u8..8).prop_map(Subject::KeyColumn)
            ],
            prop_oneof![
                Just(State::Noisy),
                select(vec![Upset::Resets, Upset::Crashes, Upset::Hangs]).prop_map(State::Upsets),
                vec(key_name(), 1..4).prop_map(State::DeadUntil),
                vec(key_name(), 1..4).prop_map(State::StuckUntil)
            ]
        ),
        (
            key_name(),
            prop_oneof![number(1, 9999), Just(f64::INFINITY)]
        )
            .prop_map(|(k, r)| (Subject::Key(k), State::Ohms(r))),
        (
            1u8..3,
            select(Direction::ALL.to_vec()),
            select(vec![State::Ok, State::Bad, State::Dead, State::Stuck])
        )
            .prop_map(|(n, d, s)| (Subject::Stick(n, d), s)),
        (
            prop_oneof![
                Just(Subject::Sound),
                (1u8..4).prop_map(Subject::Voice),
                Just(Subject::Filter)
            ],
            select(vec![
                State::Ok,
                State::Bad,
                State::Dead,
                State::Noisy,
                State::Wrong
            ])
        ),
        (option::of(1u8..3), ok_bad()).prop_map(|(n, s)| (Subject::Paddles(n), s)),
        ok_bad_dead().prop_map(|s| (Subject::StartText, s)),
        any::<u16>().prop_map(|n| (Subject::StartText, State::BytesFree(u32::from(n)))),
        (0x20u8..0x61, 0x20u8..0x61)
            .prop_filter("two characters", |(a, b)| a != b)
            .prop_map(|(a, b)| (Subject::StartText, State::WrongCharacter(a, b))),
        ok_bad().prop_map(|s| (Subject::BlindTyping, s)),
        (
            select(vec!["lamp.power", "lamp.caps", "click",]),
            ok_bad_dead()
        )
            .prop_map(|(n, s)| (Subject::Own(n.into()), s)),
        (1u32..999).prop_map(|n| (Subject::Memory, State::More(n))),
        picture(),
    ]
}

/// Pitches and parts of a voice.
fn voices() -> impl Strategy<Value = (Subject, State)> {
    let tone = || (100i64..90_000).prop_map(|n| n as f64 / 10.0);
    let pitch = prop_oneof![
        (tone(), tone()).prop_map(|(heard, expected)| State::Pitch { heard, expected }),
        number(-2400, 2400).prop_map(State::Cents),
        Just(State::Flat),
        Just(State::Sharp)
    ];
    let part = prop_oneof![
        (1u8..4).prop_map(Subject::Waveform),
        (1u8..4).prop_map(Subject::Envelope),
        Just(Subject::NoiseSource),
        Just(Subject::Loudness)
    ];
    let how = select(vec![
        State::Ok,
        State::Bad,
        State::Wrong,
        State::Dead,
        State::Low,
    ]);
    prop_oneof![
        (1u8..4, pitch).prop_map(|(n, s)| (Subject::Voice(n), s)),
        (part, how)
    ]
}

/// A capacitor with what was measured of it.
fn capacitor() -> impl Strategy<Value = (Subject, State)> {
    let value =
        || (1u32..9999, select(vec!["e-6", "e-9", "e-12"])).prop_map(|(n, e)| format!("{n}{e}"));
    let farads = || value().prop_map(|t| t.parse::<f64>().expect("a number"));
    let class = select(vec![
        CapClass::A,
        CapClass::B,
        CapClass::C,
        CapClass::D,
        CapClass::Film,
    ]);
    let letter = select(vec!['F', 'J', 'K', 'M', 'Z']);
    let volts = (1u32..450).prop_map(f64::from);
    let marking = (
        farads(),
        option::of(volts),
        option::of(letter),
        option::of(class),
    );
    let measured = (
        option::of(0.0f64..2.0),
        option::of(number(0, 9999)),
        option::of(number(0, 99)),
        option::of((1u32..9999).prop_map(|n| format!("{n}e-6").parse::<f64>().expect("a number"))),
        option::of(select(vec!["bulged", "leaking"])),
        any::<bool>(),
    );
    ("C[1-9][0-9]?", marking, measured).prop_map(
        |(name, m, (share, esr, loss, leakage, looks, old))| {
            let (farads, volts, letter, class) = m;
            let marking = Marking {
                farads,
                volts,
                letter,
                class,
            };
            // A value on the grid of a meter, not above what can be.
            let measured = share.map(|s| {
                format!("{:.0}e-12", farads * s * 1e12)
                    .parse()
                    .expect("a number")
            });
            let reading = CapReading {
                marking: Some(marking),
                farads: measured.filter(|v: &f64| *v == 0.0 || *v >= 0.1e-12),
                esr,
                loss,
                leakage,
                looks: looks.map(String::from),
                old,
            };
            let place = Place { name, pin: None };
            (
                Subject::Capacitor(place),
                State::Capacitor(Box::new(reading)),
            )
        },
    )
}

fn picture() -> impl Strategy<Value = (Subject, State)> {
    use PictureState as P;
    let shown = select(vec![
        P::Normal,
        P::NoSignal,
        P::Black,
        P::OneColour,
        P::Garbage,
        P::WrongCharacters,
        P::Unstable,
        P::WrongColours,
        P::NoText,
    ]);
    prop_oneof![
        shown.prop_map(State::Picture),
        Just(State::Dead),
        Just(State::Bad)
    ]
    .prop_map(|s| (Subject::Picture, s))
}

/// Readings at places and on rails.
fn measured() -> impl Strategy<Value = (Subject, State)> {
    let volts = || number(-15_000, 15_000).prop_map(State::Volts);
    let rail_state = || {
        select(vec![
            State::Ok,
            State::Bad,
            State::Low,
            State::High,
            State::Dead,
        ])
    };
    let level = select(vec![
        State::Low,
        State::High,
        State::Pulsing,
        State::Floating,
        State::Dead,
        State::Ok,
        State::Bad,
    ]);
    let seen = select(vec![
        "bulged",
        "leaking",
        "burnt",
        "corroded",
        "cracked",
        "dry joint",
        "reworked",
        "modified",
        "bent pin",
        "dirty",
        "loose",
        "reversed",
        "torn track",
        "joint cracked",
        "joint corroded",
        "joint bad",
        ADDED_BOARD,
    ]);
    prop_oneof![
        (rail_name(), prop_oneof![volts(), rail_state()]).prop_map(|(n, s)| (Subject::Rail(n), s)),
        rail_state().prop_map(|s| (Subject::Rail("all".into()), s)),
        (rail_name(), number(0, 9999).prop_map(State::Volts))
            .prop_map(|(n, s)| (Subject::Ripple(n), s)),
        (
            rail_name(),
            prop_oneof![
                number(0, 9_999_999).prop_map(State::Ohms),
                Just(State::Ohms(f64::INFINITY)),
                Just(State::Shorted)
            ]
        )
            .prop_map(|(n, s)| (Subject::Resistance(n), s)),
        (place(), ohms_read()).prop_map(|(p, s)| (Subject::Across(p), s)),
        (
            pin_place(),
            pin_place(),
            ohms_read().prop_filter("two legs touch or do not", |s| *s != State::Shorted)
        )
            .prop_map(|(a, b, s)| (Subject::Along(Box::new([a, b])), s)),
        (place(), select(vec![State::Low, State::High])).prop_map(|(p, s)| (Subject::Drop(p), s)),
        (option::of(rail_name()), prop_oneof![volts(), rail_state()])
            .prop_map(|(n, s)| (Subject::Supply(n), s)),
        (
            "F[1-9]|FUSE",
            select(vec![State::Ok, State::Dead, State::Seen("missing".into())])
        )
            .prop_map(|(name, s)| (Subject::Fuse(Place { name, pin: None }), s)),
        (
            prop_oneof![pin_place(), line_place()],
            prop_oneof![level, volts(), number(0, 9_999_999).prop_map(State::Hertz)]
        )
            .prop_map(|(p, s)| (Subject::Level(p), s)),
        (
            place(),
            select(vec![State::Cold, State::Warm, State::Hot, State::TooHot])
        )
            .prop_map(|(p, s)| (Subject::Heat(p), s)),
        (
            place(),
            select(vec![State::Ok, State::Bad, State::Dead, State::Shorted])
        )
            .prop_map(|(p, s)| (Subject::Part(p), s)),
        (place(), seen).prop_map(|(p, s)| (Subject::Looks(p), State::Seen(s.into()))),
        place().prop_map(|p| (Subject::Looks(p), State::Ok)),
        (
            option::of(rail_name()),
            number(0, 9999).prop_map(State::Amperes)
        )
            .prop_map(|(n, s)| (Subject::Current(n), s)),
        ("C[1-9][0-9]?", 1u32..999, option::of(1u32..999)).prop_map(|(name, value, nominal)| {
            let farads = |n: u32| format!("{n}e-6").parse().expect("a number");
            let place = Place { name, pin: None };
            (
                Subject::Capacitance(place),
                State::Farads(farads(value), nominal.map(farads)),
            )
        }),
        ("C[1-9][0-9]?", number(0, 9999)).prop_map(|(name, r)| {
            (
                Subject::SeriesResistance(Place { name, pin: None }),
                State::Ohms(r),
            )
        }),
        (place(), 0u32..120).prop_map(|(p, t)| (Subject::Heat(p), State::Celsius(f64::from(t)))),
        ok_bad_dead_keys().prop_map(|s| (Subject::OtherKeys, s)),
        capacitor(),
    ]
}

fn ohms_read() -> impl Strategy<Value = State> {
    prop_oneof![
        number(0, 9_999_999).prop_map(State::Ohms),
        Just(State::Ohms(f64::INFINITY)),
        Just(State::Ok),
        Just(State::Shorted),
    ]
}

fn ok_bad_dead_keys() -> impl Strategy<Value = State> {
    select(vec![State::Ok, State::Bad, State::Dead])
}

fn finding() -> impl Strategy<Value = Statement> {
    let warmth = option::of(select(vec![Warmth::Cold, Warmth::Warm]));
    let loops = option::of((1u32..20, 20u32..99));
    (prop_oneof![tested(), measured()], loops, warmth).prop_map(
        |((subject, state), loops, warmth)| {
            let pass = matches!(state, State::Ok | State::Picture(PictureState::Normal));
            let loops = loops.map(|(n, m)| if pass { (0, m) } else { (n, m) });
            // A value off a meter stands by itself.
            let metered = matches!(
                subject,
                Subject::Current(_)
                    | Subject::Capacitance(_)
                    | Subject::SeriesResistance(_)
                    | Subject::Across(_)
                    | Subject::Along(..)
                    | Subject::Drop(_)
                    | Subject::OtherKeys
                    | Subject::Capacitor(_)
            ) || matches!(state, State::Celsius(_));
            let (loops, warmth) = if metered {
                (None, None)
            } else {
                (loops, warmth)
            };
            Statement::Finding(Finding {
                subject,
                state,
                loops,
                warmth,
            })
        },
    )
}

fn hands_on() -> impl Strategy<Value = Statement> {
    use {Action as A, Effect as E};
    let done = (
        select(vec![
            A::Swap,
            A::Replace,
            A::Piggyback,
            A::Bridge,
            A::Pull,
            A::Press,
            A::Reseat,
            A::Cool,
            A::WarmUp,
            A::Clean,
            A::Resolder,
        ]),
        prop_oneof![
            4 => vec(place(), 0..4),
            1 => vec(key_name().prop_map(Place::of_key), 1..4),
        ],
        select(vec![
            E::Cured,
            E::NoChange,
            E::Changed,
            E::Moved,
            E::Worse,
            E::Unknown,
        ]),
    );
    let effects = vec![E::Cured, E::NoChange, E::Changed, E::Worse, E::Unknown];
    let direct = (Just(A::Direct), vec(place(), 1..4), select(effects));
    let elsewhere = (
        Just(A::TestedElsewhere),
        vec(place(), 1..3),
        select(vec![E::TestedGood, E::TestedBad]),
    );
    prop_oneof![4 => done, 1 => direct, 4 => elsewhere].prop_map(|(action, places, result)| {
        Statement::HandsOn(HandsOn {
            action,
            places,
            result,
        })
    })
}

/// Entries of a ticket; `undo` has a test of its own, because it takes back what stands before it.
fn entry() -> impl Strategy<Value = Statement> {
    let text = "[a-zA-Z0-9;#,.?'\"-]{1,9}( [a-zA-Z0-9;#,.?'\"-]{1,9}){0,4}x";
    let moment = (1980u16..2100, 1u8..13, 1u8..29, 0u8..24, 0u8..60);
    let from = prop_oneof![
        Just(Origin::Shelf),
        Just(Origin::New),
        "[A-Z]?[0-9]{1,6}".prop_map(Origin::Donor)
    ];
    let ends = vec![
        Outcome::CuredProved,
        Outcome::CauseUnknown,
        Outcome::UsedForParts,
        Outcome::Reopened,
    ];
    prop_oneof![
        text.prop_map(|t| Statement::History(format!("h{t}"))),
        moment.prop_map(|(year, month, day, hour, minute)| Statement::At(Moment {
            year,
            month,
            day,
            hour,
            minute
        })),
        (
            "[a-z]{1,8}( [a-z]{1,8})?[.](jpg|png|jpeg)",
            option::of(text)
        )
            .prop_map(|(file, caption)| {
                Statement::Photo {
                    file,
                    caption: caption.unwrap_or_default(),
                }
            }),
        (vec(place(), 1..4), from).prop_map(|(places, from)| Statement::Origin { places, from }),
        (place(), text).prop_map(|(place, t)| Statement::OldPart {
            place,
            what: format!("o{t}")
        }),
        text.prop_map(|t| Statement::Skip(format!("s{t}"))),
        text.prop_map(|t| Statement::Proved(format!("p{t}"))),
        select(ends).prop_map(Statement::Outcome),
    ]
}

fn statement() -> impl Strategy<Value = Statement> {
    let text = "[a-zA-Z0-9;#,.?'\"-]{1,9}( [a-zA-Z0-9;#,.?'\"-]{1,9}){0,4}x";
    prop_oneof![
        "[A-Z]?[0-9]{1,6}(-[0-9]{1,3})?".prop_map(Statement::Ticket),
        "[a-z]{3,8}-[0-9]{2}".prop_map(Statement::Board),
        (40u32..70).prop_map(|f| Statement::Mains(f64::from(f))),
        "[a-z]{3,8}-[a-z0-9]{1,4}".prop_map(Statement::Cartridge),
        // `from photo` lets values be doubted, and a doubted value is not printed as if it were sure.
        Just(Statement::Obtained(Obtained::Typed)),
        (place(), "[0-9]{4}[A-Z]?|74LS[0-9]{3}|4164-15")
            .prop_map(|(place, part)| Statement::Fitted { place, part }),
        vec(place(), 1..4).prop_map(Statement::Empty),
        select(vec![Intake::Faulty, Intake::Works, Intake::Untested]).prop_map(Statement::Intake),
        text.prop_map(|t| Statement::Complaint(format!("c{t}"))),
        text.prop_map(|t| Statement::Note(format!("n{t}"))),
        vec(
            tested().prop_map(|(s, _)| s).prop_filter("a test", is_test),
            1..4
        )
        .prop_map(Statement::NotReached),
        Just(Statement::NotReached(vec![Subject::Test])),
        Just(Statement::RestFine),
        Just(Statement::NewRun),
        entry(),
        hands_on(),
        finding(),
        finding(),
        finding(),
        finding(),
    ]
}

/// One of each kind that never repeats itself on a line and may share one with others.
fn entry_or_result() -> impl Strategy<Value = Statement> {
    prop_oneof![
        "[0-9]{1,6}".prop_map(|n| Statement::Origin {
            places: vec![Place {
                name: "U7".into(),
                pin: None
            }],
            from: Origin::Donor(n)
        }),
        (0u8..8).prop_map(|n| Statement::Finding(Finding {
            subject: Subject::MemoryBit(n),
            state: State::Bad,
            loops: None,
            warmth: None
        })),
        Just(Statement::Outcome(Outcome::Reopened)),
        Just(Statement::RestFine),
    ]
}

/// What may stand in a list of things not reached; the whole test stands alone.
fn is_test(subject: &Subject) -> bool {
    !matches!(
        subject,
        Subject::Test
            | Subject::MemoryCell { .. }
            | Subject::Key(_)
            | Subject::MemoryRange(..)
            | Subject::Waveform(_)
            | Subject::Envelope(_)
            | Subject::NoiseSource
            | Subject::Loudness
            | Subject::Stick(..)
    )
}

/// A sheet that holds `statements` one a line, as a program would make it.
fn sheet_of(statements: &[Statement]) -> String {
    statements
        .iter()
        .map(|s| print_statement(s) + "\n")
        .collect()
}

fn said(sheet: &RunSheet) -> Vec<Statement> {
    sheet.statements().map(|s| s.value.clone()).collect()
}

/// Non-blank lines that are not only a comment, counted without the reader.
fn content_lines(text: &str) -> usize {
    let bare = |l: &str| {
        let l = l.trim();
        let l = l
            .strip_prefix(['-', '*', '•', '·'])
            .filter(|r| r.starts_with(char::is_whitespace))
            .unwrap_or(l)
            .trim();
        // With a number behind it, it may be a ticket: that is asked.
        let comment = l.starts_with('#') && !l[1..].starts_with(|c: char| c.is_ascii_digit());
        !l.is_empty() && !comment
    };
    text.replace("\r\n", "\n")
        .split(['\n', '\r'])
        .filter(|l| bare(l))
        .count()
}

/// 256 cases, or `PROPTEST_CASES` for a longer campaign; nothing is written beside the sources.
fn config() -> ProptestConfig {
    let cases = std::env::var("PROPTEST_CASES")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(256);
    ProptestConfig {
        cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// Found by the property below: what was not read must not be read when it is printed without what stood beside it.
#[test]
fn what_is_not_read_is_printed_with_what_keeps_it_from_being_read() {
    for text in [
        "rail 5v 4.98\n(skip U7 pin 40\nundo\n",
        "rail 5v 4.98\nundo\nphoto a.jp; front\n",
        "+5V 4.98; photo a.jp; front\n",
    ] {
        let sheet = parse("p", text.as_bytes()).expect("a text");
        assert!(
            sheet.lines.iter().any(|l| l.not_understood.is_some()),
            "{text}"
        );
        let printed = print(&sheet);
        let again = parse("p", printed.as_bytes()).expect("a text");
        assert_eq!(said(&again), said(&sheet), "{text}\n---\n{printed}");
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn every_statement_is_printed_and_read_the_same(all in vec(statement(), 1..6)) {
        let text = sheet_of(&all);
        let sheet = parse("p", text.as_bytes()).expect("a text");
        prop_assert!(sheet.diags.is_empty(), "{}\n{:?}", text, sheet.diags);
        prop_assert_eq!(said(&sheet), all, "{}", text);
    }

    #[test]
    fn undo_strikes_the_line_before_it_and_deletes_nothing(
        lines in vec(option::weighted(0.7, vec(entry_or_result(), 1..3)), 1..9)
    ) {
        // A stack kept beside the sheet: a line is pushed, an undo takes the last one back.
        let (mut text, mut stands): (String, Vec<Vec<Statement>>) = (String::new(), Vec::new());
        let mut undone = 0;
        for line in &lines {
            match line {
                Some(all) => {
                    // What is said twice on a line is said once.
                    let mut all = all.clone();
                    all.dedup();
                    text += &(all.iter().map(print_statement).collect::<Vec<_>>().join("; ") + "\n");
                    stands.push(all);
                }
                None => {
                    text += "undo\n";
                    undone += usize::from(stands.pop().is_some());
                }
            }
        }
        let sheet = parse("p", text.as_bytes()).expect("a text");
        let standing = |s: &RunSheet| -> Vec<Statement> {
            said(s).into_iter().filter(|s| *s != Statement::Undo).collect()
        };
        let expected: Vec<Statement> = stands.into_iter().flatten().collect();
        prop_assert_eq!(standing(&sheet), expected, "{}", text);
        prop_assert_eq!(sheet.lines.iter().filter(|l| l.struck_by.is_some()).count(), undone);
        let again = parse("p", print(&sheet).as_bytes()).expect("a text");
        prop_assert_eq!(said(&again), said(&sheet), "{}\n---\n{}", text, print(&sheet));
        let struck = |s: &RunSheet| s.lines.iter().map(|l| l.struck.len()).sum::<usize>();
        prop_assert_eq!(struck(&again), struck(&sheet));
    }

    #[test]
    fn printing_what_was_read_says_the_same(text in mutated(), ) {
        let Ok(sheet) = parse("p", text.as_bytes()) else { return Ok(()) };
        let printed = print(&sheet);
        let again = parse("p", printed.as_bytes()).expect("what was printed is a text");
        prop_assert_eq!(said(&again), said(&sheet), "{}\n---\n{}", text, printed);
    }

    #[test]
    fn every_line_is_kept_or_told(text in mutated()) {
        let Ok(sheet) = parse("p", text.as_bytes()) else { return Ok(()) };
        prop_assert_eq!(sheet.lines.len(), content_lines(&sheet.text), "{}", text);
        for line in &sheet.lines {
            // Separators alone (`;;`) say nothing; anything else is read or flagged.
            let words = sheet.text[line.span.start..line.span.end].split('#').next().unwrap_or("").chars().any(char::is_alphanumeric);
            let told = line.not_understood.is_some() || !line.statements.is_empty() || line.struck_by.is_some();
            prop_assert!(told || !words, "{:?}", &sheet.text[line.span.start..line.span.end]);
        }
        for diag in &sheet.diags {
            let (span, _) = diag.label.as_ref().expect("a place");
            prop_assert!(sheet.text.get(span.start..span.end).is_some(), "{:?}", diag);
        }
        let drawn = whichsocket::diag::render(&sheet.diags, "p", &sheet.text, false);
        prop_assert_eq!(drawn.is_empty(), sheet.diags.is_empty());
    }

    #[test]
    fn arbitrary_bytes_never_panic(bytes in vec(any::<u8>(), 0..400)) {
        let _ = parse("p", &bytes);
    }

    #[test]
    fn arbitrary_text_never_panics(text in "\\PC{0,120}(\n\\PC{0,60}){0,3}") {
        let _ = parse("p", text.as_bytes());
    }
}

/// Every sample, every sheet of the messages, every line of the corpus: printed and read the same.
#[test]
fn samples_and_corpus_are_printed_and_read_the_same() {
    let here = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut texts: Vec<Vec<u8>> = Vec::new();
    for folder in ["samples", "tests/errors"] {
        let files = std::fs::read_dir(here.join(folder))
            .expect("a folder")
            .flatten()
            .map(|e| e.path());
        texts.extend(
            files
                .filter(|p| p.extension().is_some_and(|x| x == "run"))
                .map(|p| std::fs::read(p).expect("a sheet")),
        );
    }
    let corpora = [
        include_str!("corpus/haste.tsv"),
        include_str!("corpus/haste2.tsv"),
    ];
    texts.extend(
        corpora
            .iter()
            .flat_map(|corpus| corpus.lines())
            .filter_map(|l| l.split('\t').next())
            .map(|l| l.as_bytes().to_vec()),
    );
    assert!(texts.len() > 370);
    for text in texts {
        let Ok(sheet) = parse("p", &text) else {
            continue;
        };
        let printed = print(&sheet);
        let again = parse("p", printed.as_bytes()).expect("what was printed is a text");
        assert_eq!(said(&again), said(&sheet), "{}\n---\n{printed}", sheet.text);
    }
}

/// A type number with the form of a position is printed so that it is read again (found by fuzzing).
#[test]
fn parts_with_the_form_of_positions_are_printed_and_read_the_same() {
    for (text, fitted) in [
        (
            "T1910 is now fitted in T1; 8efore that T1 waw ems now fitted in T1; 8efore that T1 waw empty",
            "fitted T1 T1910",
        ),
        ("put Z80 in U1", "fitted U1 Z80"),
        ("LM555 is now fitted in U3", "fitted U3 LM555"),
    ] {
        let sheet = parse("p", text.as_bytes()).expect("a text");
        let printed = print(&sheet);
        assert!(printed.lines().any(|l| l == fitted), "{printed}");
        let again = parse("p", printed.as_bytes()).expect("a text");
        assert_eq!(said(&again), said(&sheet), "{text}");
    }
}

/// A word for fitting with a number behind it is no type number: printed, it would be read as another one (found by fuzzing).
#[test]
fn a_word_for_fitting_is_no_part_of_a_type_number() {
    for text in ["fitted580 is fitted in socket U19", "put fitted8580 in U18"] {
        let sheet = parse("p", text.as_bytes()).expect("a text");
        let again = parse("p", print(&sheet).as_bytes()).expect("a text");
        assert_eq!(said(&again), said(&sheet), "{text}");
        let part = |s: &String| s.contains("FITTED");
        assert!(
            !said(&sheet)
                .iter()
                .map(|s| format!("{s:?}"))
                .any(|s| part(&s)),
            "{text}"
        );
    }
}

/// What says nothing is kept as well: comments, on lines of their own, and marks. A number in a comment is no ticket's.
#[test]
fn comments_and_marks_are_printed() {
    for (text, printed) in [
        ("# nuttimermment\n\n . \n", "# nuttimermment\n.\n"),
        (
            "# first\nmemory ok #12 the same\n-----\nnote ask #2 # twice\n  #last",
            "# first\nmemory ok\n# 12 the same\n-----\nnote ask #2 # twice\n# last\n",
        ),
        (
            "memory ok; # and\n#\nblorp fnord # not known",
            "memory ok\n# and\n#\nblorp fnord\n# not known\n",
        ),
    ] {
        let sheet = parse("p", text.as_bytes()).expect("a text");
        assert_eq!(print(&sheet), printed, "{text}");
        let again = parse("p", printed.as_bytes()).expect("a text");
        assert_eq!(said(&again), said(&sheet), "{text}");
        assert_eq!(print(&again), printed, "printed again");
    }
}

/// A note that ends a line which a word turned around is kept once.
#[test]
fn a_note_behind_what_is_not_read_is_printed_once() {
    for text in [
        "blorp not 3, memory ok, memo C19 210 uF",
        "serial pormory bit 3 bad, memory bit 3 bad, memo C19 210 uF o 55",
    ] {
        let sheet = parse("p", text.as_bytes()).expect("a text");
        let notes = |s: &RunSheet| {
            said(s)
                .iter()
                .filter(|s| matches!(s, Statement::Note(_)))
                .count()
        };
        assert_eq!(notes(&sheet), 1, "{}", sheet.text);
        let again = parse("p", print(&sheet).as_bytes()).expect("a text");
        assert_eq!(said(&again), said(&sheet), "{}", print(&sheet));
    }
}

/// A sample with some characters changed, dropped, doubled or moved.
fn mutated() -> impl Strategy<Value = String> {
    let edit = (
        0usize..200,
        0u8..5,
        any::<char>(),
        select(" ,;:-.#?\"/$+=~\nabno015".chars().collect::<Vec<_>>()),
    );
    (select(SAMPLES.to_vec()), vec(edit, 0..6)).prop_map(|(sample, edits)| {
        let mut text: Vec<char> = sample.chars().collect();
        for (at, kind, wild, mark) in edits {
            let at = at % text.len().max(1);
            match kind {
                0 if at < text.len() => {
                    text.remove(at);
                }
                1 => text.insert(at.min(text.len()), wild),
                2 if at + 1 < text.len() => text.swap(at, at + 1),
                3 if at < text.len() => text[at] = mark,
                _ => text.insert(at.min(text.len()), mark),
            }
        }
        text.into_iter().collect()
    })
}
