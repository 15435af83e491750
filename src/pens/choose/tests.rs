//! The choice held against every choice there is, and its rules one by one.

use super::cost::Order;
use super::offers::DARKEST_GRAY;
use super::*;
use crate::color::{GRAY_CHROMA, Lab, chroma};
use crate::pens::Condition;
use crate::sections::LEAST_STEP;

fn pen(l: f32, a: f32, b: f32, refill: bool) -> Pen {
    Pen {
        name: format!("{l} {a} {b}"),
        color: Srgb8::from_lab(Lab::new(l, a, b)),
        refill,
        condition: Condition::Good,
        two_coats: None,
        note: String::new(),
    }
}

fn band(group: usize, l: f32, a: f32, b: f32, share: f32) -> Band {
    Band {
        group,
        lab: Lab::new(l, a, b),
        share,
    }
}

const WHITE: Srgb8 = Srgb8::new(255, 255, 255);

fn chosen(
    bands: &[Band],
    touching: &[Touching],
    pens: &[Pen],
    area_mm2: f32,
    wishes: &Wishes,
) -> Result<Chosen, Unserved> {
    let mut effort = Effort::of_a_plan();
    choose(bands, touching, pens, WHITE, area_mm2, wishes, &mut effort)
}

fn picks(chosen: &Chosen) -> Vec<Pick> {
    chosen.choices.iter().map(|c| c.pick).collect()
}

/// What these picks cost, told without the search. Nothing is pinned.
fn total(picks: &[Pick], bands: &[Band], touching: &[Touching], offers: &Offers) -> f32 {
    let weights = cost::weights(bands);
    let colors: Vec<Lab> = picks
        .iter()
        .map(|pick| pick.color(offers.pens, offers.paper).lab())
        .collect();
    let alone: f32 = (0..bands.len())
        .map(|b| {
            let (pens, area_mm2) = (offers.pens, offers.area_mm2);
            weights[b] * cost::of_band(&bands[b], picks[b], colors[b], pens, area_mm2)
        })
        .sum();
    let steps: f32 = (1..bands.len())
        .filter(|&b| bands[b - 1].group == bands[b].group)
        .map(|b| {
            let photo = |b: usize| (bands[b].lab, weights[b]);
            cost::Step::new(photo(b - 1), photo(b)).of_colors(colors[b - 1], colors[b])
        })
        .sum();
    let order: f32 = touching
        .iter()
        .map(|t| {
            let lighter_by = colors[t.bands[0]].l - colors[t.bands[1]].l;
            let order = Order::new(t, &weights);
            let same = picks[t.bands[0]] == picks[t.bands[1]];
            order.of_colors(lighter_by) + if same { order.of_same_pick() } else { 0.0 }
        })
        .sum();
    let top = |b: usize| picks[b].pen();
    let shared: f32 = (0..bands.len())
        .filter(|&b| {
            let owner = (0..b).find(|&a| top(a).is_some() && top(a) == top(b));
            owner.is_some_and(|a| bands[a].group != bands[b].group)
        })
        .map(|b| weights[b] * cost::SHARED_COST)
        .sum();
    alone + steps + order + shared
}

/// Whether these picks keep every rule, told without the search.
fn allowed(picks: &[Pick], bands: &[Band], offers: &Offers, reach: &[f32]) -> bool {
    let (pens, wishes) = (offers.pens, offers.wishes);
    let l = |pick: Pick| pick.color(pens, offers.paper).lab().l;
    let used: std::collections::BTreeSet<usize> =
        picks.iter().flat_map(|pick| pick.pens()).collect();
    let cost = |band, pick: Pick| {
        let color = pick.color(pens, WHITE).lab();
        cost::of_band(band, pick, color, pens, offers.area_mm2)
    };
    let each = picks.iter().enumerate().all(|(b, &pick)| {
        let lightest = b == 0 || bands[b - 1].group != bands[b].group;
        let single = (0..pens.len())
            .map(Pick::Pen)
            .map(|p| cost(&bands[b], p))
            .fold(f32::INFINITY, f32::min);
        let lab = |p: usize| pens[p].color.lab();
        let gray = |p: usize| chroma(lab(p)) < GRAY_CHROMA;
        (lightest || l(pick) <= l(picks[b - 1]) - LEAST_STEP)
            && match pick {
                Pick::Paper => lightest,
                Pick::Pen(_) => true,
                Pick::Twice(_) => wishes.two_coats,
                Pick::Over { under, pen } => {
                    wishes.two_coats
                        && gray(under)
                        && lab(under).l > DARKEST_GRAY
                        && !gray(pen)
                        && cost(&bands[b], pick) < single
                }
            }
    });
    let together = (0..picks.len()).all(|b| {
        (0..b).all(|a| {
            let same_top = picks[a].pen().is_some() && picks[a].pen() == picks[b].pen();
            !same_top || picks[a] != picks[b] || bands[a].group != bands[b].group
        })
    });
    let inked = |p: usize| -> f32 {
        let mine = |b: usize| picks[b].pens().filter(|&q| q == p).count() as f32;
        (0..picks.len())
            .map(|b| mine(b) * bands[b].share * offers.area_mm2)
            .sum()
    };
    let dry = |p: usize| {
        !pens[p].refill
            && inked(p) > wishes.no_refill_mm2
            && pens
                .iter()
                .any(|q| q.refill && difference(q.color.lab(), pens[p].color.lab()) < STAND_IN)
    };
    let near = |b: usize| {
        let color = picks[b].color(pens, offers.paper).lab();
        difference(bands[b].lab, color) <= reach[b]
    };
    let near_all = || (0..picks.len()).all(near);
    each && together
        && near_all()
        && wishes.most_pens.is_none_or(|most| used.len() <= most)
        && !used.iter().any(|&p| dry(p))
}

/// The least cost of all there is, one by one.
fn exhaustive(
    bands: &[Band],
    touching: &[Touching],
    offers: &Offers,
    reach: &[f32],
) -> Option<f32> {
    let n = offers.pens.len();
    let all: Vec<Pick> = [Pick::Paper]
        .into_iter()
        .chain((0..n).flat_map(|p| [Pick::Pen(p), Pick::Twice(p)]))
        .chain((0..n).flat_map(|pen| {
            let over = move |under| Pick::Over { under, pen };
            (0..n).filter(move |&under| under != pen).map(over)
        }))
        .collect();
    let ways = all.len().pow(bands.len() as u32);
    (0..ways)
        .map(|way| -> Vec<Pick> {
            let digit = |b: usize| way / all.len().pow(b as u32) % all.len();
            (0..bands.len()).map(|b| all[digit(b)]).collect()
        })
        .filter(|picks| allowed(picks, bands, offers, reach))
        .map(|picks| total(&picks, bands, touching, offers))
        .min_by(f32::total_cmp)
}

/// Bands of two groups, or of three, that touch at random.
fn random_case(next: &mut impl FnMut(u64) -> f32, round: u64) -> (Vec<Band>, Vec<Touching>) {
    let mut bands = vec![
        band(0, 75.0, next(20), next(20), 0.4),
        band(0, 20.0 + next(40), next(40), next(40), 0.3),
        band(1, 20.0 + next(40), -next(40), next(40), 0.3),
    ];
    if round.is_multiple_of(2) {
        bands.push(band(
            1 + round as usize / 2 % 2,
            15.0,
            next(30),
            next(30),
            0.0,
        ));
    }
    let touching = [[0, 2], [1, 2], [1, 3], [2, 3]]
        .into_iter()
        .filter(|[_, b]| *b < bands.len())
        .filter(|[a, b]| bands[*a].group != bands[*b].group)
        .filter_map(|bands| {
            let [touch, border_mm, lighter_by] = [next(3), 2.0 + next(40), next(80) / 2.0 - 20.0];
            (touch > 0.0).then_some(Touching {
                bands,
                border_mm,
                undivided: touch > 1.0,
                lighter_by,
            })
        })
        .collect();
    (bands, touching)
}

#[test]
fn the_choice_is_the_cheapest_of_all_choices() {
    let mut state = 3u64;
    let mut next = |n: u64| {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        ((state >> 33) % n) as f32
    };
    let (mut twice, mut over, mut broken) = (0, 0, 0);
    for round in 0..160 {
        let (bands, touching) = random_case(&mut next, round);
        let own = if bands.len() == 4 { 2 } else { 3 };
        let mut pens: Vec<Pen> = (0..own)
            .map(|i| {
                let (l, a, b) = (35.0 + next(60), next(80) - 40.0, next(80) - 40.0);
                pen(l, a, b, i % 2 == 0)
            })
            .collect();
        pens.push(pen(30.0 + next(60), next(4), next(4), true));
        if round % 3 == 0 {
            pens[0].two_coats = Some(Pick::Twice(0).color(&pens, Srgb8::new(240, 240, 240)));
        }
        let wishes = Wishes {
            two_coats: round % 4 != 0,
            most_pens: (round % 5 == 0).then_some(2),
            no_refill_mm2: if round % 2 == 0 {
                1000.0
            } else {
                f32::INFINITY
            },
            ..Wishes::none(bands.len(), pens.len())
        };
        let offers = Offers::new(&pens, WHITE, 3000.0, &wishes);
        let found = chosen(&bands, &touching, &pens, 3000.0, &wishes).ok();
        // The limit of pens may not give a band another color.
        let mut reach = vec![f32::INFINITY; bands.len()];
        if wishes.most_pens.is_some() {
            let free = Wishes {
                most_pens: None,
                ..wishes.clone()
            };
            let Ok(free) = chosen(&bands, &touching, &pens, 3000.0, &free) else {
                continue;
            };
            for (b, choice) in free.choices.iter().enumerate() {
                let color = choice.pick.color(&pens, WHITE).lab();
                reach[b] = difference(bands[b].lab, color).max(ANOTHER_COLOR);
            }
        }
        let best = exhaustive(&bands, &touching, &offers, &reach);
        match (&found, best) {
            (Some(found), Some(best)) => {
                assert!(found.proven);
                let picks = picks(found);
                assert!(allowed(&picks, &bands, &offers, &reach), "{picks:?}");
                let cost = total(&picks, &bands, &touching, &offers);
                assert!((cost - best).abs() < 1e-3, "{cost} {best}");
                // Nothing is out of order but where none of all can keep it.
                assert_eq!(found.out_of_order.is_empty(), best < 500.0);
                broken += i32::from(!found.out_of_order.is_empty());
                let count = |f: fn(&Pick) -> bool| picks.iter().any(f) as i32;
                twice += count(|p| matches!(p, Pick::Twice(_)));
                over += count(|p| matches!(p, Pick::Over { .. }));
            }
            (None, None) => {}
            other => panic!("{other:?}"),
        }
    }
    let met = [twice, over, broken];
    assert!(met.iter().all(|&n| n > 5), "every kind was met: {met:?}");
}

/// An apricot of three tones: its own pen in two coats, which are only estimated, is nearer to the photo's shadow than
/// the brick red that is as dark, and keeps its hue.
#[test]
fn a_second_coat_of_the_right_pen_beats_a_coat_of_a_wrong_one() {
    let lab = |l: f32, c: f32, degrees: f32| {
        let (sin, cos) = degrees.to_radians().sin_cos();
        Lab::new(l, c * cos, c * sin)
    };
    let pens = [
        lab(86.0, 30.0, 72.0),
        lab(70.0, 58.0, 62.0),
        lab(46.0, 53.0, 34.0),
    ]
    .map(|c| pen(c.l, c.a, c.b, true));
    let bands = [
        (lab(84.0, 32.0, 70.0), 0.3),
        (lab(69.0, 54.0, 62.0), 0.4),
        (lab(48.0, 52.0, 58.0), 0.3),
    ]
    .map(|(c, share)| band(0, c.l, c.a, c.b, share));
    let wishes = Wishes {
        two_coats: true,
        ..Wishes::none(3, 3)
    };
    let found = chosen(&bands, &[], &pens, 2000.0, &wishes).unwrap();
    assert_eq!(picks(&found), [Pick::Pen(0), Pick::Pen(1), Pick::Twice(1)]);
    let mean = |picks: &[Pick]| -> f32 {
        let away = |(pick, band): (&Pick, &Band)| {
            band.share * difference(band.lab, pick.color(&pens, WHITE).lab())
        };
        picks.iter().zip(&bands).map(away).sum()
    };
    let with_brick = [Pick::Pen(0), Pick::Pen(1), Pick::Pen(2)];
    assert!(mean(&picks(&found)) < mean(&with_brick) - 0.3);
}

/// A gray gloss on red: by themselves a middle gray is nearest to it, and a lighter red to the red.
#[test]
fn gloss_stays_lighter_than_what_it_lies_on() {
    let pens = [
        pen(60.0, 40.0, 20.0, true),
        pen(57.0, 1.0, 1.0, true),
        pen(70.0, 1.0, 1.0, true),
    ];
    let bands = [band(0, 59.0, 40.0, 20.0, 0.9), band(1, 63.0, 2.0, 2.0, 0.1)];
    let gloss = Touching {
        bands: [0, 1],
        border_mm: 12.0,
        undivided: false,
        lighter_by: -4.0,
    };
    let wishes = Wishes::none(2, 3);
    let of = |touching: &[Touching]| chosen(&bands, touching, &pens, 900.0, &wishes).unwrap();
    assert_eq!(picks(&of(&[])), [Pick::Pen(0), Pick::Pen(1)]);
    assert_eq!(picks(&of(&[gloss])), [Pick::Pen(0), Pick::Pen(2)]);
    // Where none can keep it, that is told.
    let dark = [pens[0].clone(), pens[1].clone()];
    let bands = [bands[0], band(1, 20.0, 2.0, 2.0, 0.1)];
    let upside_down = Touching {
        lighter_by: 30.0,
        ..gloss
    };
    let lighter = Touching {
        lighter_by: -30.0,
        ..gloss
    };
    let wishes = Wishes {
        pinned: vec![None, None],
        ..Wishes::none(2, 2)
    };
    let of = |touching| chosen(&bands, &[touching], &dark, 900.0, &wishes).unwrap();
    assert!(of(upside_down).out_of_order.is_empty());
    assert!(of(lighter).out_of_order.is_empty(), "bare paper is lighter");
    let contrary = [upside_down, lighter];
    let both = chosen(&bands, &contrary, &dark, 900.0, &wishes).unwrap();
    assert_eq!(both.out_of_order.len(), 1);
}

#[test]
fn dry_pens_are_never_used_and_a_refill_decides_on_a_large_area() {
    let mut pens = vec![pen(50.0, 40.0, 30.0, false), pen(50.0, 40.0, 28.0, true)];
    let bands = [band(0, 50.0, 40.0, 30.0, 1.0)];
    let on = |pens: &[Pen], area_mm2: f32| {
        let found = chosen(&bands, &[], pens, area_mm2, &Wishes::none(1, 2));
        found.unwrap().choices.remove(0)
    };
    assert_eq!(on(&pens, 10.0).pick, Pick::Pen(0));
    assert_eq!(on(&pens, 5000.0).pick, Pick::Pen(1));
    pens[1].condition = Condition::Dry;
    let choice = on(&pens, 5000.0);
    assert_eq!(choice.pick, Pick::Pen(0));
    assert!(choice.runner_ups.is_empty());
}

#[test]
fn wishes_come_before_everything_else() {
    let pens = [
        pen(80.0, 20.0, 40.0, true),
        pen(60.0, 35.0, 45.0, true),
        pen(40.0, 40.0, 35.0, false),
        pen(38.0, 38.0, 33.0, true),
    ];
    let bands = [
        band(0, 80.0, 20.0, 40.0, 0.5),
        band(0, 40.0, 40.0, 35.0, 0.5),
    ];
    let picks = |wishes: &Wishes| picks(&chosen(&bands, &[], &pens, 4000.0, wishes).unwrap());
    let none = Wishes::none(2, 4);
    // A refill decides softly; a limit decides for good, but only where there is a stand-in.
    let limited = Wishes {
        no_refill_mm2: 1000.0,
        ..none.clone()
    };
    assert_eq!(picks(&limited), [Pick::Pen(0), Pick::Pen(3)]);
    let forbidden = Wishes {
        forbidden: vec![true, false, false, true],
        ..limited
    };
    assert_eq!(picks(&forbidden), [Pick::Pen(1), Pick::Pen(2)]);
    // A pinned pen may break the steps, and serves no other band unless wished there, too.
    let pinned = Wishes {
        pinned: vec![Some(Pick::Pen(3)), None],
        ..none.clone()
    };
    assert_eq!(picks(&pinned)[0], Pick::Pen(3));
    assert_ne!(
        picks(&Wishes {
            pinned: vec![None, Some(Pick::Pen(0))],
            ..none.clone()
        })[0],
        Pick::Pen(0)
    );
    let both = Wishes {
        pinned: vec![Some(Pick::Pen(1)), Some(Pick::Pen(1))],
        ..none
    };
    assert_eq!(picks(&both), [Pick::Pen(1), Pick::Pen(1)]);
}

#[test]
fn a_group_without_enough_steps_is_named() {
    let pens = [pen(50.0, 40.0, 30.0, true), pen(46.0, 40.0, 30.0, true)];
    let bands = [
        band(0, 90.0, 5.0, 5.0, 0.4),
        band(0, 52.0, 40.0, 30.0, 0.3),
        band(0, 30.0, 40.0, 30.0, 0.3),
    ];
    assert_eq!(
        chosen(&bands, &[], &pens, 100.0, &Wishes::none(3, 2)),
        Err(Unserved::Group(0))
    );
}

/// What one choice may weigh is what those before it left: many small searches of one plan take no longer than one.
#[test]
fn all_choices_of_a_plan_share_one_limit() {
    let pens: Vec<Pen> = (0..12)
        .map(|i| pen(25.0 + 6.0 * i as f32, 30.0, 10.0, true))
        .collect();
    let bands = [
        band(0, 80.0, 30.0, 10.0, 0.3),
        band(0, 60.0, 30.0, 10.0, 0.4),
        band(0, 40.0, 30.0, 10.0, 0.3),
    ];
    let wishes = Wishes::none(bands.len(), pens.len());
    let proven = |effort: &mut Effort| {
        choose(&bands, &[], &pens, WHITE, 900.0, &wishes, effort)
            .map(|chosen| chosen.proven)
            .unwrap()
    };
    // The least of the halves of a plan's effort that is enough for one choice is not enough for two, nor for many.
    let halves = |effort: &Effort| Some(effort.halved());
    let mut enough = std::iter::successors(Some(Effort::of_a_plan()), halves)
        .take(30)
        .take_while(|effort| proven(&mut effort.clone()))
        .last()
        .unwrap();
    assert!(!proven(&mut enough.halved()));
    assert!(proven(&mut enough));
    assert!(!proven(&mut enough));
}
