//! In which order to visit places: the cheapest open path from a given start.
//!
//! Costs are whole numbers, so that ties are ties and two orders compare the same everywhere.

/// Up to this many places the order is exact.
pub const MOST_EXACT: usize = 15;

/// Stands for a way that doesn't exist; half the range, so that a step can be added to it.
const NO_WAY: u64 = u64::MAX / 2;

/// Costs between places; place 0 is the start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Costs {
    size: usize,
    cells: Vec<u64>,
}

impl Costs {
    /// The table for `size` places, the start among them, from the cost of each pair.
    #[must_use]
    pub fn new(size: usize, cost: impl Fn(usize, usize) -> u64) -> Self {
        let cells = (0..size * size).map(|cell| cost(cell / size, cell % size)).collect();
        Self { size, cells }
    }

    /// The cost from one place to another.
    #[must_use]
    pub fn between(&self, from: usize, to: usize) -> u64 {
        self.cells[from * self.size + to]
    }

    /// The cost of a path through `order`, from the start.
    #[must_use]
    pub fn of_path(&self, order: &[usize]) -> u64 {
        let before = std::iter::once(0).chain(order.iter().copied());
        before.zip(order).map(|(from, to)| self.between(from, *to)).sum()
    }
}

/// The order in which to visit places 1, 2 … from place 0, and whether it is proved the cheapest.
///
/// Costs are the same both ways. Up to [`MOST_EXACT`] places the order is exact; beyond, it is improved from a greedy
/// one until a set number of tries is used up.
#[must_use]
pub fn cheapest(costs: &Costs) -> (Vec<usize>, bool) {
    let places = costs.size.saturating_sub(1);
    if places <= MOST_EXACT { (exact(costs), true) } else { (improved(costs), false) }
}

/// Dynamic programming over sets: the cheapest way through each set to each of its members.
fn exact(costs: &Costs) -> Vec<usize> {
    let places = costs.size.saturating_sub(1);
    if places == 0 {
        return Vec::new();
    }
    let full = (1usize << places) - 1;
    let mut least = vec![NO_WAY; (full + 1) * places];
    for place in 0..places {
        least[(1 << place) * places + place] = costs.between(0, place + 1);
    }
    for set in 1..full {
        let (known, onward) = least.split_at_mut((set + 1) * places);
        let so_far = &known[set * places..];
        for next in (0..places).filter(|next| set & (1 << next) == 0) {
            let steps = &costs.cells[(next + 1) * costs.size + 1..][..places];
            let cheapest = so_far.iter().zip(steps).map(|(way, step)| way + step).fold(NO_WAY, u64::min);
            onward[((set | 1 << next) - set - 1) * places + next] = cheapest;
        }
    }
    traced_back(costs, &least)
}

/// Reads the cheapest path off the table of [`exact`], from its end to its start.
fn traced_back(costs: &Costs, least: &[u64]) -> Vec<usize> {
    let places = costs.size - 1;
    let mut set = (1usize << places) - 1;
    let mut order = Vec::with_capacity(places);
    while set != 0 {
        let cost_with = |last: usize| {
            let onward = order.last().map_or(0, |next| costs.between(last + 1, *next));
            least[set * places + last] + onward
        };
        let members = (0..places).filter(|last| set & (1 << last) != 0);
        let last = members.min_by_key(|last| cost_with(*last)).unwrap_or(0);
        order.push(last + 1);
        set &= !(1 << last);
    }
    order.reverse();
    order
}

/// Kicks for each place; with the tries of one kick growing with the places, the whole takes about as long for 16
/// places as for 200.
const KICKS: usize = 72_000;

/// Starts of the search: a greedy order first, then orders without any order, against dead ends.
const STARTS: usize = 6;

/// Local search from several starts, each followed by random kicks of which those are kept that make nothing worse.
fn improved(costs: &Costs) -> Vec<usize> {
    let end = costs.size;
    let closed = Costs::new(end + 1, |a, b| if a == end || b == end { 0 } else { costs.between(a, b) });
    let mut tour = Tour::new(&closed);
    let mut chance = Chance(0x9E37_79B9_7F4A_7C15);
    let (mut best, mut best_cost) = (tour.path.clone(), u64::MAX);
    for start in 0..STARTS {
        if start > 0 {
            tour.shuffle(&mut chance);
        }
        tour.settle((0..tour.path.len()).collect());
        let (mut kept, mut kept_cost) = (tour.path.clone(), tour.cost());
        for _ in 0..KICKS / STARTS / costs.size {
            let touched = tour.kick(&mut chance);
            tour.settle(touched);
            let cost = tour.cost();
            if cost <= kept_cost {
                kept.clone_from(&tour.path);
                kept_cost = cost;
            } else {
                tour.reset(&kept);
            }
        }
        if kept_cost < best_cost {
            best = kept;
            best_cost = kept_cost;
        }
    }
    best[1..best.len() - 1].to_vec()
}

/// So many nearest places are tried as a place's new neighbour.
const NEIGHBOURS: usize = 8;

/// A path with a free end closed by one more place that costs nothing to reach, so that every move is an inner one.
struct Tour<'a> {
    costs: &'a Costs,
    path: Vec<usize>,
    /// Where in `path` each place is.
    at: Vec<usize>,
    /// The nearest other places of each place, nearest first.
    near: Vec<Vec<usize>>,
}

impl<'a> Tour<'a> {
    /// From the start always to the nearest place not yet visited.
    fn new(costs: &'a Costs) -> Self {
        let mut path = vec![0];
        let end = costs.size - 1;
        let mut left: Vec<usize> = (1..end).collect();
        while !left.is_empty() {
            let here = path[path.len() - 1];
            let nearest = (0..left.len()).min_by_key(|at| costs.between(here, left[*at])).unwrap_or(0);
            path.push(left.swap_remove(nearest));
        }
        path.push(end);
        let nearest_to = |place: usize| {
            let mut others: Vec<usize> = (0..costs.size).filter(|other| *other != place).collect();
            others.sort_by_key(|other| costs.between(place, *other));
            others.truncate(NEIGHBOURS);
            others
        };
        let near = (0..costs.size).map(nearest_to).collect();
        let mut tour = Self { costs, at: vec![0; path.len()], path, near };
        tour.renumber(0, tour.path.len());
        tour
    }

    fn reset(&mut self, path: &[usize]) {
        self.path.copy_from_slice(path);
        self.renumber(0, path.len());
    }

    fn renumber(&mut self, from: usize, to: usize) {
        for at in from..to {
            self.at[self.path[at]] = at;
        }
    }

    fn step(&self, from: usize, to: usize) -> u64 {
        self.costs.between(from, to)
    }

    fn cost(&self) -> u64 {
        self.path.windows(2).map(|pair| self.step(pair[0], pair[1])).sum()
    }

    /// Puts all places but the start and the end in random order.
    fn shuffle(&mut self, chance: &mut Chance) {
        let inner = self.path.len() - 2;
        for at in (2..=inner).rev() {
            self.path.swap(at, 1 + chance.below(at));
        }
        self.renumber(0, self.path.len());
    }

    /// Swaps two neighbouring stretches of random length: a move that reversing alone doesn't undo.
    fn kick(&mut self, chance: &mut Chance) -> Vec<usize> {
        let inner = self.path.len() - 2;
        let longest = inner / 3;
        let (first, second) = (1 + chance.below(longest), 1 + chance.below(longest));
        let from = 1 + chance.below(inner + 1 - first - second);
        let to = from + first + second;
        self.path[from..to].rotate_left(first);
        self.renumber(from, to);
        [from - 1, from, from + second - 1, from + second, to - 1, to].map(|at| self.path[at]).to_vec()
    }

    /// Makes every improving move that gives the places in `queue` a nearer neighbour, and so on from the places that
    /// such a move touched.
    fn settle(&mut self, mut queue: Vec<usize>) {
        while let Some(place) = queue.pop() {
            while let Some(touched) = self.reversal(place).or_else(|| self.transfer(place)) {
                queue.extend(touched);
            }
        }
    }

    /// Reverses a stretch so that `place` gets a nearer neighbour, if that is cheaper in all.
    fn reversal(&mut self, place: usize) -> Option<Vec<usize>> {
        let here = self.at[place];
        // Beyond the joint that is undone at `place` lies the next place, or the one before.
        for onward in [true, false] {
            let beyond = |at: usize| if onward { Some(at + 1) } else { at.checked_sub(1) };
            let Some(parted) = beyond(here).and_then(|at| self.path.get(at).copied()) else { continue };
            for index in 0..self.near[place].len() {
                let other = self.near[place][index];
                if self.step(place, other) >= self.step(place, parted) {
                    break;
                }
                let there = self.at[other];
                let Some(left) = beyond(there).and_then(|at| self.path.get(at).copied()) else { continue };
                let undone = self.step(place, parted) + self.step(other, left);
                if self.step(place, other) + self.step(parted, left) < undone {
                    let (first, last) = (here.min(there), here.max(there));
                    let (from, to) = if onward { (first + 1, last) } else { (first, last - 1) };
                    self.path[from..=to].reverse();
                    self.renumber(from, to + 1);
                    return Some(vec![place, parted, other, left]);
                }
            }
        }
        None
    }

    /// Moves a stretch of one to three places that begins or ends at `place` to one of its nearest, if that is cheaper.
    fn transfer(&mut self, place: usize) -> Option<Vec<usize>> {
        let here = self.at[place];
        for longer in 0..3 {
            for (from, to) in [(here, here + longer), (here.saturating_sub(longer), here)] {
                let inner = from >= 1 && to + 2 <= self.path.len() && to - from == longer;
                if let Some(touched) = inner.then(|| self.transfer_stretch(from, to, place)).flatten() {
                    return Some(touched);
                }
            }
        }
        None
    }

    /// Moves the stretch from `from` to `to` next to one of the nearest of `place`, which is one of its ends.
    fn transfer_stretch(&mut self, from: usize, to: usize, place: usize) -> Option<Vec<usize>> {
        let [before, head, tail, after] = [from - 1, from, to, to + 1].map(|at| self.path[at]);
        let far = if place == head { tail } else { head };
        let gain = (self.step(before, head) + self.step(tail, after)).saturating_sub(self.step(before, after));
        for index in 0..self.near[place].len() {
            let other = self.near[place][index];
            if self.step(place, other) >= gain {
                break;
            }
            let there = self.at[other];
            // The stretch goes in behind `other`, or before it.
            for (gap, beyond) in [(Some(there), there + 1), (there.checked_sub(1), there.wrapping_sub(1))] {
                let (Some(gap), Some(beyond)) = (gap, self.path.get(beyond).copied()) else { continue };
                if (from - 1..=to).contains(&gap) {
                    continue;
                }
                if self.step(place, other) + self.step(far, beyond) < gain + self.step(other, beyond) {
                    let behind = gap == there;
                    if behind != (place == head) {
                        self.path[from..=to].reverse();
                    }
                    self.shift(from, to, gap);
                    return Some(vec![before, after, head, tail, other, beyond]);
                }
            }
        }
        None
    }

    /// Moves the stretch from `from` to `to` into the gap behind the place at `gap`.
    fn shift(&mut self, from: usize, to: usize, gap: usize) {
        let (first, last) = if gap < from { (gap + 1, to) } else { (from, gap) };
        let length = to - from + 1;
        if gap < from {
            self.path[first..=last].rotate_right(length);
        } else {
            self.path[first..=last].rotate_left(length);
        }
        self.renumber(first, last + 1);
    }
}

/// A fixed sequence of numbers without pattern, so that the same places always give the same order.
struct Chance(u64);

impl Chance {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as usize % limit.max(1)
    }
}
