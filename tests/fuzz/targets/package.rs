//! A package that opens with the lab's key and is not what it should be inside.
#![no_main]

use age::secrecy::ExposeSecret;
use libfuzzer_sys::fuzz_target;
use plinthside_exchange::{SecretKey, open};
use std::io::{Cursor, Write};
use std::sync::LazyLock;

static IDENTITY: LazyLock<age::x25519::Identity> = LazyLock::new(age::x25519::Identity::generate);
static KEY: LazyLock<SecretKey> = LazyLock::new(|| {
    SecretKey::read(IDENTITY.to_string().expose_secret()).expect("a key")
});

/// The names in a bag that are looked at.
const NAMES: [&str; 6] = [
    "bagit.txt",
    "manifest-sha256.txt",
    "tagmanifest-sha256.txt",
    "data/order.json",
    "data/order.fhir.json",
    "data/../up",
];

fuzz_target!(|input: (bool, Vec<(u8, Vec<u8>)>)| {
    let (raw, files) = input;
    let mut zip = Vec::new();
    if raw {
        zip = files.into_iter().flat_map(|(_, bytes)| bytes).collect();
    } else {
        let mut writer = zip::ZipWriter::new(Cursor::new(&mut zip));
        for (name, bytes) in files {
            let name = format!("x/{}", NAMES[usize::from(name) % NAMES.len()]);
            let options = zip::write::SimpleFileOptions::default();
            if writer.start_file(name, options).is_ok() {
                writer.write_all(&bytes).expect("in memory");
            }
        }
        writer.finish().expect("in memory");
    }
    let sealed = age::encrypt(&IDENTITY.to_public(), &zip).expect("sealed");
    let _ = open(&sealed, &KEY);
});
