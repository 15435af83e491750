//! Lettering: how wide text is in the fonts of the sheets, lines that fit a width, and words for pictures that the
//! fonts do not hold.
//!
//! Widths are sums of the fonts' own advances (OpenType `hmtx`). Kerning and joined letters, which a renderer adds,
//! make text narrower: what fits by these widths fits.

use std::borrow::Cow;
use std::sync::LazyLock;

use textwrap::core::Fragment;
use textwrap::wrap_algorithms::wrap_first_fit;
use ttf_parser::Face;
use unicode_segmentation::UnicodeSegmentation;

/// The fonts in the binary: DejaVu Sans Condensed, regular and bold (license in `fonts/`).
pub const FONTS: [&[u8]; 2] = [
    include_bytes!("fonts/DejaVuSansCondensed.ttf"),
    include_bytes!("fonts/DejaVuSansCondensed-Bold.ttf"),
];

/// From one line to the next, as a part of the letters' size; from memory.
pub const LEADING: f64 = 1.22;

/// Units stay on the line of their number.
const UNITS: [&str; 5] = ["cm²", "mm", "s", "min", "%"];

static FACES: LazyLock<[Face<'static>; 2]> =
    LazyLock::new(|| FONTS.map(|font| Face::parse(font, 0).expect("a font of ours")));

/// Letters of one size (in millimeters), weight and color.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Letters {
    pub size_mm: f64,
    pub bold: bool,
    /// `None` is that of the sheet.
    pub color: Option<&'static str>,
}

impl Letters {
    pub const fn regular(size_mm: f64) -> Self {
        Self {
            size_mm,
            bold: false,
            color: None,
        }
    }

    pub const fn bold(size_mm: f64) -> Self {
        Self {
            bold: true,
            ..Self::regular(size_mm)
        }
    }

    pub const fn colored(self, color: &'static str) -> Self {
        Self {
            color: Some(color),
            ..self
        }
    }

    /// How wide a text is, in millimeters.
    pub fn width(self, text: &str) -> f64 {
        let face = &FACES[usize::from(self.bold)];
        let em: f64 = drawn(text)
            .chars()
            .map(|c| {
                let glyph = face.glyph_index(c).unwrap_or_default();
                f64::from(face.glyph_hor_advance(glyph).unwrap_or_default())
            })
            .sum();
        em / f64::from(face.units_per_em()) * self.size_mm
    }

    /// The text in lines no wider than `width` millimeters, broken between words; a word that is wider is broken
    /// between letters. No text is no line.
    pub fn lines(self, text: &str, width: f64) -> Vec<String> {
        let mut together: Vec<String> = Vec::new();
        for word in text.split_whitespace() {
            match together.last_mut() {
                Some(last) if UNITS.contains(&word.trim_end_matches(['.', ',', ';'])) => {
                    last.push(' ');
                    last.push_str(word);
                }
                _ => together.push(word.to_owned()),
            }
        }
        let words: Vec<Word> = together
            .iter()
            .flat_map(|word| self.pieces(word, width))
            .collect();
        if words.is_empty() {
            return Vec::new();
        }
        wrap_first_fit(&words, &[width])
            .into_iter()
            .map(|line| {
                let mut text = String::new();
                for (i, word) in line.iter().enumerate() {
                    text += &word.text;
                    if i + 1 < line.len() && word.space > 0.0 {
                        text.push(' ');
                    }
                }
                text
            })
            .collect()
    }

    /// A word in pieces that fit a line: one, if it does as a whole.
    fn pieces(self, word: &str, width: f64) -> Vec<Word> {
        let space = self.width(" ");
        let mut pieces = vec![(String::new(), 0.0)];
        // As a reader counts letters (Unicode Standard Annex 29): no accent is parted from its letter.
        for letter in word.graphemes(true) {
            let more = self.width(letter);
            match pieces.last_mut() {
                Some((text, wide)) if text.is_empty() || *wide + more <= width => {
                    text.push_str(letter);
                    *wide += more;
                }
                _ => pieces.push((letter.to_owned(), more)),
            }
        }
        let last = pieces.len() - 1;
        pieces
            .into_iter()
            .enumerate()
            .map(|(i, (text, wide))| Word {
                text,
                wide,
                space: if i == last { space } else { 0.0 },
            })
            .collect()
    }

    /// The same letters, as much smaller as the text needs to fit one line of `width` millimeters.
    pub fn fitting(self, text: &str, width: f64) -> Self {
        let wide = self.width(text);
        let size_mm = if wide > width {
            self.size_mm * width / wide
        } else {
            self.size_mm
        };
        Self { size_mm, ..self }
    }

    /// The largest letters down to `least` millimeters in which the text fits `most` lines, and these lines; where even
    /// those are too large there are more lines.
    pub fn in_lines(self, text: &str, width: f64, most: usize, least: f64) -> (Self, Vec<String>) {
        let mut letters = self;
        loop {
            let lines = letters.lines(text, width);
            if lines.len() <= most || letters.size_mm <= least {
                return (letters, lines);
            }
            letters.size_mm = (letters.size_mm * 0.92).max(least);
        }
    }

    /// From one line to the next, in millimeters.
    pub fn line_mm(self) -> f64 {
        self.size_mm * LEADING
    }
}

/// A word, or a piece of one.
#[derive(Debug)]
struct Word {
    text: String,
    wide: f64,
    /// Width of the space behind it; none inside a word.
    space: f64,
}

impl Fragment for Word {
    fn width(&self) -> f64 {
        self.wide
    }

    fn whitespace_width(&self) -> f64 {
        self.space
    }

    fn penalty_width(&self) -> f64 {
        0.0
    }
}

/// The text as it is drawn: an emoji that the fonts do not hold is named, as in "(peach) Pie".
pub fn drawn(text: &str) -> Cow<'_, str> {
    if text.is_ascii() {
        return Cow::Borrowed(text);
    }
    let held = |c: char| FACES[0].glyph_index(c).is_some();
    let mut out = String::with_capacity(text.len());
    for letter in text.graphemes(true) {
        match emojis::get(letter) {
            Some(emoji) if !letter.chars().all(held) => {
                out.push('(');
                out.push_str(emoji.name());
                out.push(')');
            }
            _ => out.push_str(letter),
        }
    }
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BODY: Letters = Letters::regular(3.0);

    #[test]
    fn lines_fit_and_nothing_is_lost() {
        let texts = [
            "Late Summer Orchard Apricot, second coat, over Old Dove",
            "Donaudampfschiffahrtsgesellschaftskapitänsmützenblau",
            "خوخ ناضج جدا من بستان الصيف الماضي",
            "e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}e\u{301}",
            "",
        ];
        for text in texts {
            for width in [6.0, 15.0, 40.0] {
                let lines = BODY.lines(text, width);
                assert!(
                    lines.iter().all(|l| BODY.width(l) <= width + 1e-9),
                    "{lines:?}"
                );
                let letters = |t: &str| t.split_whitespace().collect::<String>();
                assert_eq!(letters(&lines.concat()), letters(text));
            }
        }
        assert_eq!(BODY.lines("a b", 50.0), ["a b"]);
        assert_eq!(BODY.lines("Fig Jam", BODY.width("Jam")), ["Fig", "Jam"]);
    }

    #[test]
    fn an_emoji_that_no_font_holds_is_named_also_one_of_several_signs() {
        assert_eq!(drawn("🍑 Pie"), "(peach) Pie");
        assert_eq!(drawn("🇫🇷"), "(flag: France)");
        assert_eq!(drawn("👩\u{200d}🌾"), "(woman farmer)");
        assert_eq!(drawn("Pêche 4 #"), "Pêche 4 #");
    }
}
