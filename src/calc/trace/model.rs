//! The circuit as a network, whole or with one fault in it.

use super::Case;
use crate::calc::circuit::cable::ohm_per_m;
use crate::calc::circuit::case::{Earthing, SupplyKind};
use crate::calc::network::{Network, Node, Part, Positions};
use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::shown_inert;

/// The most runs of a circuit to be searched.
pub const MOST_RUNS: usize = 30;
/// The most switches.
pub const MOST_SWITCHES: usize = 8;
/// The most lights.
const MOST_LIGHTS: usize = 60;

/// A joint that is loose, in ohms.
const LOOSE_OHM: f64 = 20.0;
/// Conductors that touch.
const TOUCH_OHM: f64 = 0.05;
/// Insulation that is damaged: enough to open a residual current device of 30 mA, not a breaker.
const DAMAGED_OHM: f64 = 5_000.0;
/// The supply up to the board where the case does not say.
const SUPPLY_OHM: f64 = 0.35;
/// The circuit's neutral from the board to where all neutrals and the supply's earth meet.
const NEUTRAL_TAIL_OHM: f64 = 0.05;
/// A breaker opens at once at this multiple of its rating.
const AT_ONCE: f64 = 5.0;
/// A residual current device may open from this share of its rating.
const RCD_FROM: f64 = 0.5;

/// A conductor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Conductor {
    /// Line.
    L,
    /// Neutral.
    N,
    /// Protective conductor.
    E,
}

impl Conductor {
    /// All three.
    pub const ALL: [Self; 3] = [Self::L, Self::N, Self::E];
    /// The pairs between which insulation is measured.
    pub const PAIRS: [(Self, Self); 3] = [(Self::L, Self::N), (Self::L, Self::E), (Self::N, Self::E)];

    /// As in a terminal's name.
    #[must_use]
    pub fn letter(self) -> &'static str {
        match self {
            Self::L => "L",
            Self::N => "N",
            Self::E => "E",
        }
    }
}

/// A fault, with the index of its run, group of switches or light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Nothing.
    None,
    /// A conductor open where a run begins.
    Open(usize, Conductor),
    /// A conductor loose where a run begins.
    Loose(usize, Conductor),
    /// Two conductors of a run touch.
    Touch(usize, (Conductor, Conductor)),
    /// The insulation between two conductors of a run is damaged.
    Damaged(usize, (Conductor, Conductor)),
    /// Line and neutral exchanged where a run begins.
    Swapped(usize),
    /// A switch that never closes.
    NeverCloses(usize),
    /// A switch that never opens.
    NeverOpens(usize),
    /// The return of a switch joined to the neutrals.
    ReturnInNeutral(usize),
    /// The line of the lights joined to the permanent line.
    LightOnPermanent(usize),
    /// The line of an onward run joined to the switch line of a group.
    OnwardOnSwitched(usize, usize),
    /// The neutral of a group's lights taken from another circuit.
    BorrowedNeutral(usize),
    /// A light's driver dead.
    DeadDriver(usize),
    /// A light's driver failing.
    FailingDriver(usize),
    /// The meter.
    Detector,
}

/// Where a run begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// The board.
    Board,
    /// The far end of a run.
    Run(usize),
}

/// A run of the model.
#[derive(Debug, Clone, PartialEq)]
pub struct RunModel {
    /// Its name.
    pub name: String,
    /// Where its neutral and protective conductor begin, and its line if it is not the first behind a switch.
    pub from: Origin,
    /// The group of switches whose line it is on.
    pub group: Option<usize>,
    /// Whether it is the first of its group.
    pub first: bool,
    ohm: [f64; 3],
}

/// Switches that act together: one, or a two-way pair.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Indices of the switches.
    pub switches: Vec<usize>,
    /// Where the permanent line comes from.
    pub from: Origin,
    /// The first run on its switch line.
    pub first_run: usize,
}

/// A light.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Its name.
    pub name: String,
    /// The run at whose far end it hangs.
    pub run: usize,
    ohm: f64,
}

/// A circuit ready for faults.
#[derive(Debug, Clone, PartialEq)]
pub struct Circuit {
    /// The runs.
    pub runs: Vec<RunModel>,
    /// The groups of switches.
    pub groups: Vec<Group>,
    /// The switches' names.
    pub switches: Vec<String>,
    /// The lights.
    pub lights: Vec<Light>,
    /// The supply's voltage.
    pub volts: f64,
    rating: f64,
    rcd: Option<f64>,
    both_poles: bool,
    supply_ohm: f64,
    earth_ohm: f64,
}

/// A terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Terminal {
    /// At the board.
    Board(Conductor),
    /// At the far end of a run.
    Run(usize, Conductor),
    /// At the joint of a group of switches: its permanent line.
    SwitchLine(usize),
    /// At the joint of a group of switches: its return.
    SwitchReturn(usize),
}

/// Positions of the switches and the places where the circuit is parted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// Each switch, on or off.
    pub on: Vec<bool>,
    /// The circuit's line and neutral out of the board's terminals.
    pub board_parted: bool,
    /// Runs whose near end is out of its joint.
    pub parted: Vec<usize>,
}

impl Setting {
    /// Every switch in one position, nothing parted.
    #[must_use]
    pub fn all(circuit: &Circuit, on: bool) -> Self {
        Self { on: vec![on; circuit.switches.len()], board_parted: false, parted: Vec::new() }
    }
}

/// What a live circuit does.
#[derive(Debug, Clone, PartialEq)]
pub struct Live {
    /// The overcurrent device opens.
    pub overcurrent: bool,
    /// The residual current device opens.
    pub residual: bool,
    /// Share of the supply's voltage at each light.
    pub lights: Vec<f64>,
}

impl Circuit {
    /// The circuit of a case that has been checked.
    ///
    /// # Errors
    /// [`CaseError`] with the path of the key.
    pub fn read(case: &Case, facts: &Facts) -> Result<Self, CaseError> {
        if case.supply.kind != SupplyKind::Mains {
            return Err(CaseError::at("supply.kind", "faults are traced in mains circuits only"));
        }
        let volts = case.supply.volts.unwrap_or_else(|| facts.value("joints.nominal"));
        let supply_ohm = case.supply.ze.map_or(SUPPLY_OHM, |ze| ze.0).max(0.01);
        let is_tt = case.supply.earthing == Some(Earthing::Tt);
        let mut circuit = Self {
            runs: Vec::new(),
            groups: Vec::new(),
            switches: Vec::new(),
            lights: Vec::new(),
            volts,
            rating: case.device.as_ref().map_or(6.0, |device| device.rating.0),
            rcd: case.device.as_ref().and_then(|device| device.rcd).map(|rcd| rcd.0),
            both_poles: case.device.as_ref().and_then(|device| device.poles) == Some(2),
            // On TT the loop impedance is that of the electrode, not of the supply's conductors.
            supply_ohm: if is_tt { SUPPLY_OHM } else { supply_ohm },
            earth_ohm: if is_tt { supply_ohm } else { 0.0 },
        };
        for (index, switch) in case.switch.iter().enumerate() {
            let path = format!("switch[{index}]");
            let name = switch.name.trim();
            if name.is_empty() || circuit.switches.iter().any(|held| held == name) {
                return Err(CaseError::at(format!("{path}.name"), "a name that no other switch has is expected"));
            }
            if let Some(at) = switch.runs.iter().position(|run| case.run.iter().all(|held| held.name != *run)) {
                let message = format!("no run is named `{}`", shown_inert(&switch.runs[at]));
                return Err(CaseError::at(format!("{path}.runs[{at}]"), message));
            }
            circuit.switches.push(name.to_owned());
        }
        for index in 0..case.run.len() {
            circuit.add_run(case, index, facts)?;
        }
        if circuit.lights.is_empty() || circuit.lights.len() > MOST_LIGHTS {
            return Err(CaseError::at("run", format!("1 to {MOST_LIGHTS} lights are expected as loads of the runs")));
        }
        Ok(circuit)
    }

    fn add_run(&mut self, case: &Case, index: usize, facts: &Facts) -> Result<(), CaseError> {
        let run = &case.run[index];
        let path = format!("run[{index}]");
        let Some(cable) = run.cable else {
            return Err(CaseError::at(format!("{path}.cable"), "a cable is expected, such as \"1.5/1.0\""));
        };
        let line = ohm_per_m(cable.line, &format!("{path}.cable"), facts)? * run.length.0;
        let cpc = match cable.cpc {
            Some(cpc) => ohm_per_m(cpc, &format!("{path}.cable"), facts)? * run.length.0,
            None => f64::INFINITY,
        };
        let switches: Vec<usize> = (0..case.switch.len())
            .filter(|at| !run.name.is_empty() && case.switch[*at].runs.contains(&run.name))
            .collect();
        let permanent = self.runs.iter().rposition(|held| held.group.is_none()).map_or(Origin::Board, Origin::Run);
        let group = self.groups.iter().position(|group| group.switches == switches);
        let (group, from, first) = match (switches.is_empty(), group) {
            (true, _) => (None, permanent, false),
            (false, Some(group)) => {
                let last = self.runs.iter().rposition(|held| held.group == Some(group));
                (Some(group), last.map_or(permanent, Origin::Run), false)
            }
            (false, None) => {
                self.groups.push(Group { switches, from: permanent, first_run: index });
                (Some(self.groups.len() - 1), permanent, true)
            }
        };
        let name = if run.name.is_empty() { format!("run {}", index + 1) } else { run.name.clone() };
        for (at, load) in run.load.iter().enumerate() {
            let watts = match (load.power, load.current) {
                (Some(power), _) => power.0,
                (None, Some(current)) => current.0 * self.volts,
                (None, None) => 0.0,
            };
            for number in 0..load.count.unwrap_or(1).min(u32::try_from(MOST_LIGHTS).unwrap_or(u32::MAX) + 1) {
                let own = if load.name.is_empty() { format!("{name} light {}", at + 1) } else { load.name.clone() };
                let own = if load.count.unwrap_or(1) > 1 { format!("{own} {}", number + 1) } else { own };
                self.lights.push(Light { name: own, run: index, ohm: self.volts.powi(2) / watts.max(0.5) });
            }
        }
        self.runs.push(RunModel { name, from, group, first, ohm: [line, line, cpc] });
        Ok(())
    }

    /// Whether a light's current passes through a run.
    #[must_use]
    pub fn passes(&self, light: usize, run: usize) -> bool {
        let mut at = Origin::Run(self.lights[light].run);
        while let Origin::Run(here) = at {
            if here == run {
                return true;
            }
            at = self.runs[here].from;
        }
        false
    }

    /// Whether a group's contact is closed: a single switch while on, a two-way pair while both are in the same position
    /// (all on counts as closed).
    #[must_use]
    pub fn closed(&self, group: usize, on: &[bool]) -> bool {
        self.groups[group].switches.iter().filter(|at| !on[**at]).count() % 2 == 0
    }

    /// The terminal of this name.
    ///
    /// # Errors
    /// [`CaseError`] at `path`, with the form that is expected.
    pub fn terminal(&self, path: &str, written: &str) -> Result<Terminal, CaseError> {
        let unknown = || {
            let message = format!(
                "`{}` is no terminal; expected `board`, a run or a light followed by `.L`, `.N` or `.E`, or a switch followed by `.line` or `.switched`",
                shown_inert(written)
            );
            CaseError::at(path, message)
        };
        let (place, end) = written.trim().rsplit_once('.').ok_or_else(unknown)?;
        if let Some(switch) = self.switches.iter().position(|name| name == place) {
            let group = self.groups.iter().position(|group| group.switches.contains(&switch)).ok_or_else(unknown)?;
            return match end {
                "line" => Ok(Terminal::SwitchLine(group)),
                "switched" => Ok(Terminal::SwitchReturn(group)),
                _ => Err(unknown()),
            };
        }
        let conductor = match end {
            "L" | "line" => Conductor::L,
            "N" | "neutral" => Conductor::N,
            "E" | "earth" | "cpc" => Conductor::E,
            _ => return Err(unknown()),
        };
        if place == "board" {
            return Ok(Terminal::Board(conductor));
        }
        let run = self.runs.iter().position(|run| run.name == place);
        let light = || self.lights.iter().find(|light| light.name == place).map(|light| light.run);
        run.or_else(light).map(|run| Terminal::Run(run, conductor)).ok_or_else(unknown)
    }

    /// A terminal as people write it.
    #[must_use]
    pub fn written(&self, terminal: Terminal) -> String {
        match terminal {
            Terminal::Board(conductor) => format!("board.{}", conductor.letter()),
            Terminal::Run(run, conductor) => format!("{}.{}", self.runs[run].name, conductor.letter()),
            Terminal::SwitchLine(group) => format!("{}.line", self.switches[self.groups[group].switches[0]]),
            Terminal::SwitchReturn(group) => format!("{}.switched", self.switches[self.groups[group].switches[0]]),
        }
    }

    /// What the circuit does with the supply on.
    #[must_use]
    pub fn live(&self, fault: Fault, on: &[bool]) -> Live {
        let setting = Setting { on: on.to_vec(), board_parted: false, parted: Vec::new() };
        let wired = Wired::new(self, fault, &setting, true);
        let Ok(solved) = wired.net.solve(&Positions::new()) else {
            return Live { overcurrent: true, residual: false, lights: vec![0.0; self.lights.len()] };
        };
        let line = solved.amperes(wired.supply).unwrap_or(0.0);
        let neutral = solved.amperes(wired.tail).unwrap_or(0.0);
        let overcurrent = line.abs() > AT_ONCE * self.rating;
        let residual = self.rcd.is_some_and(|rcd| (line - neutral).abs() > RCD_FROM * rcd);
        let open = overcurrent || residual;
        let share = |ends: &(Node, Node)| solved.volts(ends.0, ends.1).map_or(0.0, |volts| volts.abs() / self.volts);
        let dark = |at: usize| open || fault == Fault::DeadDriver(at);
        let lights =
            wired.lights.iter().enumerate().map(|(at, ends)| if dark(at) { 0.0 } else { share(ends) }).collect();
        Live { overcurrent, residual, lights }
    }

    /// Volts between pairs of terminals with the supply on; nought once the device has opened, and where one floats.
    #[must_use]
    pub fn volts_between(&self, fault: Fault, setting: &Setting, pairs: &[(Terminal, Terminal)]) -> Vec<f64> {
        let wired = Wired::new(self, fault, setting, true);
        let live = self.live(fault, &setting.on);
        let solved = wired.net.solve(&Positions::new()).ok().filter(|_| !(live.overcurrent || live.residual));
        let volts = |pair: &(Terminal, Terminal)| {
            let (a, b) = (wired.find(pair.0)?, wired.find(pair.1)?);
            solved.as_ref()?.volts(a, b).map(f64::abs)
        };
        pairs.iter().map(|pair| volts(pair).unwrap_or(0.0)).collect()
    }

    /// Ohms between pairs of terminals, dead, with the loads unplugged; infinite for an open circuit.
    #[must_use]
    pub fn ohm_between(&self, fault: Fault, setting: &Setting, pairs: &[(Terminal, Terminal)]) -> Vec<f64> {
        let wired = Wired::new(self, fault, setting, false);
        let nodes: Option<Vec<(Node, Node)>> =
            pairs.iter().map(|(a, b)| Some((wired.find(*a)?, wired.find(*b)?))).collect();
        let measured = nodes.and_then(|nodes| wired.net.ohm_between_each(&nodes, &Positions::new()).ok());
        match measured {
            Some(ohms) => ohms.into_iter().map(|ohm| ohm.unwrap_or(f64::INFINITY)).collect(),
            None => vec![f64::INFINITY; pairs.len()],
        }
    }
}

/// A network with the nodes and parts that are asked about.
struct Wired {
    net: Network,
    board: [Node; 3],
    far: Vec<[Node; 3]>,
    switch_ends: Vec<(Node, Node)>,
    lights: Vec<(Node, Node)>,
    supply: Part,
    tail: Part,
}

impl Wired {
    fn new(circuit: &Circuit, fault: Fault, setting: &Setting, live: bool) -> Self {
        let mut net = Network::new();
        let board = [net.add("board.L"), net.add("board.N"), net.add("board.E")];
        let (star, other) = (net.add("star"), net.add("other circuit's neutral"));
        let supply = net.source("supply", board[0], star, circuit.volts, circuit.supply_ohm);
        let neutral_open = setting.board_parted || (!live && circuit.both_poles);
        let tail = net.resistance("tail", board[1], star, if neutral_open { f64::INFINITY } else { NEUTRAL_TAIL_OHM });
        net.resistance("other", other, star, NEUTRAL_TAIL_OHM);
        net.resistance("earth", board[2], star, circuit.earth_ohm);
        let far = circuit.runs.iter().map(|_| [net.add("L"), net.add("N"), net.add("E")]).collect();
        let switch_ends = Vec::new();
        let mut wired = Self { net, board, far, switch_ends, lights: Vec::new(), supply, tail };
        let lines: Vec<Node> =
            (0..circuit.groups.len()).map(|at| wired.add_switch(circuit, fault, setting, at)).collect();
        for run in 0..circuit.runs.len() {
            wired.add_run(circuit, fault, setting, run, &lines, other);
        }
        for (at, light) in circuit.lights.iter().enumerate() {
            let [line, neutral, _] = wired.far[light.run];
            let there = live && fault != Fault::DeadDriver(at);
            wired.net.resistance("light", line, neutral, if there { light.ohm } else { f64::INFINITY });
            wired.lights.push((line, neutral));
        }
        wired
    }

    fn end(&self, origin: Origin) -> [Node; 3] {
        match origin {
            Origin::Board => self.board,
            Origin::Run(run) => self.far[run],
        }
    }

    fn find(&self, terminal: Terminal) -> Option<Node> {
        match terminal {
            Terminal::Board(conductor) => Some(self.board[conductor as usize]),
            Terminal::Run(run, conductor) => self.far.get(run).map(|ends| ends[conductor as usize]),
            Terminal::SwitchLine(group) => self.switch_ends.get(group).map(|ends| ends.0),
            Terminal::SwitchReturn(group) => self.switch_ends.get(group).map(|ends| ends.1),
        }
    }

    /// The switch of a group; gives the node that its lights' line comes from.
    fn add_switch(&mut self, circuit: &Circuit, fault: Fault, setting: &Setting, group: usize) -> Node {
        let [line, neutral, _] = self.end(circuit.groups[group].from);
        let (back, lights) = (self.net.add("return"), self.net.add("switch line"));
        let closed = match fault {
            Fault::NeverCloses(at) if at == group => false,
            Fault::NeverOpens(at) if at == group => true,
            _ => circuit.closed(group, &setting.on),
        };
        self.net.resistance("switch", line, back, if closed { 0.0 } else { f64::INFINITY });
        let joined = if fault == Fault::ReturnInNeutral(group) { neutral } else { lights };
        self.net.resistance("return", back, joined, 0.0);
        self.switch_ends.push((line, back));
        if fault == Fault::LightOnPermanent(group) { line } else { lights }
    }

    fn add_run(&mut self, circuit: &Circuit, fault: Fault, setting: &Setting, run: usize, lines: &[Node], other: Node) {
        let held = &circuit.runs[run];
        let mut from = self.end(held.from);
        match (held.group, fault) {
            (Some(group), _) if held.first => {
                from[0] = lines[group];
                if fault == Fault::BorrowedNeutral(group) {
                    from[1] = other;
                }
            }
            (None, Fault::OnwardOnSwitched(group, at)) if at == run => from[0] = lines[group],
            _ => {}
        }
        if fault == Fault::Swapped(run) {
            from.swap(0, 1);
        }
        for (at, conductor) in Conductor::ALL.into_iter().enumerate() {
            let joint = match fault {
                _ if setting.parted.contains(&run) => f64::INFINITY,
                Fault::Open(place, which) if place == run && which == conductor => f64::INFINITY,
                Fault::Loose(place, which) if place == run && which == conductor => LOOSE_OHM,
                _ => 0.0,
            };
            self.net.resistance("run", from[at], self.far[run][at], held.ohm[at] + joint);
        }
        let bridge = match fault {
            Fault::Touch(place, pair) if place == run => Some((pair, TOUCH_OHM)),
            Fault::Damaged(place, pair) if place == run => Some((pair, DAMAGED_OHM)),
            _ => None,
        };
        if let Some(((a, b), ohm)) = bridge {
            self.net.resistance("fault", self.far[run][a as usize], self.far[run][b as usize], ohm);
        }
    }
}
