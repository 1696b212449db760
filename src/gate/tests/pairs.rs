//! Which pairs are read, and in how many rounds.

use super::*;

fn named(pairs: &[(String, String)]) -> Vec<String> {
    pairs.iter().map(|(one, other)| format!("{one}–{other}")).collect()
}

fn parted(ends: &[&str]) -> Point {
    Point { ends: ends.iter().map(|end| (*end).to_owned()).collect(), ..point("rose", &[], &["S1"]) }
}

/// The six pairs of a loop-in rose, as the isolation model lists them, and the five of the short proof.
#[test]
fn every_pair_of_the_terminals() {
    let six = ["loop–neutral", "loop–switched", "loop–earth", "neutral–switched", "neutral–earth", "switched–earth"];
    assert_eq!(named(&rose().pairs()), six);
    let five: Vec<_> = six.iter().filter(|pair| **pair != "loop–switched").copied().collect();
    assert_eq!(named(&rose().short_pairs()), five);
}

#[test]
fn without_an_earth_the_long_lead_stands_in() {
    let pairs = point("rose", &["loop", "neutral", "switched"], &[]).pairs();
    assert_eq!(pairs.len(), 6);
    assert!(named(&pairs).contains(&"loop–earth lead".to_owned()));
}

#[test]
fn parted_cores_are_read_to_earth_within_their_cable_and_among_the_neutrals() {
    let pairs = named(&parted(&["C1.brown", "C1.blue", "C1.earth", "C2.red", "C2.black", "C2.earth"]).pairs());
    let wanted = [
        "C1.brown–earth lead",
        "C1.brown–C1.blue",
        "C1.blue–earth lead",
        "C1.blue–C2.black",
        "C1.earth–earth lead",
        "C2.red–earth lead",
        "C2.red–C2.black",
        "C2.black–earth lead",
        "C2.earth–earth lead",
    ];
    assert_eq!(pairs, wanted);
}

#[test]
fn parted_neutrals_are_read_to_the_lines_that_are_still_in_terminals() {
    let neutrals = Point {
        ends: vec!["C1.neutral".to_owned(), "C2.neutral".to_owned()],
        ..point("rose", &["loop", "switched", "earth"], &[])
    };
    let pairs = named(&neutrals.pairs());
    for pair in ["loop–C1.neutral", "switched–C2.neutral", "C1.neutral–C2.neutral", "C2.neutral–earth", "loop–switched"]
    {
        assert!(pairs.contains(&pair.to_owned()), "{pair} in {pairs:?}");
    }
    assert!(neutrals.has_parted_neutrals() && !rose().has_parted_neutrals());
}

#[test]
fn what_a_name_does_not_tell_is_taken_for_live() {
    let pairs = named(&parted(&["a", "b", "b"]).pairs());
    assert_eq!(pairs, ["a–earth lead", "b–earth lead"]);
    assert!(point("rose", &[], &[]).pairs().is_empty());
}

/// Two wires run between each two switches. Seen from the lamp, the last switch takes one of them, and each intermediate
/// switch goes straight or across. Each switch moved once, in any order and from any start, must join every wire once.
#[test]
fn one_round_more_than_switches_reaches_every_wire_between_them() {
    for switches in 2..=5_usize {
        for start in 0..1_usize << switches {
            for order in orders(switches) {
                let mut joined = vec![[false; 2]; switches - 1];
                let mut state = start;
                let rounds = point("rose", &["switched"], &vec!["S"; switches]).rounds(false);
                for round in 0..rounds {
                    if round > 0 {
                        state ^= 1 << order[round - 1];
                    }
                    let mut wire = 0;
                    for segment in (0..switches - 1).rev() {
                        wire ^= state >> (segment + 1) & 1;
                        joined[segment][wire] = true;
                    }
                }
                assert!(joined.iter().flatten().all(|joined| *joined), "{switches} switches, {start:b}, {order:?}");
            }
        }
    }
}

fn orders(count: usize) -> Vec<Vec<usize>> {
    if count == 0 {
        return vec![Vec::new()];
    }
    let shorter = orders(count - 1);
    let with_last = |order: &Vec<usize>| {
        (0..count).map(|at| [&order[..at], &[count - 1], &order[at..]].concat()).collect::<Vec<_>>()
    };
    shorter.iter().flat_map(with_last).collect()
}
