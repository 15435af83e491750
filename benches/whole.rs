//! The whole run, photo to folder, as a process of its own: time, and peak memory where the system tells.
//!
//! `cargo bench --bench whole`

mod synthetic;

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use rayon::prelude::*;
use synthetic::MEGAPIXELS;

/// Counted runs after one warm-up.
const RUNS: usize = 5;

fn main() {
    // Cargo runs benches as tests, too; then there is nothing to measure.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    println!(
        "{:<28} {:>12} {:>12} {:>14}",
        "job", "median ms", "decoding ms", "peak MiB"
    );
    for megapixels in MEGAPIXELS {
        let photo = synthetic::photo(megapixels);
        measure(
            &format!("photo alone, {megapixels} MP"),
            &[&photo],
            &["--width", "110mm", "--reference", text(&photo)],
        );
    }
    let (berry, panel, scan) = (
        synthetic::berry(),
        synthetic::panel_photo(),
        synthetic::panel_scan(),
    );
    let reference = ["--reference", text(&berry), "--art"];
    let flat = [&reference[..], &[text(&scan), "--width", "148mm"]].concat();
    let phone = [&reference[..], &[text(&panel), "--panel", "A6"]].concat();
    measure(
        "flat scan by frame, 12 MP",
        &[&berry, &scan],
        &[&flat[..], &["--align", "frame"]].concat(),
    );
    measure("flat scan, 12 MP", &[&berry, &scan], &flat);
    measure("phone photo, 12 MP", &[&berry, &panel], &phone);
    let photo = synthetic::photo(12);
    let folder = tempfile::tempdir().unwrap();
    let card = folder.path().join("card.toml");
    std::fs::write(&card, card_job(&berry, &photo)).unwrap();
    measure(
        "six stamps, two photos, A5",
        &[&berry, &photo],
        &[text(&card)],
    );
    // The same drawing as one art, with either photo: what a card costs besides its sections.
    let drawing = as_one_art(&card, folder.path());
    for (name, photo) in [("berry", &berry), ("plums", &photo)] {
        let flat = [
            "--reference",
            text(photo),
            "--art",
            text(&drawing),
            "--width",
            "148mm",
        ];
        measure(&format!("as one art, {name}, A5"), &[photo], &flat);
    }
}

/// The composed drawing of a card, as a picture.
fn as_one_art(card: &Path, folder: &Path) -> std::path::PathBuf {
    let mut job = penstrata::input::read_job(card).unwrap();
    job.pens = synthetic::pens();
    let ink = penstrata::input::make_plan(&job, &|_| {})
        .unwrap()
        .lines
        .ink();
    let gray = ink.map(|ink| if ink { 0u8 } else { 255 }).into_image();
    let path = folder.join("drawing.png");
    gray.save(&path).unwrap();
    path
}

/// Six stamps of two arts on an A5 panel, each art with a photo of its own.
fn card_job(berry: &Path, photo: &Path) -> String {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let mut job = "pens = \"pens.csv\"\nout = \"plan\"\n[panel]\nsize = \"A5\"\n".to_owned();
    for n in 0..6 {
        let (art, photo) = match n % 2 {
            0 => ("mushroom.svg", berry),
            _ => ("lantern.svg", photo),
        };
        job += &format!(
            "[[stamp]]\nname = \"{n}\"\nart = {:?}\nreference = {photo:?}\nwidth = \"62mm\"\nat = [{}, {}]\nturn = {}\n",
            demo.join(art),
            40 + 66 * (n % 2),
            40 + 64 * (n / 2),
            12 * n
        );
    }
    job
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a path of ours is UTF-8")
}

/// Prints the figures of one job; `photos` are what it decodes.
fn measure(name: &str, photos: &[&Path], args: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let mut times = Vec::new();
    let mut peak = None;
    for run in 0..=RUNS {
        let start = Instant::now();
        let mut child = Command::new(env!("CARGO_BIN_EXE_penstrata"))
            .arg("plan")
            .args(args)
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
    // Two photos are decoded on a core each, as in the run.
    let decoding = median((0..RUNS).map(|_| {
        let start = Instant::now();
        photos.par_iter().for_each(|photo| {
            penstrata::input::read_photo(photo).unwrap();
        });
        start.elapsed().as_secs_f64() * 1e3
    }));
    let peak = peak.map_or("unknown".into(), |kib| {
        format!("{:.0}", kib as f64 / 1024.0)
    });
    println!(
        "{name:<28} {:>12.0} {decoding:>12.0} {peak:>14}",
        median(times)
    );
}

fn median(times: impl IntoIterator<Item = f64>) -> f64 {
    let mut times: Vec<f64> = times.into_iter().collect();
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Peak resident memory of a running process, from Linux's /proc.
fn peak_kib(pid: u32) -> Option<u64> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}
