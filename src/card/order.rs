//! The order of stamping: what lies in front is stamped first and masked while what lies behind is stamped.
//!
//! A mask is laid once, before the first thing behind its image is stamped, and lies there until the last of them is.
//! Images of one art need masks of one shape: a mask that was lifted can be laid on another of them. Of all orders that
//! stamp the front first, one is found that needs the fewest masks to be cut.

use std::collections::BTreeSet;

/// Up to so many images with something in front or behind, no order needs fewer masks than the one found; beyond, the
/// first good one is taken. 2^12 sets of stamped images are looked at in no time.
pub const EXACT: usize = 12;

/// What is done next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// This image is stamped.
    Stamp(usize),
    /// A mask, by its number, is laid on an image.
    Lay { mask: usize, image: usize },
    /// It is lifted.
    Lift { mask: usize, image: usize },
}

/// An order of work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StampOrder {
    pub steps: Vec<Step>,
    /// The shape of every mask that is cut.
    pub masks: Vec<usize>,
    /// No order needs fewer masks.
    pub exact: bool,
}

/// Orders images. `hides` are pairs of an image and one behind it that it overlaps, without a circle; `shape` says which
/// images are of one art. Of equally good orders the first in the images' own order is taken.
pub fn order(images: usize, hides: &[(usize, usize)], shape: &[usize]) -> StampOrder {
    let scene = Scene::new(images, hides, shape);
    let involved = scene.involved();
    let exact = involved.len() <= EXACT;
    let stamped = if exact {
        scene.fewest(&involved)
    } else {
        scene.first_good(&involved)
    };
    // What touches nothing comes first: it can dry meanwhile.
    let alone = (0..images).filter(|i| !involved.contains(i));
    scene.told(alone.chain(stamped).collect(), exact)
}

/// The masks that an order needs, of every shape; what [`order`] makes least.
pub fn masks_of(order: &[usize], hides: &[(usize, usize)], shape: &[usize]) -> usize {
    let scene = Scene::new(order.len(), hides, shape);
    scene.told(order.to_vec(), true).masks.len()
}

struct Scene<'a> {
    shape: &'a [usize],
    /// What each has in front of it, and behind it.
    front: Vec<BTreeSet<usize>>,
    behind: Vec<BTreeSet<usize>>,
}

impl<'a> Scene<'a> {
    fn new(images: usize, hides: &[(usize, usize)], shape: &'a [usize]) -> Self {
        let mut front = vec![BTreeSet::new(); images];
        let mut behind = vec![BTreeSet::new(); images];
        for &(f, b) in hides {
            front[b].insert(f);
            behind[f].insert(b);
        }
        Self {
            shape,
            front,
            behind,
        }
    }

    fn involved(&self) -> Vec<usize> {
        let all = 0..self.front.len();
        all.filter(|&i| !self.front[i].is_empty() || !self.behind[i].is_empty())
            .collect()
    }

    /// The images that a mask lies on while `next` is stamped, `done` being stamped already.
    fn masked(&self, done: &BTreeSet<usize>, next: usize) -> Vec<usize> {
        done.iter()
            .copied()
            .filter(|&f| {
                let begun = self.behind[f].iter().any(|b| done.contains(b));
                let ended = self.behind[f].iter().all(|b| done.contains(b));
                self.behind[f].contains(&next) || (begun && !ended)
            })
            .collect()
    }

    /// How many masks of each shape lie while `next` is stamped.
    fn lying(&self, done: &BTreeSet<usize>, next: usize, shapes: usize) -> Vec<usize> {
        let mut lying = vec![0; shapes];
        for f in self.masked(done, next) {
            lying[self.shape[f]] += 1;
        }
        lying
    }

    fn shapes(&self) -> usize {
        self.shape.iter().map(|&s| s + 1).max().unwrap_or(0)
    }

    /// The order that needs the fewest masks, found by looking whether all can be stamped with so many of each shape,
    /// the fewest in all first.
    fn fewest(&self, involved: &[usize]) -> Vec<usize> {
        let shapes = self.shapes();
        // Of each shape at least one, if any of its images has something behind it, and at most as many as those.
        let mut most = vec![0; shapes];
        for &i in involved.iter().filter(|&&i| !self.behind[i].is_empty()) {
            most[self.shape[i]] += 1;
        }
        let least: Vec<usize> = most.iter().map(|&m| m.min(1)).collect();
        let all: usize = most.iter().sum();
        for total in least.iter().sum()..=all {
            for caps in spread(&least, &most, total) {
                let mut dead = BTreeSet::new();
                let mut done = BTreeSet::new();
                let mut path = Vec::new();
                if self.reach(involved, &caps, &mut done, &mut path, &mut dead) {
                    return path;
                }
            }
        }
        self.first_good(involved)
    }

    /// Stamps the rest with no more masks than `caps`; sets of stamped images from where that failed are `dead`.
    fn reach(
        &self,
        involved: &[usize],
        caps: &[usize],
        done: &mut BTreeSet<usize>,
        path: &mut Vec<usize>,
        dead: &mut BTreeSet<Vec<usize>>,
    ) -> bool {
        if done.len() == involved.len() {
            return true;
        }
        let key: Vec<usize> = done.iter().copied().collect();
        if dead.contains(&key) {
            return false;
        }
        for &next in involved {
            if done.contains(&next) || !self.front[next].is_subset(done) {
                continue;
            }
            let lying = self.lying(done, next, caps.len());
            if lying.iter().zip(caps).any(|(l, cap)| l > cap) {
                continue;
            }
            done.insert(next);
            path.push(next);
            if self.reach(involved, caps, done, path, dead) {
                return true;
            }
            path.pop();
            done.remove(&next);
        }
        dead.insert(key);
        false
    }

    /// Always the image that leaves the fewest masks lying, the first of several.
    fn first_good(&self, involved: &[usize]) -> Vec<usize> {
        let mut done = BTreeSet::new();
        let mut path = Vec::new();
        while path.len() < involved.len() {
            let free = involved
                .iter()
                .copied()
                .filter(|i| !done.contains(i) && self.front[*i].is_subset(&done));
            let Some(next) = free.min_by_key(|&i| self.masked(&done, i).len()) else {
                break;
            };
            done.insert(next);
            path.push(next);
        }
        path
    }

    /// An order with its masks laid and lifted; a mask that was lifted is used again where its shape fits.
    fn told(&self, order: Vec<usize>, exact: bool) -> StampOrder {
        let mut steps = Vec::new();
        let mut masks: Vec<usize> = Vec::new();
        let mut lies_on: Vec<Option<usize>> = Vec::new();
        let mut done = BTreeSet::new();
        for next in order {
            for image in self.masked(&done, next) {
                if lies_on.contains(&Some(image)) {
                    continue;
                }
                let fits = |m: &usize| lies_on[*m].is_none() && masks[*m] == self.shape[image];
                let mask = (0..masks.len()).find(fits).unwrap_or_else(|| {
                    masks.push(self.shape[image]);
                    lies_on.push(None);
                    masks.len() - 1
                });
                lies_on[mask] = Some(image);
                steps.push(Step::Lay { mask, image });
            }
            steps.push(Step::Stamp(next));
            done.insert(next);
            for mask in 0..masks.len() {
                if let Some(image) = lies_on[mask]
                    && self.behind[image].is_subset(&done)
                {
                    lies_on[mask] = None;
                    steps.push(Step::Lift { mask, image });
                }
            }
        }
        StampOrder {
            steps,
            masks,
            exact,
        }
    }
}

/// All ways to have `total` in all with every entry between its bounds.
fn spread(least: &[usize], most: &[usize], total: usize) -> Vec<Vec<usize>> {
    let (Some((&low, lows)), Some((&high, highs))) = (least.split_first(), most.split_first())
    else {
        return if total == 0 {
            vec![Vec::new()]
        } else {
            Vec::new()
        };
    };
    let mut all = Vec::new();
    for n in low..=high.min(total) {
        for mut rest in spread(lows, highs, total - n) {
            rest.insert(0, n);
            all.push(rest);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_front_is_stamped_first_and_masked_until_all_behind_it_is_stamped() {
        let found = order(3, &[(1, 0), (1, 2)], &[0, 1, 2]);
        assert_eq!(
            found.steps,
            [
                Step::Stamp(1),
                Step::Lay { mask: 0, image: 1 },
                Step::Stamp(0),
                Step::Stamp(2),
                Step::Lift { mask: 0, image: 1 },
            ]
        );
        assert_eq!(found.masks, [1]);
        assert!(found.exact);
    }

    #[test]
    fn one_mask_serves_two_images_of_one_art_one_after_the_other() {
        // Two leaves of one art, each in front of a jar of its own.
        let found = order(4, &[(0, 2), (1, 3)], &[0, 0, 1, 2]);
        assert_eq!(found.masks, [0]);
    }
}
