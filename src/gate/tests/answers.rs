//! What may be typed, and what is made of it.

use super::*;

fn every_piece() -> Vec<Piece> {
    let (circuit, hole, point) = (LIGHTING.to_owned(), "H1".to_owned(), rose());
    let chain = Point { unconnected: true, ..super::point("chain", &["line", "neutral"], &[]) };
    let mut pieces = vec![
        Piece::LockSeen,
        Piece::MainsSeen,
        Piece::Open { point: point.clone() },
        Piece::Cover { point: "rose".to_owned() },
        Piece::ProveFirst { whole_off: true },
        Piece::ProveFirst { whole_off: false },
        Piece::ProveAgain { detector: "D1".to_owned() },
        Piece::Unconnected { point: chain },
        Piece::Coating,
        Piece::Height { drilling: true },
        Piece::Height { drilling: false },
        Piece::Rest,
        Piece::Loft,
        Piece::Dust,
        Piece::Faces { hole },
        Piece::Tester,
    ];
    for short in [false, true] {
        pieces.push(Piece::Read { point: point.clone(), position: 1, short });
    }
    for circuit in [circuit.clone(), MAIN_SWITCH.to_owned(), VOID.to_owned()] {
        pieces.push(Piece::Identify { circuit: circuit.clone() });
        pieces.push(Piece::Off { circuit: circuit.clone() });
        pieces.push(Piece::Secure { circuit: circuit.clone(), backed: false });
        pieces.extend(Return::ALL.map(|how| Piece::Restore { circuit: circuit.clone(), how }));
    }
    pieces.push(Piece::Secure { circuit, backed: true });
    pieces
}

#[test]
fn what_leads_on_is_evidence_and_reads_back_as_it_was_written() {
    for piece in every_piece() {
        let given = evidence(piece, &[]);
        assert!(!given.is_bad_news(), "{given:?}");
        let text = serde_json::to_string(&given).unwrap();
        assert_eq!(serde_json::from_str::<Evidence>(&text).unwrap(), given, "{text}");
    }
}

/// P10, at the door: an answer that is missing, added or spoilt never counts as met.
#[test]
fn nothing_missing_added_or_spoilt_is_met() {
    for piece in every_piece() {
        let whole = evidence(piece, &[]);
        for name in whole.answers.keys() {
            let mut spoilt = whole.clone();
            spoilt.answers.remove(name);
            assert!(spoilt.is_bad_news(), "{name} missing from {whole:?}");
            for answer in ["", "perhaps", "Yes", "\u{0}"] {
                spoilt.answers.insert(name.clone(), answer.to_owned());
                let is_text =
                    words::ask(whole.piece.clone()).fields.iter().any(|f| f.name == *name && f.form == Form::Text);
                let harmless = is_text && !answer.is_empty() && answer != "\u{0}";
                assert_eq!(spoilt.is_bad_news(), !harmless, "{name}: {answer:?} in {whole:?}");
            }
        }
        let mut added = whole.clone();
        added.answers.insert("nobody asked".to_owned(), "yes".to_owned());
        assert!(added.is_bad_news());
    }
    let unknown = r#"{"piece":{"kind":"lock_seen"},"answers":{"lock seen":"yes"},"level":"secured"}"#;
    assert!(serde_json::from_str::<Evidence>(unknown).is_err());
}

/// Every answer that is not the one wanted either leads elsewhere or says what to do.
#[test]
fn a_wrong_answer_never_counts_and_says_what_to_do() {
    for piece in every_piece() {
        let ask = words::ask(piece);
        assert!(!ask.text.is_empty() && !ask.why.is_empty() && !ask.fields.is_empty(), "{ask:?}");
        for field in &ask.fields {
            let wrong: Vec<&str> = match &field.form {
                Form::YesNo => vec!["no"],
                Form::OneOf { options, leading_on } => options[*leading_on..].to_vec(),
                Form::Text => vec!["", "  ", "a\nb"],
                Form::Volts => vec!["", "low", "nan", "inf", ">5"],
            };
            for answer in wrong {
                match examine(&ask, &answers(&ask, &[(&field.name, answer)])) {
                    Ok(evidence) => assert!(evidence.is_bad_news(), "{answer} for {}", field.name),
                    Err(problem) => assert!(!problem.hint.is_empty(), "{answer} for {}: {problem}", field.name),
                }
            }
        }
    }
}

#[test]
fn the_dead_limit_is_twelve_volts() {
    let ask = words::ask(Piece::Read { point: rose(), position: 1, short: false });
    for (typed, alarm) in [
        ("0", false),
        ("none", false),
        ("12", false),
        ("-3 V", false),
        ("12.1", true),
        ("230V", true),
        (">600", true),
        ("-230", true),
    ] {
        let evidence = examine(&ask, &answers(&ask, &[("neutral–earth", typed)])).unwrap();
        assert_eq!(evidence.is_bad_news(), alarm, "{typed}");
    }
}

#[test]
fn none_in_full_stands_for_a_whole_row() {
    let ask = words::ask(Piece::Read { point: rose(), position: 1, short: false });
    assert!(!examine(&ask, &["none".to_owned()]).unwrap().is_bad_news());
    assert!(examine(&ask, &["0".to_owned()]).is_err(), "nought stands for one reading");
    assert!(examine(&ask, &[]).is_err());
    assert!(examine(&ask, &vec!["0".to_owned(); 7]).is_err());
}

#[test]
fn a_voltage_counts_before_the_row_is_full_and_past_a_slip() {
    let ask = words::ask(Piece::Read { point: rose(), position: 1, short: false });
    for row in [vec!["0", "38"], vec!["o", "38"], vec!["38"]] {
        let row: Vec<_> = row.into_iter().map(str::to_owned).collect();
        assert!(examine(&ask, &row).unwrap().is_bad_news(), "{row:?}");
    }
}

#[test]
fn options_are_taken_by_number_and_in_full() {
    let ask = words::ask(Piece::Height { drilling: false });
    for typed in ["2", "platform", "Platform"] {
        let evidence = examine(&ask, &[typed.to_owned(), "y".to_owned()]).unwrap();
        assert_eq!(evidence.answers["footing"], "platform");
    }
    for typed in ["0", "5", "plat"] {
        assert!(examine(&ask, &[typed.to_owned(), "y".to_owned()]).is_err(), "{typed}");
    }
}

#[test]
fn a_breaker_is_closed_once_more_and_a_fuse_is_in_the_pocket() {
    let ask = words::ask(Piece::Identify { circuit: LIGHTING.to_owned() });
    let take = |device: &str, again: &str| {
        examine(&ask, &answers(&ask, &[("device", device), ("closed again", again)])).is_ok()
    };
    assert!(take("circuit breaker", "yes") && take("RCBO", "yes") && take("plug-in breaker", "yes"));
    assert!(!take("circuit breaker", words::CARRIER_OUT));
    assert!(take(words::REWIREABLE, words::CARRIER_OUT) && take(words::CARTRIDGE, words::CARRIER_OUT));
    assert!(!take(words::REWIREABLE, "yes") && !take(words::REWIREABLE, "no"));
}

#[test]
fn no_sentence_is_longer_than_twenty_words() {
    let texts = every_piece().into_iter().flat_map(|piece| {
        let ask = words::ask(piece);
        let fields = ask.fields.into_iter().flat_map(|field| [field.text, field.otherwise]);
        [ask.text, ask.why, ask.danger].into_iter().chain(fields)
    });
    for text in texts {
        for sentence in text.split_terminator(['.', '?', '!', ':', ';']) {
            assert!(sentence.split_whitespace().count() <= 20, "{sentence}");
        }
    }
}
