//! What may happen on a job, and how far it lowers the gate. One table; what is not in it caps at UNKNOWN.

use serde::{Deserialize, Serialize};

use super::Level;

/// Something that happened and bears on safety, in the words of the side words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Happening {
    /// Leaving the work, the key in the pocket.
    Leaving,
    /// Leaving the work without the key.
    LeavingWithoutKey,
    /// A lock, notice or blank is gone or was moved.
    LockGone,
    /// Somebody came who hasn't been told.
    SomeoneCame,
    /// Somebody else holds a key.
    KeyHeldByOther,
    /// A second person works here.
    SecondWorker,
    /// The mains failed.
    PowerCut,
    /// The detector was dropped.
    DetectorDropped,
    /// The detector's battery is weak.
    DetectorWeak,
    /// Another detector is used.
    DetectorChanged,
    /// A cable or a colour that nobody expected.
    UnexpectedCable,
    /// The circuit was joined to a cable whose far end nobody knows.
    JoinedToUnknown,
    /// An end of the unconnected cable is out of sight.
    EndOutOfSight,
    /// Another layer shows in the ceiling.
    UnexpectedLayer,
    /// A tingle or a shock.
    Tingle,
    /// An arc or a spark.
    Arc,
    /// A voltage where there should be none.
    Voltage,
    /// An entry was wrong.
    WrongEntry,
}

/// How far a happening lowers the gate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lowering {
    /// No level stays above this; every proof is cleared.
    Cap(Level),
    /// The lock is in doubt until somebody has seen it.
    Doubt,
    /// UNKNOWN, and the work is stopped until it is released by name.
    Alarm,
}

struct Row {
    happening: Happening,
    words: &'static str,
    lowering: Lowering,
    why: &'static str,
}

const fn row(happening: Happening, words: &'static str, lowering: Lowering, why: &'static str) -> Row {
    Row { happening, words, lowering, why }
}

const UNKNOWN: Lowering = Lowering::Cap(Level::Unknown);
const IDENTIFIED: Lowering = Lowering::Cap(Level::Identified);
const SECURED: Lowering = Lowering::Cap(Level::Secured);

#[rustfmt::skip]
const TABLE: [Row; 18] = [
    row(Happening::Leaving, "leaving", Lowering::Doubt, "Nobody watches the lock while you are away."),
    row(Happening::LeavingWithoutKey, "leaving without the key", UNKNOWN, "Whoever has the key can close the device."),
    row(Happening::LockGone, "lock or notice gone", UNKNOWN, "The circuit may be live at any moment."),
    row(Happening::SomeoneCame, "someone came", SECURED, "Somebody who hasn't been told may try to get the light back."),
    row(Happening::KeyHeldByOther, "somebody holds a key", UNKNOWN, "Whoever has a key can close the device."),
    row(Happening::SecondWorker, "second worker", SECURED, "Each person at work needs a lock of their own and sees the proof."),
    row(Happening::PowerCut, "power cut", SECURED, "With the mains gone, no voltage says nothing about your lock."),
    row(Happening::DetectorDropped, "detector dropped", SECURED, "A damaged detector shows nothing, live or dead."),
    row(Happening::DetectorWeak, "detector weak", SECURED, "A weak detector shows nothing, live or dead."),
    row(Happening::DetectorChanged, "detector changed", SECURED, "A proof belongs to one detector."),
    row(Happening::UnexpectedCable, "unexpected cable", UNKNOWN, "What was identified may not be all that feeds this point."),
    row(Happening::JoinedToUnknown, "joined to a cable with an unknown end", IDENTIFIED, "What is locked off may not be all that feeds this point now."),
    row(Happening::EndOutOfSight, "end out of sight", SECURED, "Somebody may join the end that you can't see."),
    row(Happening::UnexpectedLayer, "unexpected layer", SECURED, "The layer that was cleared is not the layer that you found."),
    row(Happening::Tingle, "tingle", Lowering::Alarm, "What you feel is live, whatever was read before."),
    row(Happening::Arc, "arc", Lowering::Alarm, "Only a live conductor arcs."),
    row(Happening::Voltage, "voltage", Lowering::Alarm, "The point is live, or something feeds it that nobody found."),
    row(Happening::WrongEntry, "wrong entry", UNKNOWN, "What was built on that entry can't be trusted."),
];

impl Happening {
    /// All happenings, in the order in which they are offered.
    pub fn all() -> impl Iterator<Item = Self> {
        TABLE.iter().map(|row| row.happening)
    }

    /// What it is called.
    #[must_use]
    pub fn words(self) -> &'static str {
        self.row().words
    }

    /// The happening that these words name.
    #[must_use]
    pub fn from_words(words: &str) -> Option<Self> {
        TABLE.iter().find(|row| row.words == words).map(|row| row.happening)
    }

    /// How far it lowers the gate.
    #[must_use]
    pub fn lowering(self) -> Lowering {
        self.row().lowering
    }

    /// Why.
    #[must_use]
    pub fn why(self) -> &'static str {
        self.row().why
    }

    fn row(self) -> &'static Row {
        &TABLE[self as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_row_stands_at_the_place_of_its_happening() {
        for (at, row) in TABLE.iter().enumerate() {
            assert_eq!(row.happening as usize, at, "{}", row.words);
            assert_eq!(Happening::from_words(row.words), Some(row.happening));
        }
    }
}
