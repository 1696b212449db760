//! The verdict on a reading, and what to do next.

use super::{Measured, Part, Quantity, Reading, Side, Study, Verdict, in_words, instrument_error, temperature_factor};
use crate::case::CaseError;
use crate::quantity::shown_inert;

/// The verdict on polarity.
pub(super) fn polarity(text: &str) -> Result<(Verdict, String), CaseError> {
    match text.trim() {
        "correct" => Ok((Verdict::Pass, String::from("Go on."))),
        "reversed" => {
            let next = "Stop: line and neutral are swapped, or the switch is in the neutral. Find where, put it right, \
                        and measure continuity and insulation again.";
            Ok((Verdict::Fail, String::from(next)))
        }
        other => {
            let message = format!("`{}` is neither `correct` nor `reversed`", shown_inert(other));
            Err(CaseError::at("measured", message))
        }
    }
}

impl Reading<'_> {
    /// The verdict on a reading in the range's unit.
    ///
    /// # Errors
    /// As for the range, which rests on the same circuit.
    pub(super) fn judge(&self, found: Measured) -> Result<(Verdict, String), CaseError> {
        let judged = match self.case.quantity {
            Quantity::Insulation => self.insulation(found),
            Quantity::RcdTime => self.rcd_time(found),
            _ if found.over => {
                let next = "Open: a core is off, or the leads touch the wrong ones. Halve the way and measure there.";
                (Verdict::Fail, String::from(next))
            }
            Quantity::Zs => self.loop_impedance(found.value, &Study::new(&self.circuit, self.facts)?),
            _ => self.resistance(found.value),
        };
        if judged.0 == Verdict::Pass && !found.over && self.may_miss_the_limit(found.value)? {
            let next =
                "Within the instrument's error of its limit. Measure with a better one, or find what can be bettered.";
            return Ok((Verdict::LookAgain, String::from(next)));
        }
        Ok(judged)
    }

    /// Whether the instrument, where the case describes it, could hide that the limit is missed.
    fn may_miss_the_limit(&self, value: f64) -> Result<bool, CaseError> {
        let (Some(limit), Some(_)) = (self.range.limit, &self.case.instrument) else { return Ok(false) };
        let error = instrument_error(self.case, value, self.facts)?;
        Ok(match self.range.side {
            Side::Most => value + error > limit + 1e-9,
            Side::Least => value - error < limit - 1e-9,
        })
    }

    fn resistance(&self, value: f64) -> (Verdict, String) {
        if let Some(limit) = self.range.limit.filter(|limit| value > limit + 1e-9) {
            let next = format!(
                "Over {}: a fault at this point would not open the device in time. Look for a loose joint first, then \
                 at length, cable and device.",
                in_words(limit, "Ω")
            );
            return (Verdict::Fail, next);
        }
        self.against_expected(value)
    }

    /// The verdict on a reading whose limit is kept, by what was expected.
    fn against_expected(&self, value: f64) -> (Verdict, String) {
        let unit = self.range.unit;
        if let Some(low) = self.range.low.filter(|low| value < low - 1e-9) {
            let next = format!(
                "Under {}: a nearer point, a shorter cable, or a second way round. Null the leads, check both ends, \
                 and measure again.",
                in_words(low, unit)
            );
            return (Verdict::LookAgain, next);
        }
        if let Some(high) = self.range.high.filter(|high| value > high + 1e-9) {
            let next = format!(
                "Over {}: a longer cable, a dirty contact, or a loose joint. Measure back along the chain; the joint \
                 is where the reading jumps.",
                in_words(high, unit)
            );
            return (Verdict::LookAgain, next);
        }
        (Verdict::Pass, String::from("Go on."))
    }

    fn loop_impedance(&self, value: f64, study: &Study<'_>) -> (Verdict, String) {
        let Some(screen) = self.range.limit else {
            let next = "No table tells what opens this device in time; ask its maker.";
            return (Verdict::LookAgain, String::from(next));
        };
        if value <= screen + 1e-9 {
            return self.against_expected(value);
        }
        let table = study.zs_limit_ohm().unwrap_or(screen);
        let is_worst = !study.rcd_clears() && study.trip.as_ref().is_some_and(|trip| trip.is_worst);
        let hot = self.hot(value, study.ze_ohm.filter(|_| self.case.supply.ze.is_some()));
        if study.rcd_clears() {
            let next = format!("Over {}: improve the electrode, and measure again.", in_words(screen, "Ω"));
            (Verdict::Fail, next)
        } else if hot <= table + 1e-9 {
            let next = format!(
                "Over the screen of {}; with hot conductors it comes to {} against {} in the table. Measure Ze and \
                 R1+R2, and record the fuller check.",
                in_words(screen, "Ω"),
                in_words(hot, "Ω"),
                in_words(table, "Ω")
            );
            (Verdict::LookAgain, next)
        } else if is_worst {
            let next = "Over the limit of the slowest device that this may be. Read curve and standard off the device.";
            (Verdict::LookAgain, String::from(next))
        } else {
            let next = format!(
                "With hot conductors it comes to {}, over {}: a fault would not open the device in time. Supply off; \
                 look for a loose joint, then at length, cable and device.",
                in_words(hot, "Ω"),
                in_words(table, "Ω")
            );
            (Verdict::Fail, next)
        }
    }

    /// The loop as it would be with hot conductors. What lies outside does not warm; where that is unknown, all of
    /// it is taken to warm, which is on the safe side.
    fn hot(&self, value: f64, ze: Option<f64>) -> f64 {
        let warming = self.facts.value("conductor.hot_factor") / temperature_factor(self.case, self.facts);
        let outside = ze.unwrap_or(0.0).min(value);
        outside + (value - outside) * warming
    }

    fn insulation(&self, found: Measured) -> (Verdict, String) {
        let limit = self.range.limit.unwrap_or(0.0);
        let low = self.range.low.unwrap_or(limit);
        match (found.value, found.over) {
            (value, true) if value < limit => {
                let next = "The range ends below the limit. Choose a higher range, and measure again.";
                (Verdict::LookAgain, String::from(next))
            }
            (value, false) if value < limit => {
                let next = "Keep the supply off. Unplug what can be unplugged and measure again; still low: halve the \
                            circuit until the damaged length is found.";
                (Verdict::Fail, String::from(next))
            }
            (value, false) if value < low => {
                let next = match self.case.part {
                    Part::New => {
                        "New cable reads over range. Look for a nicked core, a screw, damp, or something connected."
                    }
                    Part::Whole => {
                        "Above the limit, but low. Unplug what can be unplugged, measure again, and record both."
                    }
                };
                (Verdict::LookAgain, String::from(next))
            }
            _ => (Verdict::Pass, String::from("Go on.")),
        }
    }

    fn rcd_time(&self, found: Measured) -> (Verdict, String) {
        let pass = (Verdict::Pass, String::from("Go on. Press its test button after timing it."));
        if self.case.times.is_some_and(|times| times < 1.0) {
            let opened = "It opens below its rating. Unplug what leaks and time it again; still so: replace it.";
            return if found.over { pass } else { (Verdict::Fail, String::from(opened)) };
        }
        let limit = self.range.limit.unwrap_or(0.0);
        if found.over || found.value > limit + 1e-9 {
            let next = "Too slow, or it stayed closed. Time it once more with the loads off; still so: replace it.";
            return (Verdict::Fail, String::from(next));
        }
        if self.range.high.is_some_and(|high| found.value > high + 1e-9) {
            let next = "Within the product's limit, but slower than this earthing allows a fault to last. Time it at \
                        the current that a fault would drive: twice or five times its rating.";
            return (Verdict::LookAgain, String::from(next));
        }
        if self.range.low.is_some_and(|low| found.value < low - 1e-9) {
            let next = "Quicker than a delayed device may be. Read its type off the device, and time it again.";
            return (Verdict::LookAgain, String::from(next));
        }
        pass
    }
}
