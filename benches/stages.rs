//! Time per stage, on a synthetic photo of 12 and 48 megapixels and the demo's drawing.
//!
//! `cargo bench --bench stages`

mod synthetic;

use divan::{Bencher, black_box};
use penstrata::art::{find_cells, find_lines};
use penstrata::color::{Lab, halved_lab};
use penstrata::frame::MM_PER_PX;
use penstrata::grid::Grid;
use penstrata::input::read_files;
use penstrata::job::{CutEntry, Job, PinnedPen, White, WhiteShadows};
use penstrata::parts::{PartRules, Parts, find_colors, find_parts};
use penstrata::plan::Plan;
use penstrata::planner::Planner;
use penstrata::reference::{Alignment, Photo, Target, align, sample};
use penstrata::sections::{
    Band, Detail, LEAST_STEP, Rules, count_colors, halved_cells, label_field, ladders,
    number_sections,
};
use synthetic::MEGAPIXELS;

const WIDTH: usize = 1100;
const HEIGHT: usize = 825;

fn main() {
    divan::main();
}

#[divan::bench(args = MEGAPIXELS)]
fn decode(bencher: Bencher, megapixels: usize) {
    let path = synthetic::photo(megapixels);
    bencher.bench(|| penstrata::input::read_photo(&path).unwrap());
}

#[divan::bench(args = MEGAPIXELS)]
fn sample_into_the_frame(bencher: Bencher, megapixels: usize) {
    let photo = penstrata::input::read_photo(&synthetic::photo(megapixels)).unwrap();
    let lay = frame(&photo);
    bencher.bench(|| sample(&photo, &lay, WIDTH, HEIGHT, White::None).unwrap());
}

#[divan::bench]
fn lines_and_cells(bencher: Bencher) {
    let page = penstrata::input::read_page(&synthetic::art(), None, None)
        .unwrap()
        .flatten(WIDTH, HEIGHT, MM_PER_PX)
        .unwrap();
    bencher.bench(|| {
        let lines = find_lines(page.clone(), MM_PER_PX, "art".as_ref()).unwrap();
        find_cells(&lines.wall, 0.8, MM_PER_PX, false).unwrap()
    });
}

/// What the stages after sampling start from: no drawing, one cell.
struct Start {
    lab: Grid<Lab>,
    cells: Grid<u16>,
    half: Grid<u16>,
    parts: Parts,
    bands: Vec<Band>,
}

fn start() -> Start {
    let photo = penstrata::input::read_photo(&synthetic::photo(MEGAPIXELS[0])).unwrap();
    let lay = frame(&photo);
    let reference = sample(&photo, &lay, WIDTH, HEIGHT, White::None).unwrap();
    let lab = halved_lab(&reference.picture, &reference.subject);
    let cells = Grid::filled(WIDTH, HEIGHT, 1);
    let half = halved_cells(&cells);
    let parts = parts_of(&lab, &half, true);
    let bands = ladders(
        &count_colors(&parts),
        parts.families.len(),
        4,
        parts.has_forms(),
    )
    .iter()
    .enumerate()
    .flat_map(|(g, l)| l.bands(g, 3))
    .collect();
    Start {
        lab,
        cells,
        half,
        parts,
        bands,
    }
}

/// The parts of one cell: all that the photo shows, or one thing with its form.
fn parts_of(lab: &Grid<Lab>, half: &Grid<u16>, open: bool) -> Parts {
    let evidence = half.map(|_| u8::MAX);
    let detail = Detail::of(3);
    let rules = PartRules {
        hue_gain: detail.hue_gain,
        share: detail.form_share,
        nib_mm: 1.5,
        step: LEAST_STEP,
        mm_per_px: 0.2,
    };
    let colors = find_colors(
        lab,
        half,
        &evidence,
        half.map(|_| false),
        &|_| false,
        rules.mm_per_px,
    );
    find_parts(lab, half, &colors, &|_| open, &|_| None, rules).unwrap()
}

/// The photo's frame on the frame.
fn frame(photo: &Photo) -> Alignment {
    let target = Target {
        frame: (WIDTH, HEIGHT),
        silhouette: None,
        drawn: None,
        mm_per_px: MM_PER_PX,
    };
    align(photo, Err("not looked for"), &target, None, &[]).unwrap()
}

/// The demo's drawing in a photo of something else: looked for all over it, which takes longest.
#[divan::bench]
fn laid_by_drawn_lines(bencher: Bencher) {
    let photo = penstrata::input::read_photo(&synthetic::photo(MEGAPIXELS[0])).unwrap();
    let page = penstrata::input::read_page(&synthetic::art(), None, None)
        .unwrap()
        .flatten(WIDTH, HEIGHT, MM_PER_PX)
        .unwrap();
    let lines = find_lines(page, MM_PER_PX, "art".as_ref()).unwrap();
    let silhouette = find_cells(&lines.wall, 0.8, MM_PER_PX, false)
        .unwrap()
        .silhouette(MM_PER_PX);
    let target = Target {
        frame: (WIDTH, HEIGHT),
        silhouette: Some(&silhouette),
        drawn: Some(&lines.wall),
        mm_per_px: MM_PER_PX,
    };
    bencher.bench(|| align(&photo, Err("not looked for"), &target, None, &[]).unwrap());
}

/// Families and bands of an open cell, and with the form of a closed one.
#[divan::bench(args = [true, false])]
fn parts_and_bands(bencher: Bencher, open: bool) {
    let s = start();
    bencher.bench(|| {
        let parts = parts_of(&s.lab, &s.half, open);
        ladders(
            &count_colors(&parts),
            parts.families.len(),
            4,
            parts.has_forms(),
        )
    });
}

fn rules() -> Rules {
    Rules {
        detail: Detail::of(3),
        nib_mm: 1.5,
        mm_per_px: 0.2,
    }
}

#[divan::bench]
fn regular_label_field(bencher: Bencher) {
    let s = start();
    bencher.bench(|| label_field(&s.parts, black_box(&s.bands), rules()));
}

#[divan::bench]
fn sections_in_the_full_frame(bencher: Bencher) {
    let s = start();
    let label = label_field(&s.parts, &s.bands, rules());
    bencher.bench(|| number_sections(&label, &s.half, &s.cells, 600));
}

#[divan::bench]
fn sheets(bencher: Bencher) {
    let folder = tempfile::tempdir().unwrap();
    let job = synthetic::job(MEGAPIXELS[0], folder.path());
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    bencher.bench(|| penstrata::sheets::render_all(&made, false).unwrap());
}

/// The demo's drawing as one part after the other, 110 mm wide.
#[divan::bench]
fn form_and_light(bencher: Bencher) {
    use penstrata::light::{Lamp, LitPart, light_parts};
    let page = penstrata::input::read_page(&synthetic::art(), None, None)
        .unwrap()
        .flatten(WIDTH, HEIGHT, MM_PER_PX)
        .unwrap();
    let lines = find_lines(page, MM_PER_PX, "art".as_ref()).unwrap();
    let cells = find_cells(&lines.wall, 0.8, MM_PER_PX, false).unwrap();
    let parts: Vec<LitPart> = (1..=cells.count as u16)
        .map(|cell| LitPart {
            pen: None,
            cells: vec![cell],
            color: penstrata::color::Srgb8::new(180, 80, 50),
            roundness: 0.85,
            gloss: 0.5,
            crease: 0.3,
            over: Vec::new(),
            shadow_mm: 0.0,
        })
        .collect();
    let lamp = Lamp::new(315.0, 40.0);
    bencher.bench(|| {
        light_parts(
            &parts,
            &lamp,
            WhiteShadows::Neutral,
            &cells,
            &lines,
            MM_PER_PX,
        )
    });
}

/// A planner that has made the plan of the demo's drawing with a photo of 12 megapixels, and its job.
fn planned() -> (Planner, Job, Plan) {
    let folder = tempfile::tempdir().unwrap();
    let mut job = synthetic::job(MEGAPIXELS[0], folder.path());
    job.art = Some(synthetic::art());
    let mut planner = Planner::new(read_files(&job).unwrap());
    let plan = planner.plan(&job, &|_| {}).unwrap().plan;
    (planner, job, plan)
}

/// Time for the plan after an edit, and back again before the next.
fn edit(bencher: Bencher, change: impl Fn(&mut Job, &Plan) + Sync) {
    let (planner, job, plan) = planned();
    let planner = std::sync::Mutex::new(planner);
    let mut changed = job.clone();
    change(&mut changed, &plan);
    bencher
        .with_inputs(|| {
            planner.lock().unwrap().plan(&job, &|_| {}).unwrap();
        })
        .bench_values(|()| planner.lock().unwrap().plan(&changed, &|_| {}).unwrap());
}

#[divan::bench]
fn edit_forbid_a_pen(bencher: Bencher) {
    edit(bencher, |job, plan| {
        job.forbid = vec![plan.numbers[0].pen.as_ref().unwrap().name.clone()];
    });
}

#[divan::bench]
fn edit_pin_a_pen(bencher: Bencher) {
    edit(bencher, |job, plan| {
        let band = plan
            .bands
            .iter()
            .find(|b| !b.runner_ups.is_empty())
            .unwrap();
        job.pinned = vec![PinnedPen::for_band(&band.name, &band.runner_ups[0].pen)];
    });
}

#[divan::bench]
fn edit_merge_two_sections(bencher: Bencher) {
    edit(bencher, |job, plan| {
        let [a, b] = [0, 1].map(|s| plan.sections[s].inside_mm);
        job.merge = vec![vec![a, b]];
    });
}

#[divan::bench]
fn edit_leave_a_cell_bare(bencher: Bencher) {
    edit(bencher, |job, plan| {
        job.bare_cells = vec![plan.sections[0].inside_mm]
    });
}

#[divan::bench]
fn edit_leave_a_section_bare(bencher: Bencher) {
    edit(bencher, |job, plan| {
        job.bare = vec![plan.sections[0].inside_mm]
    });
}

#[divan::bench]
fn edit_pen_for_a_section(bencher: Bencher) {
    edit(bencher, |job, plan| {
        let name = &plan.numbers[1].pen.as_ref().unwrap().name;
        job.pinned = vec![PinnedPen::for_section(plan.sections[0].inside_mm, name)];
    });
}

#[divan::bench]
fn edit_cut(bencher: Bencher) {
    edit(bencher, |job, plan| {
        let [x, y] = plan.sections[0].inside_mm;
        let line = vec![[x, y - 100.0], [x, y + 100.0]];
        job.cuts = vec![CutEntry { line }];
    });
}

#[divan::bench]
fn edit_most_bands(bencher: Bencher) {
    edit(bencher, |job, _| job.bands = 2);
}

#[divan::bench]
fn edit_detail(bencher: Bencher) {
    edit(bencher, |job, _| job.detail = 4);
}
