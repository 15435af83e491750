//! The command line: flags to a job, progress, and the summary.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::{Args, Parser, Subcommand};

use crate::color::Srgb8;
use crate::error::{Error, Result};
use crate::job::{Align, Job, Page, White};
use crate::length::Length;
use crate::plan::Plan;
use crate::{folder, make_plan, sheets};

#[derive(Parser)]
#[command(
    name = "penstrata",
    version,
    about = "Plans flat, unblended alcohol-marker coloring from a photo, a line drawing and the pens you own."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Make the plan: a true-size overlay to trace, a preview, and which pen goes where
    #[command(after_help = EXAMPLES)]
    Plan(PlanArgs),
}

const EXAMPLES: &str = "\
Examples:
  The job written down in a file:
    penstrata plan demo/job.toml
  Everything by flags:
    penstrata plan --reference plum.jpg --art plum-stamp.png --width 110mm --pens my-pens.csv --out plum-plan
  No drawing, only a photo; few large sections, on Letter paper:
    penstrata plan --reference barn.jpg --width 4.25in --pens my-pens.csv --detail 1 --page Letter --out barn-plan
  The same job again with another nib (flags win over the file):
    penstrata plan plum-plan/plan.json --nib 2mm

Print overlay.pdf at 100 % and check its ruler before you trace.";

#[derive(Args)]
struct PlanArgs {
    /// Job file (TOML), or the plan.json of an earlier plan
    job: Option<PathBuf>,
    /// Photo of the real thing: JPEG, PNG, WebP, TIFF or BMP
    #[arg(long, value_name = "PHOTO")]
    reference: Option<PathBuf>,
    /// Your line drawing: a flat scan or an SVG file. Without one, the borders of the sections are the drawing
    #[arg(long, value_name = "DRAWING")]
    art: Option<PathBuf>,
    /// Width of the whole drawing (or photo) on the panel, such as 110mm, 11cm or 4.25in
    #[arg(long, value_name = "LENGTH")]
    width: Option<Length>,
    /// Your pens, as a table saved as CSV: name,color,refill,condition
    #[arg(long, value_name = "CSV")]
    pens: Option<PathBuf>,
    /// Folder for the plan
    #[arg(long, value_name = "FOLDER")]
    out: Option<PathBuf>,
    /// Take out the color of the light: auto, none, or the photo pixel X,Y of something white
    #[arg(long, value_name = "auto|none|X,Y")]
    white: Option<White>,
    /// Lay the photo onto the drawing by its frame, or by its subject (a photo with a transparent background)
    #[arg(long)]
    align: Option<Align>,
    /// Close gaps in the drawn lines up to this width [default: 0.8mm]
    #[arg(long, value_name = "LENGTH")]
    gap: Option<Length>,
    /// Width of your pens' nibs; no section is narrower [default: 1.5mm]
    #[arg(long, value_name = "LENGTH")]
    nib: Option<Length>,
    /// 1 for few large sections, to 5 for many small ones [default: 3]
    #[arg(long, value_name = "1-5")]
    detail: Option<u8>,
    /// Most lightness steps of one hue, 1 to 4 [default: 4; fewer are used where they read well]
    #[arg(long, value_name = "1-4")]
    bands: Option<u8>,
    /// Color what lies outside the drawing, too
    #[arg(long)]
    background: bool,
    /// Leave the cell around this point bare: millimeters from the top left of the drawing; may be repeated
    #[arg(long, value_name = "X,Y", value_parser = point)]
    bare: Vec<[f64; 2]>,
    /// Color of your card [default: #ffffff]
    #[arg(long, value_name = "#rrggbb")]
    paper: Option<Srgb8>,
    /// Paper in your printer [default: A4]
    #[arg(long)]
    page: Option<Page>,
    /// Mirror the overlay, for tracing from the back
    #[arg(long)]
    mirror: bool,
    /// Also write the pictures of the stages
    #[arg(long)]
    steps: bool,
}

impl PlanArgs {
    /// The job of the file, with the flags laid over it.
    fn job(&self) -> Result<Job> {
        let needed = |what: &str| {
            Error::new(
                format!("--{what} is missing"),
                "Give a job file, or at least --reference, --width, --pens and --out (penstrata plan --help).",
            )
        };
        let mut job = match &self.job {
            Some(path) => Job::read(path)?,
            None => Job::new(
                self.reference.clone().ok_or_else(|| needed("reference"))?,
                self.pens.clone().ok_or_else(|| needed("pens"))?,
                self.width.ok_or_else(|| needed("width"))?,
                self.out.clone().ok_or_else(|| needed("out"))?,
            ),
        };
        fn lay<T: Clone>(flag: &Option<T>, entry: &mut T) {
            if let Some(value) = flag {
                *entry = value.clone();
            }
        }
        lay(&self.reference, &mut job.reference);
        lay(&self.pens, &mut job.pens);
        lay(&self.out, &mut job.out);
        lay(&self.width, &mut job.width);
        lay(&self.white, &mut job.white);
        lay(&self.gap, &mut job.gap);
        lay(&self.nib, &mut job.nib);
        lay(&self.detail, &mut job.detail);
        lay(&self.bands, &mut job.bands);
        lay(&self.paper, &mut job.paper);
        lay(&self.page, &mut job.page);
        job.art = self.art.clone().or(job.art);
        job.align = self.align.or(job.align);
        job.bare.extend(&self.bare);
        job.background |= self.background;
        job.mirror |= self.mirror;
        Ok(job)
    }
}

/// Two numbers, as in `52,30.5`.
fn point(text: &str) -> std::result::Result<[f64; 2], String> {
    text.split_once(',')
        .and_then(|(x, y)| Some([x.trim().parse().ok()?, y.trim().parse().ok()?]))
        .ok_or_else(|| {
            format!("\"{text}\" is not a point; write X,Y in millimeters, for example 52,30.5")
        })
}

/// Runs the program: parse, plan, write, tell.
///
/// # Errors
/// What is wrong and what to do, ready to be printed.
pub fn run() -> Result<()> {
    let Command::Plan(args) = Cli::parse().command;
    let job = args.job()?;
    job.check()?;
    folder::check_free(&job.out)?;
    let progress = Progress::start();
    let mut made = make_plan(&job, &|stage| progress.stage(stage))?;
    progress.stage("drawing the sheets");
    let mut files = sheets::render_all(&made, args.steps)?;
    finish_plan(&mut made.plan, &mut files)?;
    progress.stage("writing the folder");
    folder::write(&job.out, &files)?;
    progress.done();
    print!(
        "{}",
        summary(&made.plan, &job.out, std::io::stdout().is_terminal())
    );
    Ok(())
}

/// Lists the files in the plan, makes the job's paths relative to its folder, and adds `plan.json`.
fn finish_plan(plan: &mut Plan, files: &mut Vec<folder::File>) -> Result<()> {
    let out = plan.job.out.clone();
    let base = real_path(&out);
    plan.job.rebase(|path| {
        let path = real_path(path);
        match pathdiff::diff_paths(&path, &base) {
            Some(relative) if relative.as_os_str().is_empty() => PathBuf::from("."),
            Some(relative) => relative,
            None => path,
        }
    });
    plan.files = files
        .iter()
        .map(|(name, _)| name.clone())
        .chain(["plan.json".to_owned()])
        .collect();
    plan.files.sort();
    let json = serde_json::to_string_pretty(plan).map_err(|e| {
        Error::new(
            format!("plan.json could not be made ({e})"),
            "This is a fault in penstrata; please report it.",
        )
    })?;
    files.push(("plan.json".to_owned(), (json + "\n").into_bytes()));
    Ok(())
}

/// The path without links and dots, also where its last parts do not exist yet.
fn real_path(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    for ancestor in path.ancestors() {
        if let (Ok(real), Ok(rest)) = (ancestor.canonicalize(), path.strip_prefix(ancestor)) {
            return real.join(rest).components().collect();
        }
    }
    path
}

/// Stages with their time, on a terminal only.
struct Progress {
    shown: bool,
    start: Instant,
    current: std::cell::RefCell<Option<(String, Instant)>>,
}

impl Progress {
    fn start() -> Self {
        Self {
            shown: std::io::stderr().is_terminal(),
            start: Instant::now(),
            current: Default::default(),
        }
    }

    fn stage(&self, name: &str) {
        let last = self
            .current
            .borrow_mut()
            .replace((name.to_owned(), Instant::now()));
        self.print(last);
        if self.shown {
            eprint!("  {name} ...");
        }
    }

    fn print(&self, stage: Option<(String, Instant)>) {
        if let (true, Some((name, since))) = (self.shown, stage) {
            eprintln!("\r  {name:<32} {:>5} ms", since.elapsed().as_millis());
        }
    }

    fn done(&self) {
        let last = self.current.borrow_mut().take();
        self.print(last);
        if self.shown {
            eprintln!(
                "  {:<32} {:>5} ms\n",
                "in all",
                self.start.elapsed().as_millis()
            );
        }
    }
}

/// What a person wants to know at the end. `color` adds swatches for a terminal.
fn summary(plan: &Plan, out: &Path, color: bool) -> String {
    use std::fmt::Write;
    let mut text = String::new();
    let swatch = |c: Srgb8| {
        let [r, g, b] = c.0;
        if color {
            format!("\x1b[48;2;{r};{g};{b}m      \x1b[0m")
        } else {
            c.to_string()
        }
    };
    let clean = |name: &str| {
        name.chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect::<String>()
    };
    let width = plan
        .numbers
        .iter()
        .filter_map(|n| n.pen.as_ref())
        .map(|p| p.name.chars().count())
        .max()
        .unwrap_or(0)
        .clamp(10, 30);
    let _ = writeln!(
        text,
        "pass  color    {:<width$}  sections      area  refill",
        "pen"
    );
    for n in &plan.numbers {
        let (name, refill) = match &n.pen {
            Some(pen) => (clean(&pen.name), if pen.refill { "yes" } else { "no" }),
            None => ("bare paper".to_owned(), ""),
        };
        let _ = writeln!(
            text,
            "{:>4}  {}  {name:<width$}  {:>8}  {:>4.1} cm2  {refill}",
            Plan::number_text(n.number),
            swatch(n.color),
            n.sections,
            n.area_mm2 / 100.0,
        );
    }
    let f = &plan.figures;
    let _ = writeln!(
        text,
        "\n{} sections, {:.0} cm to trace, narrowest {:.1} mm; mean color difference to the photo {:.1} (CIEDE2000).",
        f.sections,
        f.trace_mm / 10.0,
        f.narrowest_mm,
        f.mean_delta_e
    );
    for group in plan.groups.iter().filter(|g| g.bands > 0) {
        let at = |n: usize| group.mean_delta_e_by_bands.get(n - 1).copied();
        let (Some(now), n) = (at(group.bands), group.bands) else {
            continue;
        };
        let mut others = Vec::new();
        if n > 1
            && let Some(fewer) = at(n - 1)
        {
            others.push(format!("with {}: {fewer:.1}", n - 1));
        }
        if let Some(more) = at(n + 1) {
            others.push(format!("with {}: {more:.1}", n + 1));
        }
        let _ = writeln!(
            text,
            "  {:<10} {:>3.0} % of the area in {n} band{} ({now:.1} from the photo; {})",
            group.name,
            group.share * 100.0,
            if n == 1 { "" } else { "s" },
            others.join(", ")
        );
    }
    for band in plan.bands.iter().filter(|b| b.area_mm2 > 0.0) {
        if let (Some(pen), [first, rest @ ..]) = (&band.pen, band.runner_ups.as_slice()) {
            let second = rest
                .first()
                .map(|r| format!(" or {} ({:.1})", clean(&r.pen), r.delta_e))
                .unwrap_or_default();
            let _ = writeln!(
                text,
                "  {} ({:.1}), else {} ({:.1}){second}",
                clean(pen),
                band.delta_e,
                clean(&first.pen),
                first.delta_e
            );
        }
    }
    if !plan.warnings.is_empty() {
        text.push('\n');
    }
    for warning in &plan.warnings {
        let _ = writeln!(text, "Note: {}", clean(warning));
    }
    let _ = writeln!(
        text,
        "\nThe plan is in {}: print overlay.pdf at 100 %, look at preview.png.",
        out.display()
    );
    text
}
