//! Volt drop along a line that is fed at one end or at both.

/// One section of the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Section {
    /// Volts lost per ampere over the whole section (both conductors), Ω.
    pub ohm: f64,
    /// Current taken at its far end, A.
    pub at_end_a: f64,
    /// Current taken evenly along it, A.
    pub spread_a: f64,
}

/// What flows and what is lost.
#[derive(Debug, Clone, PartialEq)]
pub struct Drops {
    /// Current that enters each section at its near end, A; negative where the far feed pushes it back.
    pub entering_a: Vec<f64>,
    /// Volts lost at the far end of each section.
    pub at_ends_v: Vec<f64>,
    /// Volts lost at the worst place, which may lie within a section.
    pub worst_v: f64,
}

/// Currents and drops for constant load currents.
///
/// With `both_ends` the far end of the last section is held at the same voltage as the near end of the first.
#[must_use]
pub fn drops(sections: &[Section], both_ends: bool) -> Drops {
    let total: f64 = sections.iter().map(|section| section.ohm).sum();
    let mut near_feed = 0.0;
    let mut before = 0.0;
    for section in sections {
        // Seen from the near feed, a load's current splits in inverse proportion to the way to each feed.
        let share = |way: f64| if both_ends && total > 0.0 { (total - way) / total } else { 1.0 };
        near_feed += section.spread_a * share(before + section.ohm / 2.0);
        before += section.ohm;
        near_feed += section.at_end_a * share(before);
    }
    let (mut current, mut lost, mut worst) = (near_feed, 0.0, 0.0_f64);
    let (mut entering_a, mut at_ends_v) = (Vec::new(), Vec::new());
    for section in sections {
        entering_a.push(current);
        if current > 0.0 && current < section.spread_a {
            // The current runs out within the section: the voltage is lowest there.
            worst = worst.max(lost + section.ohm * current.powi(2) / (2.0 * section.spread_a));
        }
        lost += section.ohm * (current - section.spread_a / 2.0);
        at_ends_v.push(lost);
        worst = worst.max(lost);
        current -= section.spread_a + section.at_end_a;
    }
    Drops { entering_a, at_ends_v, worst_v: worst }
}
