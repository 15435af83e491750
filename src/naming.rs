//! What bands are called: the word for their hue group's color, and how light they are, from 0 for black to 100 for
//! white, as in "orange 65".
//!
//! A name says what a band looks like, not the how manieth it is, so that it means the same whether the group has two
//! bands or four: it finds the band that comes nearest to it. Groups of the same word are told apart by how strong they are
//! or where they lean to, as in "pale orange 65" or "reddish orange 65"; where there is but one of them, that does not
//! matter.

use crate::color::{GRAY_CHROMA, Lab, chroma, color_name, hue_difference};
use crate::sections::Band;

/// A name finds no band farther from it than this, in L*: a little more than the least step between bands; from memory.
const REACH: f32 = 10.0;
/// A weak color is pale from this lightness (L*) on, and dull below it; from memory.
const PALE: f32 = 65.0;

/// A word for every hue group, told by its mean color; no two are the same. One without a color has no band to be called by
/// its word.
pub fn group_words(means: &[Option<Lab>]) -> Vec<String> {
    let colors: Vec<Lab> = means.iter().flatten().copied().collect();
    let mut words = words_of(&colors).into_iter();
    let next = |mean: &Option<Lab>| mean.and_then(|_| words.next());
    means
        .iter()
        .map(next)
        .map(|word| word.unwrap_or_else(|| "other".to_owned()))
        .collect()
}

fn words_of(groups: &[Lab]) -> Vec<String> {
    let word = |g: usize| color_name(groups[g]);
    let mut words: Vec<String> = Vec::new();
    for g in 0..groups.len() {
        let others: Vec<Lab> = (0..groups.len())
            .filter(|&h| h != g && word(h) == word(g))
            .map(|h| groups[h])
            .collect();
        let plain = match side(groups[g], &others) {
            Some(side) => format!("{side} {}", word(g)),
            None => word(g).to_owned(),
        };
        // Three of one word may lean to one side.
        let mut name = plain.clone();
        let mut nth = 2;
        while words.contains(&name) {
            name = format!("{} {plain}", ordinal(nth));
            nth += 1;
        }
        words.push(name);
    }
    words
}

/// What tells a color from others of its word, if there are any: its strength, its hue, or its lightness, whichever
/// differs most from theirs (CIE L*C*h of L*a*b*). Lightness counts a quarter: bands say it themselves.
fn side(group: Lab, others: &[Lab]) -> Option<&'static str> {
    if others.is_empty() {
        return None;
    }
    let n = others.len() as f32;
    let mean = |of: fn(&Lab) -> f32| others.iter().map(of).sum::<f32>() / n;
    let others = Lab::new(mean(|c| c.l), mean(|c| c.a), mean(|c| c.b));
    if chroma(group) < GRAY_CHROMA {
        return Some(tint(group, others));
    }
    let strength = chroma(group) - chroma(others);
    let hue = hue_difference(others, group);
    let lightness = (group.l - others.l) / 4.0;
    let most = strength.abs().max(hue.abs());
    Some(
        match (lightness.abs() > most, hue.abs() >= strength.abs()) {
            (true, _) if lightness > 0.0 => "light",
            (true, _) => "dark",
            (_, true) => leaning(color_name(group), hue > 0.0),
            _ if strength > 0.0 => "strong",
            _ if group.l >= PALE => "pale",
            _ => "dull",
        },
    )
}

/// The side to which a gray lies of others. The axes of L*a*b* go from green to red and from blue to yellow.
fn tint(gray: Lab, others: Lab) -> &'static str {
    let (a, b) = (gray.a - others.a, gray.b - others.b);
    match (a.abs() >= b.abs(), a > 0.0, b > 0.0) {
        (true, true, _) => "reddish",
        (true, false, _) => "greenish",
        (false, _, true) => "yellowish",
        (false, _, false) => "bluish",
    }
}

/// Where a hue of this word leans, turned from red toward yellow (`onward`) or back.
fn leaning(word: &str, onward: bool) -> &'static str {
    let [back, on] = match word {
        "pink" => ["bluish", "reddish"],
        "red" => ["bluish", "yellowish"],
        "orange" => ["reddish", "yellowish"],
        "yellow" => ["reddish", "greenish"],
        "green" => ["yellowish", "bluish"],
        "blue-green" => ["greenish", "bluish"],
        "blue" => ["greenish", "reddish"],
        _ => ["bluish", "reddish"],
    };
    if onward { on } else { back }
}

/// What the `n`th of one name is called, from the second on.
fn ordinal(n: usize) -> String {
    let ending = match (n % 100, n % 10) {
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    let words = ["other", "third", "fourth", "fifth", "sixth", "seventh"];
    let word = words.get(n - 2).map(|word| (*word).to_owned());
    word.unwrap_or_else(|| format!("{n}{ending}"))
}

/// The names of bands, given the words of their groups; no two are the same.
pub fn band_names(bands: &[Band], words: &[String]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for band in bands {
        let word = &words[band.group];
        let mut lightness = band.lab.l.round().max(0.0) as u32;
        let mut name = format!("{word} {lightness}");
        while names.contains(&name) {
            lightness += 1;
            name = format!("{word} {lightness}");
        }
        names.push(name);
    }
    names
}

/// The band that is meant by `wanted`, which need not be written as any of `names`.
pub fn band_called(names: &[String], wanted: &str) -> Option<usize> {
    if let Some(exact) = names.iter().position(|name| name == wanted) {
        return Some(exact);
    }
    let (words, lightness) = parted(wanted)?;
    let color = |words: &str| words.rsplit(' ').next().map(str::to_owned);
    let bands: Vec<(usize, &str, f32)> = names
        .iter()
        .enumerate()
        .filter_map(|(b, name)| parted(name).map(|(words, l)| (b, words, l)))
        .filter(|(_, w, _)| color(w) == color(words))
        .collect();
    // The side matters where some group lies on it.
    let on_side = bands.iter().any(|(_, w, _)| *w == words);
    bands
        .into_iter()
        .filter(|(_, w, _)| !on_side || *w == words)
        .map(|(b, _, l)| (b, (l - lightness).abs()))
        .filter(|&(_, away)| away <= REACH)
        .min_by(|p, q| p.1.total_cmp(&q.1))
        .map(|(b, _)| b)
}

/// The words and the lightness of a name.
fn parted(name: &str) -> Option<(&str, f32)> {
    let (words, lightness) = name.trim().rsplit_once(' ')?;
    Some((words.trim(), lightness.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bands(of: &[(usize, f32)]) -> Vec<Band> {
        of.iter()
            .map(|&(group, l)| Band {
                group,
                lab: Lab::new(l, 0.0, 0.0),
                share: 0.1,
            })
            .collect()
    }

    #[test]
    fn names_are_one_for_each_band_also_where_groups_share_a_word() {
        let orange = |a: f32, b: f32| Lab::new(60.0, a, b);
        let groups = [
            orange(40.0, 60.0),
            orange(48.0, 58.0),
            orange(41.0, 61.0),
            Lab::new(50.0, 0.0, 0.0),
        ];
        let words = words_of(&groups);
        assert!(words[1].starts_with("reddish "), "{words:?}");
        // A strong red and a pale one; nothing is a greenish red or a yellowish yellow.
        let reds = [Lab::new(45.0, 55.0, 40.0), Lab::new(76.0, 24.0, 19.0)];
        assert_eq!(words_of(&reds), ["strong red", "pale red"]);
        let yellows = [Lab::new(90.0, -2.0, 45.0), Lab::new(93.0, 0.0, 12.0)];
        assert_eq!(words_of(&yellows), ["strong yellow", "pale yellow"]);
        let bands = bands(&[(0, 70.2), (0, 69.8), (1, 70.0), (2, 70.0), (3, 50.0)]);
        let mut names = band_names(&bands, &words);
        for (b, name) in names.iter().enumerate() {
            assert_eq!(band_called(&names, name), Some(b), "{name}");
        }
        names.sort();
        names.dedup();
        assert_eq!(names.len(), bands.len(), "{names:?}");
    }

    #[test]
    fn many_groups_of_one_color_are_told_apart() {
        let groups = vec![Lab::new(60.0, 40.0, 60.0); 25];
        let words = words_of(&groups);
        let last = words.last().unwrap();
        assert!(last.starts_with("25th "), "{last}");
        assert!(words[20].starts_with("21st "), "{}", words[20]);
        let mut once = words.clone();
        once.sort();
        once.dedup();
        assert_eq!(once.len(), words.len());
    }

    #[test]
    fn a_name_keeps_its_meaning_when_bands_come_and_go() {
        let words = ["red".to_owned()];
        let of = |l: &[f32]| {
            let all: Vec<(usize, f32)> = l.iter().map(|&l| (0, l)).collect();
            band_names(&bands(&all), &words)
        };
        let three = of(&[72.0, 55.0, 34.0]);
        assert_eq!(three, ["red 72", "red 55", "red 34"]);
        // One more between, or other bounds: the dark one is still the dark one.
        assert_eq!(
            band_called(&of(&[75.0, 62.0, 48.0, 31.0]), "red 34"),
            Some(3)
        );
        assert_eq!(band_called(&of(&[68.0, 39.0]), "red 34"), Some(1));
        assert_eq!(band_called(&of(&[68.0, 39.0]), "red 72"), Some(0));
        // What is not there is not something else.
        assert_eq!(band_called(&of(&[68.0]), "red 34"), None);
        for unlike in ["blue 72", "red", "72", "", "red x"] {
            assert_eq!(band_called(&three, unlike), None, "{unlike}");
        }
    }

    #[test]
    fn a_side_matters_only_where_there_are_several() {
        let one = ["red 60".to_owned(), "red 40".to_owned()];
        assert_eq!(band_called(&one, "bluish red 42"), Some(1));
        let two = ["bluish red 60".to_owned(), "yellowish red 58".to_owned()];
        assert_eq!(band_called(&two, "bluish red 57"), Some(0));
        assert_eq!(band_called(&two, "red 57"), Some(1));
    }
}
