//! The whole run, photo to folder, as a process of its own: time, and peak memory where the system tells.
//!
//! `cargo bench --bench whole`

mod synthetic;

use std::process::Command;
use std::time::Instant;

use synthetic::MEGAPIXELS;

/// Counted runs after one warm-up.
const RUNS: usize = 5;

fn main() {
    // Cargo runs benches as tests, too; then there is nothing to measure.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    println!(
        "{:<12} {:>12} {:>12} {:>14}",
        "photo", "median ms", "decoding ms", "peak MiB"
    );
    for megapixels in MEGAPIXELS {
        let photo = synthetic::photo(megapixels);
        let folder = tempfile::tempdir().unwrap();
        let mut times = Vec::new();
        let mut peak = None;
        for run in 0..=RUNS {
            let start = Instant::now();
            let mut child = Command::new(env!("CARGO_BIN_EXE_penstrata"))
                .args(["plan", "--width", "110mm", "--reference"])
                .arg(&photo)
                .arg("--pens")
                .arg(synthetic::pens())
                .arg("--out")
                .arg(folder.path().join("plan"))
                .stdout(std::process::Stdio::null())
                .spawn()
                .unwrap();
            // The kernel forgets a process once it has been waited for: read its peak while it runs.
            let status = loop {
                peak = peak.max(peak_kib(child.id()));
                if let Some(status) = child.try_wait().unwrap() {
                    break status;
                }
                std::thread::sleep(std::time::Duration::from_micros(500));
            };
            assert!(status.success());
            if run > 0 {
                times.push(start.elapsed().as_secs_f64() * 1e3);
            }
        }
        times.sort_by(f64::total_cmp);
        let decoding = {
            let mut times: Vec<f64> = (0..RUNS)
                .map(|_| {
                    let start = Instant::now();
                    penstrata::reference::Photo::load(&photo).unwrap();
                    start.elapsed().as_secs_f64() * 1e3
                })
                .collect();
            times.sort_by(f64::total_cmp);
            times[RUNS / 2]
        };
        let peak = peak.map_or("unknown".into(), |kib| {
            format!("{:.0}", kib as f64 / 1024.0)
        });
        println!(
            "{:<12} {:>12.0} {decoding:>12.0} {peak:>14}",
            format!("{megapixels} MP"),
            times[RUNS / 2]
        );
    }
}

/// Peak resident memory of a running process, from Linux's /proc.
fn peak_kib(pid: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
