//! Drawn lines and cells: gaps, stipple, gray scans, solid black, the outside.

mod common;

use penstrata::art::{Cells, Lines, Opening, find_cells, find_lines, find_openings};
use penstrata::frame::MM_PER_PX;
use penstrata::grid::Grid;

const GAP_MM: f64 = 0.8;

fn svg(body: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='40mm' viewBox='0 0 60 40'><g fill='none' stroke='#000' stroke-width='0.5'>{body}</g></svg>"
    )
}

fn page(body: &str) -> Grid<u8> {
    let file = tempfile::Builder::new().suffix(".svg").tempfile().unwrap();
    std::fs::write(file.path(), svg(body)).unwrap();
    penstrata::input::read_page(file.path(), None, None)
        .unwrap()
        .flatten(600, 400, MM_PER_PX)
        .unwrap()
}

fn cells_of(page: Grid<u8>) -> (Lines, Cells) {
    let lines = find_lines(page, MM_PER_PX, "test".as_ref()).unwrap();
    let cells = find_cells(&lines.wall, GAP_MM, MM_PER_PX, false).unwrap();
    (lines, cells)
}

/// A circle of 12 mm with a gap of `gap` mm.
fn open_circle(gap: f64) -> String {
    if gap == 0.0 {
        return "<circle cx='30' cy='20' r='12'/>".to_owned();
    }
    let half = gap / 2.0;
    let x = 30.0 + (144.0f64 - half * half).sqrt();
    format!(
        "<path d='M {x} {} A 12 12 0 1 0 {x} {}'/>",
        20.0 - half,
        20.0 + half
    )
}

#[test]
fn a_gap_up_to_the_limit_is_closed_and_a_wider_one_leaks() {
    for (gap, closed) in [(0.0, true), (0.4, true), (0.7, true), (1.6, false)] {
        let lines = find_lines(page(&open_circle(gap)), MM_PER_PX, "test".as_ref()).unwrap();
        let cells = find_cells(&lines.wall, GAP_MM, MM_PER_PX, false);
        let inside = cells.as_ref().is_ok_and(|c| c.map.at(300, 200) > 0);
        assert_eq!(inside, closed, "gap of {gap} mm");
        if let Ok(cells) = cells {
            assert_eq!(cells.map.at(5, 5), 0, "the outside is bare");
            assert!(cells.outside.at(5, 5));
        }
    }
}

#[test]
fn stipple_dots_are_no_cells_and_no_walls() {
    let dots: String = (0..30)
        .map(|i| {
            format!(
                "<circle cx='{}' cy='{}' r='0.15' fill='#000'/>",
                24.0 + f64::from(i % 6) * 1.1,
                16.0 + f64::from(i / 6) * 1.1
            )
        })
        .collect();
    let (lines, cells) = cells_of(page(&format!("{}{dots}", open_circle(0.0))));
    assert_eq!(cells.count, 1);
    assert!(lines.dots.data.contains(&true));
    assert!(!lines.wall.at(240, 160));
}

#[test]
fn solid_black_is_ink_and_a_narrow_corridor_is_one_cell() {
    let (lines, cells) = cells_of(page(
        "<rect x='5' y='5' width='20' height='30'/><rect x='10' y='10' width='8' height='8' fill='#000'/>\
         <rect x='30' y='10' width='25' height='1.6'/>",
    ));
    assert!(lines.wall.at(140, 140));
    assert_eq!(cells.map.at(140, 140), 0);
    assert_eq!(cells.count, 2);
}

/// A gray scan: paper at 190, ink at 90, grain of 12 levels, then JPEG at quality 60.
#[test]
fn a_gray_noisy_scan_gives_the_same_cells_as_the_clean_drawing() {
    let clean = page(&format!("{}<path d='M 30 8 V 32'/>", open_circle(0.3)));
    let mut state = 1u32;
    let gray: Vec<u8> = clean
        .data
        .iter()
        .map(|&v| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let grain = f64::from(state >> 24) / 255.0 * 24.0 - 12.0;
            (90.0 + f64::from(v) / 255.0 * 100.0 + grain) as u8
        })
        .collect();
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 60)
        .encode(&gray, 600, 400, image::ExtendedColorType::L8)
        .unwrap();
    let scan = image::load_from_memory(&jpeg).unwrap().into_luma8();
    let (noisy_lines, noisy) = cells_of(scan.into());
    let (lines, cells) = cells_of(clean);
    assert_eq!((cells.count, noisy.count), (2, 2));
    let both = lines
        .wall
        .data
        .iter()
        .zip(&noisy_lines.wall.data)
        .filter(|(a, b)| **a && **b)
        .count();
    let any = lines
        .wall
        .data
        .iter()
        .zip(&noisy_lines.wall.data)
        .filter(|(a, b)| **a || **b)
        .count();
    assert!(
        both as f64 / any as f64 > 0.8,
        "{}",
        both as f64 / any as f64
    );
}

/// A line that runs to the edge cuts nothing; a disk that hangs over it is cut.
#[test]
fn what_the_edge_cuts_is_told_from_what_only_touches_it() {
    let dir = tempfile::tempdir().unwrap();
    for (more, cut) in [
        ("", false),
        ("<path d=\"M 0 30H 60\"/>", false),
        ("<path d=\"M 30 20L 60 12\"/>", false),
        ("<circle cx=\"58\" cy=\"20\" r=\"8\"/>", true),
    ] {
        let path = dir.path().join("art.svg");
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"60\" height=\"40\" viewBox=\"0 0 60 40\" fill=\"none\" \
             stroke=\"#000\" stroke-width=\"0.5\"><circle cx=\"22\" cy=\"20\" r=\"9\"/>{more}</svg>"
        );
        std::fs::write(&path, svg).unwrap();
        let page = penstrata::input::read_page(&path, None, None).unwrap();
        let (_, cells) = cells_of(page.flatten(600, 400, MM_PER_PX).unwrap());
        assert_eq!(cells.cut_at_edge, cut, "{more}");
    }
}

/// The apple fills its file to the edge, as clip art does; its outside is still outside.
#[test]
fn a_clip_art_apple_has_its_skin_leaf_halves_and_stem_and_an_outside() {
    let page = penstrata::input::read_page(&common::data("apple.svg"), None, None).unwrap();
    let [width, height] = page.size_mm(Some(1.0)).unwrap();
    let aspect = height / width;
    let (_, cells) = cells_of(
        page.flatten(800, (800.0 * aspect) as usize, MM_PER_PX)
            .unwrap(),
    );
    // It touches the edge, but nothing is cut.
    assert!(!cells.cut_at_edge);
    let (w, h) = (cells.map.width, cells.map.height);
    for (x, y) in [(w - 1, 0), (0, h - 1), (w - 1, h - 1)] {
        assert_eq!(cells.map.at(x, y), 0);
        assert!(cells.outside.at(x, y));
    }
    let large = |share: f64| {
        let total = cells.map.data.len() as f64;
        let size = |c: u16| cells.map.data.iter().filter(|&&v| v == c).count() as f64;
        (1..=cells.count as u16)
            .filter(|&c| size(c) > share * total)
            .count()
    };
    assert_eq!(large(0.2), 1, "one large cell: the skin");
    assert_eq!(cells.count, 4, "skin, two halves of the leaf, stem");
}

#[test]
fn an_svg_never_reads_anything_outside_itself() {
    let dir = tempfile::tempdir().unwrap();
    let secret = dir.path().join("secret.png");
    image::GrayImage::from_pixel(50, 50, image::Luma([0]))
        .save(&secret)
        .unwrap();
    let path = dir.path().join("art.svg");
    let image = format!(
        "<image href='{}' x='10' y='10' width='20' height='20'/><image href='secret.png' width='20' height='20'/>",
        secret.display()
    );
    std::fs::write(&path, svg(&image)).unwrap();
    let page = penstrata::input::read_page(&path, None, None)
        .unwrap()
        .flatten(600, 400, MM_PER_PX)
        .unwrap();
    assert!(page.data.iter().all(|&v| v == 255));
}

#[test]
fn where_two_cells_meet_through_a_closed_gap_there_is_a_border_and_a_rest() {
    use penstrata::borders::Origin;
    let dir = tempfile::tempdir().unwrap();
    // A circle of 50 mm, halved by a line with an opening of 3 mm in its middle.
    const OPENING_MM: f64 = 3.0;
    let art = dir.path().join("halves.svg");
    let (a, b) = (30.0 - OPENING_MM / 2.0, 30.0 + OPENING_MM / 2.0);
    std::fs::write(
        &art,
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='60mm' height='60mm' viewBox='0 0 60 60'><g fill='none' \
             stroke='#000' stroke-width='0.5'><circle cx='30' cy='30' r='25'/><path d='M 30 5V {a}M 30 {b}V 55'/></g></svg>"
        ),
    )
    .unwrap();
    let photo = dir.path().join("halves.png");
    image::RgbImage::from_fn(300, 300, |x, _| {
        image::Rgb(if x < 150 {
            [240, 200, 90]
        } else {
            [110, 40, 90]
        })
    })
    .save(&photo)
    .unwrap();
    let mut job = common::job(&photo, dir.path());
    job.art = Some(art);
    job.width = Some("60mm".parse().unwrap());
    job.gap = "4mm".parse().unwrap();
    job.align = Some(penstrata::job::Align::Frame);
    // Large things in flat light would get a light and a dark side.
    job.bands = 1;
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    common::promises::check(&made);
    let [light, dark] = &made.sections.list[..] else {
        panic!("{:?}", made.sections.list);
    };
    assert_ne!(light.cell, dark.cell);
    // The opening is traced, and nothing else: all other borders are drawn.
    let trace = made.plan.figures.trace_mm;
    assert!((trace - OPENING_MM).abs() < 0.3, "{trace} mm");
    let borders = made.outlines.arcs.iter().filter(|a| a.is_border());
    assert!(borders.map(|a| a.origin).all(|o| o == Origin::Gap));
    // The two touch: the dark one waits until the light one has rested.
    assert_eq!(made.outlines.touching(), [(1, 2)]);
    let turns = &made.plan.schedule.turns;
    assert_eq!(turns[1].after, [0]);
    assert!(turns[1].start_s >= turns[0].work_s + made.plan.schedule.rest_s);
    // Narrower than the opening, nothing is closed, and the circle is one cell.
    job.gap = "2mm".parse().unwrap();
    let open = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    assert_eq!(open.cells.count, 1);
}

/// The open outlines of a drawing, with its walls and cells.
fn openings_of(page: Grid<u8>) -> (Vec<Opening>, Grid<bool>, Cells) {
    let (lines, cells) = cells_of(page);
    let open = find_openings(&lines.wall, &cells, &(GAP_MM..=5.0), MM_PER_PX);
    (open, lines.wall, cells)
}

fn away(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// A closed one is beside it, so that there is a cell at all.
const BESIDE: &str = "<rect x='2' y='2' width='10' height='8'/>";

#[test]
fn an_open_outline_is_told_where_it_is_with_a_gap_that_closes_it() {
    for gap in [1.6, 2.5, 4.0] {
        for degrees in [0, 40, 115, 200, 290] {
            let turned = format!(
                "<g transform='rotate({degrees} 30 20)'>{}</g>{BESIDE}",
                open_circle(gap)
            );
            let (open, wall, cells) = openings_of(page(&turned));
            let what = format!("{gap} mm at {degrees} degrees: {open:?}");
            assert!(cells.outside.at(300, 200), "{what}");
            assert_eq!(open.len(), 1, "{what}");
            let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
            let at = [30.0 + 12.0 * cos, 20.0 + 12.0 * sin];
            assert!(away(open[0].point_mm(), at) < 0.6, "{what}");
            assert!((open[0].width_mm - gap).abs() < 0.5, "{what}");
            assert!(open[0].to_outside, "{what}");
            let closing = open[0].gap_mm.expect(&what);
            assert!(closing <= gap + 0.6, "{what}");
            let closed = find_cells(&wall, closing, MM_PER_PX, false).unwrap();
            assert!(closed.map.at(300, 200) > 0, "{what}");
        }
    }
}

#[test]
fn a_line_that_ends_before_another_leaves_its_cell_open() {
    // A bowl whose rim does not reach its right side.
    let (open, ..) = openings_of(page(&format!(
        "<path d='M 18 12 V 30 H 44 V 10'/><path d='M 18 14 H 41.5'/>{BESIDE}"
    )));
    assert_eq!(open.len(), 1, "{open:?}");
    assert!(away(open[0].point_mm(), [42.6, 14.0]) < 0.8, "{open:?}");
}

#[test]
fn a_broken_line_between_two_cells_makes_them_one() {
    let (open, wall, cells) = openings_of(page(
        "<rect x='10' y='5' width='40' height='30'/><path d='M 30 5 V 17 M 30 19.8 V 35'/>",
    ));
    assert_eq!(cells.map.at(200, 200), cells.map.at(400, 200));
    assert_eq!(open.len(), 1, "{open:?}");
    assert!(!open[0].to_outside && away(open[0].point_mm(), [30.0, 18.4]) < 0.5);
    let closed = find_cells(&wall, open[0].gap_mm.unwrap(), MM_PER_PX, false).unwrap();
    assert_ne!(closed.map.at(200, 200), closed.map.at(400, 200));
}

/// Narrow places between closed lines, and lines that end because they are drawn so.
#[test]
fn what_is_meant_to_end_is_no_open_outline() {
    for (what, body) in [
        (
            "a stitched edge",
            "<rect x='3' y='3' width='54' height='34'/><rect x='9' y='9' width='42' height='22' stroke-dasharray='4 2'/>",
        ),
        (
            "two that nearly touch",
            "<circle cx='18' cy='20' r='10'/><circle cx='40' cy='20' r='10'/>",
        ),
        (
            "the tips of two closed leaves",
            "<path d='M 5 20 Q 15 10 28 20 Q 15 30 5 20 Z M 30.5 20 Q 43 10 55 20 Q 43 30 30.5 20 Z'/>",
        ),
        (
            "a leaf with a vein",
            "<path d='M 5 20 Q 30 0 55 20 Q 30 40 5 20 Z M 5 20 H 52.5 M 20 20 L 27 13 M 20 20 L 27 27'/>",
        ),
        (
            "whiskers",
            "<circle cx='20' cy='20' r='12'/><path d='M 30 18 L 55 13 M 30 20 L 56 20 M 30 22 L 55 27'/>",
        ),
        (
            "grass",
            "<rect x='5' y='30' width='50' height='6'/><path d='M 12 30 Q 14 20 10 8 M 15 30 Q 16 20 13 9 M 40 30 Q 39 20 43 8'/>",
        ),
        (
            "a jug with a narrow mouth",
            "<path d='M 26 4 V 12 Q 10 20 14 36 H 46 Q 50 20 34 12 V 4 H 32 V 12 Q 46 20 43 33 H 17 Q 14 20 28 12 V 4 Z'/>",
        ),
        (
            "a toe of thick lines that points at a leg",
            "<g stroke-width='2.4' stroke-linejoin='round'><path d='M 10 12 H 42 V 36 H 10 Z'/><path d='M 55 5 V 14 L 44.8 20 L 58 22 V 5 Z'/></g>",
        ),
        (
            "stitches",
            "<rect x='5' y='5' width='50' height='30'/><rect x='9' y='9' width='42' height='22' stroke-dasharray='3 2.5'/>",
        ),
        (
            "a corner drawn beyond itself, beside another",
            "<path d='M 10 10 H 27.5 M 27 9.8 V 35 M 27 35 H 10 V 10 M 50 10 H 31 M 31.5 9.8 V 35 M 31.5 35 H 50 V 10'/>",
        ),
    ] {
        let (open, ..) = openings_of(page(body));
        assert_eq!(open, [], "{what}");
    }
}

#[test]
fn the_drawings_of_the_demo_are_closed() {
    for name in ["fern", "lantern", "moth", "mushroom", "outline", "snail"] {
        let path = common::root().join(format!("demo/{name}.svg"));
        let page = penstrata::input::read_page(&path, None, None).unwrap();
        let [width, height] = page.size_mm(Some(110.0)).unwrap();
        let px = |mm: f64| (mm / MM_PER_PX).round() as usize;
        let (open, ..) = openings_of(page.flatten(px(width), px(height), MM_PER_PX).unwrap());
        assert_eq!(open, [], "{name}");
    }
}

/// The drawing of the next two tests in a folder of its own, with a job that colors it.
fn job_of_an_open_drawing(body: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("art.svg"), svg(body)).unwrap();
    std::fs::copy(common::pens(), dir.path().join("pens.csv")).unwrap();
    std::fs::write(
        dir.path().join("job.toml"),
        "art = \"art.svg\"\npens = \"pens.csv\"\nwidth = \"60mm\"\nout = \"plan\"\n[[part]]\ncolor = \"#c04030\"\n",
    )
    .unwrap();
    dir
}

#[test]
fn a_plan_tells_and_marks_an_open_outline_and_the_gap_it_tells_closes_it() {
    let dir = job_of_an_open_drawing(&format!("{}{BESIDE}", open_circle(2.5)));
    let job = dir.path().join("job.toml");
    let run = |more: &[&str]| {
        let all = [&["plan", job.to_str().unwrap(), "--steps"], more].concat();
        let run = common::penstrata(&all);
        assert!(
            run.status.success(),
            "{}",
            String::from_utf8_lossy(&run.stderr)
        );
        let plan = std::fs::read(dir.path().join("plan/plan.json")).unwrap();
        let plan: penstrata::plan::Plan = serde_json::from_slice(&plan).unwrap();
        (String::from_utf8(run.stdout).unwrap(), plan)
    };
    let covers = |plan: &penstrata::plan::Plan| plan.sections.iter().any(|s| s.inside_mm[0] > 20.0);
    let (told, open) = run(&[]);
    assert!(!covers(&open));
    let [found] = &open.open_outlines[..] else {
        panic!("{:?}", open.open_outlines)
    };
    let note = "Note: The outline is open near [42.0, 20.0] by 2.5 mm (millimeters from the top left): what lies within is \
                left bare as outside. Close it with a pencil or pen, or give --gap 2.5mm. steps/fit.png (--steps) marks where.";
    assert!(told.contains(note), "{told}");
    // The stroke that is missing is drawn where the paper is white without.
    let fit = image::open(dir.path().join("plan/steps/fit.png"))
        .unwrap()
        .into_rgb8();
    assert_eq!(fit.get_pixel(419, 200).0, [250, 120, 200]);
    let gap = format!("{}mm", found.gap_mm.unwrap());
    let (told, closed) = run(&["--gap", &gap]);
    assert!(covers(&closed) && closed.open_outlines.is_empty());
    assert!(!told.contains("is open near"), "{told}");
}

#[test]
fn a_drawing_that_closes_off_nothing_is_told_where_it_is_open() {
    let dir = job_of_an_open_drawing(&open_circle(2.5));
    let run = common::penstrata(&["plan", dir.path().join("job.toml").to_str().unwrap()]);
    let told = String::from_utf8(run.stderr).unwrap();
    assert!(!run.status.success());
    assert!(told.contains("closes off no area"), "{told}");
    assert!(
        told.contains("The outline is open near [42.0, 20.0] by 2.5 mm"),
        "{told}"
    );
    assert!(told.contains("--gap 2.5mm"), "{told}");
}
