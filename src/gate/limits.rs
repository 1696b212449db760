//! The limits of the gate. They are constants: no file, script or flag moves them.
//!
//! No source found gives minutes for proving again; sources tie it to events. So the times are project choices, each
//! with its reason, and a competent person should look at them.

/// Readings must be closed by proving the detector again within this many minutes. Project choice: enough for two walks to
/// the known source and three rounds of readings, too short to forget what was read.
pub const BRACKET_MINUTES: i64 = 15;

/// A proof is good for less than this many minutes. Project choice: one spell of work off the floor, so that the person
/// comes down, rests and proves again in one go.
pub const PROOF_MINUTES: i64 = 30;

/// The longest step, in minutes, that may have its hands on conductors. Project choice: a proof must outlast it with time
/// left to close what is open.
pub const LONGEST_STEP_MINUTES: f64 = 20.0;

/// A stage begins with a proof that outlasts it, up to this many minutes. Project choice: the rest of a proof's time is
/// for coming back from the known source and reading the prompt.
pub const STAGE_MINUTES: f64 = 25.0;

/// After this many minutes without a record nobody knows whether the lock was watched. Project choice: twice the time of a
/// proof.
pub const SILENCE_MINUTES: i64 = 60;

/// Minutes of work off the floor after which a rest is asked for. Published guidance on steps and ladders gives 30 minutes
/// at a spell; for arms overhead it is common practice, no source.
pub const OVERHEAD_MINUTES: i64 = 30;

/// Minutes of rest. Common practice, no source.
pub const REST_MINUTES: i64 = 5;

/// The highest figure, in volts, that counts as dead. Common practice, no source. Above it, any figure is an alarm.
pub const DEAD_VOLTS: f64 = 12.0;

/// What has to be on the trail, and passed, before a hole is cut: the two ways of looking and the two ways of feeling.
pub const HOLE_FINDINGS: [&str; 4] = ["sweep", "pilot", "wire", "above"];

/// What has to be on the trail, and passed, before an altered circuit comes back.
pub const ALTERED_FINDINGS: [&str; 3] = ["continuity", "insulation", "polarity"];

/// What has to be on the trail, and passed, before a circuit comes back that was remade as found.
pub const REMADE_FINDINGS: [&str; 3] = ["continuity", "polarity", "short"];
