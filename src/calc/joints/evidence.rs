//! The evidence at a rose, checked: cables and cores, the switches, and what each reading says.

use std::collections::BTreeMap;

use super::search::Function;
use super::{CableCase, Case, ContinuityCase, CoreCase, LightsCase, Made, OhmCase, OneOrMany, Terminal};
use crate::case::CaseError;
use crate::facts::Facts;
use crate::quantity::{Dimension, measured, shown_inert};

/// The most cables at one rose.
pub const MOST_CABLES: usize = 8;
/// The most readings.
pub const MOST_READINGS: usize = 200;
/// The most switches that act on one light.
pub const MOST_SWITCHES: usize = 4;
/// The longest name or colour, in characters.
const LONGEST_NAME: usize = 40;
/// What the only switch is called when readings give no name.
pub const ONLY_SWITCH: &str = "switch";

/// Where a core is: cable, then core in the cable.
pub type At = (usize, usize);

/// What a colour or sleeve says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Use {
    /// A line.
    Line,
    /// A neutral in a cable of two cores; in a cable of three it may be a line.
    Neutral,
    /// One of the lines of a cable of three cores.
    Phase,
    /// A line or, in a cable of three cores, a neutral.
    Any,
    /// A protective conductor and nothing else.
    Earth,
}

/// A core as found.
#[derive(Debug, Clone, PartialEq)]
pub struct Core {
    /// Its name in the cable.
    pub name: String,
    /// Its colour.
    pub colour: String,
    /// A sleeve on it.
    pub sleeve: Option<String>,
    /// What its sleeve or, without one, its colour says.
    pub says: Use,
    /// The terminal it was in.
    pub terminal: Terminal,
    /// Bare, green or green and yellow: never a live conductor.
    pub earth: bool,
}

/// A cable as found.
#[derive(Debug, Clone, PartialEq)]
pub struct Cable {
    /// Its tag.
    pub name: String,
    /// Its cores.
    pub cores: Vec<Core>,
    /// Which of them may be live.
    pub live: Vec<usize>,
    /// Cross-section of the live cores in mm², where known.
    pub area: Option<f64>,
    /// How the cores are made, where known.
    pub made: Option<Made>,
}

/// A cable to the new lights.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lights {
    /// Its tag.
    pub name: String,
    /// Colour of its line.
    pub line: String,
    /// Colour of its neutral.
    pub neutral: String,
}

/// A switch and its two positions; the second is the one named on, up or 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Switch {
    /// Its name.
    pub name: String,
    /// The names of its positions.
    pub positions: [String; 2],
}

/// What a reading says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    /// One conductor, or a closed contact.
    Closed,
    /// A load, or nothing.
    Apart,
    /// Too high for the one and too low for the other.
    Nothing,
}

/// A reading between two cores.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The two cores.
    pub between: [At; 2],
    /// Position of each switch, in the order of [`Evidence::switches`]; `None` where not stated.
    pub positions: Vec<Option<bool>>,
    /// Line linked to the protective conductor at the board.
    pub board_link: bool,
    /// What it says.
    pub shows: Shows,
}

/// All that is known at the rose.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The cables.
    pub cables: Vec<Cable>,
    /// The cables to the new lights.
    pub lights: Vec<Lights>,
    /// The switches; at least one.
    pub switches: Vec<Switch>,
    /// The readings.
    pub readings: Vec<Reading>,
    /// What was noticed while reading the case.
    pub remarks: Vec<String>,
    /// A core marked as protective that sat in a live terminal: nothing can be said of such a rose.
    pub misused: Vec<At>,
}

impl Evidence {
    /// Checks a case.
    ///
    /// # Errors
    /// [`CaseError`] with the path of the key.
    pub fn read(case: &Case, facts: &Facts) -> Result<Self, CaseError> {
        if case.continuity.len() > MOST_READINGS {
            return Err(CaseError::at("continuity", format!("more than {MOST_READINGS} readings")));
        }
        let mut evidence = Self {
            cables: Vec::new(),
            lights: Vec::new(),
            switches: switches(case)?,
            readings: Vec::new(),
            remarks: Vec::new(),
            misused: Vec::new(),
        };
        let inferred = known_from_readings(case);
        let cables = case.cable.len() + inferred.len();
        if !(1..=MOST_CABLES).contains(&cables) {
            return Err(CaseError::at(
                "cable",
                format!("one to {MOST_CABLES} cables are expected at a rose, not {cables}"),
            ));
        }
        for (index, cable) in case.cable.iter().chain(&inferred).enumerate() {
            let listed = index < case.cable.len();
            let path = if listed { format!("cable[{index}]") } else { String::from("continuity") };
            if !listed {
                let name = shown_inert(&cable.name);
                evidence
                    .remarks
                    .push(format!("{name} is in no list of cables; its cores are taken from its readings."));
            }
            let name = evidence.new_name(&format!("{path}.name"), &cable.name)?;
            let cores = cores(&path, &cable.cores, facts)?;
            let area = cable.area.map(|area| area.0);
            if area.is_some_and(|area| !(0.1..=50.0).contains(&area)) {
                return Err(CaseError::at(format!("{path}.area"), "a cross-section of 0.1 to 50 mm2 is expected"));
            }
            let live: Vec<usize> =
                (0..cores.len()).filter(|&at| !cores[at].earth && cores[at].terminal != Terminal::Earth).collect();
            let in_live =
                |core: &Core| matches!(core.terminal, Terminal::Loop | Terminal::Switched | Terminal::Neutral);
            let misused: Vec<usize> = (0..cores.len()).filter(|&at| cores[at].earth && in_live(&cores[at])).collect();
            if misused.is_empty() && !(2..=3).contains(&live.len()) {
                let message = "two or three cores besides the protective conductor are expected; enter singles that run together as one cable";
                return Err(CaseError::at(format!("{path}.cores"), message));
            }
            evidence.misused.extend(misused.into_iter().map(|at| (index, at)));
            evidence.cables.push(Cable { name, cores, live, area, made: cable.made });
        }
        evidence.read_lights(&case.to_lights, facts)?;
        for (index, reading) in case.continuity.iter().enumerate() {
            let reading = evidence.reading(&format!("continuity[{index}]"), reading, facts)?;
            evidence.readings.push(reading);
        }
        evidence.note_colours(facts);
        Ok(evidence)
    }

    /// The core at a place.
    #[must_use]
    pub fn core(&self, (cable, core): At) -> &Core {
        &self.cables[cable].cores[core]
    }

    /// A core as people write it: `C1.brown`.
    #[must_use]
    pub fn written(&self, at: At) -> String {
        format!("{}.{}", self.cables[at.0].name, self.core(at).name)
    }

    /// Every core, cable by cable.
    pub fn all_cores(&self) -> impl Iterator<Item = At> + '_ {
        self.cables.iter().enumerate().flat_map(|(cable, held)| (0..held.cores.len()).map(move |core| (cable, core)))
    }

    /// The positions of all switches in words: `on`, or `S1 up, S2 down`.
    #[must_use]
    pub fn positions_in_words(&self, positions: &[bool]) -> String {
        let words = |(switch, on): (&Switch, &bool)| {
            let position = &switch.positions[usize::from(*on)];
            if self.switches.len() == 1 { position.clone() } else { format!("{} {position}", switch.name) }
        };
        self.switches.iter().zip(positions).map(words).collect::<Vec<_>>().join(", ")
    }

    /// The positions of all switches by name.
    #[must_use]
    pub fn positions_by_name(&self, positions: &[bool]) -> BTreeMap<String, String> {
        let named = |(switch, on): (&Switch, &bool)| (switch.name.clone(), switch.positions[usize::from(*on)].clone());
        self.switches.iter().zip(positions).map(named).collect()
    }

    /// Every combination of switch positions, the first with every switch on.
    #[must_use]
    pub fn every_position(&self) -> Vec<Vec<bool>> {
        let count = self.switches.len();
        (0..1_usize << count)
            .rev()
            .map(|bits| (0..count).map(|at| bits >> (count - 1 - at) & 1 == 1).collect())
            .collect()
    }

    /// Whether a core that was in this terminal may have this function. A core in no terminal is not what the rose has a
    /// terminal in use for; a core of which the terminal is not known is not thought to be a spare.
    #[must_use]
    pub fn may_be(&self, terminal: Terminal, function: Function) -> bool {
        let own = match function {
            Function::Permanent => Terminal::Loop,
            Function::Switched => Terminal::Switched,
            Function::Neutral => Terminal::Neutral,
            Function::Protective => return matches!(terminal, Terminal::Earth | Terminal::None | Terminal::Unknown),
            Function::StrapperOne | Function::StrapperTwo => {
                return matches!(terminal, Terminal::None | Terminal::Unknown);
            }
            Function::Spare => return terminal == Terminal::None,
        };
        match terminal {
            Terminal::Unknown => true,
            Terminal::None => !self.cables.iter().flat_map(|cable| &cable.cores).any(|core| core.terminal == own),
            held => held == own,
        }
    }

    fn new_name(&self, path: &str, name: &str) -> Result<String, CaseError> {
        let name = sound_name(path, name)?;
        let taken = self.cables.iter().any(|cable| cable.name == name) || self.lights.iter().any(|l| l.name == name);
        if taken { Err(CaseError::at(path, format!("`{name}` is the name of another cable"))) } else { Ok(name) }
    }

    fn read_lights(&mut self, lights: &OneOrMany, facts: &Facts) -> Result<(), CaseError> {
        let (many, single): (&[LightsCase], bool) = match lights {
            OneOrMany::One(one) => (std::slice::from_ref(one), true),
            OneOrMany::Many(many) => (many, false),
        };
        if many.len() > MOST_CABLES {
            return Err(CaseError::at("to_lights", format!("more than {MOST_CABLES} cables to the lights")));
        }
        for (index, lights) in many.iter().enumerate() {
            let path = if single { String::from("to_lights") } else { format!("to_lights[{index}]") };
            let name = self.new_name(&format!("{path}.name"), &lights.name)?;
            let path = format!("{path}.colours");
            let Some((line, neutral)) = lights.colours.split_once('/') else {
                return Err(CaseError::at(path, "line and neutral colour are expected, as in \"brown/blue\""));
            };
            let (line, line_says) = colour(&path, line, facts)?;
            let (neutral, neutral_says) = colour(&path, neutral, facts)?;
            if line_says != Use::Line || neutral_says != Use::Neutral {
                return Err(CaseError::at(path, "a line and a neutral colour are expected, as in \"brown/blue\""));
            }
            self.lights.push(Lights { name, line, neutral });
        }
        Ok(())
    }

    fn reading(&mut self, path: &str, case: &ContinuityCase, facts: &Facts) -> Result<Reading, CaseError> {
        let between = [
            self.at(&format!("{path}.between[0]"), &case.between[0])?,
            self.at(&format!("{path}.between[1]"), &case.between[1])?,
        ];
        if between[0] == between[1] {
            return Err(CaseError::at(format!("{path}.between"), "two different cores are expected"));
        }
        let stated = stated(case);
        let positions = self
            .switches
            .iter()
            .map(|switch| stated.get(&switch.name).map(|position| *position == switch.positions[1]))
            .collect();
        let shows = shows(path, case, facts)?;
        if shows == Shows::Nothing {
            self.remarks.push(format!(
                "The reading {} to {} is too high for a closed contact and too low for anything else: measure it again.",
                self.written(between[0]),
                self.written(between[1])
            ));
        }
        Ok(Reading { between, positions, board_link: case.board_link, shows })
    }

    fn at(&self, path: &str, written: &str) -> Result<At, CaseError> {
        self.all_cores().find(|at| self.written(*at) == written).ok_or_else(|| {
            let known: Vec<String> = self.all_cores().map(|at| self.written(at)).collect();
            CaseError::at(path, format!("no core is named `{}`; there are {}", shown_inert(written), known.join(", ")))
        })
    }

    fn note_colours(&mut self, facts: &Facts) {
        let version =
            |colour: &str| facts.table("joints.colour").row_named("colour", colour).and_then(|row| row.text("version"));
        let old = self.cables.iter().flat_map(|cable| &cable.cores).any(|core| version(&core.colour) == Some("old"));
        // A black core of a cable with brown or grey beside it belongs to the new colours.
        let new = self.cables.iter().flat_map(|cable| &cable.cores).any(|core| version(&core.colour) == Some("new"))
            || self.lights.iter().any(|lights| version(&lights.line) == Some("new"));
        if old && new {
            self.remarks.push(String::from(
                "Old and new colours meet here: black is a neutral in an old cable of two and a line in a new cable of three; blue is the reverse.",
            ));
        }
    }
}

/// Cables that only readings speak of: both ends of a reading are cores, named by colour, of one cable that isn't listed.
fn known_from_readings(case: &Case) -> Vec<CableCase> {
    let mut found: Vec<CableCase> = Vec::new();
    for reading in &case.continuity {
        let [a, b] = [&reading.between[0], &reading.between[1]].map(|written| written.split_once('.'));
        let (Some((cable, one)), Some((other_cable, other))) = (a, b) else { continue };
        if cable != other_cable || case.cable.iter().any(|held| held.name.trim() == cable) {
            continue;
        }
        let at = found.iter().position(|held| held.name == cable).unwrap_or_else(|| {
            found.push(CableCase { name: cable.to_owned(), cores: Vec::new(), area: None, made: None });
            found.len() - 1
        });
        for colour in [one, other] {
            if !found[at].cores.iter().any(|core| core.colour == colour) {
                found[at].cores.push(CoreCase {
                    name: None,
                    colour: colour.to_owned(),
                    terminal: Terminal::Unknown,
                    sleeve: None,
                });
            }
        }
    }
    found
}

fn sound_name(path: &str, name: &str) -> Result<String, CaseError> {
    let name = name.trim();
    if name.is_empty() || name.chars().count() > LONGEST_NAME || name.chars().any(char::is_control) {
        return Err(CaseError::at(path, format!("a name of 1 to {LONGEST_NAME} characters is expected")));
    }
    Ok(name.to_owned())
}

/// A colour by its usual name, and what it says.
fn colour(path: &str, text: &str, facts: &Facts) -> Result<(String, Use), CaseError> {
    let lower = text.trim().to_lowercase();
    let name = match lower.as_str() {
        "green and yellow" | "green-and-yellow" | "green-yellow" | "yellow/green" | "g/y" => "green/yellow",
        "gray" => "grey",
        other => other,
    };
    let table = facts.table("joints.colour");
    let says = table.row_named("colour", name).and_then(|row| row.text("use")).and_then(|text| match text {
        "line" => Some(Use::Line),
        "neutral" => Some(Use::Neutral),
        "phase" => Some(Use::Phase),
        "any" => Some(Use::Any),
        "earth" => Some(Use::Earth),
        _ => None,
    });
    says.map(|says| (name.to_owned(), says)).ok_or_else(|| {
        let known: Vec<&str> = table.rows.iter().filter_map(|row| row.text("colour")).collect();
        CaseError::at(path, format!("`{}` is no colour of a core; known are {}", shown_inert(text), known.join(", ")))
    })
}

fn cores(path: &str, cases: &[CoreCase], facts: &Facts) -> Result<Vec<Core>, CaseError> {
    if cases.len() > 6 {
        return Err(CaseError::at(format!("{path}.cores"), "at most six cores are expected"));
    }
    let mut cores: Vec<Core> = Vec::new();
    for (index, case) in cases.iter().enumerate() {
        let here = format!("{path}.cores[{index}]");
        let (colour_name, by_colour) = colour(&format!("{here}.colour"), &case.colour, facts)?;
        let sleeve = case.sleeve.as_ref().map(|sleeve| colour(&format!("{here}.sleeve"), sleeve, facts)).transpose()?;
        let name = match &case.name {
            Some(name) => sound_name(&format!("{here}.name"), name)?,
            None => case.colour.trim().to_owned(),
        };
        if cores.iter().any(|core| core.name == name) {
            let message = format!("two cores of this cable would be called `{name}`; give each a name of its own");
            return Err(CaseError::at(format!("{here}.name"), message));
        }
        let says = sleeve.as_ref().map_or(by_colour, |(_, says)| *says);
        cores.push(Core {
            name,
            sleeve: sleeve.map(|(name, _)| name),
            says,
            terminal: case.terminal,
            // A sleeve over a live colour may make it a protective conductor; a sleeve never makes a bare wire live.
            earth: by_colour == Use::Earth || says == Use::Earth,
            colour: colour_name,
        });
    }
    Ok(cores)
}

/// The stated switch positions of a reading, by name of the switch, in lower case.
fn stated(case: &ContinuityCase) -> BTreeMap<String, String> {
    let only = case.switch.iter().map(|position| (String::from(ONLY_SWITCH), position.trim().to_lowercase()));
    let named = case.switches.iter().map(|(name, position)| (name.trim().to_owned(), position.trim().to_lowercase()));
    only.chain(named).collect()
}

fn switches(case: &Case) -> Result<Vec<Switch>, CaseError> {
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (index, reading) in case.continuity.iter().enumerate() {
        let path = format!("continuity[{index}].switches");
        if reading.switch.is_some() && !reading.switches.is_empty() {
            return Err(CaseError::at(
                path,
                "`switch` is for a single switch, `switches` for several: give one of them",
            ));
        }
        for (name, position) in stated(reading) {
            sound_name(&path, &name)?;
            sound_name(&path, &position)?;
            let positions = found.entry(name).or_default();
            if !positions.contains(&position) {
                positions.push(position);
            }
            if positions.len() > 2 {
                return Err(CaseError::at(path, format!("a switch has two positions, not {}", positions.join(", "))));
            }
        }
    }
    if found.len() > MOST_SWITCHES {
        return Err(CaseError::at("continuity", format!("more than {MOST_SWITCHES} switches on one light")));
    }
    if found.is_empty() {
        // Two cables of three cores and no reading: a pair of two-way switches has to be thought of.
        let wide = |cable: &&CableCase| cable.cores.len() > 3;
        let names: &[(&str, &str)] = if case.cable.iter().filter(wide).count() > 1 {
            &[("S1", "up"), ("S2", "up")]
        } else {
            &[(ONLY_SWITCH, "on")]
        };
        found.extend(names.iter().map(|(name, position)| ((*name).to_owned(), vec![(*position).to_owned()])));
    }
    Ok(found.into_iter().map(|(name, positions)| Switch { name, positions: in_order(positions) }).collect())
}

/// The two positions of a switch, the one that makes the light on or points up last.
fn in_order(mut positions: Vec<String>) -> [String; 2] {
    const PAIRS: [[&str; 2]; 4] = [["off", "on"], ["down", "up"], ["2", "1"], ["b", "a"]];
    let first = positions.first().cloned().unwrap_or_else(|| String::from("on"));
    if let Some(pair) = PAIRS.iter().find(|pair| pair.contains(&first.as_str()))
        && positions.iter().all(|position| pair.contains(&position.as_str()))
    {
        return pair.map(String::from);
    }
    let second = if positions.len() == 2 { positions.remove(1) } else { format!("not {first}") };
    [second, first]
}

fn shows(path: &str, case: &ContinuityCase, facts: &Facts) -> Result<Shows, CaseError> {
    let here = format!("{path}.ohm");
    let (value, over) = match (&case.ohm, case.open) {
        (None, Some(true)) => return Ok(Shows::Apart),
        (None, _) => return Err(CaseError::at(here, "a resistance is expected, such as 0.4, or `open = true`")),
        (Some(_), Some(true)) => return Err(CaseError::at(here, "a reading is open or has a resistance, not both")),
        (Some(OhmCase::Number(ohm)), _) => (*ohm, false),
        (Some(OhmCase::Text(text)), _) => {
            let found = measured(text, Dimension::Resistance, Some("Ω"))
                .map_err(|error| CaseError::at(&here, error.to_string()))?;
            (found.value, found.over)
        }
    };
    // A meter whose leads were nulled may show a few hundredths below nought.
    if !value.is_finite() || value < -0.1 {
        return Err(CaseError::at(here, "a resistance of 0 Ω or more is expected"));
    }
    Ok(if value >= facts.value("joints.apart_least") {
        Shows::Apart
    } else if over || value > facts.value("joints.closed_most") {
        Shows::Nothing
    } else {
        Shows::Closed
    })
}
