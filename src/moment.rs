//! Moments as the ledger writes them: civil date and time to the second, on one clock without a zone.
//!
//! A job is walked in one place by one clock. The program fixes the offset of that clock once, when it starts, so a
//! change between winter and summer time can show only between two runs, where the lock is in doubt anyway. A rehearsal
//! brings a clock of its own. Nothing in this module reads a clock.

use std::fmt;
use std::str::FromStr;

use jiff::civil::DateTime;
use jiff::{SignedDuration, ToSpan};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A point in time, to the second, on the job's own clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(DateTime);

impl Moment {
    /// A moment before every job, for answers that are assumed and never written.
    pub const START: Self = Self(DateTime::ZERO);

    /// The moment this many seconds later (earlier, if negative). Stays at the end of the calendar rather than overflow.
    #[must_use]
    pub fn plus_seconds(self, seconds: i64) -> Self {
        Self(self.0.saturating_add(seconds.clamp(-1_000_000_000, 1_000_000_000).seconds()))
    }

    /// The moment this many minutes later.
    #[must_use]
    pub fn plus_minutes(self, minutes: i64) -> Self {
        self.plus_seconds(minutes.saturating_mul(60))
    }

    /// Seconds from `earlier` to `self`; negative when the clock went backwards.
    #[must_use]
    pub fn seconds_since(self, earlier: Self) -> i64 {
        self.0.duration_since(earlier.0).as_secs()
    }

    /// Time of day, `14:20`.
    #[must_use]
    pub fn clock(self) -> String {
        format!("{:02}:{:02}", self.0.hour(), self.0.minute())
    }

    /// Date, `2026-03-02`.
    #[must_use]
    pub fn date(self) -> String {
        format!("{:04}-{:02}-{:02}", self.0.year(), self.0.month(), self.0.day())
    }

    /// Whether both moments fall on the same calendar day.
    #[must_use]
    pub fn same_day(self, other: Self) -> bool {
        self.0.date() == other.0.date()
    }
}

impl From<DateTime> for Moment {
    fn from(value: DateTime) -> Self {
        let whole = value.round(jiff::Unit::Second).unwrap_or(value);
        Self(whole)
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}T{}:{:02}", self.date(), self.clock(), self.0.second())
    }
}

/// A moment that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a date and time such as 2026-03-02T09:00")]
pub struct NotAMoment(String);

impl FromStr for Moment {
    type Err = NotAMoment;

    fn from_str(text: &str) -> Result<Self, NotAMoment> {
        text.trim().parse::<DateTime>().map(Self::from).map_err(|_| NotAMoment(text.to_owned()))
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
    }
}

/// How long a stretch of time is, in words: `45 s`, `12 min`, `3 h 05 min`, `4 days`.
#[must_use]
pub fn span_in_words(seconds: i64) -> String {
    let seconds = SignedDuration::from_secs(seconds.max(0)).as_secs();
    match seconds {
        0..=59 => format!("{seconds} s"),
        60..=3599 => format!("{} min", seconds / 60),
        3600..=172_799 => format!("{} h {:02} min", seconds / 3600, seconds % 3600 / 60),
        _ => format!("{} days", seconds / 86_400),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_reads_back_as_it_was_written() {
        let moment: Moment = "2026-03-02T09:00".parse().unwrap();
        assert_eq!(moment.to_string(), "2026-03-02T09:00:00");
        assert_eq!(moment.to_string().parse::<Moment>().unwrap(), moment);
    }

    #[test]
    fn time_between_moments_keeps_its_sign() {
        let nine: Moment = "2026-03-02T09:00".parse().unwrap();
        assert_eq!(nine.plus_minutes(31).seconds_since(nine), 31 * 60);
        assert_eq!(nine.seconds_since(nine.plus_minutes(1)), -60);
        assert!(!nine.same_day(nine.plus_minutes(24 * 60)));
    }

    #[test]
    fn spans_are_said_in_plain_words() {
        for (seconds, words) in [(45, "45 s"), (720, "12 min"), (11_100, "3 h 05 min"), (400_000, "4 days")] {
            assert_eq!(span_in_words(seconds), words);
        }
    }

    #[test]
    fn text_that_is_no_moment_is_refused() {
        assert!("yesterday".parse::<Moment>().is_err());
    }
}
