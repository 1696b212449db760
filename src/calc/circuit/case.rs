//! A circuit as it is described: supply, device, and the runs from the board outward.

use serde::{Deserialize, Deserializer};

use crate::case::CaseError;
use crate::quantity::{
    Area, Current, Dimension, Duration, Length, Power, Resistance, Temperature, parse, plain, shown_inert,
};

/// A circuit to be judged.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// Edition and amendments to judge against; the first of the table `circuit.edition` if absent.
    #[serde(default)]
    pub edition: Option<String>,
    /// What feeds the circuit.
    pub supply: Supply,
    /// The overcurrent device at the board; needed for a mains circuit.
    #[serde(default)]
    pub device: Option<Device>,
    /// The runs of cable, from the board outward, in order.
    #[serde(default)]
    pub run: Vec<Run>,
    /// The caller's own fault for the protective conductor.
    #[serde(default)]
    pub fault: Option<Fault>,
    /// The drivers that start together.
    #[serde(default)]
    pub driver: Option<Driver>,
    /// The dimmer in front of the lights.
    #[serde(default)]
    pub dimmer: Option<Dimmer>,
}

impl Case {
    /// A circuit by what feeds it and how it runs, with no wishes beyond.
    #[must_use]
    pub fn plain(supply: Supply, device: Option<Device>, run: Vec<Run>) -> Self {
        Self { edition: None, supply, device, run, fault: None, driver: None, dimmer: None }
    }
}

/// What feeds a circuit.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Supply {
    /// Mains, or the output of an extra-low voltage driver.
    #[serde(default)]
    pub kind: SupplyKind,
    /// Nominal volts: line to earth, or of the driver's output. 230 for mains if absent.
    #[serde(default, deserialize_with = "volts")]
    pub volts: Option<f64>,
    /// Earthing system of the supply.
    #[serde(default)]
    pub earthing: Option<Earthing>,
    /// Loop impedance outside the circuit (on TT with the electrode); the declared maximum if absent.
    #[serde(default)]
    pub ze: Option<Resistance>,
    /// Extra-low voltage: fed at the near end only, or at both ends.
    #[serde(default)]
    pub fed_from: FedFrom,
    /// Extra-low voltage: what the driver can give.
    #[serde(default)]
    pub rating: Option<Power>,
    /// Standing earth leakage of the other circuits on the same residual current device.
    #[serde(default)]
    pub other_leakage: Option<Current>,
}

/// Kinds of supply.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
pub enum SupplyKind {
    /// Low voltage, single phase.
    #[default]
    #[serde(rename = "mains")]
    Mains,
    /// Direct current at extra-low voltage.
    #[serde(rename = "elv dc")]
    ElvDc,
}

/// Where an extra-low voltage line is fed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
pub enum FedFrom {
    /// At its near end.
    #[default]
    #[serde(rename = "one end")]
    OneEnd,
    /// At both ends, at the same voltage.
    #[serde(rename = "both ends")]
    BothEnds,
}

/// Earthing systems.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Earthing {
    /// Protective conductor and neutral combined in the supply.
    #[serde(rename = "TN-C-S")]
    TnCS,
    /// Separate protective conductor in the supply.
    #[serde(rename = "TN-S")]
    TnS,
    /// The installation's own earth electrode.
    #[serde(rename = "TT")]
    Tt,
}

impl Earthing {
    /// As written in cases and tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::TnCS => "TN-C-S",
            Self::TnS => "TN-S",
            Self::Tt => "TT",
        }
    }
}

/// The overcurrent device of a circuit, with its residual current part or the one in front of it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Device {
    /// What kind of device it is.
    pub kind: DeviceKind,
    /// Curve or type of a breaker.
    #[serde(default, alias = "type")]
    pub curve: Option<Curve>,
    /// Product standard, where the kind leaves it open.
    #[serde(default)]
    pub standard: Option<Standard>,
    /// Poles that it opens: 2 where it switches the neutral too; 1 if absent.
    #[serde(default)]
    pub poles: Option<u32>,
    /// Rated current.
    pub rating: Current,
    /// Rated residual current of the residual current device, if there is one.
    #[serde(default)]
    pub rcd: Option<Current>,
    /// Its type by the shape of the residual current.
    #[serde(default)]
    pub rcd_type: Option<RcdType>,
    /// General, delayed, or to an old standard; general if absent.
    #[serde(default)]
    pub rcd_delay: RcdDelay,
}

/// Kinds of overcurrent device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum DeviceKind {
    /// Circuit breaker to BS EN 60898.
    #[serde(rename = "circuit breaker")]
    CircuitBreaker,
    /// Circuit breaker and residual current device in one.
    #[serde(rename = "RCBO")]
    Rcbo,
    /// Fuse with a wire that can be renewed, BS 3036.
    #[serde(rename = "rewireable fuse")]
    RewireableFuse,
    /// Cartridge fuse.
    #[serde(rename = "cartridge fuse")]
    CartridgeFuse,
    /// Circuit breaker to BS 3871.
    #[serde(rename = "old circuit breaker", alias = "old circuit breaker (BS 3871)")]
    OldCircuitBreaker,
    /// Breaker that plugs in where a fuse carrier was.
    #[serde(rename = "plug-in breaker")]
    PlugInBreaker,
}

impl DeviceKind {
    /// Whether it is a fuse.
    #[must_use]
    pub fn is_fuse(self) -> bool {
        matches!(self, Self::RewireableFuse | Self::CartridgeFuse)
    }
}

/// Curves of BS EN 60898 and types of BS 3871.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "Word")]
pub enum Curve {
    /// 3 to 5 times the rating.
    B,
    /// 5 to 10 times the rating.
    C,
    /// 10 to 20 times the rating.
    D,
    /// BS 3871 type 1.
    Type1,
    /// BS 3871 type 2.
    Type2,
    /// BS 3871 type 3.
    Type3,
}

impl TryFrom<Word> for Curve {
    type Error = String;

    fn try_from(word: Word) -> Result<Self, String> {
        let text = word.text();
        let name = text.strip_prefix("type ").unwrap_or(&text);
        let all = [Self::B, Self::C, Self::D, Self::Type1, Self::Type2, Self::Type3];
        let expected = "is no curve; expected B, C or D, or type 1, 2 or 3 of a BS 3871 breaker";
        all.into_iter().find(|curve| curve.name() == name).ok_or_else(|| format!("`{}` {expected}", shown_inert(&text)))
    }
}

impl Curve {
    /// As written in the tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::B => "B",
            Self::C => "C",
            Self::D => "D",
            Self::Type1 => "1",
            Self::Type2 => "2",
            Self::Type3 => "3",
        }
    }
}

/// Product standards of overcurrent devices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Standard {
    /// Circuit breakers.
    #[serde(rename = "BS EN 60898", alias = "BS EN 60898-1")]
    En60898,
    /// Circuit breakers with a residual current device.
    #[serde(rename = "BS EN 61009", alias = "BS EN 61009-1")]
    En61009,
    /// Old circuit breakers.
    #[serde(rename = "BS 3871")]
    Bs3871,
    /// Rewireable fuses.
    #[serde(rename = "BS 3036")]
    Bs3036,
    /// Old cartridge fuses.
    #[serde(rename = "BS 1361")]
    Bs1361,
    /// Cartridge fuses for households.
    #[serde(rename = "BS 88-3")]
    Bs88Part3,
    /// Cartridge fuses for use by authorised persons.
    #[serde(rename = "BS 88-2")]
    Bs88Part2,
    /// Fuses of plugs and connection units.
    #[serde(rename = "BS 1362")]
    Bs1362,
}

impl Standard {
    /// As written in the tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::En60898 => "BS EN 60898",
            Self::En61009 => "BS EN 61009",
            Self::Bs3871 => "BS 3871",
            Self::Bs3036 => "BS 3036",
            Self::Bs1361 => "BS 1361",
            Self::Bs88Part3 => "BS 88-3",
            Self::Bs88Part2 => "BS 88-2",
            Self::Bs1362 => "BS 1362",
        }
    }
}

/// Types of residual current device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum RcdType {
    /// Alternating residual current only.
    #[serde(rename = "AC")]
    Ac,
    /// Pulsating too.
    A,
    /// Mixed frequencies too.
    F,
    /// Smooth direct current too.
    B,
}

/// How fast a residual current device must be.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
pub enum RcdDelay {
    /// No intended delay.
    #[default]
    #[serde(rename = "general")]
    General,
    /// Selective.
    #[serde(rename = "delayed")]
    Delayed,
    /// To BS 4293.
    #[serde(rename = "old")]
    Old,
}

impl RcdDelay {
    /// As written in the tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::General => "general",
            Self::Delayed => "delayed",
            Self::Old => "old",
        }
    }
}

/// One length of cable, and what hangs on its far end.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Run {
    /// Its name, unique in the case.
    #[serde(default)]
    pub name: String,
    /// Flat cable, line over protective conductor; needed for a mains circuit.
    #[serde(default)]
    pub cable: Option<Cable>,
    /// Extra-low voltage: cross-section of each flexible conductor.
    #[serde(default)]
    pub conductor: Option<Area>,
    /// Length of the cable, one way.
    pub length: Length,
    /// Reference method of installation; the worst of the table if absent.
    #[serde(default)]
    pub method: Option<Method>,
    /// Ambient temperature; 30 °C if absent.
    #[serde(default)]
    pub ambient: Option<Temperature>,
    /// Circuits bunched together, this one included; 1 if absent.
    #[serde(default)]
    pub grouped: Option<u32>,
    /// Longest stretch surrounded by thermal insulation.
    #[serde(default)]
    pub in_insulation: Option<Length>,
    /// Volt drop in millivolts per ampere and metre from the cable's own sheet, in place of the table.
    #[serde(default)]
    pub millivolts: Option<f64>,
    /// What is fed at the far end.
    #[serde(default)]
    pub load: Vec<Load>,
}

/// Reference methods of the flat cable table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "Word")]
pub enum Method {
    /// In conduit in an insulating wall.
    A,
    /// Clipped direct.
    C,
    /// On a ceiling, under up to 100 mm of insulation.
    OnCeiling,
    /// On a ceiling, under more than 100 mm of insulation.
    UnderInsulation,
    /// In an insulated stud wall, touching the inner surface.
    StudWallTouching,
    /// In an insulated stud wall, not touching.
    StudWall,
}

impl TryFrom<Word> for Method {
    type Error = String;

    fn try_from(word: Word) -> Result<Self, String> {
        let text = word.text();
        let all = [Self::A, Self::C, Self::OnCeiling, Self::UnderInsulation, Self::StudWallTouching, Self::StudWall];
        let expected =
            "is no method of flat twin and earth; expected \"100\", \"101\", \"102\", \"103\", \"A\" or \"C\"";
        all.into_iter()
            .find(|method| method.name() == text)
            .ok_or_else(|| format!("`{}` {expected}", shown_inert(&text)))
    }
}

impl Method {
    /// As written in the tables.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::C => "C",
            Self::OnCeiling => "100",
            Self::UnderInsulation => "101",
            Self::StudWallTouching => "102",
            Self::StudWall => "103",
        }
    }
}

/// Something that takes current.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Load {
    /// Its name.
    #[serde(default)]
    pub name: String,
    /// Input power of each; a driver's input, no lamp equivalent.
    #[serde(default)]
    pub power: Option<Power>,
    /// Input current of each, in place of its power.
    #[serde(default)]
    pub current: Option<Current>,
    /// True power factor; a safe value by power if absent.
    #[serde(default)]
    pub power_factor: Option<f64>,
    /// How many of them; 1 if absent.
    #[serde(default)]
    pub count: Option<u32>,
    /// Spread evenly along the run instead of sitting at its far end.
    #[serde(default)]
    pub spread: bool,
    /// Protective conductor current of each.
    #[serde(default)]
    pub leakage: Option<Current>,
}

/// The caller's own fault; what is absent is computed.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// Fault current.
    #[serde(default)]
    pub current: Option<Current>,
    /// Disconnection time.
    #[serde(default)]
    pub time: Option<Duration>,
    /// Factor of the conductor's material, insulation and place, A·√s/mm².
    #[serde(default)]
    pub k: Option<f64>,
    /// Energy that the device lets through by its maker's data, A²s.
    #[serde(default)]
    pub let_through: Option<f64>,
}

/// Drivers that start together on one device.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Driver {
    /// Input power of each.
    pub power: Power,
    /// True power factor; a safe value by power if absent.
    #[serde(default)]
    pub power_factor: Option<f64>,
    /// How many start together; the number of loads if absent.
    #[serde(default)]
    pub count: Option<u32>,
    /// Peak of the inrush current of each.
    #[serde(default)]
    pub inrush: Option<Current>,
    /// Width of the inrush pulse at half its peak.
    #[serde(default)]
    pub pulse: Option<Duration>,
    /// What the breaker withstands in a pulse of that width, as a multiple of its rating, by its maker's curve.
    #[serde(default)]
    pub short_time_multiple: Option<f64>,
    /// Energy that the breaker withstands without opening, by its maker's data, A²s.
    #[serde(default)]
    pub no_trip_energy: Option<f64>,
    /// Greatest number by the driver's maker …
    #[serde(default)]
    pub maker_count: Option<u32>,
    /// … on a breaker of this rating; the case's own if absent …
    #[serde(default)]
    pub maker_rating: Option<Current>,
    /// … and this curve; the case's own if absent.
    #[serde(default)]
    pub maker_curve: Option<Curve>,
}

/// A dimmer.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Dimmer {
    /// Rating for filament lamps.
    #[serde(default)]
    pub rating: Option<Power>,
    /// Rating for LED loads by its maker.
    #[serde(default)]
    pub led_rating: Option<Power>,
    /// Least load by its maker.
    #[serde(default)]
    pub least: Option<Power>,
    /// Dimmers in one box, this one included; 1 if absent.
    #[serde(default)]
    pub in_box: Option<u32>,
    /// Ambient temperature; 35 °C or less if absent.
    #[serde(default)]
    pub ambient: Option<Temperature>,
    /// Load on it; all loads of the circuit if absent.
    #[serde(default)]
    pub load: Option<Power>,
}

/// A conductor by its size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Conductor {
    /// Cross-section in mm².
    Metric(f64),
    /// Strands, and the diameter of each in inches.
    Imperial(u32, f64),
}

/// A flat cable: line (and neutral) over protective conductor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cable {
    /// Line and neutral.
    pub line: Conductor,
    /// Protective conductor; some old cables have none.
    pub cpc: Option<Conductor>,
}

impl Cable {
    /// Reads `1.5/1.0`, `1.5` (no protective conductor), `3/.029` or `3/.029 + 1/.044`.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let text = text.trim();
        let text = text.strip_suffix("mm2").or_else(|| text.strip_suffix("mm²")).unwrap_or(text).trim_end();
        if let Some((line, cpc)) = text.split_once('+') {
            return Some(Self { line: conductor(line)?, cpc: Some(conductor(cpc)?) });
        }
        if let Some(line) = conductor(text) {
            return Some(Self { line, cpc: None });
        }
        let (line, cpc) = text.split_once('/')?;
        Some(Self { line: metric(line)?, cpc: Some(metric(cpc)?) })
    }
}

fn conductor(text: &str) -> Option<Conductor> {
    match text.trim().split_once('/') {
        None => metric(text),
        // A diameter is a fraction of an inch; as a cross-section it would be no cable at all.
        Some((strands, inch)) => {
            let diameter: f64 = inch.trim().parse().ok()?;
            (diameter < 0.25).then_some(Conductor::Imperial(strands.trim().parse().ok()?, diameter))
        }
    }
}

fn metric(text: &str) -> Option<Conductor> {
    text.trim().parse().ok().filter(|area: &f64| area.is_finite()).map(Conductor::Metric)
}

impl<'de> Deserialize<'de> for Cable {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::read(&text).ok_or_else(|| {
            let text = shown_inert(&text);
            serde::de::Error::custom(format!(
                "`{text}` is no cable; give line over protective conductor in mm2, such as \"1.5/1.0\""
            ))
        })
    }
}

/// A name that may look like a number: `"100"` and `100` are one method.
#[derive(Deserialize)]
#[serde(untagged, expecting = "a word, such as \"B\" or \"100\"")]
enum Word {
    Text(String),
    Number(u32),
}

impl Word {
    fn text(self) -> String {
        match self {
            Self::Text(text) => text.trim().to_owned(),
            Self::Number(number) => number.to_string(),
        }
    }
}

/// Volts as a bare number or with their unit.
fn volts<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged, expecting = "a number of volts, or a value with its unit, such as \"230 V\"")]
    enum Either {
        Number(f64),
        Text(String),
    }
    match Either::deserialize(deserializer)? {
        Either::Number(volts) => Ok(Some(volts)),
        Either::Text(text) => parse(&text, Dimension::Voltage, Some("V")).map(Some).map_err(serde::de::Error::custom),
    }
}

/// Refuses a number outside its bounds; what is no number at all is outside any.
///
/// # Errors
/// [`CaseError`] at `path` with the value and the bounds.
pub fn bounded(path: &str, value: f64, least: f64, most: f64, unit: &str) -> Result<(), CaseError> {
    if value >= least && value <= most {
        return Ok(());
    }
    let (value, least, most) = (plain(value, 4), plain(least, 4), plain(most, 4));
    let gap = if unit.is_empty() { "" } else { " " };
    Err(CaseError::at(path, format!("{value}{gap}{unit} is not within {least} to {most}{gap}{unit}")))
}

/// Most runs in a circuit, and most loads on a run.
const MOST_ITEMS: usize = 200;

impl Case {
    /// Refuses what no circuit can be.
    ///
    /// # Errors
    /// [`CaseError`] with the path of the first key that is out of its bounds.
    pub fn check(&self) -> Result<(), CaseError> {
        self.supply.check()?;
        if let Some(device) = &self.device {
            device.check()?;
        }
        if self.run.is_empty() || self.run.len() > MOST_ITEMS {
            let message = format!("{} runs; 1 to {MOST_ITEMS} are expected", self.run.len());
            return Err(CaseError::at("run", message));
        }
        for (index, run) in self.run.iter().enumerate() {
            run.check(&format!("run[{index}]"))?;
            if !run.name.is_empty() && self.run[..index].iter().any(|other| other.name == run.name) {
                return Err(CaseError::at(format!("run[{index}].name"), "another run has this name"));
            }
        }
        if let Some(fault) = &self.fault {
            fault.check()?;
        }
        if let Some(driver) = &self.driver {
            driver.check()?;
        }
        self.dimmer.as_ref().map_or(Ok(()), Dimmer::check)
    }
}

impl Supply {
    fn check(&self) -> Result<(), CaseError> {
        let most = if self.kind == SupplyKind::Mains { 400.0 } else { 120.0 };
        if let Some(volts) = self.volts {
            bounded("supply.volts", volts, 1.0, most, "V")?;
        }
        if let Some(ze) = self.ze {
            bounded("supply.ze", ze.0, 0.0, 20_000.0, "Ω")?;
        }
        if let Some(rating) = self.rating {
            bounded("supply.rating", rating.0, 0.1, 100_000.0, "W")?;
        }
        self.other_leakage.map_or(Ok(()), |leakage| bounded("supply.other_leakage", leakage.0, 0.0, 10.0, "A"))
    }
}

impl Device {
    fn check(&self) -> Result<(), CaseError> {
        bounded("device.rating", self.rating.0, 0.5, 125.0, "A")?;
        if let Some(poles) = self.poles {
            bounded("device.poles", f64::from(poles), 1.0, 4.0, "")?;
        }
        if let Some(rcd) = self.rcd {
            bounded("device.rcd", rcd.0, 0.005, 5.0, "A")?;
        }
        if self.curve.is_some() && self.kind.is_fuse() {
            return Err(CaseError::at("device.curve", "a fuse has no curve; leave it out, or correct `device.kind`"));
        }
        Ok(())
    }
}

impl Run {
    fn check(&self, path: &str) -> Result<(), CaseError> {
        bounded(&format!("{path}.length"), self.length.0, 0.001, 1000.0, "m")?;
        if let Some(area) = self.conductor {
            bounded(&format!("{path}.conductor"), area.0, 0.1, 50.0, "mm²")?;
        }
        if let Some(ambient) = self.ambient {
            bounded(&format!("{path}.ambient"), ambient.0, -20.0, 65.0, "°C")?;
        }
        if let Some(grouped) = self.grouped {
            bounded(&format!("{path}.grouped"), f64::from(grouped), 1.0, 20.0, "circuits")?;
        }
        if let Some(length) = self.in_insulation {
            bounded(&format!("{path}.in_insulation"), length.0, 0.0, 1000.0, "m")?;
        }
        if let Some(millivolts) = self.millivolts {
            bounded(&format!("{path}.millivolts"), millivolts, 0.1, 2000.0, "mV/A/m")?;
        }
        if self.load.len() > MOST_ITEMS {
            return Err(CaseError::at(format!("{path}.load"), format!("more than {MOST_ITEMS} loads")));
        }
        self.load.iter().enumerate().try_for_each(|(index, load)| load.check(&format!("{path}.load[{index}]")))
    }
}

impl Load {
    fn check(&self, path: &str) -> Result<(), CaseError> {
        match (self.power, self.current) {
            (Some(power), None) => bounded(&format!("{path}.power"), power.0, 0.0, 50_000.0, "W")?,
            (None, Some(current)) => bounded(&format!("{path}.current"), current.0, 0.0, 200.0, "A")?,
            _ => return Err(CaseError::at(path, "give either its `power` or its `current`")),
        }
        if let Some(factor) = self.power_factor {
            bounded(&format!("{path}.power_factor"), factor, 0.05, 1.0, "")?;
        }
        if let Some(count) = self.count {
            bounded(&format!("{path}.count"), f64::from(count), 1.0, 1000.0, "")?;
        }
        self.leakage.map_or(Ok(()), |leakage| bounded(&format!("{path}.leakage"), leakage.0, 0.0, 10.0, "A"))
    }
}

impl Fault {
    fn check(&self) -> Result<(), CaseError> {
        if let Some(current) = self.current {
            bounded("fault.current", current.0, 0.0, 100_000.0, "A")?;
        }
        if let Some(time) = self.time {
            bounded("fault.time", time.0, 0.0001, 5.0, "s")?;
        }
        if let Some(k) = self.k {
            bounded("fault.k", k, 10.0, 300.0, "")?;
        }
        self.let_through.map_or(Ok(()), |energy| bounded("fault.let_through", energy, 0.0, 1e9, "A²s"))
    }
}

impl Driver {
    fn check(&self) -> Result<(), CaseError> {
        bounded("driver.power", self.power.0, 0.1, 5000.0, "W")?;
        if let Some(factor) = self.power_factor {
            bounded("driver.power_factor", factor, 0.05, 1.0, "")?;
        }
        if let Some(inrush) = self.inrush {
            bounded("driver.inrush", inrush.0, 0.001, 10_000.0, "A")?;
        }
        if let Some(pulse) = self.pulse {
            bounded("driver.pulse", pulse.0, 1e-6, 0.1, "s")?;
        }
        if let Some(multiple) = self.short_time_multiple {
            bounded("driver.short_time_multiple", multiple, 1.0, 1000.0, "")?;
        }
        if let Some(energy) = self.no_trip_energy {
            bounded("driver.no_trip_energy", energy, 0.0, 1e9, "A²s")?;
        }
        for (path, count) in [("driver.count", self.count), ("driver.maker_count", self.maker_count)] {
            if let Some(count) = count {
                bounded(path, f64::from(count), 1.0, 100_000.0, "")?;
            }
        }
        self.maker_rating.map_or(Ok(()), |rating| bounded("driver.maker_rating", rating.0, 0.5, 125.0, "A"))
    }
}

impl Dimmer {
    fn check(&self) -> Result<(), CaseError> {
        let powers = [
            ("dimmer.rating", self.rating),
            ("dimmer.led_rating", self.led_rating),
            ("dimmer.least", self.least),
            ("dimmer.load", self.load),
        ];
        for (path, power) in powers {
            if let Some(power) = power {
                bounded(path, power.0, 0.0, 20_000.0, "W")?;
            }
        }
        if self.rating.is_none() && self.led_rating.is_none() {
            return Err(CaseError::at("dimmer", "give its `led_rating_w`, or at least its `rating_w`"));
        }
        if let Some(count) = self.in_box {
            bounded("dimmer.in_box", f64::from(count), 1.0, 10.0, "")?;
        }
        self.ambient.map_or(Ok(()), |ambient| bounded("dimmer.ambient", ambient.0, -20.0, 85.0, "°C"))
    }
}
