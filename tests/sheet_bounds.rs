//! Memory and size: whatever a sheet or map holds, reading it is bounded. Every allocation of this process is counted, so
//! these tests stand in a file of their own, and run one after the other.

use std::sync::Mutex;

use peak_alloc::PeakAlloc;
use whichsocket::faultmap::load::parse as parse_map;
use whichsocket::faultmap::raw::{BoardRaw, CartridgeRaw, FamilyRaw};
use whichsocket::sheet::{MOST_BYTES, MOST_LINES, SheetError, parse, read_limited};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// The most memory that `act` needed beyond what was there before, bytes.
fn most_of<T>(act: impl FnOnce() -> T) -> (T, usize) {
    let before = MEMORY.current_usage();
    MEMORY.reset_peak_usage();
    let done = act();
    (done, MEMORY.peak_usage().saturating_sub(before))
}

/// The limit for one sheet, bytes.
const LIMIT: usize = 64_000_000;

/// `line` again and again, up to the largest sheet.
fn full_of(line: &str) -> Vec<u8> {
    let mut bytes = line.as_bytes().repeat(MOST_BYTES / line.len());
    bytes.truncate(MOST_BYTES);
    bytes
}

#[test]
fn the_largest_sheets_stay_within_64_mb() {
    let _one = ONE_AT_A_TIME.lock();
    parse("warm", b"memory ok").expect("a text");
    let long_lines = format!("{}\n", "U17 hot; ".repeat(150));
    let lists = format!("keys dead {}\n", "Q ".repeat(70));
    for line in [
        "a\n",
        "\n",
        "?\n",
        "note a\n",
        ";\n",
        "0\r",
        &long_lines,
        &lists,
        "memroy ok\n",
        "\u{fffd}\n",
    ] {
        let bytes = full_of(line);
        let (read, most) = most_of(|| parse("large", &bytes).map(|s| s.lines.len()));
        let shown: String = line.chars().take(20).collect();
        println!(
            "{shown:?}: {read:?}, {:.1} MB beside the text",
            most as f64 / 1e6
        );
        assert!(
            bytes.len() + most <= LIMIT,
            "{shown:?}: {most} bytes beside {} of text",
            bytes.len()
        );
    }
}

#[test]
fn a_sheet_of_as_many_lines_as_are_read_stays_within_64_mb() {
    let _one = ONE_AT_A_TIME.lock();
    for line in [
        "4000 wrote 55 read 5D\n",
        "zz zz\n",
        "swapped U17 U18 U19: no change\n",
    ] {
        let text = line.repeat(MOST_LINES);
        let (read, most) = most_of(|| parse("many", text.as_bytes()));
        assert_eq!(read.expect("a sheet").lines.len(), MOST_LINES);
        println!("{line:?}: {:.1} MB beside the text", most as f64 / 1e6);
        assert!(text.len() + most <= LIMIT, "{line:?}: {most}");
    }
    let text = "U17 hot\n".repeat(MOST_LINES + 1);
    assert_eq!(
        parse("more", text.as_bytes()),
        Err(SheetError::TooManyLines)
    );
}

#[test]
fn what_is_larger_is_refused_before_it_is_read() {
    let _one = ONE_AT_A_TIME.lock();
    let (read, most) = most_of(|| read_limited(std::io::repeat(b'a')));
    assert_eq!(read, Err(SheetError::TooLong));
    assert!(most <= LIMIT, "{most}");
    let bytes = vec![b'a'; MOST_BYTES + 1];
    let (read, most) = most_of(|| parse("larger", &bytes));
    assert_eq!(read, Err(SheetError::TooLong));
    assert!(most < 1_000_000, "{most}");
}

/// YAML that is small to write and large to read.
#[test]
fn deep_and_bomb_like_maps_are_refused_in_bounded_memory() {
    let _one = ONE_AT_A_TIME.lock();
    let aliases: String = (1..30)
        .map(|i| {
            format!(
                "a{i}: &a{i} [{}]\n",
                vec![format!("*a{}", i - 1); 9].join(", ")
            )
        })
        .collect();
    let bombs = [
        ("aliases", format!("a0: &a0 [x, x, x]\n{aliases}")),
        ("nested lists", "[".repeat(200_000)),
        ("nested maps", "{a: ".repeat(100_000)),
        (
            "deep blocks",
            (0..3_000)
                .map(|i| format!("{}a:\n", " ".repeat(i)))
                .collect(),
        ),
        (
            "merge keys",
            format!(
                "x: &x {{a: 1}}\n{}",
                (0..50_000)
                    .map(|i| format!("k{i}:\n  <<: *x\n"))
                    .collect::<String>()
            ),
        ),
        (
            "one long list in a map",
            format!("board: x\nwhat: [{}]\n", "x, ".repeat(200_000)),
        ),
    ];
    for (what, text) in &bombs {
        let (refused, most) = most_of(|| {
            parse_map::<BoardRaw>(what, text).is_err()
                && parse_map::<FamilyRaw>(what, text).is_err()
                && parse_map::<CartridgeRaw>(what, text).is_err()
        });
        println!(
            "{what}: {:.1} MB beside {} bytes",
            most as f64 / 1e6,
            text.len()
        );
        assert!(refused, "{what}");
        assert!(text.len() + most <= LIMIT, "{what}: {most}");
    }
    // Ranges that stand for very many names are bounded, too.
    let (names, most) = most_of(|| whichsocket::faultmap::expand::list("d0..999999999").len());
    assert!(most < LIMIT, "{names} names in {most} bytes");
}
