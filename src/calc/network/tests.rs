#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::*;

fn near(found: Option<f64>, expected: f64) -> bool {
    found.is_some_and(|found| (found - expected).abs() <= 1e-9 * expected.abs().max(1.0))
}

/// Two resistances in series across 230 V: 10 Ω and 13 Ω share it as 100 V and 130 V (Ohm's law by hand).
#[test]
fn a_divider_shares_the_voltage() {
    let mut net = Network::new();
    let (line, middle, neutral) = (net.node("L"), net.node("M"), net.node("N"));
    let source = net.source("supply", line, neutral, 230.0, 0.0);
    let upper = net.resistance("upper", line, middle, 10.0);
    net.resistance("lower", middle, neutral, 13.0);
    let solved = net.solve(&Positions::new()).unwrap();
    assert!(near(solved.volts(middle, neutral), 130.0));
    assert!(near(solved.amperes(upper), 10.0) && near(solved.amperes(source), 10.0));
}

/// The unbalanced bridge of 1, 2, 3, 4 Ω arms with 5 Ω across, solved by hand with star for delta:
/// the star of (1, 2, 5) has legs 2/8, 5/8, 10/8; then 0.25 + (0.625 + 3)·(1.25 + 4)/(0.625 + 3 + 1.25 + 4).
#[test]
fn a_bridge_agrees_with_star_for_delta() {
    let mut net = Network::new();
    let (a, b, c, d) = (net.node("a"), net.node("b"), net.node("c"), net.node("d"));
    for (name, from, to, ohm) in
        [("1", a, b, 1.0), ("2", a, c, 2.0), ("5", b, c, 5.0), ("3", b, d, 3.0), ("4", c, d, 4.0)]
    {
        net.resistance(name, from, to, ohm);
    }
    let by_hand = 0.25 + 3.625 * 5.25 / 8.875;
    assert!(near(net.ohm_between(a, d, &Positions::new()).unwrap(), by_hand));
}

/// The twelve edges of a cube, 1 Ω each: 5/6 Ω between opposite corners, a standard result.
#[test]
fn a_cube_of_resistances_measures_five_sixths() {
    let mut net = Network::new();
    let corners: Vec<Node> = (0..8).map(|at| net.node(&format!("{at}"))).collect();
    for from in 0..8_usize {
        for axis in [1, 2, 4] {
            if from & axis == 0 {
                net.resistance("edge", corners[from], corners[from | axis], 1.0);
            }
        }
    }
    assert!(near(net.ohm_between(corners[0], corners[7], &Positions::new()).unwrap(), 5.0 / 6.0));
}

/// 230 V behind 0.35 Ω onto a dead short: 657.14 A, the ratio by hand.
#[test]
fn a_source_with_resistance_limits_its_fault_current() {
    let mut net = Network::new();
    let (line, earth) = (net.node("L"), net.node("E"));
    let source = net.source("supply", line, earth, 230.0, 0.35);
    net.resistance("fault", line, earth, 0.0);
    let solved = net.solve(&Positions::new()).unwrap();
    assert!(near(solved.amperes(source), 230.0 / 0.35));
    assert!(near(solved.volts(line, earth), 0.0));
}

#[test]
fn an_ideal_source_that_is_bridged_is_named() {
    let mut net = Network::new();
    let (line, neutral) = (net.node("L"), net.node("N"));
    net.source("supply", line, neutral, 230.0, 0.0);
    net.resistance("bridge", line, neutral, 0.0);
    assert_eq!(net.solve(&Positions::new()), Err(NetworkError::Short { name: String::from("supply") }));
    let mut net = Network::new();
    let (line, neutral) = (net.node("L"), net.node("N"));
    net.source("one", line, neutral, 230.0, 0.0);
    net.source("two", line, neutral, 12.0, 0.0);
    assert!(matches!(net.solve(&Positions::new()), Err(NetworkError::Short { .. })));
}

#[test]
fn a_node_without_a_path_floats() {
    let mut net = Network::new();
    let (line, neutral, lamp) = (net.node("L"), net.node("N"), net.node("lamp"));
    net.source("supply", line, neutral, 230.0, 0.0);
    net.switch("S", line, &[("on", lamp), ("off", line)]);
    let off = Positions::from([(String::from("S"), String::from("off"))]);
    assert!(net.solve(&off).unwrap().floats(lamp, neutral));
    let on = Positions::from([(String::from("S"), String::from("on"))]);
    assert!(near(net.solve(&on).unwrap().volts(lamp, neutral), 230.0));
    assert_eq!(net.ohm_between(lamp, line, &off).unwrap(), None);
}

#[test]
fn two_way_switches_light_the_lamp_in_two_of_four() {
    let mut net = Network::new();
    let [line, neutral, up, down, lamp] = ["L", "N", "up", "down", "lamp"].map(|name| net.node(name));
    net.source("supply", line, neutral, 230.0, 0.0);
    net.switch("S1", line, &[("up", up), ("down", down)]);
    net.switch("S2", lamp, &[("up", up), ("down", down)]);
    net.resistance("lamp", lamp, neutral, 1000.0);
    let all = net.every_position();
    assert_eq!(all.len(), 4);
    for positions in all {
        let lit = positions["S1"] == positions["S2"];
        assert!(near(net.solve(&positions).unwrap().volts(lamp, neutral), if lit { 230.0 } else { 0.0 }));
    }
}

#[test]
fn impossible_values_are_refused() {
    for ohm in [f64::NAN, -1.0] {
        let mut net = Network::new();
        let (a, b) = (net.node("a"), net.node("b"));
        net.resistance("odd", a, b, ohm);
        assert!(matches!(net.solve(&Positions::new()), Err(NetworkError::Value { .. })));
    }
    let mut net = Network::new();
    let nodes: Vec<Node> = (0..=MOST_NODES).map(|at| net.node(&format!("{at}"))).collect();
    assert_eq!(net.ohm_between(nodes[0], nodes[1], &Positions::new()), Err(NetworkError::TooLarge));
}

/// Random nets solved by another program; see `tests/scripts/network_by_numpy.py`.
#[test]
fn random_nets_agree_with_numpy() {
    #[derive(serde::Deserialize)]
    struct Stored {
        net: Vec<StoredNet>,
    }
    #[derive(serde::Deserialize)]
    struct StoredNet {
        nodes: usize,
        resistances: Vec<(usize, usize, f64)>,
        sources: Vec<(usize, usize, f64, f64)>,
        volts: Vec<f64>,
        ohm_first_last: f64,
    }
    let stored: Stored = serde_json::from_str(include_str!("../../../tests/scripts/network_by_numpy.json")).unwrap();
    assert_eq!(stored.net.len(), 40);
    for case in stored.net {
        let mut net = Network::new();
        let nodes: Vec<Node> = (0..case.nodes).map(|at| net.node(&format!("{at}"))).collect();
        for (from, to, ohm) in case.resistances {
            net.resistance("r", nodes[from], nodes[to], ohm);
        }
        for (from, to, volts, ohm) in case.sources {
            net.source("s", nodes[from], nodes[to], volts, ohm);
        }
        let solved = net.solve(&Positions::new()).unwrap();
        for (node, volts) in nodes.iter().zip(&case.volts) {
            assert!((solved.volts(*node, nodes[0]).unwrap() - volts).abs() < 1e-8);
        }
        let ohm = net.ohm_between(nodes[0], nodes[case.nodes - 1], &Positions::new()).unwrap().unwrap();
        assert!((ohm / case.ohm_first_last - 1.0).abs() < 1e-9);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// What flows into a node flows out of it, and all power given is taken.
    #[test]
    fn currents_and_powers_balance(ohms in proptest::collection::vec(0.01_f64..1e4, 10), volts in 1.0_f64..400.0) {
        let mut net = Network::new();
        let nodes: Vec<Node> = (0..5).map(|at| net.node(&format!("{at}"))).collect();
        let mut parts = Vec::new();
        let mut ohms = ohms.into_iter();
        for from in 0..5 {
            for to in from + 1..5 {
                let ohm = ohms.next().unwrap();
                parts.push((from, to, net.resistance("r", nodes[from], nodes[to], ohm)));
            }
        }
        let source = net.source("s", nodes[4], nodes[0], volts, 0.0);
        let solved = net.solve(&Positions::new()).unwrap();
        let given = volts * solved.amperes(source).unwrap();
        let taken: f64 = parts
            .iter()
            .map(|(a, b, part)| solved.volts(nodes[*a], nodes[*b]).unwrap() * solved.amperes(*part).unwrap())
            .sum();
        prop_assert!((given - taken).abs() <= 1e-9 * given.abs());
        for node in 1..4 {
            let out: f64 = parts
                .iter()
                .map(|(a, b, part)| {
                    let current = solved.amperes(*part).unwrap();
                    if *a == node { current } else if *b == node { -current } else { 0.0 }
                })
                .sum();
            prop_assert!(out.abs() <= 1e-9 * solved.amperes(source).unwrap().abs());
        }
    }

    /// Raising any resistance never lowers what an ohmmeter shows (Rayleigh's monotony law).
    #[test]
    fn more_resistance_never_measures_less(
        ohms in proptest::collection::vec(0.01_f64..1e4, 6),
        at in 0_usize..6,
        factor in 1.0_f64..100.0,
    ) {
        let measure = |ohms: &[f64]| {
            let mut net = Network::new();
            let nodes: Vec<Node> = (0..4).map(|at| net.node(&format!("{at}"))).collect();
            for ((from, to), ohm) in [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)].into_iter().zip(ohms) {
                net.resistance("r", nodes[from], nodes[to], *ohm);
            }
            net.ohm_between(nodes[0], nodes[3], &Positions::new()).unwrap().unwrap()
        };
        let before = measure(&ohms);
        let mut raised = ohms.clone();
        raised[at] *= factor;
        prop_assert!(measure(&raised) >= before * (1.0 - 1e-12));
    }
}
