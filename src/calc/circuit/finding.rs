//! A figure beside its limit, with a verdict and where the limit comes from.

use serde::Serialize;

use crate::facts::Facts;

/// On which side of its limit a figure has to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The limit is the least that will do.
    Least,
    /// The limit is the most that will do.
    Most,
}

/// What a figure beside its limit means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// On the right side of the limit.
    Within,
    /// On the wrong side.
    Outside,
    /// The maker's data or a person's decision is needed.
    Ask,
}

/// How much may be concluded from a figure that misses its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Footing {
    /// Figure and limit are known: missing it is *outside*.
    Known,
    /// One of them is the worst of several, or a rule of thumb: missing it only means *ask*.
    Worst,
    /// Being on the right side settles nothing either.
    Open,
}

/// A figure beside its limit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Permanent name, which ends in the unit where there is one.
    pub id: &'static str,
    /// The figure, in `unit`; absent where it can't be had.
    pub value: Option<f64>,
    /// The limit, in `unit`; absent where it can't be had.
    pub limit: Option<f64>,
    /// Distance to the limit, positive on the right side.
    pub margin: Option<f64>,
    /// Unit of all three.
    pub unit: &'static str,
    /// On which side of the limit the figure has to be.
    pub side: Side,
    /// The conclusion.
    pub verdict: Verdict,
    /// Where limit and method come from.
    pub source: String,
    /// What was assumed, or what to do; empty where there is nothing to say.
    pub note: String,
}

impl Finding {
    /// Judges `value` against `limit`; *ask* where either is absent.
    #[must_use]
    pub fn judged(id: &'static str, unit: &'static str, value: Option<f64>, side: Side, limit: Option<f64>) -> Self {
        let margin = value.zip(limit).map(|(value, limit)| match side {
            Side::Least => value - limit,
            Side::Most => limit - value,
        });
        let mut finding = Self {
            id,
            value,
            limit,
            margin,
            unit,
            side,
            verdict: Verdict::Ask,
            source: String::new(),
            note: String::new(),
        };
        finding.verdict = finding.on(Footing::Known);
        finding
    }

    /// The same finding with a footing other than [`Footing::Known`].
    #[must_use]
    pub fn with_footing(mut self, footing: Footing) -> Self {
        self.verdict = self.on(footing);
        self
    }

    fn on(&self, footing: Footing) -> Verdict {
        let Some(margin) = self.margin else { return Verdict::Ask };
        // A figure that equals its limit must not fail by the last bit of a conversion.
        let slack = 1e-9 * self.limit.unwrap_or(0.0).abs();
        match (footing, margin >= -slack) {
            (Footing::Open, _) | (Footing::Worst, false) => Verdict::Ask,
            (_, true) => Verdict::Within,
            (Footing::Known, false) => Verdict::Outside,
        }
    }

    /// Adds where the limit comes from.
    #[must_use]
    pub fn from_source(mut self, source: impl Into<String>) -> Self {
        self.source = source.into();
        self
    }

    /// Adds a remark; an empty one adds nothing.
    #[must_use]
    pub fn noted(mut self, note: impl AsRef<str>) -> Self {
        if !self.note.is_empty() && !note.as_ref().is_empty() {
            self.note.push_str("; ");
        }
        self.note.push_str(note.as_ref());
        self
    }
}

/// The source of a fact, as shown.
#[must_use]
pub fn source_of(facts: &Facts, name: &str) -> String {
    facts.get(name).map(|fact| fact.source.to_string()).unwrap_or_default()
}
