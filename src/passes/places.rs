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
