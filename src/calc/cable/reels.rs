//! Which reels to buy for a list of cuts: the fewest metres, then the fewest reels.
//!
//! Lengths are whole micrometres, so that five cuts of 2 m come off a reel of 10 m.

/// Sets of reels looked at, and places tried for cuts, before the search gives up proving.
const MOST_SETS: usize = 20_000;
const MOST_TRIES: usize = 300_000;

/// A purchase: which cuts come off which reel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Purchase {
    /// Each reel's length and the cuts that come off it, as places in the list asked for.
    pub reels: Vec<(u64, Vec<usize>)>,
    /// No other purchase needs fewer metres, or as many on fewer reels.
    pub proved: bool,
}

/// The purchase of least length, then of fewest reels; `None` when a cut is longer than every reel.
#[must_use]
pub fn buy(cuts: &[u64], sizes: &[u64]) -> Option<Purchase> {
    let longest = *sizes.iter().max()?;
    if cuts.iter().any(|cut| *cut > longest) {
        return None;
    }
    let mut longest_first: Vec<usize> = (0..cuts.len()).collect();
    longest_first.sort_by_key(|cut| std::cmp::Reverse(cuts[*cut]));
    let ordered: Vec<u64> = longest_first.iter().map(|cut| cuts[*cut]).collect();
    let (fallback, most) = filled_greedily(&ordered, sizes, longest);
    let (sets, all) = sets_up_to(most, &ordered, sizes);
    let mut packing = Packing { cuts: &ordered, tries: 0 };
    let mut proved = all;
    let mut found = fallback;
    for set in sets {
        match packing.fill(&set) {
            Some(reel_of) => {
                found = (set, reel_of);
                break;
            }
            None => proved &= packing.tries < MOST_TRIES,
        }
        packing.tries = packing.tries.min(MOST_TRIES);
    }
    let (set, reel_of) = found;
    let mut reels: Vec<(u64, Vec<usize>)> = set.iter().map(|size| (*size, Vec::new())).collect();
    for (cut, reel) in reel_of.iter().enumerate() {
        reels[*reel].1.push(longest_first[cut]);
    }
    Some(Purchase { reels, proved })
}

/// A set of reels, longest first, and for each cut its reel.
type Filled = (Vec<u64>, Vec<usize>);

/// Each cut from the fullest reel that still holds it, else from a new one: the shortest that holds all that is left,
/// or the longest there is. Then each reel is exchanged for the shortest that holds what it gives.
fn filled_greedily(cuts: &[u64], sizes: &[u64], longest: u64) -> (Filled, u64) {
    let smallest_for = |need: u64| sizes.iter().copied().filter(|size| *size >= need).min();
    let mut used: Vec<u64> = Vec::new();
    let mut free: Vec<u64> = Vec::new();
    let mut reel_of = Vec::new();
    for (at, cut) in cuts.iter().enumerate() {
        let fullest = (0..free.len()).filter(|reel| free[*reel] >= *cut).min_by_key(|reel| free[*reel]);
        let reel = fullest.unwrap_or_else(|| {
            free.push(smallest_for(cuts[at..].iter().sum()).unwrap_or(longest));
            used.push(0);
            free.len() - 1
        });
        free[reel] -= cut;
        used[reel] += cut;
        reel_of.push(reel);
    }
    let set: Vec<u64> = used.iter().map(|need| smallest_for(*need).unwrap_or(longest)).collect();
    let bought = set.iter().sum();
    ((set, reel_of), bought)
}

/// Every set of reels that is long enough in all and no longer than `most`, best first; false if some were left out.
fn sets_up_to(most: u64, cuts: &[u64], sizes: &[u64]) -> (Vec<Vec<u64>>, bool) {
    let mut sizes = sizes.to_vec();
    sizes.sort_unstable_by(|a, b| b.cmp(a));
    sizes.dedup();
    let need: u64 = cuts.iter().sum();
    let mut sets = Vec::new();
    let mut open: Vec<(Vec<u64>, usize, u64)> = vec![(Vec::new(), 0, 0)];
    let mut steps = 0;
    while let Some((set, from, length)) = open.pop() {
        steps += 1;
        if steps > MOST_SETS {
            break;
        }
        if length >= need {
            sets.push(set.clone());
        }
        for (at, size) in sizes.iter().enumerate().skip(from) {
            if length + size <= most && set.len() < cuts.len() {
                let mut longer = set.clone();
                longer.push(*size);
                open.push((longer, at, length + size));
            }
        }
    }
    sets.sort_by_key(|set| (set.iter().sum::<u64>(), set.len()));
    (sets, steps <= MOST_SETS)
}

/// A search for a reel for each cut.
struct Packing<'a> {
    cuts: &'a [u64],
    tries: usize,
}

impl Packing<'_> {
    /// A reel of `set` for each cut, if there is one and the tries last.
    fn fill(&mut self, set: &[u64]) -> Option<Vec<usize>> {
        let spare = set.iter().sum::<u64>().checked_sub(self.cuts.iter().sum())?;
        let mut reel_of = Vec::with_capacity(self.cuts.len());
        self.place(&mut set.to_vec(), spare, &mut reel_of).then_some(reel_of)
    }

    fn place(&mut self, free: &mut [u64], spare: u64, reel_of: &mut Vec<usize>) -> bool {
        let Some(cut) = self.cuts.get(reel_of.len()).copied() else { return true };
        self.tries += 1;
        if self.tries > MOST_TRIES {
            return false;
        }
        // What is left on a reel too short even for the last, shortest cut is lost.
        let shortest = self.cuts[self.cuts.len() - 1];
        let lost: u64 = free.iter().filter(|free| **free < shortest).sum();
        if lost > spare {
            return false;
        }
        // An equal cut goes no further back than the one before it, and of reels with equal rest one is tried.
        let same = !reel_of.is_empty() && self.cuts[reel_of.len() - 1] == cut;
        let first = if same { reel_of[reel_of.len() - 1] } else { 0 };
        for reel in first..free.len() {
            if free[reel] < cut || (first..reel).any(|earlier| free[earlier] == free[reel]) {
                continue;
            }
            free[reel] -= cut;
            reel_of.push(reel);
            if self.place(free, spare, reel_of) {
                return true;
            }
            reel_of.pop();
            free[reel] += cut;
        }
        false
    }
}
