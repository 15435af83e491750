//! Drawn lines and cells: gaps, stipple, gray scans, solid black, the outside.

mod common;

use penstrata::art::{Cells, Lines, find_cells, find_lines};
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
