//! Sheets: page sizes, the ruler, the text, and names made of markup. PDFs are read by poppler.

mod common;

use std::path::Path;
use std::process::Command;

use common::{data, has, job, root};
use penstrata::job::{Job, PageSize};
use penstrata::sheets::{Fonts, overlay_pages, pdf, render_all};

fn overlay_pdf(job: &Job, folder: &Path) -> std::path::PathBuf {
    let made = penstrata::input::make_plan(job, &|_| {}).unwrap();
    let pages = overlay_pages(&made.plan, &made.outlines, &made.labels, |_| ());
    let path = folder.join("overlay.pdf");
    std::fs::write(&path, pdf(&pages, &Fonts::load()).unwrap()).unwrap();
    path
}

fn poppler(program: &str, args: &[&str]) -> String {
    let run = Command::new(program).args(args).output().unwrap();
    assert!(
        run.status.success(),
        "{program}: {}",
        String::from_utf8_lossy(&run.stderr)
    );
    String::from_utf8(run.stdout).unwrap()
}

/// ISO 216: A4 is 210 x 297 mm. ANSI/ASME Y14.1: size A is 8.5 x 11 in. ISO 32000-1: 72 points in an inch.
#[test]
fn pages_have_the_standard_sizes() {
    if !has("pdfinfo") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    for (page, w, h) in [
        (PageSize::A4, 210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0),
        (PageSize::Letter, 612.0, 792.0),
    ] {
        let mut job = job(&data("coffee.png"), dir.path());
        job.page = page;
        let info = poppler(
            "pdfinfo",
            &[overlay_pdf(&job, dir.path()).to_str().unwrap()],
        );
        let line = info.lines().find(|l| l.starts_with("Page size:")).unwrap();
        let found: Vec<f64> = line
            .split_whitespace()
            .filter_map(|v| v.parse().ok())
            .collect();
        assert!(
            (found[0] - w).abs() < 0.1 && (found[1] - h).abs() < 0.1,
            "{line}"
        );
    }
}

#[test]
fn the_ruler_measures_50_mm_on_the_page() {
    if !has("pdftoppm") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let path = overlay_pdf(&job(&data("coffee.png"), dir.path()), dir.path());
    let stem = dir.path().join("page");
    poppler(
        "pdftoppm",
        &[
            "-r",
            "600",
            "-gray",
            "-png",
            "-singlefile",
            path.to_str().unwrap(),
            stem.to_str().unwrap(),
        ],
    );
    let page = image::open(dir.path().join("page.png"))
        .unwrap()
        .into_luma8();
    // The longest dark run in the lowest fifth of the page is the ruler's line.
    let mut longest = 0;
    for y in page.height() * 4 / 5..page.height() {
        let mut run = 0;
        for x in 0..page.width() {
            run = if page.get_pixel(x, y).0[0] < 128 {
                run + 1
            } else {
                0
            };
            longest = longest.max(run);
        }
    }
    let mm = f64::from(longest) / 600.0 * 25.4;
    // The end ticks add half their width (0.12 mm) at each end.
    assert!((mm - 50.12).abs() < 0.1, "{mm} mm");
}

#[test]
fn text_is_text_and_fonts_are_embedded() {
    if !has("pdftotext") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let path = overlay_pdf(&job(&data("coffee.png"), dir.path()), dir.path());
    let text = poppler("pdftotext", &["-layout", path.to_str().unwrap(), "-"]);
    for word in [
        "true size",
        "50 mm",
        "cm²; refill",
        "fresh air",
        "maker's label",
    ] {
        assert!(text.contains(word), "{word}: {text}");
    }
    let fonts = poppler("pdffonts", &[path.to_str().unwrap()]);
    let listed: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(
        !listed.is_empty() && listed.iter().all(|l| l.contains("yes yes")),
        "{fonts}"
    );
}

#[test]
fn names_made_of_markup_stay_names() {
    let dir = tempfile::tempdir().unwrap();
    let pens = dir.path().join("pens.csv");
    let name = "<script>&\"'</svg>";
    let rows: String = (0..12)
        .map(|i| {
            format!(
                "\"{} {i}\",#{:02x}{:02x}{:02x},yes,good\n",
                name.replace('"', "\"\""),
                250 - 20 * i,
                200 - 15 * i,
                160 - 12 * i
            )
        })
        .collect();
    std::fs::write(&pens, format!("name,color,refill,condition\n{rows}")).unwrap();
    let mut job = job(&data("coffee.png"), dir.path());
    job.pens = pens;
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    let files = render_all(&made, false).unwrap();
    let svg = &files.iter().find(|f| f.0 == "overlay.svg").unwrap().1;
    let svg = std::str::from_utf8(svg).unwrap();
    assert!(!svg.contains("<script") && svg.matches("</svg>").count() == 1);
    assert!(svg.contains("&lt;script&gt;"));
}

#[test]
fn wide_art_turns_the_page_and_larger_art_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = job(&data("coffee.png"), dir.path());
    job.width = Some("240mm".parse().unwrap());
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    let pages = overlay_pages(&made.plan, &made.outlines, &made.labels, |_| ());
    assert_eq!((pages[0].width_mm, pages[0].height_mm), (297.0, 210.0));
    job.width = Some("290mm".parse().unwrap());
    let error = penstrata::input::make_plan(&job, &|_| {})
        .err()
        .unwrap()
        .to_string();
    assert!(
        error.contains("290 x 193 mm") && error.contains("turned"),
        "{error}"
    );
}

#[test]
fn a_mirrored_overlay_mirrors_places_but_not_digits() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = job(&data("coffee.png"), dir.path());
    job.mirror = true;
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    let svg = &overlay_pages(&made.plan, &made.outlines, &made.labels, |_| ())[0].svg;
    assert!(svg.contains("matrix(-1 0 0 1 110 0)") && svg.contains("mirrored for tracing"));
    // What is printed onto the card itself is not.
    let pale = penstrata::sheets::pale_page(&made.plan, &made.outlines);
    assert!(!pale.svg.contains("matrix(-1"));
    let flipped = svg.split("</g>").next().unwrap();
    assert!(!flipped[flipped.find("matrix").unwrap()..].contains("<text"));
}

/// A net of cells too small for numbers: each detail holds the lines that show in it, not all of the panel's.
#[test]
fn a_detail_holds_no_lines_that_do_not_show_in_it() {
    let dir = tempfile::tempdir().unwrap();
    let lines: String = (0..=20)
        .map(|i| 1.0 + 2.4 * f64::from(i))
        .map(|at| format!("M{at} 1V49M1 {at}H49"))
        .collect();
    let art = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="50mm" viewBox="0 0 50 50">
        <path d="{lines}" stroke="black" stroke-width="0.5"/></svg>"#
    );
    std::fs::write(dir.path().join("net.svg"), art).unwrap();
    let job = format!(
        "art = \"net.svg\"\npens = {:?}\nwidth = \"50mm\"\nout = \"plan\"\n[[part]]\ncolor = \"#7f9c46\"\nroundness = 0\n",
        common::pens()
    );
    let path = dir.path().join("job.toml");
    std::fs::write(&path, job).unwrap();
    let run = common::penstrata(&["plan", path.to_str().unwrap()]);
    assert!(run.status.success(), "{run:?}");
    let page = |name: &str| std::fs::read_to_string(dir.path().join("plan").join(name)).unwrap();
    let (whole, details) = (page("overlay.svg"), page("overlay-2.svg"));
    let count = details.matches("<clipPath").count();
    assert!(count >= 4);
    assert!(details.len() < count * whole.len() / 2);
}

/// The files of a plan of the demo, written into `folder`.
fn demo_plan(folder: &Path) -> std::path::PathBuf {
    let out = folder.join("plan");
    let job = common::root().join("demo/job.toml");
    let run = common::penstrata(&[
        "plan",
        job.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert!(run.status.success());
    out
}

fn read_plan(out: &Path) -> penstrata::plan::Plan {
    serde_json::from_slice(&std::fs::read(out.join("plan.json")).unwrap()).unwrap()
}

#[test]
fn the_key_names_every_pen_with_a_box_to_try_it_and_the_order_of_work() {
    if !has("pdftotext") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let out = demo_plan(dir.path());
    let plan = read_plan(&out);
    let key = out.join("key.pdf");
    let text = poppler("pdftotext", &["-layout", key.to_str().unwrap(), "-"]);
    for n in plan.numbers.iter().filter_map(|n| n.pen.as_ref()) {
        assert!(text.contains(&n.name), "{}: {text}", n.name);
    }
    for words in [
        "your scrap",
        "coat",
        "1st",
        "2 min",
        "at hand",
        "Order of work",
        "stamped ink rest for 10 min",
        "fresh air",
        "maker's label",
        "50 mm",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let fonts = poppler("pdffonts", &[key.to_str().unwrap()]);
    assert!(
        fonts.lines().skip(2).all(|l| l.contains("yes yes")),
        "{fonts}"
    );
    let info = poppler("pdfinfo", &[key.to_str().unwrap()]);
    assert!(info.contains("595.") && info.contains("841."), "A4: {info}");
}

#[test]
fn the_overlay_has_a_second_page_so_pale_that_ink_covers_it_and_without_numbers() {
    if !has("pdftoppm") {
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let out = demo_plan(dir.path());
    let pdf = out.join("overlay.pdf");
    let stem = dir.path().join("pale");
    poppler(
        "pdftoppm",
        &[
            "-r",
            "150",
            "-f",
            "2",
            "-l",
            "2",
            "-gray",
            "-png",
            "-singlefile",
            pdf.to_str().unwrap(),
            stem.to_str().unwrap(),
        ],
    );
    let page = image::open(dir.path().join("pale.png"))
        .unwrap()
        .into_luma8();
    // The art lies below the header (19 mm) and is 82 mm high.
    let rows = |mm: f64| (mm / 25.4 * 150.0) as u32;
    let art: Vec<u8> = (rows(20.0)..rows(100.0))
        .flat_map(|y| (0..page.width()).map(move |x| (x, y)))
        .map(|(x, y)| page.get_pixel(x, y).0[0])
        .collect();
    assert!(
        *art.iter().min().unwrap() >= 195,
        "{}",
        art.iter().min().unwrap()
    );
    assert!(
        art.iter().filter(|&&v| v < 240).count() > 2000,
        "there are lines"
    );
    let text = poppler(
        "pdftotext",
        &["-f", "2", "-l", "2", pdf.to_str().unwrap(), "-"],
    );
    assert!(
        text.contains("Pale lines") && !text.lines().any(|l| l.trim() == "1"),
        "{text}"
    );
}

#[test]
fn there_is_a_card_for_every_turn_the_size_of_a_phone() {
    let dir = tempfile::tempdir().unwrap();
    let out = demo_plan(dir.path());
    let plan = read_plan(&out);
    let turns = &plan.schedule.turns;
    assert_eq!(
        std::fs::read_dir(out.join("turns")).unwrap().count(),
        turns.len()
    );
    let mut colored = vec![0; plan.sections.len() + 1];
    for (k, turn) in turns.iter().enumerate() {
        let card = image::open(out.join(format!("turns/{:02}.png", k + 1)))
            .unwrap()
            .into_rgb8();
        assert_eq!(card.dimensions(), (1080, 1920));
        // The swatch at the top has the pen's color.
        let number = plan
            .numbers
            .iter()
            .find(|n| n.number == turn.number)
            .unwrap();
        assert_eq!(card.get_pixel(250, 150).0, number.color.0);
        for &id in &turn.sections {
            colored[usize::from(id)] += 1;
        }
        // What it waits for comes before.
        assert!(turn.after.iter().all(|&a| a < k));
    }
    for s in &plan.sections {
        assert_eq!(
            colored[usize::from(s.id)],
            usize::from(s.number > 0),
            "section {}",
            s.id
        );
    }
}

/// Recomputed from the section map alone: sections that touch are colored light to dark with a rest between.
#[test]
fn the_schedule_keeps_light_before_dark_and_every_rest() {
    let dir = tempfile::tempdir().unwrap();
    let made = penstrata::input::make_plan(&job(&data("coffee.png"), dir.path()), &|_| {}).unwrap();
    let s = &made.plan.schedule;
    let turn_of = |id: u16| s.turns.iter().position(|t| t.sections.contains(&id));
    let light = |k: usize| {
        let number = made
            .plan
            .numbers
            .iter()
            .find(|n| n.number == s.turns[k].number)
            .unwrap();
        number.color.lab().l
    };
    let map = &made.sections.map;
    let mut pairs = std::collections::BTreeSet::new();
    for i in 0..map.data.len() {
        for j in map.neighbors(i) {
            let (a, b) = (map.data[i], map.data[j]);
            if a > 0 && b > a {
                pairs.insert((a, b));
            }
        }
    }
    let mut checked = 0;
    for (a, b) in pairs {
        let (Some(a), Some(b)) = (turn_of(a), turn_of(b)) else {
            continue;
        };
        if s.turns[a].number == s.turns[b].number {
            continue;
        }
        let (first, then) = if s.turns[a].start_s < s.turns[b].start_s {
            (a, b)
        } else {
            (b, a)
        };
        assert!(light(first) >= light(then));
        assert!(s.turns[then].start_s >= s.turns[first].start_s + s.turns[first].work_s + s.rest_s);
        checked += 1;
    }
    assert!(checked > 20);
    let end = s.turns.iter().map(|t| t.start_s + t.work_s).max().unwrap();
    assert_eq!(end, s.coloring_s + s.waiting_s);
    assert!(end <= s.light_to_dark_s);
}

/// Recounted from the section map alone, line by line of pixels: who lies across a drawn line from whom.
#[test]
fn what_is_wet_across_a_drawn_line_is_told_and_no_wait_of_seconds() {
    let dir = tempfile::tempdir().unwrap();
    let mut job = job(&root().join("demo/reference.jpg"), dir.path());
    job.art = Some(root().join("demo/outline.svg"));
    let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
    let (map, s) = (&made.sections.map, &made.plan.schedule);
    let mm_per_px = job.width.unwrap().mm() / map.width as f64;
    // How often each pair has so many pixels or less of no section between, along rows and columns.
    let crossings = |widest_mm: f64| {
        let mut found = std::collections::BTreeMap::new();
        let lines = |step: usize, count: usize, from: usize| {
            (0..count)
                .map(move |i| from + i * step)
                .collect::<Vec<usize>>()
        };
        let rows = (0..map.height).map(|y| lines(1, map.width, y * map.width));
        let columns = (0..map.width).map(|x| lines(map.width, map.height, x));
        for line in rows.chain(columns) {
            let (mut last, mut gap) = (0u16, 0usize);
            for id in line.into_iter().map(|i| map.data[i]) {
                if id == 0 {
                    gap += 1;
                    continue;
                }
                if last > 0 && id != last && gap > 0 && gap as f64 * mm_per_px <= widest_mm {
                    *found.entry((id.min(last), id.max(last))).or_insert(0) += 1;
                }
                (last, gap) = (id, 0);
            }
        }
        found
    };
    // Half a millimeter is thinner than what ink does not come through, 2 mm is wider.
    let touching = made.outlines.touching();
    let (thin, any) = (crossings(0.5), crossings(2.0));
    let long = |&(_, &n): &(&(u16, u16), &i32)| f64::from(n) * mm_per_px > 4.0;
    let surely: Vec<(u16, u16)> = thin.iter().filter(long).map(|(&pair, _)| pair).collect();
    assert!(surely.len() > 5, "{surely:?}");
    for pair in &surely {
        assert!(made.outlines.parted.contains(pair), "{pair:?}");
    }
    for pair in &made.outlines.parted {
        assert!(any.contains_key(pair), "{pair:?}");
    }
    // What the turns say of it, with their times.
    let colors = |k: usize, id: u16| s.turns[k].sections.contains(&id);
    let mut told = 0;
    for k in 0..s.turns.len() {
        let mut wet: Vec<usize> = (0..k)
            .filter(|&j| s.turns[j].number != s.turns[k].number && !s.turns[k].after.contains(&j))
            .filter(|&j| s.turns[j].start_s + s.turns[j].work_s + s.rest_s > s.turns[k].start_s)
            .filter(|&j| {
                let mut pairs = made.outlines.parted.iter();
                pairs
                    .any(|&(a, b)| (colors(j, a) && colors(k, b)) || (colors(j, b) && colors(k, a)))
            })
            .map(|j| s.turns[j].number)
            .collect();
        wet.sort_unstable();
        wet.dedup();
        assert_eq!(s.wet_across(k), wet, "turn {}", k + 1);
        told += usize::from(!wet.is_empty());
        // What touches has rested.
        assert!(touching.iter().all(|&(a, b)| {
            (0..k).all(|j| {
                let meet = (colors(j, a) && colors(k, b)) || (colors(j, b) && colors(k, a));
                !meet || s.turns[j].number == s.turns[k].number || s.turns[k].after.contains(&j)
            })
        }));
    }
    assert!(told > 3, "{told} turns");
    let short = (0..s.turns.len())
        .filter(|&k| (1..10).contains(&s.wait_s(k)))
        .count();
    let longer = (0..s.turns.len()).filter(|&k| s.wait_s(k) >= 10).count();
    assert!(
        short > 0 && longer > 0,
        "{short} short waits, {longer} longer ones"
    );
    if !has("pdftotext") {
        return;
    }
    // The same job as a person runs it.
    let out = demo_plan(dir.path());
    assert_eq!(read_plan(&out).schedule, *s);
    let key = out.join("key.pdf");
    let text = poppler("pdftotext", &["-layout", key.to_str().unwrap(), "-"]);
    assert_eq!(
        text.matches("; wet across a line: ").count(),
        told,
        "{text}"
    );
    assert_eq!(text.matches(": wait ").count(), longer, "{text}");
    let wait = |k: usize| format!("Turn {}: wait {}", k + 1, s.wait_s(k));
    let said = (0..s.turns.len()).filter(|&k| (10..90).contains(&s.wait_s(k)));
    assert!(said.clone().count() > 0);
    for k in said {
        assert!(text.contains(&wait(k)), "{text}");
    }
}

/// A word on a page, in millimeters, and the page it is on.
struct Word {
    text: String,
    page: usize,
    /// Width and height of the page.
    size: (f64, f64),
    rect: kurbo::Rect,
}

/// Every word of a PDF, by poppler.
fn words(pdf: &Path) -> Vec<Word> {
    let told = poppler("pdftotext", &["-bbox", pdf.to_str().unwrap(), "-"]);
    let value = |line: &str, name: &str| -> f64 {
        let at = line.split(&format!("{name}=\"")).nth(1).unwrap();
        at.split('"').next().unwrap().parse::<f64>().unwrap() / 72.0 * 25.4
    };
    let (mut page, mut size, mut words) = (0, (0.0, 0.0), Vec::new());
    for line in told.lines().map(str::trim) {
        if line.starts_with("<page ") {
            page += 1;
            size = (value(line, "width"), value(line, "height"));
        }
        if line.starts_with("<word ") {
            let [x0, y0, x1, y1] = ["xMin", "yMin", "xMax", "yMax"].map(|n| value(line, n));
            let text = line.split('>').nth(1).unwrap().split('<').next().unwrap();
            words.push(Word {
                text: text.to_owned(),
                page,
                size,
                rect: kurbo::Rect::new(x0, y0, x1, y1),
            });
        }
    }
    words
}

/// The demo's pens with names as long as names may be.
fn long_pens(folder: &Path) -> std::path::PathBuf {
    let table = std::fs::read_to_string(common::pens()).unwrap();
    let mut lines = table.lines();
    let mut out = lines.next().unwrap().to_owned() + "\n";
    for line in lines {
        let (name, rest) = line.split_once(',').unwrap();
        let long = format!(
            "{name} of the winding kind whose name runs along the barrel and Aroundthecapandback again"
        );
        let long: String = long.chars().take(80).collect();
        out += &format!("{},{rest}\n", long.trim_end());
    }
    let path = folder.join("long.csv");
    std::fs::write(&path, out).unwrap();
    path
}

/// What poppler finds on every page, and the edges of every picture: nothing leaves its frame, and no word lies on
/// another.
#[test]
fn no_text_leaves_its_frame_with_the_longest_names() {
    if !has("pdftotext") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let pens = long_pens(folder.path());
    let demo = common::root().join("demo");
    let long = |name: &str| {
        format!("{name} that was stamped from the large block with the wooden handle and cork")
    };
    let card = std::fs::read_to_string(demo.join("card.toml")).unwrap();
    let card = card
        .replace(
            "art = \"mushroom.svg\"",
            &format!("name = \"{}\"\nart = \"mushroom.svg\"", long("mushroom")),
        )
        .replace(
            "art = \"lantern.svg\"",
            &format!("name = \"{}\"\nart = \"lantern.svg\"", long("lantern")),
        )
        .replace(
            "over = \"lantern\"",
            &format!("over = \"{}\"", long("lantern")),
        )
        .replace("large moth", &long("large moth"))
        .replace("small moth", &long("small moth"));
    let card = Job::parse(Path::new("card.toml"), &card).unwrap();
    // As many pieces as a card may have.
    let pieces = format!(
        "pens = \"pens.csv\"\nout = \"plan\"\n[panel]\nsize = \"180x240mm\"\n[pieces]\nsize = \"190x250mm\"\n\
         [[piece]]\nname = \"{}\"\nart = \"moth.svg\"\nwidth = \"24mm\"\ncount = 100\nat = [[40, 60], [120, 150]]\n\
         [[piece.part]]\ncolor = \"#a88fbf\"\n",
        long("moth")
    );
    let pieces = Job::parse(Path::new("pieces.toml"), &pieces).unwrap();
    let text = std::fs::read_to_string(demo.join("job.toml")).unwrap();
    let mut photo = Job::parse(Path::new("job.toml"), &text).unwrap();
    (photo.detail, photo.bands) = (5, 4);
    for (name, mut job) in [("card", card), ("pieces", pieces), ("photo", photo)] {
        job.rebase(|p| demo.join(p));
        // The demo's own wishes are for pens of other names.
        (job.pens, job.out) = (pens.clone(), folder.path().join(name));
        job.pinned.clear();
        job.forbid.clear();
        let made = penstrata::input::make_plan(&job, &|_| {}).unwrap();
        for (file, bytes) in render_all(&made, false).unwrap() {
            let path = folder.path().join(file.replace('/', "-"));
            std::fs::write(&path, &bytes).unwrap();
            let called = format!("{name} {file}");
            if file.ends_with(".pdf") {
                on_pages(&called, &words(&path));
            } else if file.ends_with(".png")
                && !file.ends_with("sections.png")
                && !file.ends_with("preview.png")
            {
                let picture = image::open(&path).unwrap().into_rgb8();
                // A turn's words keep 4 mm of ten pixels from the right edge; other pictures show a rim of paper.
                let rim = if file.contains("turns/") { 40 } else { 3 };
                let (w, h) = picture.dimensions();
                let clean =
                    (0..h).all(|y| (w - rim..w).all(|x| picture.get_pixel(x, y).0 == [255; 3]));
                assert!(clean, "{called} runs over its right edge");
            }
        }
    }
}

fn on_pages(name: &str, words: &[Word]) {
    for (i, word) in words.iter().enumerate() {
        let Word {
            text,
            page,
            size,
            rect,
        } = word;
        let inside = kurbo::Rect::new(7.0, 7.0, size.0 - 7.0, size.1 - 7.0);
        assert!(
            inside.contains(rect.origin()) && inside.contains(kurbo::Point::new(rect.x1, rect.y1)),
            "{name}, page {page}: \"{text}\" leaves the page: {rect:?}"
        );
        for other in words[..i].iter().filter(|o| o.page == *page) {
            let shared = rect.intersect(other.rect);
            assert!(
                shared.width() < 0.5 || shared.height() < 0.5,
                "{name}, page {page}: \"{text}\" lies on \"{}\"",
                other.text
            );
        }
    }
}
