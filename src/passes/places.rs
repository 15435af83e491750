//! Splits of passes by place: what does not touch may be colored at another time.

use imageproc::union_find::DisjointSetForest;

use super::Share;

/// A pass takes at least so long before it is worth splitting by place, in seconds; from memory.
const LARGE_S: u32 = 60;
/// Places at which splits are tried, of each kind.
const PLACES: usize = 8;
/// More turns than this no person would follow; from memory.
const MOST_TURNS: usize = 64;

/// Which sections hang together by touching: a number per section, in the order of their ids.
pub fn islands(count: usize, touching: &[(u16, u16)]) -> Vec<usize> {
    let mut forest = DisjointSetForest::new(count);
    for &(a, b) in touching {
        forest.union(usize::from(a) - 1, usize::from(b) - 1);
    }
    // Each is called by its first section.
    let mut first = vec![usize::MAX; count];
    let island = |section: usize| {
        let root = forest.root(section);
        first[root] = first[root].min(section);
        first[root]
    };
    (0..count).map(island).collect()
}

/// Ways to part large passes in two by islands, one island from the rest or the first few from the others: each pass
/// alone, or all that have sections on both sides.
pub fn splits(
    shares: &[Share],
    islands: &[usize],
    work: impl Fn(&Share) -> u32,
) -> Vec<Vec<Share>> {
    let island_of = |id: u16| islands[usize::from(id) - 1];
    let mut all: Vec<usize> = shares
        .iter()
        .flat_map(|s| s.1.iter().map(|&id| island_of(id)))
        .collect();
    all.sort_unstable();
    // Islands alone, those of most sections first, and the first few in reading order.
    let mut alone: Vec<&[usize]> = all.chunk_by(|a, b| a == b).collect();
    alone.sort_by_key(|same| usize::MAX - same.len());
    let mut groups: Vec<Vec<usize>> = alone
        .iter()
        .take(PLACES)
        .map(|same| vec![same[0]])
        .collect();
    all.dedup();
    let step = all.len().div_ceil(PLACES).max(1);
    groups.extend(
        (2..all.len().saturating_sub(1))
            .step_by(step)
            .map(|n| all[..n].to_vec()),
    );
    let mut found = Vec::new();
    for group in groups {
        let parted = |share: &Share| -> Option<(Share, Share)> {
            let (one, other): (Vec<u16>, Vec<u16>) = share
                .1
                .iter()
                .partition(|&&id| group.contains(&island_of(id)));
            (!one.is_empty() && !other.is_empty() && work(share) >= LARGE_S)
                .then_some(((share.0, one), (share.0, other)))
        };
        let crossing: Vec<usize> = (0..shares.len())
            .filter(|&k| parted(&shares[k]).is_some())
            .collect();
        let alone = crossing.iter().map(|&k| vec![k]);
        let together = (crossing.len() > 1).then(|| crossing.clone());
        for chosen in alone.chain(together) {
            let mut tried = shares.to_vec();
            for k in chosen {
                if let Some((one, other)) = parted(&shares[k]) {
                    tried[k] = one;
                    tried.push(other);
                }
            }
            if tried.len() <= MOST_TURNS {
                found.push(tried);
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_touches_by_way_of_others_is_one_island_called_by_its_first_section() {
        assert_eq!(islands(5, &[(1, 2), (2, 5)]), [0, 0, 2, 3, 0]);
        assert_eq!(islands(5, &[(5, 2), (2, 1)]), [0, 0, 2, 3, 0]);
        assert_eq!(islands(3, &[]), [0, 1, 2]);
        assert_eq!(islands(0, &[]), [0usize; 0]);
    }

    #[test]
    fn a_large_pass_is_split_between_islands_and_a_small_one_is_not() {
        let share = [(0, vec![1, 2])];
        let found = splits(&share, &[0, 1], |_| LARGE_S);
        assert_eq!(
            found,
            [
                vec![(0, vec![1]), (0, vec![2])],
                vec![(0, vec![2]), (0, vec![1])],
            ]
        );
        assert!(splits(&share, &[0, 1], |_| LARGE_S - 1).is_empty());
        assert!(splits(&share, &[0, 0], |_| LARGE_S).is_empty());
    }

    #[test]
    fn passes_on_both_sides_are_split_alone_and_together() {
        // The last has sections on one island only.
        let shares = [(0, vec![1, 2]), (1, vec![3, 4]), (2, vec![5])];
        let found = splits(&shares, &[0, 1, 0, 1, 0], |_| LARGE_S);
        let (whole, rest) = ((0, vec![1, 2]), (2, vec![5]));
        assert_eq!(
            found[..3],
            [
                vec![(0, vec![1]), (1, vec![3, 4]), rest.clone(), (0, vec![2])],
                vec![whole, (1, vec![3]), rest.clone(), (1, vec![4])],
                vec![(0, vec![1]), (1, vec![3]), rest, (0, vec![2]), (1, vec![4])],
            ]
        );
        assert_eq!(found.len(), 6);
    }

    #[test]
    fn the_island_of_most_sections_goes_first_and_the_first_few_go_together() {
        let one = |islands: &[usize]| {
            let sections = 1..=islands.len() as u16;
            splits(&[(0, sections.collect())], islands, |_| LARGE_S)
        };
        assert_eq!(one(&[0, 1, 1])[0], [(0, vec![2, 3]), (0, vec![1])]);
        let four = one(&[0, 1, 2, 3]);
        assert_eq!(four.len(), 5);
        assert_eq!(four[4], [(0, vec![1, 2]), (0, vec![3, 4])]);
        // Eight islands alone, and the first 2, 5, 8, 11, 14 and 17.
        let twenty = one(&(0..20).collect::<Vec<_>>());
        assert_eq!(twenty.len(), PLACES + 6);
        assert_eq!(twenty[PLACES + 5][0].1.len(), 17);
    }

    #[test]
    fn no_split_makes_more_turns_than_anyone_follows() {
        let lengths = |passes: u16| -> Vec<usize> {
            let shares: Vec<Share> = (0..passes)
                .map(|k| (usize::from(k), vec![2 * k + 1, 2 * k + 2]))
                .collect();
            let islands: Vec<usize> = (0..2 * usize::from(passes)).map(|s| s % 2).collect();
            let found = splits(&shares, &islands, |_| LARGE_S);
            found.iter().map(Vec::len).collect()
        };
        // Each pass alone, and all of them together, on either side.
        let all = lengths(32);
        assert_eq!((all.len(), all.iter().max()), (66, Some(&MOST_TURNS)));
        let some = lengths(33);
        assert_eq!((some.len(), some.iter().max()), (66, Some(&34)));
    }
}
