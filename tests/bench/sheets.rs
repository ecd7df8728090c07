//! How many sheets a second `rank --json --no-next` gets through, and how the time grows: `cargo bench --bench sheets`.
//!
//! Random sheets as JSON lines through the program itself, start to end; the largest resident size as the kernel tells it.

#[path = "../common/sheets.rs"]
mod sheets;

use sheets::random_sheet;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

/// Seconds, MB at most, and the output's length and sum of bytes.
fn run(file: &Path, threads: usize) -> (f64, f64, (usize, u64)) {
    let input = std::fs::File::open(file).expect("the sheets");
    let start = Instant::now();
    let out = Command::new("/usr/bin/time")
        .args([
            "-f",
            "%M",
            env!("CARGO_BIN_EXE_whichsocket"),
            "rank",
            "--json",
            "--no-next",
        ])
        .args(["--threads", &threads.to_string(), "-"])
        .stdin(input)
        .stderr(Stdio::piped())
        .output()
        .expect("GNU time and the program");
    let seconds = start.elapsed().as_secs_f64();
    let messages = String::from_utf8_lossy(&out.stderr);
    let kilobytes: f64 = messages
        .lines()
        .last()
        .and_then(|l| l.trim().parse().ok())
        .unwrap_or_else(|| panic!("no size in {messages}"));
    let sum = out.stdout.iter().map(|&b| u64::from(b)).sum();
    (seconds, kilobytes / 1024.0, (out.stdout.len(), sum))
}

fn main() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    println!(
        "{:>8} {:>8} {:>10} {:>12} {:>8}",
        "sheets", "threads", "seconds", "sheets/s", "MB"
    );
    for count in [1_000, 10_000] {
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
            let (seconds, megabytes, output) = run(&file, threads);
            assert_eq!(
                *same.get_or_insert(output),
                output,
                "the output depends on the threads"
            );
            let rate = count as f64 / seconds;
            println!("{count:>8} {threads:>8} {seconds:>10.2} {rate:>12.0} {megabytes:>8.1}");
        }
    }
}
