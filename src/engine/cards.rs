//! Emergency cards: what to do when it has happened, in eight lines or fewer.
//!
//! First-aid points are from memory and want checking against the current first-aid poster of the Health and Safety
//! Executive (United Kingdom).

/// A card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EmergencyCard {
    /// Its name, as scripts and people call it.
    pub name: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// Its lines, in the order of doing.
    pub lines: &'static [&'static str],
}

/// All cards.
pub const CARDS: &[EmergencyCard] = &[
    EmergencyCard {
        name: "shock",
        title: "Electric shock",
        lines: &[
            "Do not touch the person.",
            "Main switch off.",
            "Out of reach: push the source away with something dry that does not conduct, standing on something dry.",
            "Call 999.",
            "Not breathing: start CPR and follow the call handler.",
            "Everyone who had a shock is seen by a doctor, also if they feel well.",
            "Leave the work as it is.",
        ],
    },
    EmergencyCard {
        name: "fire",
        title: "Fire, smoke or a hot smell",
        lines: &[
            "Main switch off.",
            "Everyone out, door shut behind you.",
            "Call 999.",
            "No water on anything electrical.",
            "Only a smell: off and locked. Feel from outside with the back of the hand. Do not open it.",
        ],
    },
    EmergencyCard {
        name: "water",
        title: "Water at a light",
        lines: &[
            "Do not touch its switch.",
            "Off at the board, with dry hands, on a dry floor.",
            "Close the stop-cock.",
            "Bucket under it. Pierce a bulge only with the power off.",
            "Dry out, then test the insulation before it goes on again.",
        ],
    },
    EmergencyCard {
        name: "cable",
        title: "Cable cut or drilled",
        lines: &[
            "Leave the tool in. Do not pull it out.",
            "Main switch off.",
            "Prove dead at the cut before you touch it.",
            "Mark the place.",
            "A registered electrician mends it, or you do, behind the same gate.",
        ],
    },
    EmergencyCard {
        name: "pipe",
        title: "Pipe pierced",
        lines: &[
            "Water: close the stop-cock, then as for water at a light.",
            "Gas: touch no switch, no flame, no phone in the room.",
            "Gas: close the valve at the meter, open windows, everyone out.",
            "Gas: call the emergency number on the meter from outside.",
        ],
    },
    EmergencyCard {
        name: "dust",
        title: "Dust from something unexpected",
        lines: &[
            "Stop. Heating and fans off.",
            "Everybody out of the room, door shut.",
            "Do not sweep, do not vacuum.",
            "Wipe yourself damp and bag the clothes.",
            "Laboratory result before anybody goes back.",
        ],
    },
    EmergencyCard {
        name: "fall",
        title: "Fall, or caught by the saw",
        lines: &[
            "Tool off.",
            "Do not get up at once.",
            "Call for help; 999 for head, back, or bleeding that does not stop.",
            "No more work at height today.",
        ],
    },
    EmergencyCard {
        name: "neutral",
        title: "Voltage on a parted neutral",
        lines: &[
            "Hands off. Treat every end as live.",
            "Main switch off and locked.",
            "The neutral is lent to another circuit: lock off every circuit that lights it up.",
            "Ends stay in closed connectors inside an enclosure.",
            "Cannot tell which circuit: the main switch stays locked.",
            "A registered electrician separates the circuits.",
        ],
    },
    EmergencyCard {
        name: "voltage",
        title: "The detector shows voltage",
        lines: &[
            "Hands out. Touch nothing.",
            "Cover on, if it can be done without touching a conductor.",
            "Main switch off.",
            "The wrong device is open, or something else feeds this point.",
            "Go back to the board and identify again, or call a registered electrician.",
        ],
    },
];

/// A card by its name.
#[must_use]
pub fn named(name: &str) -> Option<&'static EmergencyCard> {
    CARDS.iter().find(|card| card.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_card_is_read_in_one_look() {
        for card in CARDS {
            assert!((1..=8).contains(&card.lines.len()), "{}", card.name);
            assert!(card.lines.iter().all(|line| line.split(' ').count() <= 20), "{}", card.name);
        }
    }
}
