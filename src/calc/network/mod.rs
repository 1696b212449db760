//! Voltages and currents anywhere in a small circuit, for every position of its switches.
//!
//! Nodal analysis over resistances, sources and switches: one equation for each node, one more for each source without
//! inner resistance, solved densely. Conductors of no resistance and closed contacts join their ends into one node, so
//! that an ideal joint gives exact figures. A circuit of resistances alone follows the same equations with alternating
//! current (r.m.s. values) as with direct current; capacitance is not part of the model.

use std::collections::BTreeMap;

/// The most nodes that a network may have; the solve is dense, so this bounds its time and memory.
pub const MOST_NODES: usize = 400;
/// The most switches of which [`Network::every_position`] gives all combinations.
pub const MOST_SWITCHES: usize = 8;

/// A point of a network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node(usize);

/// A resistance, source or switch of a network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Part(usize);

/// Which position each switch is in, by the switch's name. A switch that is not named is open.
pub type Positions = BTreeMap<String, String>;

#[derive(Debug, Clone)]
enum Kind {
    Resistance { ohm: f64 },
    Source { volts: f64, ohm: f64 },
    Switch { contacts: Vec<(String, Node)> },
}

#[derive(Debug, Clone)]
struct Element {
    name: String,
    from: Node,
    to: Node,
    kind: Kind,
}

/// A network that has no definite answer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NetworkError {
    /// A value is negative, not a number, or (for volts) infinite.
    #[error("`{name}` has a value that no circuit can have")]
    Value {
        /// The part.
        name: String,
    },
    /// A source without inner resistance is bridged, or fights another one: the current has no limit.
    #[error("`{name}` is short-circuited")]
    Short {
        /// The source.
        name: String,
    },
    /// More than [`MOST_NODES`] nodes.
    #[error("the circuit has more than {MOST_NODES} points")]
    TooLarge,
}

/// A circuit of resistances, sources and switches.
#[derive(Debug, Clone, Default)]
pub struct Network {
    nodes: Vec<String>,
    elements: Vec<Element>,
}

impl Network {
    /// An empty network.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The node of this name, made on first use.
    pub fn node(&mut self, name: &str) -> Node {
        let found = self.nodes.iter().position(|known| known == name);
        Node(found.unwrap_or_else(|| {
            self.nodes.push(name.to_owned());
            self.nodes.len() - 1
        }))
    }

    /// A new node, without a look at the names there are.
    pub fn add(&mut self, name: &str) -> Node {
        self.nodes.push(name.to_owned());
        Node(self.nodes.len() - 1)
    }

    /// The node of this name, if there is one.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<Node> {
        self.nodes.iter().position(|known| known == name).map(Node)
    }

    /// A resistance in ohms: 0 joins the two nodes, infinity leaves them apart.
    pub fn resistance(&mut self, name: &str, from: Node, to: Node, ohm: f64) -> Part {
        self.push(name, from, to, Kind::Resistance { ohm })
    }

    /// A source of `volts` from `to` up to `from`, with an inner resistance in ohms (0 for an ideal one).
    pub fn source(&mut self, name: &str, from: Node, to: Node, volts: f64, ohm: f64) -> Part {
        self.push(name, from, to, Kind::Source { volts, ohm })
    }

    /// A switch: in each named position `common` is joined to that position's contact; a position without a contact is
    /// given the common itself and joins nothing.
    pub fn switch(&mut self, name: &str, common: Node, contacts: &[(&str, Node)]) -> Part {
        let contacts = contacts.iter().map(|(position, node)| ((*position).to_owned(), *node)).collect();
        self.push(name, common, common, Kind::Switch { contacts })
    }

    /// Changes the value of a resistance, so that one network serves for many faults.
    pub fn set_resistance(&mut self, part: Part, ohm: f64) {
        if let Some(Kind::Resistance { ohm: held }) = self.elements.get_mut(part.0).map(|element| &mut element.kind) {
            *held = ohm;
        }
    }

    fn push(&mut self, name: &str, from: Node, to: Node, kind: Kind) -> Part {
        self.elements.push(Element { name: name.to_owned(), from, to, kind });
        Part(self.elements.len() - 1)
    }

    /// Every combination of switch positions; the first switch named changes slowest. Switches beyond
    /// [`MOST_SWITCHES`] are left out, and so open.
    #[must_use]
    pub fn every_position(&self) -> Vec<Positions> {
        let mut switches: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for element in &self.elements {
            if let Kind::Switch { contacts } = &element.kind {
                let positions = switches.entry(&element.name).or_default();
                for (position, _) in contacts {
                    if !positions.contains(&position.as_str()) {
                        positions.push(position);
                    }
                }
            }
        }
        let mut all = vec![Positions::new()];
        for (name, positions) in switches.into_iter().take(MOST_SWITCHES) {
            all = all
                .iter()
                .flat_map(|held| {
                    positions.iter().map(move |position| {
                        let mut next = held.clone();
                        next.insert(name.to_owned(), (*position).to_owned());
                        next
                    })
                })
                .collect();
        }
        all
    }

    /// What an ohmmeter shows between two nodes with every source taken away; `None` is an open circuit.
    ///
    /// # Errors
    /// [`NetworkError::Value`] and [`NetworkError::TooLarge`].
    pub fn ohm_between(&self, a: Node, b: Node, positions: &Positions) -> Result<Option<f64>, NetworkError> {
        Ok(self.ohm_between_each(&[(a, b)], positions)?.pop().flatten())
    }

    /// As [`Network::ohm_between`] for many pairs, at little more than the price of one.
    ///
    /// # Errors
    /// [`NetworkError::Value`] and [`NetworkError::TooLarge`].
    pub fn ohm_between_each(
        &self,
        pairs: &[(Node, Node)],
        positions: &Positions,
    ) -> Result<Vec<Option<f64>>, NetworkError> {
        let (joined, island) = self.shape(positions, false)?;
        let mut system = System::new(&joined, &island, pairs.len());
        self.stamp_resistances(&joined, &mut system);
        let ends = |(a, b): &(Node, Node)| (joined.root(a.0), joined.root(b.0));
        // An ampere can only flow where there is a way back; between islands the meter shows an open circuit.
        let measurable = |(a, b): &(Node, Node)| island.same(a.0, b.0);
        for (column, pair) in pairs.iter().enumerate().filter(|(_, pair)| measurable(pair)) {
            let (a, b) = ends(pair);
            system.inject(b, a, 1.0, column);
        }
        let solved = system.solve().map_err(|_| NetworkError::Value { name: String::from("a resistance") })?;
        let shown = |(column, pair): (usize, &(Node, Node))| {
            let (a, b) = ends(pair);
            measurable(pair).then(|| (solved.volts(a, column) - solved.volts(b, column)).abs())
        };
        Ok(pairs.iter().enumerate().map(shown).collect())
    }

    /// Voltages and currents with the sources in action.
    ///
    /// # Errors
    /// [`NetworkError`] where a value is impossible or a source without inner resistance is short-circuited.
    pub fn solve(&self, positions: &Positions) -> Result<Solution, NetworkError> {
        let (joined, island) = self.shape(positions, true)?;
        let mut system = System::new(&joined, &island, 1);
        self.stamp_resistances(&joined, &mut system);
        for (at, element) in self.elements.iter().enumerate() {
            let (a, b) = (joined.root(element.from.0), joined.root(element.to.0));
            match element.kind {
                Kind::Source { volts, ohm } if ohm > 0.0 => {
                    system.conductance(a, b, 1.0 / ohm);
                    system.inject(b, a, volts / ohm, 0);
                }
                Kind::Source { volts, .. } if a != b => system.ideal.push((at, a, b, volts)),
                Kind::Source { volts, .. } if volts != 0.0 => {
                    return Err(NetworkError::Short { name: element.name.clone() });
                }
                _ => {}
            }
        }
        let ideal = system.ideal.clone();
        let solved = system.solve().map_err(|row| NetworkError::Short { name: self.culprit(&ideal, row) })?;
        Ok(self.solution(&joined, &island, &solved))
    }

    /// The nodes that are one, and the islands.
    fn shape(&self, positions: &Positions, live: bool) -> Result<(Sets, Sets), NetworkError> {
        if self.nodes.len() > MOST_NODES {
            return Err(NetworkError::TooLarge);
        }
        self.check_values()?;
        let joined = self.joined(positions);
        let island = self.islands(&joined, live);
        Ok((joined, island))
    }

    fn stamp_resistances(&self, joined: &Sets, system: &mut System) {
        for element in &self.elements {
            let (a, b) = (joined.root(element.from.0), joined.root(element.to.0));
            if let Kind::Resistance { ohm } = element.kind
                && ohm > 0.0
                && ohm.is_finite()
                && a != b
            {
                system.conductance(a, b, 1.0 / ohm);
            }
        }
    }

    fn check_values(&self) -> Result<(), NetworkError> {
        let sound = |kind: &Kind| match kind {
            Kind::Resistance { ohm } => *ohm >= 0.0,
            Kind::Source { volts, ohm } => volts.is_finite() && *ohm >= 0.0 && ohm.is_finite(),
            Kind::Switch { .. } => true,
        };
        match self.elements.iter().find(|element| !sound(&element.kind)) {
            Some(element) => Err(NetworkError::Value { name: element.name.clone() }),
            None => Ok(()),
        }
    }

    /// Nodes that are one, by conductors without resistance and by contacts that are made.
    fn joined(&self, positions: &Positions) -> Sets {
        let mut joined = Sets::new(self.nodes.len());
        for element in &self.elements {
            match &element.kind {
                Kind::Resistance { ohm } if *ohm == 0.0 => joined.join(element.from.0, element.to.0),
                Kind::Switch { contacts } => {
                    let position = positions.get(&element.name);
                    if let Some((_, contact)) = contacts.iter().find(|(name, _)| Some(name) == position) {
                        joined.join(element.from.0, contact.0);
                    }
                }
                _ => {}
            }
        }
        joined
    }

    /// Nodes between which any current could flow; a voltage has a meaning only inside one such island.
    fn islands(&self, joined: &Sets, live: bool) -> Sets {
        let mut island = joined.clone();
        for element in &self.elements {
            match element.kind {
                Kind::Resistance { ohm } if ohm.is_finite() => island.join(element.from.0, element.to.0),
                Kind::Source { .. } if live => island.join(element.from.0, element.to.0),
                _ => {}
            }
        }
        island
    }

    fn culprit(&self, ideal: &[(usize, usize, usize, f64)], row: usize) -> String {
        let at = ideal.get(row).or_else(|| ideal.first()).map(|(at, ..)| *at);
        at.and_then(|at| self.elements.get(at)).map_or_else(|| String::from("a source"), |element| element.name.clone())
    }

    fn solution(&self, joined: &Sets, island: &Sets, solved: &Solved) -> Solution {
        let volts: Vec<f64> = (0..self.nodes.len()).map(|node| solved.volts(joined.root(node), 0)).collect();
        let current = self.elements.iter().enumerate().map(|(at, element)| {
            let fall = volts[element.from.0] - volts[element.to.0];
            match element.kind {
                Kind::Resistance { ohm } if ohm > 0.0 => Some(fall / ohm),
                Kind::Source { volts, ohm } if ohm > 0.0 => Some((volts - fall) / ohm),
                Kind::Source { .. } => solved.ideal_amperes.get(&at).copied(),
                // In a conductor without resistance any current may circulate.
                Kind::Resistance { .. } | Kind::Switch { .. } => None,
            }
        });
        Solution { current: current.collect(), island: (0..volts.len()).map(|node| island.root(node)).collect(), volts }
    }
}

/// What holds in a network in one set of switch positions.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    volts: Vec<f64>,
    island: Vec<usize>,
    current: Vec<Option<f64>>,
}

impl Solution {
    /// Volts of `a` above `b`; `None` where one of them floats, having no path to the other.
    #[must_use]
    pub fn volts(&self, a: Node, b: Node) -> Option<f64> {
        (self.island.get(a.0)? == self.island.get(b.0)?).then(|| self.volts[a.0] - self.volts[b.0])
    }

    /// Whether a node floats when seen from `reference`.
    #[must_use]
    pub fn floats(&self, node: Node, reference: Node) -> bool {
        self.volts(node, reference).is_none()
    }

    /// Amperes through a part: from `from` to `to` through a resistance, out of `from` for a source. `None` for a
    /// conductor without resistance and for a switch, where no voltage tells the current.
    #[must_use]
    pub fn amperes(&self, part: Part) -> Option<f64> {
        self.current.get(part.0).copied().flatten()
    }
}

/// Disjoint sets, each named by its lowest member.
#[derive(Debug, Clone)]
struct Sets(Vec<usize>);

impl Sets {
    fn new(count: usize) -> Self {
        Self((0..count).collect())
    }

    fn root(&self, mut at: usize) -> usize {
        while self.0[at] != at {
            at = self.0[at];
        }
        at
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
    }

    fn same(&self, a: usize, b: usize) -> bool {
        self.root(a) == self.root(b)
    }
}

/// The equations: a row for each node that is not the reference of its island, then one for each ideal source. Behind
/// the coefficients each row holds its right-hand sides, one column for each question asked of the network.
struct System {
    row_of: Vec<Option<usize>>,
    node_rows: usize,
    rows: Vec<Vec<f64>>,
    columns: usize,
    /// Element, its two nodes, its volts.
    ideal: Vec<(usize, usize, usize, f64)>,
}

struct Solved {
    row_of: Vec<Option<usize>>,
    answers: Vec<Vec<f64>>,
    ideal_amperes: BTreeMap<usize, f64>,
}

impl Solved {
    fn volts(&self, node: usize, column: usize) -> f64 {
        self.row_of[node].map_or(0.0, |row| self.answers[row][column])
    }
}

impl System {
    fn new(joined: &Sets, island: &Sets, columns: usize) -> Self {
        let mut row_of = vec![None; joined.0.len()];
        let mut node_rows = 0;
        for (node, row) in row_of.iter_mut().enumerate() {
            if joined.root(node) == node && island.root(node) != node {
                *row = Some(node_rows);
                node_rows += 1;
            }
        }
        let rows = vec![vec![0.0; node_rows + columns]; node_rows];
        Self { row_of, node_rows, rows, columns, ideal: Vec::new() }
    }

    fn conductance(&mut self, a: usize, b: usize, siemens: f64) {
        for (own, other) in [(self.row_of[a], self.row_of[b]), (self.row_of[b], self.row_of[a])] {
            if let Some(own) = own {
                self.rows[own][own] += siemens;
                if let Some(other) = other {
                    self.rows[own][other] -= siemens;
                }
            }
        }
    }

    /// A current taken out of `from` and put into `to`, for the question of this column.
    fn inject(&mut self, from: usize, to: usize, amperes: f64, column: usize) {
        for (node, sign) in [(from, -1.0), (to, 1.0)] {
            if let Some(row) = self.row_of[node] {
                self.rows[row][self.node_rows + column] += sign * amperes;
            }
        }
    }

    /// The row in the error counts the ideal sources.
    fn solve(mut self) -> Result<Solved, usize> {
        let (nodes, size) = (self.node_rows, self.node_rows + self.ideal.len());
        for row in &mut self.rows {
            let right = row.split_off(nodes);
            row.resize(size, 0.0);
            row.extend(right);
        }
        for (index, (_, a, b, volts)) in self.ideal.iter().enumerate() {
            let mut own = vec![0.0; size];
            own.resize(size + self.columns, *volts);
            for (node, sign) in [(*a, 1.0), (*b, -1.0)] {
                if let Some(row) = self.row_of[node] {
                    own[row] = sign;
                    self.rows[row][nodes + index] = -sign;
                }
            }
            self.rows.push(own);
        }
        let answers = eliminate(self.rows, size).map_err(|column| column.saturating_sub(nodes))?;
        let amperes =
            |(index, (element, ..)): (usize, &(usize, usize, usize, f64))| (*element, answers[nodes + index][0]);
        let ideal_amperes = self.ideal.iter().enumerate().map(amperes).collect();
        Ok(Solved { row_of: self.row_of, answers, ideal_amperes })
    }
}

/// Gaussian elimination with the largest pivot of each column, rows scaled first; gives the right-hand sides solved. The
/// error is the column that has no pivot.
fn eliminate(mut rows: Vec<Vec<f64>>, size: usize) -> Result<Vec<Vec<f64>>, usize> {
    for row in &mut rows {
        let largest = row[..size].iter().fold(0.0_f64, |held, entry| held.max(entry.abs()));
        if largest > 0.0 {
            row.iter_mut().for_each(|entry| *entry /= largest);
        }
    }
    for column in 0..size {
        let pivot = (column..size).max_by(|a, b| rows[*a][column].abs().total_cmp(&rows[*b][column].abs()));
        let pivot = pivot.filter(|row| rows[*row][column].abs() > 1e-13).ok_or(column)?;
        rows.swap(column, pivot);
        let (above, below) = rows.split_at_mut(column + 1);
        let lead = &above[column];
        for row in below {
            let factor = row[column] / lead[column];
            if factor != 0.0 {
                row[column..].iter_mut().zip(&lead[column..]).for_each(|(entry, from)| *entry -= factor * from);
            }
        }
    }
    let mut answers: Vec<Vec<f64>> = rows.iter().map(|row| row[size..].to_vec()).collect();
    for row in (0..size).rev() {
        let (solved, later) = answers.split_at_mut(row + 1);
        let own = &mut solved[row];
        for (factor, known) in rows[row][row + 1..size].iter().zip(later.iter()).filter(|(factor, _)| **factor != 0.0) {
            own.iter_mut().zip(known).for_each(|(entry, known)| *entry -= factor * known);
        }
        own.iter_mut().for_each(|entry| *entry /= rows[row][row]);
    }
    Ok(answers)
}

#[cfg(test)]
mod tests;
