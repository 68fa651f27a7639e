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
fn published_check_characters() {
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
    fn typing_is_forgiven(code in a_code(), lower in any::<bool>(), gap in "[ \\-–—._]{0,3}") {
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
    fn any_text(text in ".{0,40}") {
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
    let other: CastCode = {
        let mut bits = 0x0123_4567_89AB_CDE3_u64 ^ (7 << 20);
        while CastCode::from_bits(bits).is_none_or(|c| c.payload()[12..] != code.payload()[12..]) {
            bits = bits.wrapping_add(1 << 25);
        }
        CastCode::from_bits(bits).unwrap()
    };
    assert_eq!(code.differing_group(&other), Some(Group::Second), "{other}");
    assert_eq!(code.differing_group(&code), None);
}

#[test]
fn json_keeps_the_code_and_refuses_a_wrong_one() {
    let code = CastCode::from_bits(0x0123_4567_89AB_CDE3).unwrap();
    let text = serde_json::to_string(&code).unwrap();
    assert_eq!(text, "\"3FKQ-T4YC-5T82-A\"");
    assert_eq!(serde_json::from_str::<CastCode>(&text).unwrap(), code);
    assert!(serde_json::from_str::<CastCode>("\"3FKQ-T4YC-5T82-B\"").is_err());
}
