use plinthside_paper::CastCode;
use plinthside_paper::code::{CodeError, Group, check_character};
use proptest::prelude::*;
use std::collections::HashSet;

const SYMBOLS: &str = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

fn a_code() -> impl Strategy<Value = CastCode> {
    any::<u64>().prop_filter_map("check symbol outside the 32", CastCode::from_bits)
}

/// ISO/IEC 7064 MOD 37,2: the doctest of python-stdnum's `iso7064/mod_37_2.py` (first), and two
/// donation numbers of the ISBT 128 standard, which uses the same check (from memory).
#[test]
fn check_characters_are_the_published_ones() {
    assert_eq!(check_character(b"G123489654321"), Some(b'Y'));
    assert_eq!(check_character(b"G123498654321"), Some(b'H'));
    assert_eq!(check_character(b"A999914123456"), Some(b'N'));
    assert_eq!(check_character(b"not iso"), None);
}

#[test]
fn minted_codes_are_distinct_and_typable() {
    let codes: HashSet<CastCode> = (0..2000).map(|_| CastCode::mint().unwrap()).collect();
    assert_eq!(codes.len(), 2000);
    for code in codes {
        let shown = code.to_string();
        assert_eq!(shown.len(), 16);
        assert!(
            shown.chars().all(|c| c == '-' || SYMBOLS.contains(c)),
            "{shown}"
        );
        assert_eq!(shown.parse(), Ok(code));
        assert_eq!(CastCode::from_payload(&code.payload()), Some(code));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Every single wrong symbol: 13 places × 31 others.
    #[test]
    fn a_wrong_symbol_is_refused(code in a_code()) {
        let right = code.payload();
        for place in 0..13 {
            for other in SYMBOLS.chars().filter(|c| right.chars().nth(place) != Some(*c)) {
                let wrong: String = right.chars().enumerate()
                    .map(|(i, c)| if i == place { other } else { c }).collect();
                prop_assert!(matches!(wrong.parse::<CastCode>(), Err(CodeError::Check { .. })), "{wrong}");
                prop_assert_eq!(CastCode::from_payload(&wrong), None);
            }
        }
    }

    /// Every swap of two symbols, neighbours or not.
    #[test]
    fn swapped_symbols_are_refused(code in a_code()) {
        let right: Vec<char> = code.payload().chars().collect();
        for i in 0..13 {
            for j in i + 1..13 {
                if right[i] != right[j] {
                    let mut wrong = right.clone();
                    wrong.swap(i, j);
                    let wrong: String = wrong.into_iter().collect();
                    prop_assert!(wrong.parse::<CastCode>().is_err(), "{wrong}");
                }
            }
        }
    }

    /// Case, spaces and hyphens do not matter; O, I and L are read as 0, 1 and 1.
    #[test]
    fn a_code_is_read_in_any_spelling(code in a_code(), lower in any::<bool>(), gap in "[ \\-–—._]{0,3}") {
        let mut typed = String::new();
        for (i, c) in code.payload().chars().enumerate() {
            typed.push(match c { '0' => 'O', '1' if i % 2 == 0 => 'I', '1' => 'l', c => c });
            typed.push_str(&gap);
        }
        if lower { typed = typed.to_lowercase(); }
        prop_assert_eq!(typed.parse(), Ok(code), "{}", typed);
    }

    /// No text makes it panic, and none but a right code is accepted.
    #[test]
    fn no_text_is_accepted_but_a_right_code(text in ".{0,40}") {
        if let Ok(code) = text.parse::<CastCode>() {
            prop_assert_eq!(code.payload().parse(), Ok(code));
        }
    }
}

#[test]
fn errors_say_what_and_where() {
    let code = CastCode::from_bits(0x0123_4567_89AB_CDE3).unwrap();
    assert_eq!(code.to_string(), "3FKQ-T4YC-5T82-A");
    let error = |text: &str| text.parse::<CastCode>().unwrap_err();
    assert_eq!(error(" - "), CodeError::Empty);
    assert_eq!(
        error("3FKQ-U4YC-5T82-A"),
        CodeError::Symbol {
            symbol: 'U',
            group: Group::Second,
            hint: " (perhaps V)"
        }
    );
    assert_eq!(
        error("3FKQ-T4YC-5T8-A"),
        CodeError::Length {
            count: 12,
            group: Some(Group::Third)
        }
    );
    assert_eq!(
        error("3FKQT4YC5T8A"),
        CodeError::Length {
            count: 12,
            group: None
        }
    );
    // A swap of neighbours within the second group that nothing else explains.
    assert_eq!(
        error("3FKQ-TY4C-5T82-A"),
        CodeError::Check {
            group: Some(Group::Second)
        }
    );
    assert_eq!(
        error("3FKQ-TY4C-5T82-A").to_string(),
        "the code does not check: a symbol is wrong or two are swapped (look at the second group); read it again"
    );
}

/// What no check symbol can tell, the clinic's own codes do: which group was typed wrongly.
#[test]
fn codes_that_are_known_tell_the_group() {
    let code = CastCode::from_bits(0x0123_4567_89AB_CDE3).unwrap();
    let others: Vec<CastCode> = (1..500)
        .filter_map(|i: u64| CastCode::from_bits(i.wrapping_mul(0x9E37_79B9_7F4A_7C15)))
        .collect();
    let known = || others.iter().copied().chain([code]);
    let group = |text: &str| match text.parse::<CastCode>().unwrap_err().beside(text, known()) {
        CodeError::Check { group } | CodeError::Length { group, .. } => group,
        other => panic!("{text}: {other}"),
    };
    for (text, odd) in [
        ("3FKQ-T4YC-5T82-7", Some(Group::Check)),
        ("3FKQ-T4YC-5TR2-A", Some(Group::Third)),
        ("3fkq t4yc 5t28 a", Some(Group::Third)),
        ("3F7QT4YC5T82A", Some(Group::First)),
        ("3FKQT4Y5T82A", Some(Group::Second)),
        ("3FKQT44YC5T82A", Some(Group::Second)),
        ("3FKQT4YC5T82", Some(Group::Check)),
        // Either of two groups, both, or nothing that is known.
        ("3FKQT4YCC5T82A", None),
        ("3F7Q-T4YC-5TR2-A", None),
        ("ZZZZ-ZZZZ-ZZZZ-Z", None),
        ("3FKQ-T4YC", None),
    ] {
        assert_eq!(group(text), odd, "{text}");
    }
    let unknown = "3FKQ-T4YC-5TR2-A".parse::<CastCode>().unwrap_err();
    let beside = unknown
        .clone()
        .beside("3FKQ-T4YC-5TR2-A", others.iter().copied());
    assert_eq!(beside, unknown);
}

/// MOD 37,2 is linear: whether two symbols in two places can be told from two others does not
/// depend on the rest. All of them, then: every wrong symbol and every swap of any two places.
#[test]
fn no_wrong_symbol_and_no_swap_keeps_the_check() {
    let check = |changes: &[(usize, u8)]| {
        let mut text = [b'0'; 12];
        for &(place, symbol) in changes {
            text[place] = symbol;
        }
        check_character(&text).unwrap()
    };
    let symbols = SYMBOLS.as_bytes();
    let pairs = || {
        symbols
            .iter()
            .flat_map(|&a| symbols.iter().map(move |&b| (a, b)))
    };
    let mut tried = 0;
    for (a, b) in pairs().filter(|(a, b)| a != b) {
        for i in 0..12 {
            assert_ne!(check(&[(i, a)]), check(&[(i, b)]), "{i}: {a} {b}");
            for j in i + 1..12 {
                assert_ne!(
                    check(&[(i, a), (j, b)]),
                    check(&[(i, b), (j, a)]),
                    "{i} {j}: {a} {b}"
                );
                tried += 1;
            }
            // A symbol swapped with the check symbol: the whole code, for every value of the rest.
            for &rest in symbols {
                let filler = usize::from(i == 0);
                let last = check(&[(i, a), (filler, rest)]);
                if symbols.contains(&last) && last != a {
                    assert_ne!(check(&[(i, last), (filler, rest)]), a, "{i}: {a} {last}");
                }
            }
        }
    }
    assert_eq!(tried, 32 * 31 * 66);
}

#[test]
fn json_keeps_the_code_and_refuses_a_wrong_one() {
    let code = CastCode::from_bits(0x0123_4567_89AB_CDE3).unwrap();
    let text = serde_json::to_string(&code).unwrap();
    assert_eq!(text, "\"3FKQ-T4YC-5T82-A\"");
    assert_eq!(serde_json::from_str::<CastCode>(&text).unwrap(), code);
    assert!(serde_json::from_str::<CastCode>("\"3FKQ-T4YC-5T82-B\"").is_err());
}
