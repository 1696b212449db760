//! In which order to visit places: the cheapest open path from a given start.
//!
//! Costs are whole numbers, so that ties are ties and two orders compare the same everywhere.

/// Up to this many places the order is exact.
pub const MOST_EXACT: usize = 15;

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
    let mut least = vec![u64::MAX; (full + 1) * places];
    for place in 0..places {
        least[(1 << place) * places + place] = costs.between(0, place + 1);
    }
    for set in 1..=full {
        for last in (0..places).filter(|last| set & (1 << last) != 0) {
            let so_far = least[set * places + last];
            let onward = &costs.cells[(last + 1) * costs.size + 1..][..places];
            let mut rest = full & !set;
            while rest != 0 {
                let next = rest.trailing_zeros() as usize;
                rest &= rest - 1;
                let cell = &mut least[(set | 1 << next) * places + next];
                *cell = (*cell).min(so_far + onward[next]);
            }
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
const KICKS: usize = 12_000;

/// A greedy order, then local search from small random kicks, keeping what is no worse.
fn improved(costs: &Costs) -> Vec<usize> {
    let end = costs.size;
    let closed = Costs::new(end + 1, |a, b| if a == end || b == end { 0 } else { costs.between(a, b) });
    let mut tour = Tour::new(&closed);
    let mut chance = Chance(0x9E37_79B9_7F4A_7C15);
    tour.settle((0..tour.path.len()).collect());
    let (mut best, mut best_cost) = (tour.path.clone(), tour.cost());
    for _ in 0..KICKS / costs.size {
        let touched = tour.kick(&mut chance);
        tour.settle(touched);
        let cost = tour.cost();
        if cost <= best_cost {
            best.clone_from(&tour.path);
            best_cost = cost;
        } else {
            tour.reset(&best);
        }
    }
    best[1..best.len() - 1].to_vec()
}

/// A path with a free end closed by one more place that costs nothing to reach, so that every move is an inner one.
struct Tour<'a> {
    costs: &'a Costs,
    path: Vec<usize>,
    /// Where in `path` each place is.
    at: Vec<usize>,
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
        let mut tour = Self { costs, at: vec![0; path.len()], path };
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

    /// Swaps two neighbouring stretches of random length: a move that reversing alone doesn't undo.
    fn kick(&mut self, chance: &mut Chance) -> Vec<usize> {
        let inner = self.path.len() - 2;
        let longest = inner / 3;
        let (first, second) = (1 + chance.below(longest.min(12)), 1 + chance.below(longest.min(12)));
        let from = 1 + chance.below(inner + 1 - first - second);
        let to = from + first + second;
        self.path[from..to].rotate_left(first);
        self.renumber(from, to);
        [from - 1, from, from + second - 1, from + second, to - 1, to].map(|at| self.path[at]).to_vec()
    }

    /// Makes every improving move that touches the places in `queue`, or a place that such a move touched.
    fn settle(&mut self, mut queue: Vec<usize>) {
        while let Some(place) = queue.pop() {
            while let Some(touched) = self.reversal(place).or_else(|| self.transfer(place)) {
                queue.extend(touched);
            }
        }
    }

    /// Reverses a stretch that begins or ends at `place`, if that is cheaper.
    fn reversal(&mut self, place: usize) -> Option<Vec<usize>> {
        let last = self.path.len() - 2;
        let here = self.at[place];
        for other in 1..=last {
            for (from, to) in [(here, other), (other, here)] {
                if from < 1 || to > last || from >= to {
                    continue;
                }
                let [a, b, c, d] = [from - 1, from, to, to + 1].map(|at| self.path[at]);
                if self.step(a, c) + self.step(b, d) < self.step(a, b) + self.step(c, d) {
                    self.path[from..=to].reverse();
                    self.renumber(from, to + 1);
                    return Some(vec![a, b, c, d]);
                }
            }
        }
        None
    }

    /// Moves a stretch of one to three places that begins or ends at `place` to where it costs less, either way round.
    fn transfer(&mut self, place: usize) -> Option<Vec<usize>> {
        let last = self.path.len() - 2;
        let here = self.at[place];
        for length in 1..=3 {
            for from in [here, (here + 1).saturating_sub(length)] {
                let to = from + length - 1;
                if from < 1 || to > last || here < from || here > to {
                    continue;
                }
                if let Some(touched) = self.transfer_stretch(from, to) {
                    return Some(touched);
                }
            }
        }
        None
    }

    fn transfer_stretch(&mut self, from: usize, to: usize) -> Option<Vec<usize>> {
        let last = self.path.len() - 2;
        let [before, head, tail, after] = [from - 1, from, to, to + 1].map(|at| self.path[at]);
        let taken = self.step(before, head) + self.step(tail, after);
        let closed = self.step(before, after);
        if taken <= closed {
            return None;
        }
        for gap in (0..from - 1).chain(to + 1..=last) {
            let [left, right] = [gap, gap + 1].map(|at| self.path[at]);
            let straight = self.step(left, head) + self.step(tail, right);
            let turned = self.step(left, tail) + self.step(head, right);
            if closed + straight.min(turned) < taken + self.step(left, right) {
                if turned < straight {
                    self.path[from..=to].reverse();
                }
                let length = to - from + 1;
                if gap < from {
                    self.path[gap + 1..=to].rotate_right(length);
                    self.renumber(gap + 1, to + 1);
                } else {
                    self.path[from..=gap].rotate_left(length);
                    self.renumber(from, gap + 1);
                }
                return Some(vec![before, head, tail, after, left, right]);
            }
        }
        None
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
