//! Things owned that go with a plan: thread, gems, ribbon, ink pads, and card to mount it on.
//!
//! A thing matches the plan's color that it is nearest to in CIEDE2000. It stands out by how far it is from all of the
//! plan's colors, weighed by their area, and more so the more its hue lies opposite to theirs.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::color::{GRAY_CHROMA, Lab, Srgb8, chroma, difference};
use crate::error::{Error, Result};
use crate::pens::Table;

/// So many of each are told.
const TOLD: usize = 3;
/// Nearer than this is the same color: farther is another color (as for pens; from memory).
const SAME_COLOR: f32 = 12.0;
/// Nearer than this to any color of the plan nothing stands out, in CIEDE2000; from memory.
const STANDS_OUT: f32 = 20.0;
/// What an opposite hue counts more than the same one; from memory.
const OPPOSITE_GAIN: f32 = 0.5;
/// A color on less than this share of the area is none that a thing is chosen for; from memory.
const LEAST_SHARE: f64 = 0.01;

/// Something owned.
#[derive(Debug, Clone, PartialEq)]
pub struct Accent {
    pub name: String,
    pub color: Srgb8,
    /// As the person calls it: thread, gem, ribbon, ink pad, card.
    pub kind: String,
}

impl Accent {
    /// Card that the panel can be mounted on.
    fn is_base(&self) -> bool {
        self.kind.eq_ignore_ascii_case("card")
    }
}

/// One thing that goes with a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suggestion {
    pub name: String,
    pub kind: String,
    pub color: Srgb8,
    /// CIEDE2000 to the plan's nearest color.
    pub delta_e: f32,
    /// What speaks for it, in words.
    pub why: String,
}

/// What goes with a plan, best first, at most three of each.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Suggestions {
    /// Things of a color of the plan.
    pub matching: Vec<Suggestion>,
    /// Things that stand out against it.
    pub standing_out: Vec<Suggestion>,
    /// The same for card to mount it on.
    pub base_matching: Vec<Suggestion>,
    pub base_standing_out: Vec<Suggestion>,
}

/// The table of things owned: `name,color,kind`.
///
/// # Errors
/// If it is no table, a column or a field is missing, or a color is none.
pub fn read_accents(path: &Path, bytes: &[u8]) -> Result<Vec<Accent>> {
    const COLUMNS: [&str; 3] = ["name", "color", "kind"];
    const HEADER: &str = "The first line names the columns: name,color,kind; colors are written #rrggbb, kinds such as \
                          thread, gem, ribbon, ink pad or card.";
    let table = Table::read(path, bytes)?;
    let mut accents = Vec::new();
    if let Some(column) = COLUMNS.into_iter().find(|column| !table.has(column)) {
        return Err(Error::file(path, format!("has no column {column}"), HEADER));
    }
    for row in 0..table.len() {
        let field = |column: &str| {
            let what = || format!("entry {} has no {column}", row + 1);
            table
                .get(row, column)
                .ok_or_else(|| Error::file(path, what(), HEADER))
        };
        let [name, color, kind] = COLUMNS.map(field);
        let (name, color, kind) = (name?, color?, kind?);
        let color = color
            .parse()
            .map_err(|e| Error::file(path, format!("{name}: {e}"), HEADER))?;
        accents.push(Accent {
            name: name.to_owned(),
            color,
            kind: kind.to_owned(),
        });
    }
    if accents.is_empty() {
        return Err(Error::file(path, "lists nothing", HEADER));
    }
    Ok(accents)
}

/// A color of the plan.
pub struct Shown {
    /// What it is called: a pen's name, or how its coats lie.
    pub name: String,
    pub color: Srgb8,
    pub area_mm2: f64,
}

/// The same as it is judged.
struct Seen<'a> {
    name: &'a str,
    lab: Lab,
    /// Of the area of all.
    share: f32,
}

/// What of the things owned goes with the colors of a plan.
pub fn suggest(accents: &[Accent], colors: &[Shown]) -> Suggestions {
    let all: f64 = colors.iter().map(|c| c.area_mm2).sum();
    let seen: Vec<Seen> = colors
        .iter()
        .filter(|c| c.area_mm2 > 0.0 && c.area_mm2 >= LEAST_SHARE * all)
        .map(|c| Seen {
            name: &c.name,
            lab: c.color.lab(),
            share: (c.area_mm2 / all.max(f64::MIN_POSITIVE)) as f32,
        })
        .collect();
    if seen.is_empty() {
        return Suggestions::default();
    }
    let of = |base: bool| accents.iter().filter(move |a| a.is_base() == base);
    Suggestions {
        matching: matching(of(false), &seen),
        standing_out: standing_out(of(false), &seen),
        base_matching: matching(of(true), &seen),
        base_standing_out: standing_out(of(true), &seen),
    }
}

/// The plan's color that a color is nearest to, and how far.
fn nearest<'a>(color: Lab, seen: &'a [Seen]) -> Option<(&'a str, f32)> {
    let all = seen.iter().map(|s| (s.name, difference(color, s.lab)));
    all.min_by(|a, b| a.1.total_cmp(&b.1))
}

fn matching<'a>(accents: impl Iterator<Item = &'a Accent>, seen: &[Seen]) -> Vec<Suggestion> {
    let mut found: Vec<Suggestion> = accents
        .filter_map(|a| {
            let (near, delta_e) = nearest(a.color.lab(), seen)?;
            Some(suggestion(a, delta_e, format!("like {near}")))
        })
        .filter(|s| s.delta_e < SAME_COLOR)
        .collect();
    found.sort_by(|a, b| {
        a.delta_e
            .total_cmp(&b.delta_e)
            .then_with(|| a.name.cmp(&b.name))
    });
    found.truncate(TOLD);
    found
}

fn standing_out<'a>(accents: impl Iterator<Item = &'a Accent>, seen: &[Seen]) -> Vec<Suggestion> {
    let mut found: Vec<(f32, Suggestion)> = accents
        .filter_map(|a| {
            let lab = a.color.lab();
            let (_, delta_e) = nearest(lab, seen)?;
            let apart: f32 = seen.iter().map(|s| s.share * difference(lab, s.lab)).sum();
            let opposite = opposite(lab, seen);
            let score = apart * (1.0 + OPPOSITE_GAIN * opposite);
            let hue = match opposite {
                o if o >= 0.75 => "its hue lies opposite to the card's",
                o if o >= 0.25 => "its hue lies well away from the card's",
                _ if chroma(lab) < GRAY_CHROMA => "a neutral beside the card's colors",
                _ => "a hue of the card's, in another strength or lightness",
            };
            let why = format!("{hue}; on average {apart:.0} (CIEDE2000) from its colors");
            (delta_e >= STANDS_OUT).then(|| (score, suggestion(a, delta_e, why)))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.name.cmp(&b.1.name)));
    found.into_iter().map(|(_, s)| s).take(TOLD).collect()
}

/// How far the hue of a color lies from those of the plan: 0 the same, 1 opposite on the circle of hues (CIE L*a*b*), on
/// average over area and chroma. 0 for a neutral.
fn opposite(lab: Lab, seen: &[Seen]) -> f32 {
    if chroma(lab) < GRAY_CHROMA {
        return 0.0;
    }
    let (mut sum, mut all) = (0.0, 0.0);
    for &Seen {
        lab: other, share, ..
    } in seen
    {
        let strength = chroma(other);
        if strength < GRAY_CHROMA {
            continue;
        }
        let cos = (lab.a * other.a + lab.b * other.b) / (chroma(lab) * strength);
        let weight = share * strength;
        sum += weight * (1.0 - cos) / 2.0;
        all += weight;
    }
    if all > 0.0 { sum / all } else { 0.0 }
}

fn suggestion(accent: &Accent, delta_e: f32, why: String) -> Suggestion {
    Suggestion {
        name: accent.name.clone(),
        kind: accent.kind.clone(),
        color: accent.color,
        delta_e: (delta_e * 100.0).round() / 100.0,
        why,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn accent(name: &str, color: &str, kind: &str) -> Accent {
        Accent {
            name: name.to_owned(),
            color: color.parse().unwrap(),
            kind: kind.to_owned(),
        }
    }

    #[test]
    fn the_nearest_match_and_an_opposite_hue_stands_out() {
        let orange = [Shown {
            name: "Pumpkin Field".to_owned(),
            color: "#e8802b".parse().unwrap(),
            area_mm2: 100.0,
        }];
        let owned = [
            accent("amber", "#e6832e", "gem"),
            accent("sea", "#2f6fb0", "thread"),
            accent("rust", "#8a3c12", "ribbon"),
            accent("night", "#1d2f52", "card"),
            accent("peach", "#eb8a3a", "card"),
        ];
        let found = suggest(&owned, &orange);
        assert_eq!(found.matching[0].name, "amber");
        assert_eq!(found.matching[0].why, "like Pumpkin Field");
        assert_eq!(found.standing_out[0].name, "sea");
        assert!(found.standing_out[0].why.contains("opposite"));
        assert!(found.matching.iter().all(|s| s.kind != "card"));
        assert_eq!(found.base_matching[0].name, "peach");
        assert_eq!(found.base_standing_out[0].name, "night");
    }

    #[test]
    fn a_table_of_accents_is_read_or_refused_in_words() {
        let path = Path::new("accents.csv");
        let read = read_accents(path, b"name;color;kind\nRed silk;#c43a24;thread\n").unwrap();
        assert_eq!(read, [accent("Red silk", "#c43a24", "thread")]);
        for bad in [
            "name,color\nx,#ffffff\n",
            "name,color,kind\nx,no color,gem\n",
            "name,color,kind\n",
            "name,color,kind\nRed silk,#c43a24,\n",
        ] {
            let error = read_accents(path, bad.as_bytes()).unwrap_err().to_string();
            assert!(
                error.contains("accents.csv") && error.contains("name,color,kind"),
                "{error}"
            );
        }
        let no_kind = read_accents(path, b"name,color,kind\nRed silk,#c43a24,\n").unwrap_err();
        assert!(no_kind.what().contains("entry 1 has no kind"), "{no_kind}");
    }
}
