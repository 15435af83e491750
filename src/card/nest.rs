//! Nesting: rectangles onto as few sheets as a simple rule finds.
//!
//! Free rectangles are kept and the next thing goes where it leaves the shorter side least over (Jylänki 2010, "A
//! thousand ways to pack the bin", MaxRects-BSSF). Several orders are tried and the one with the fewest sheets is taken,
//! of these the one that ends highest up.

use kurbo::Rect;

/// Where one thing lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// From 0.
    pub sheet: usize,
    /// Left and top.
    pub at: [f64; 2],
}

/// Places things of these widths and heights, unturned, on sheets of a size; `room` is kept between any two of them.
/// `None` if one is larger than the sheet.
pub fn nest(sizes: &[[f64; 2]], sheet: [f64; 2], room: f64) -> Option<Vec<Spot>> {
    if sizes.iter().any(|s| s[0] > sheet[0] || s[1] > sheet[1]) {
        return None;
    }
    type Key = fn([f64; 2]) -> f64;
    let keys: [Key; 5] = [
        |[w, h]| w * h,
        |[_, h]| h,
        |[w, _]| w,
        |[w, h]| w.max(h),
        |[w, h]| w + h,
    ];
    let in_order = |key: Key| {
        let mut order: Vec<usize> = (0..sizes.len()).collect();
        order.sort_by(|&a, &b| key(sizes[b]).total_cmp(&key(sizes[a])).then(a.cmp(&b)));
        order
    };
    keys.into_iter()
        .flat_map(|key| {
            let order = in_order(key);
            [
                packed(&order, sizes, sheet, room),
                shelved(&order, sizes, sheet, room),
            ]
        })
        .min_by(|a, b| {
            let cost = |spots: &[Spot]| {
                let sheets = spots.iter().map(|s| s.sheet + 1).max().unwrap_or(0);
                let last = spots
                    .iter()
                    .zip(sizes)
                    .filter(|(s, _)| s.sheet + 1 == sheets);
                (
                    sheets,
                    last.map(|(s, size)| s.at[1] + size[1]).fold(0.0, f64::max),
                )
            };
            let (a, b) = (cost(a), cost(b));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        })
}

/// One by one into the free rectangle whose shorter side it fills best; the first sheets first.
fn packed(order: &[usize], sizes: &[[f64; 2]], sheet: [f64; 2], room: f64) -> Vec<Spot> {
    // Everything takes its room to the right and below with it; so do the sheets.
    let whole = Rect::new(0.0, 0.0, sheet[0] + room, sheet[1] + room);
    let mut sheets: Vec<Vec<Rect>> = Vec::new();
    let mut spots = vec![
        Spot {
            sheet: 0,
            at: [0.0; 2]
        };
        sizes.len()
    ];
    for &thing in order {
        let [w, h] = sizes[thing].map(|v| v + room);
        let fits = |free: &Rect| free.width() >= w - 1e-9 && free.height() >= h - 1e-9;
        let s = match sheets.iter().position(|free| free.iter().any(fits)) {
            Some(s) => s,
            None => {
                sheets.push(vec![whole]);
                sheets.len() - 1
            }
        };
        let left_over = |free: &Rect| (free.width() - w).min(free.height() - h);
        let best = sheets[s]
            .iter()
            .filter(|free| fits(free))
            .min_by(|a, b| {
                let place = |r: &Rect| (left_over(r), r.y0, r.x0);
                place(a)
                    .partial_cmp(&place(b))
                    .unwrap_or(std::cmp::Ordering::Equal)
            })
            .copied()
            .unwrap_or(whole);
        let taken = Rect::new(best.x0, best.y0, best.x0 + w, best.y0 + h);
        spots[thing] = Spot {
            sheet: s,
            at: [taken.x0, taken.y0],
        };
        sheets[s] = without(&sheets[s], taken);
    }
    spots
}

/// The largest free rectangles that are left once `taken` is.
fn without(free: &[Rect], taken: Rect) -> Vec<Rect> {
    let mut left = Vec::new();
    for &rect in free {
        if rect.intersect(taken).area() <= 0.0 {
            left.push(rect);
            continue;
        }
        let parts = [
            Rect::new(rect.x0, rect.y0, taken.x0, rect.y1),
            Rect::new(taken.x1, rect.y0, rect.x1, rect.y1),
            Rect::new(rect.x0, rect.y0, rect.x1, taken.y0),
            Rect::new(rect.x0, taken.y1, rect.x1, rect.y1),
        ];
        left.extend(
            parts
                .into_iter()
                .filter(|p| p.x1 > p.x0 + 1e-9 && p.y1 > p.y0 + 1e-9),
        );
    }
    let inside = |a: &Rect, b: &Rect| a.x0 >= b.x0 && a.y0 >= b.y0 && a.x1 <= b.x1 && a.y1 <= b.y1;
    (0..left.len())
        .filter(|&i| {
            !(0..left.len())
                .any(|j| j != i && inside(&left[i], &left[j]) && (left[i] != left[j] || j < i))
        })
        .map(|i| left[i])
        .collect()
}

/// In rows, each as high as its first thing, into the first row with room.
fn shelved(order: &[usize], sizes: &[[f64; 2]], sheet: [f64; 2], room: f64) -> Vec<Spot> {
    struct Row {
        sheet: usize,
        top: f64,
        height: f64,
        right: f64,
    }
    let mut rows: Vec<Row> = Vec::new();
    let mut bottoms: Vec<f64> = Vec::new();
    let mut spots = vec![
        Spot {
            sheet: 0,
            at: [0.0; 2]
        };
        sizes.len()
    ];
    for &thing in order {
        let [w, h] = sizes[thing];
        let fits = |row: &Row| h <= row.height && row.right + w <= sheet[0];
        let r = match rows.iter().position(fits) {
            Some(r) => r,
            None => {
                let s = match bottoms.iter().position(|top| top + h <= sheet[1]) {
                    Some(s) => s,
                    None => {
                        bottoms.push(0.0);
                        bottoms.len() - 1
                    }
                };
                rows.push(Row {
                    sheet: s,
                    top: bottoms[s],
                    height: h,
                    right: 0.0,
                });
                bottoms[s] += h + room;
                rows.len() - 1
            }
        };
        let row = &mut rows[r];
        spots[thing] = Spot {
            sheet: row.sheet,
            at: [row.right, row.top],
        };
        row.right += w + room;
    }
    spots
}
