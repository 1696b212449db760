//! The words of the gate: what it asks, why, and what an answer means. Plain, short, one thing to do at a time.

use super::world::Stop;
use super::{
    Ask, BRACKET_MINUTES, Field, Form, MAIN_SWITCH, Piece, Point, REST_MINUTES, Refusal, Return, Trouble, TroubleKind,
    VOID,
};

pub(super) const REWIREABLE: &str = "rewireable fuse";
pub(super) const CARTRIDGE: &str = "cartridge fuse";
pub(super) const CARRIER_OUT: &str = "fuse carrier in my pocket";
pub(super) const CARRIER_KEPT: &str = "carrier kept and way blanked";
pub(super) const BY_MAIN_SWITCH: &str = "main switch";
pub(super) const NO_LOCK: &str = "can't be locked";
pub(super) const ASBESTOS: &str = "asbestos reported";

pub(super) const CLOSE_AGAIN: &str = "A breaker is shown by closing it once; a fuse by its carrier in your pocket.";
pub(super) const CLOSE_AGAIN_HINT: &str = "Do the look that belongs to this device, then answer again.";

const DEVICES: &[&str] = &["circuit breaker", "RCBO", "plug-in breaker", REWIREABLE, CARTRIDGE];
const SHOWN_AGAIN: &[&str] = &["yes", CARRIER_OUT, "no"];
const VOID_WAYS: &[&str] = &["named circuits", BY_MAIN_SWITCH];
const LOCKS: &[&str] = &["lock fitted", CARRIER_KEPT, NO_LOCK];
const MAIN_LOCKS: &[&str] = &["lock fitted", NO_LOCK];
const SHARED: &[&str] = &["no", "yes", "not sure"];
const DETECTORS: &[&str] = &["two-pole voltage detector", "non-contact pen", "multimeter", "neon screwdriver", "other"];
const SOURCES: &[&str] = &["proving unit", "socket of another circuit that is on"];
const COATING: &[&str] =
    &["built after 1999, by document", "every layer sampled, none found", "not known yet", ASBESTOS];
const FOOTINGS: &[&str] = &["tower", "platform", "steps", "ladder"];

/// The prompt for a piece of evidence.
pub(super) fn ask(piece: Piece) -> Ask {
    let (text, why) = text_and_why(&piece);
    let (danger, fields) = (danger(&piece).to_owned(), fields(&piece));
    Ask { piece, text, why: why.to_owned(), danger, fields }
}

fn danger(piece: &Piece) -> &'static str {
    match piece {
        Piece::Identify { circuit } if circuit != MAIN_SWITCH => {
            "WARNING A fuse carrier pulled under load draws an arc at your fingers. It burns. \
             If the device is a fuse, open the main switch before you touch the carrier, and close it after."
        }
        Piece::Open { .. } => {
            "DANGER The loop terminal stays live whatever the wall switch does. It kills. \
             Keep your hands out until the readings are in and the detector is proved again."
        }
        Piece::Read { .. } => {
            "DANGER Treat every end as live. It kills. Touch with the probes only, behind their guards."
        }
        _ => "",
    }
}

#[rustfmt::skip]
fn text_and_why(piece: &Piece) -> (String, &'static str) {
    match piece {
        Piece::Identify { circuit } if circuit == MAIN_SWITCH => (
            "Look at the main switch of the home.".to_owned(),
            "Only a double-pole switch parts the neutral too, and only if nothing else feeds the home.",
        ),
        Piece::Identify { circuit } if circuit == VOID => (
            "Open the device of each circuit that may run above this ceiling.".to_owned(),
            "What runs above a ceiling can't be seen from below, and a drill finds it.",
        ),
        Piece::Identify { circuit } => (
            format!("Open the device that you believe feeds the circuit `{circuit}`. Watch its lamp and a lamp on another circuit."),
            "A label is no evidence. The other lamp shows that the mains is still there.",
        ),
        Piece::Off { circuit } => (
            format!("Leave the device of `{circuit}` open."),
            "Whoever finds the dark unexplained goes to the board.",
        ),
        Piece::Secure { circuit, .. } => (
            format!("Lock the device of `{circuit}` open with your own lock."),
            "Off is not secured: anybody can close it. Trying it shows a badly seated lock.",
        ),
        Piece::LockSeen => ("Look at the lock.".to_owned(), "Since it was last seen, nobody knows what happened to it."),
        Piece::MainsSeen => (
            "Wait until the mains is back, and see it elsewhere.".to_owned(),
            "With the mains gone, a detector shows nothing, locked off or not.",
        ),
        Piece::Open { point } => (
            format!("Take the cover off `{}` for the test only.", point.name),
            "The readings have to be taken where the hands will be.",
        ),
        Piece::Cover { point } => (
            format!("Put the cover back on `{point}`, or cap every end, if it can be done untouched."),
            "Covered, nothing can be touched by accident.",
        ),
        Piece::ProveFirst { whole_off } => (
            format!("Prove the detector on {}. Then take the readings within {BRACKET_MINUTES} minutes.",
                if *whole_off { "the proving unit" } else { "a known source" }),
            "A dead detector shows a dead circuit.",
        ),
        Piece::Read { point, position, short } => (
            format!("Test `{}` between each of these pairs. {}", point.name, switch_words(point, *position, *short)),
            "Each end may be fed from somewhere else, in one position of a switch only.",
        ),
        Piece::ProveAgain { detector } => (
            format!("Prove the detector `{detector}` on its source again."),
            "It shows that the detector was working when it showed nothing.",
        ),
        Piece::Restore { circuit, how: Return::Others } => (
            format!("Take your lock off the `{circuit}`; the circuit in hand stays locked."),
            "The rest of the home comes back. Every proof is over then.",
        ),
        Piece::Restore { circuit, .. } => (
            format!("Take your lock off `{circuit}`, with everything covered and everybody told."),
            "The last look is the one before the supply comes back.",
        ),
        small => small_text_and_why(small),
    }
}

/// The smaller gates.
#[rustfmt::skip]
fn small_text_and_why(piece: &Piece) -> (String, &'static str) {
    match piece {
        Piece::Unconnected { point } => (
            format!("Look at every end of `{}`, and test between its cores.", point.name),
            "A cable joined to nothing needs no isolation, as long as you can see that.",
        ),
        Piece::Coating => (
            "Say what shows that this ceiling holds no asbestos.".to_owned(),
            "Nobody can tell by looking, smooth or textured. Drilling, scraping and sanding free the fibre.",
        ),
        Piece::Height { drilling: true } => (
            "Set up what you will stand on to drill overhead.".to_owned(),
            "A drill overhead takes both hands, and steps need one of them.",
        ),
        Piece::Height { drilling: false } => ("Set up what you will stand on.".to_owned(), "Falls hurt more people than shocks."),
        Piece::Rest => (
            format!("Come down and rest for {REST_MINUTES} minutes."),
            "Arms and neck give up before courage does.",
        ),
        Piece::Loft => ("Lay the way through the loft.".to_owned(), "Between the joists there is only the ceiling."),
        Piece::Dust => ("Put on goggles and mask.".to_owned(), "Plaster dust falls into eyes and lungs."),
        Piece::Faces { hole } => (
            format!("Look at both faces of the timber at `{hole}`, and behind it."),
            "A drill that comes out where nobody looks may come out in a cable.",
        ),
        _ => (
            "Name who takes the readings on live contacts.".to_owned(),
            "A reading on a live contact is for somebody trained to take it.",
        ),
    }
}

fn switch_words(point: &Point, position: usize, short: bool) -> String {
    let moved = position.checked_sub(2).and_then(|moved| point.switches.get(moved));
    match moved {
        Some(switch) if !short => format!("Before, move the switch `{switch}` once and leave it there."),
        _ => "Leave the switches as they are.".to_owned(),
    }
}

fn field(name: &str, text: &str, form: Form, otherwise: &str) -> Field {
    Field { name: name.to_owned(), text: text.to_owned(), form, otherwise: otherwise.to_owned() }
}

fn yes(name: &str, text: &str, otherwise: &str) -> Field {
    field(name, text, Form::YesNo, otherwise)
}

fn pick(name: &str, text: &str, options: &'static [&'static str], leading_on: usize, otherwise: &str) -> Field {
    field(name, text, Form::OneOf { options, leading_on }, otherwise)
}

fn text(name: &str, text: &str) -> Field {
    field(name, text, Form::Text, "")
}

fn fields(piece: &Piece) -> Vec<Field> {
    match piece {
        Piece::Identify { circuit } => identify(circuit),
        Piece::Off { .. } => off(),
        Piece::Secure { circuit, backed } => secure(circuit, *backed),
        Piece::ProveFirst { whole_off } => prove_first(*whole_off),
        Piece::Read { point, short, .. } => {
            let pairs = if *short { point.short_pairs() } else { point.pairs() };
            let named = pairs.iter().map(|(one, other)| format!("{one}–{other}"));
            named.map(|pair| field(&pair, &format!("Reading {pair}"), Form::Volts, "")).collect()
        }
        Piece::Restore { how, .. } => restore(*how),
        other => plain_fields(other),
    }
}

fn identify(circuit: &str) -> Vec<Field> {
    match circuit {
        MAIN_SWITCH => vec![
            yes(
                "double pole",
                "Is it double-pole, for the whole home?",
                "It leaves a pole in. This home can't be isolated here: call a registered electrician.",
            ),
            yes(
                "no other source",
                "Is there no battery, generator or second board?",
                "Something else may feed the home. A registered electrician has to say what feeds what.",
            ),
        ],
        VOID => vec![
            pick("way", "How are they switched off?", VOID_WAYS, 1, ""),
            text("circuits", "Which circuits are open?"),
            yes(
                "each shown off",
                "Did something on each of them go off?",
                "A circuit that nobody saw go off counts as live. Find something on it, or take the main switch.",
            ),
        ],
        _ => vec![
            pick("device", "What is the device?", DEVICES, DEVICES.len(), ""),
            yes("lit before", "Was the lamp of this circuit lit before?", ""),
            yes(
                "out when opened",
                "Did it go out when you opened this device?",
                "Another device feeds this light. Close this one and try the next.",
            ),
            yes(
                "other still lit",
                "Did a lamp on another circuit stay lit?",
                "The mains may have failed, and then nothing is shown. Wait, and try again with another lamp lit.",
            ),
            pick(
                "closed again",
                "Did it light when you closed the device, and go out again?",
                SHOWN_AGAIN,
                2,
                "Something other than this device put the lamp out. Look at the lamp, and try again.",
            ),
        ],
    }
}

fn off() -> Vec<Field> {
    vec![
        yes("left open", "Is the same device still open?", "Open the device that was identified."),
        yes("all told", "Does everybody in the home know?", "Tell everybody what is off, and for how long."),
        yes(
            "supplies seen to",
            "Are medical equipment, alarms and freezer seen to?",
            "What must not lose its supply comes first. Feed it from another circuit, or choose another day.",
        ),
    ]
}

fn secure(circuit: &str, backed: bool) -> Vec<Field> {
    let main = circuit == MAIN_SWITCH;
    let how = if main {
        pick(
            "how",
            "How is it held open?",
            MAIN_LOCKS,
            1,
            "What can't be locked is not isolated. Put everything back, and get a lock that fits or an electrician.",
        )
    } else {
        pick("how", "How is it held open?", LOCKS, 2, "")
    };
    let mut fields = vec![
        how,
        yes(
            "tried",
            "Did you try it, and it won't close?",
            "The lock is badly seated. Seat it again, and try the device again.",
        ),
        yes(
            "key with me",
            "Is the only key, or the carrier, on you?",
            "Whoever has the key can close the device. Put it in your own pocket.",
        ),
        yes(
            "notice",
            "Is the notice up, with your name and the time?",
            "Hang the notice: it tells the next person whom to ask.",
        ),
    ];
    if !main && circuit != VOID && !backed {
        let text = "Can another circuit share its neutral (two-way stairs or landing, old joint box)?";
        fields.push(pick("shared neutral", text, SHARED, 1, ""));
    }
    fields
}

fn prove_first(whole_off: bool) -> Vec<Field> {
    let kind = "Only a two-pole voltage detector proves dead. A pen or a neon shows nothing for many reasons; \
                a multimeter may be on the wrong range.";
    let source = "With the home off a socket shows nothing. Use a proving unit.";
    vec![
        text("detector", "Which detector is it?"),
        pick("detector kind", "What kind of instrument is it?", DETECTORS, 1, kind),
        pick("source", "What is the known source?", SOURCES, if whole_off { 1 } else { 2 }, source),
        field("lowest voltage", "What is the lowest voltage that it shows?", Form::Volts, ""),
        yes("sound", "Are tips, guards and leads sound?", "Damaged leads show nothing, or kill. Use a sound detector."),
        yes(
            "shows the source",
            "Does it show the source's voltage?",
            "This detector, or this source, is dead. Find out which; use a detector that shows.",
        ),
    ]
}

fn restore(how: Return) -> Vec<Field> {
    let mut fields = Vec::new();
    if how == Return::Others {
        fields.push(yes(
            "circuit lock seen",
            "Is the lock of the circuit in hand still on?",
            "Without that lock the circuit comes back too. Leave the main switch locked.",
        ));
    } else {
        fields.push(yes(
            "covers on",
            "Is every cover on, and every tool counted?",
            "Find the cover or the tool first. Nothing that is open may become live.",
        ));
    }
    if how == Return::RemadeAsFound {
        fields.push(yes(
            "cores back",
            "Is every core back in its recorded place?",
            "Compare each core with the record and the picture.",
        ));
        fields.push(yes(
            "new cable capped",
            "Is every end of the new cable capped?",
            "Cap each end: the new cable stays joined to nothing.",
        ));
    }
    fields.push(yes(
        "all told",
        "Does everybody in the home know that it comes back?",
        "Somebody may have hands on something. Tell everybody first.",
    ));
    fields.push(yes(
        "locks off by owners",
        "Did each owner take off their own lock?",
        "Nobody removes another's lock. Find its owner.",
    ));
    fields
}

fn plain_fields(piece: &Piece) -> Vec<Field> {
    match piece {
        Piece::LockSeen => vec![yes("lock seen", "Have you seen it, and is the key with you?", "")],
        Piece::MainsSeen => vec![yes(
            "mains seen",
            "Is another circuit on, or the meter's display lit?",
            "Wait. Readings say nothing until the mains is back.",
        )],
        Piece::Open { .. } => vec![yes(
            "cover off",
            "Is the cover down, and are your hands out?",
            "Take your hands out, or put the cover back on.",
        )],
        Piece::Cover { .. } => vec![yes(
            "covered",
            "Is the cover on, or every end capped?",
            "Hands off, then. Keep everybody away, main switch off, and call an electrician.",
        )],
        Piece::ProveAgain { .. } => vec![
            yes("same detector", "Is it the same detector?", ""),
            yes("shows again", "Does it show the source's voltage again?", ""),
        ],
        Piece::Unconnected { .. } => vec![
            yes(
                "ends seen",
                "Can you see every end?",
                "An end out of sight may be joined. Bring it into sight, or treat the cable as connected.",
            ),
            yes("tagged", "Is every end tagged?", "Tag each end, so that no other cable is taken for it."),
            yes("capped", "Is every end capped and joined to nothing?", "Cap each end first."),
            yes(
                "no indication",
                "Does the detector show nothing between any cores?",
                "The cable is joined to something. Hands off, and isolate first.",
            ),
        ],
        small => small_fields(small),
    }
}

/// The smaller gates.
fn small_fields(piece: &Piece) -> Vec<Field> {
    match piece {
        Piece::Coating => vec![
            pick(
                "evidence",
                "What is known of the ceiling?",
                COATING,
                2,
                "Until it is known, the ceiling counts as dangerous. Leave it whole, and have every layer sampled.",
            ),
            text("paper", "Which document or report, with its number?"),
        ],
        Piece::Height { drilling } => vec![
            pick(
                "footing",
                "What do you stand on?",
                FOOTINGS,
                if *drilling { 2 } else { 4 },
                "Steps and ladders are for light, short work. Set up a platform or a tower.",
            ),
            yes(
                "stands firm",
                "Does it stand level, checked and locked?",
                "Set it level and lock it before you climb.",
            ),
        ],
        Piece::Rest => {
            vec![yes("rested", "Did you rest?", "Come down and rest: a cut goes wrong when the arms shake.")]
        }
        Piece::Loft => vec![
            yes("boards", "Do crawl boards lie on the joists?", "Lay boards first, or stay out."),
            yes("light", "Is the way lit, and does somebody know where you are?", "Take a lamp, and tell somebody."),
        ],
        Piece::Dust => vec![
            yes("goggles", "Are the goggles on?", "Put them on first."),
            yes("mask", "Does the mask fit closely?", "Fit the mask first."),
        ],
        Piece::Faces { .. } => vec![
            yes("both faces", "Can you see both faces?", ""),
            yes("behind", "Can you see that nothing lies behind?", ""),
        ],
        Piece::Tester => vec![
            text("tester", "Who takes the readings?"),
            yes(
                "trained",
                "Is that person trained to test on live contacts?",
                "Leave the reading open for somebody who is.",
            ),
        ],
        _ => Vec::new(),
    }
}

pub(super) fn not_as_wanted(name: &str, answer: &str) -> String {
    format!("`{answer}` for \"{name}\" doesn't lead on.")
}

pub(super) fn one_of(options: &[&str]) -> String {
    format!("Answer one of: {}.", options.join(", "))
}

fn refusal(text: impl Into<String>, instead: impl Into<String>) -> Refusal {
    Refusal { text: text.into(), instead: instead.into() }
}

pub(super) fn step_too_long(point: &str) -> Refusal {
    refusal(format!("The step at `{point}` is longer than a proof can cover."), "Divide it into shorter steps.")
}

pub(super) fn no_pairs(point: &str) -> Refusal {
    refusal(format!("Nothing is listed at `{point}` that could be read."), "List its terminals or its ends.")
}

pub(super) fn cover_first(point: &str) -> Refusal {
    refusal(format!("`{point}` is open."), "Put its cover back on first.")
}

pub(super) fn test_first(circuit: &str) -> Refusal {
    refusal(
        format!("A core of `{circuit}` was loosened since it went off."),
        "Give it back as altered or as remade, with its readings passed.",
    )
}

pub(super) fn not_tested(circuit: &str, what: &str) -> Refusal {
    refusal(
        format!("The latest reading of {what} on `{circuit}` is missing or failed."),
        "Take it, and find the fault if it fails.",
    )
}

pub(super) fn nothing_stays_locked() -> Refusal {
    refusal("No circuit is locked at its own device.", "Lock the circuit in hand at its own device first.")
}

pub(super) fn part_first(point: &str) -> Refusal {
    refusal(
        format!("The neutral at `{point}` may be shared."),
        "Part the neutrals, close each in its own connector, and prove the ends before the home comes back.",
    )
}

pub(super) fn asbestos() -> Refusal {
    refusal(
        "Asbestos was reported in this ceiling.",
        "Leave it whole. Choose a plan without holes, or a trained contractor.",
    )
}

pub(super) fn hole_not_clear(hole: &str, what: &str) -> Refusal {
    refusal(format!("The mark `{hole}` is not clear: `{what}` is missing or failed."), "Look again, or move the mark.")
}

pub(super) fn timber_not_passed(hole: &str) -> Refusal {
    refusal(
        format!("Nothing shows that the timber may be drilled at `{hole}`."),
        "Have the hole computed, or take another route.",
    )
}

pub(super) fn stopped(stop: Stop) -> Refusal {
    refusal(stop_text(stop).0, "Cover what can be covered untouched. Somebody releases the stop by name.")
}

/// What a stop says, and why.
pub(super) fn stop_text(stop: Stop) -> (&'static str, &'static str) {
    match stop {
        Stop::Unsure => {
            ("The work is stopped: somebody was not sure.", "Nothing is lost. Ask, look again, then go on.")
        }
        Stop::VoltageFound => (
            "Hands out. Voltage was found where there should be none. Open the main switch.",
            "The wrong device is locked, or a second one feeds this point.",
        ),
        Stop::Felt(happening) => {
            ("Hands out. Open the main switch. Whoever had a shock sees a doctor.", happening.why())
        }
    }
}

pub(super) const IN_DOUBT: (&str, &str) =
    ("Hands off until somebody has seen the lock.", "Nobody has watched it, so everything counts as live.");

pub(super) const EXPOSED: (&str, &str) = (
    "Hands off: probes only. Conductors are open and not proved dead. Prove, or cover.",
    "Nothing shows that they are dead now.",
);

pub(super) const EXPOSED_LIVE: (&str, &str) = (
    "Hands off. Conductors are open and the circuit is not secured. Lock the main switch open, or cover.",
    "They may be live. A lamp can't show any more which device feeds them.",
);

pub(super) fn trouble(kind: TroubleKind, (text, why): (&str, &str), offers: Vec<Ask>) -> Trouble {
    Trouble { kind, text: text.to_owned(), why: why.to_owned(), offers }
}
