//! How many sheets a second `rank --json --no-next` gets through, and how the time grows: `cargo bench --bench sheets`.
//!
//! Random sheets as JSON lines through the program itself, start to end; seconds by the clock and of the processor, and the largest
//! resident size, as the kernel tells them. On a machine that does other things as well, sheets a processor second count.
//! `SHEETS=100000 cargo bench --bench sheets` goes on to so many.

#[path = "../common/sheets.rs"]
mod sheets;

use sheets::random_sheet;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// What a run took and gave.
struct Run {
    /// By the clock.
    seconds: f64,
    /// Of all threads.
    processor: f64,
    megabytes: f64,
    /// Length and sum of the bytes printed.
    output: (usize, u64),
}

fn run(file: &Path, threads: usize) -> Run {
    let input = std::fs::File::open(file).expect("the sheets");
    let start = Instant::now();
    let out = Command::new("/usr/bin/time")
        .args([
            "-f",
            "%M %U %S",
            env!("CARGO_BIN_EXE_whichsocket"),
            "--quiet",
        ])
        .args(["rank", "--json", "--no-next"])
        .args(["--threads", &threads.to_string(), "-"])
        .stdin(input)
        .stderr(Stdio::piped())
        .output()
        .expect("GNU time and the program");
    let seconds = start.elapsed().as_secs_f64();
    let messages = String::from_utf8_lossy(&out.stderr);
    let last = messages.lines().last().unwrap_or_default();
    let told: Vec<f64> = last.split(' ').filter_map(|n| n.parse().ok()).collect();
    let [kilobytes, user, system] = told[..] else {
        panic!("no figures in {messages}");
    };
    let sum = out.stdout.iter().map(|&b| u64::from(b)).sum();
    Run {
        seconds,
        processor: user + system,
        megabytes: kilobytes / 1024.0,
        output: (out.stdout.len(), sum),
    }
}

fn main() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let most: u64 = std::env::var("SHEETS").map_or(10_000, |n| n.parse().expect("a number"));
    println!(
        "{:>8} {:>8} {:>9} {:>10} {:>14} {:>8}",
        "sheets", "threads", "seconds", "sheets/s", "of processor/s", "MB"
    );
    for count in [1_000, 10_000, 100_000].into_iter().filter(|c| *c <= most) {
        let file = folder.join(format!("sheets-{count}.jsonl"));
        let mut out = std::io::BufWriter::new(std::fs::File::create(&file).expect("a file"));
        for seed in 0..count {
            let line =
                serde_json::json!({ "name": format!("sheet {seed}"), "sheet": random_sheet(seed) });
            writeln!(out, "{line}").expect("written");
        }
        drop(out);
        let mut same = None;
        for threads in [1, 2] {
            let run = run(&file, threads);
            assert_eq!(
                *same.get_or_insert(run.output),
                run.output,
                "the output depends on the threads"
            );
            let n = count as f64;
            println!(
                "{count:>8} {threads:>8} {:>9.2} {:>10.0} {:>14.0} {:>8.1}",
                run.seconds,
                n / run.seconds,
                n / run.processor,
                run.megabytes
            );
        }
    }
}
