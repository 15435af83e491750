//! What the model leaves over: the noise of a photo, and glare that it missed.

use super::sight::{Of, Sight};
use super::{Curve, Model, Placed, Sights};

/// What bare paper is off by, in parts of its code value: noise, the grain of the paper; what is seen of it beside one box
/// is off together, so that it counts less. From memory.
const PAPER_ERROR: f64 = 0.02;
/// Paper's error is at least so many times what half of it is off by. From memory.
const UNSTEADY: f64 = 4.0;
/// Half of what is normally distributed is nearer than this part of a standard deviation.
const NORMAL_MEDIAN: f64 = 0.674_5;

impl Model {
    /// What the gray steps are off by, as a part of the code value of paper: root of the mean square, the worst tenth aside;
    /// `None` without any.
    pub fn noise(&self, sights: &Sights) -> Option<f64> {
        let curve = self.curve();
        let grays = sights
            .0
            .iter()
            .filter(|p| matches!(p.sight.of, Of::Gray { .. }));
        let mut off: Vec<f64> = grays
            .map(|p| p.sight.off(&self.local(p, curve)).powi(2))
            .collect();
        off.sort_by(f64::total_cmp);
        off.truncate(off.len() * 9 / 10);
        (!off.is_empty()).then(|| (off.iter().sum::<f64>() / off.len() as f64).sqrt())
    }

    /// What bare paper is off by in this photo, as a part of the light: one standard deviation, whatever is far off.
    pub fn paper_noise(&self, sights: &Sights) -> f64 {
        let papers = sights.0.iter().filter(|p| matches!(p.sight.of, Of::Paper));
        let mut off: Vec<f64> = papers.map(|p| self.unexplained(p)[0].abs()).collect();
        off.sort_by(f64::total_cmp);
        off.get(off.len() / 2).map_or(0.0, |v| v / NORMAL_MEDIAN)
    }

    /// How far the glare that was found is from the glare that bare `paper` shows, as a part of the light: root of the mean
    /// square. What the light does fast, too, counts as glare where it adds light; glare that is not there cannot be
    /// missing, so that a shadow says nothing of it.
    pub fn missed_glare(&self, paper: impl Iterator<Item = Sight>) -> f64 {
        let missed = paper.map(|sight| {
            let [more, found] = self.unexplained(&Placed::on(&self.spline, self.mm, sight));
            more.max(-found.max(0.0)).powi(2)
        });
        let (n, sum) = missed.fold((0, 0.0), |(n, sum), v| (n + 1, sum + v));
        (sum / f64::from(n.max(1))).sqrt()
    }

    /// How much more light bare paper gives back than was found, and what was found of glare there, as parts of the light.
    fn unexplained(&self, paper: &Placed) -> [f64; 2] {
        let here = self.local(paper, self.curve());
        let seen = here.curve.light(paper.sight.seen) * (-here.light).exp();
        let added = here.added();
        [seen - 1.0 - added, added]
    }

    /// What paper is off by in this photo: where shadows end, the light is not slow, and what is bright is not glare.
    pub(super) fn paper_error(&self, sights: &Sights, curve: Curve) -> f64 {
        let papers = sights.0.iter().filter(|p| matches!(p.sight.of, Of::Paper));
        let mut off: Vec<f64> = papers
            .map(|p| p.sight.off(&self.local(p, curve)).abs())
            .collect();
        off.sort_by(f64::total_cmp);
        let usual = off.get(off.len() / 2).copied().unwrap_or(0.0);
        PAPER_ERROR.max(UNSTEADY * usual)
    }
}
