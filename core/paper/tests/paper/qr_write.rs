use plinthside_paper::CastCode;
use plinthside_paper::qr::cast_symbol;
use plinthside_paper::qr::write::module_mm;
use qrcode::bits::Bits;
use qrcode::ec::construct_codewords;
use qrcode::{EcLevel, Version};

/// ISO/IEC 18004 Annex I: "01234567" as 1-M.
#[test]
fn the_standards_worked_symbol_is_encoded_alike() {
    let mut bits = Bits::new(Version::Normal(1));
    bits.push_numeric_data(b"01234567").unwrap();
    bits.push_terminator(EcLevel::M).unwrap();
    let data = bits.into_bytes();
    assert_eq!(
        data,
        [
            0x10, 0x20, 0x0C, 0x56, 0x61, 0x80, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11, 0xEC, 0x11,
            0xEC, 0x11
        ]
    );
    let (_, ec) = construct_codewords(&data, Version::Normal(1), EcLevel::M).unwrap();
    assert_eq!(
        ec,
        [0xA5, 0x24, 0xD4, 0xC1, 0xED, 0x36, 0xC7, 0x87, 0x2C, 0x55]
    );
}

/// The much published example "HELLO WORLD" as 1-Q (from memory).
#[test]
fn the_much_published_symbol_is_encoded_alike() {
    let mut bits = Bits::new(Version::Normal(1));
    bits.push_alphanumeric_data(b"HELLO WORLD").unwrap();
    bits.push_terminator(EcLevel::Q).unwrap();
    let data = bits.into_bytes();
    assert_eq!(
        data,
        [
            0x20, 0x5B, 0x0B, 0x78, 0xD1, 0x72, 0xDC, 0x4D, 0x43, 0x40, 0xEC, 0x11, 0xEC
        ]
    );
    let (_, ec) = construct_codewords(&data, Version::Normal(1), EcLevel::Q).unwrap();
    assert_eq!(
        ec,
        [
            0xA8, 0x48, 0x16, 0x52, 0xD9, 0x36, 0x9C, 0x00, 0x2E, 0x0F, 0xB4, 0x7A, 0x10
        ]
    );
}

#[test]
fn ours_is_version_2_level_h() {
    for bits in 0..400 {
        let Some(code) = CastCode::from_bits(bits * 0x1234_5678_9ABC_DEF1) else {
            continue;
        };
        let symbol = cast_symbol(code).unwrap();
        assert_eq!(symbol.size, 25);
        // ISO/IEC 18004, 7.9.1: the first two format bits under the mask 101010000010010 are 10
        // for level H, so the modules at (0, 8) and (1, 8) read 00 there: (1 xor 1, 0 xor 0).
        assert!(!symbol.rows[8][0] && !symbol.rows[8][1]);
        let dark: usize = symbol.runs().map(|(_, _, n)| n).sum();
        assert_eq!(dark, symbol.rows.iter().flatten().filter(|d| **d).count());
        for (x, y, n) in symbol.runs() {
            assert!((x..x + n).all(|x| symbol.rows[y][x]));
        }
    }
}

#[test]
fn modules_are_whole_dots_of_half_a_millimetre_or_more() {
    for (dots_per_mm, room) in [
        (8.0, 16.5),
        (8.0, 25.0),
        (300.0 / 25.4, 20.7),
        (600.0 / 25.4, 22.4),
    ] {
        let module = module_mm(25, room, dots_per_mm).unwrap();
        let dots = module * dots_per_mm;
        assert!(
            (dots - dots.round()).abs() < 1e-9 && module >= 0.5 - 1e-9,
            "{module}"
        );
        assert!(module * 33.0 <= room + 1e-6 && (module + 1.0 / dots_per_mm) * 33.0 > room);
    }
    assert_eq!(
        module_mm(25, 16.0, 8.0),
        None,
        "too small for half a millimetre"
    );
    assert_eq!(module_mm(25, 30.0, 1.0), None, "printer too coarse");
    assert_eq!(module_mm(25, f64::NAN, 8.0), None);
}
