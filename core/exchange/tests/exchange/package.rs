//! Sealed packages: what a lab, a stranger and an evil file cannot do with them.

use crate::common::{join, memory, store};
use crate::order::{bench, clinic, invented, signed};
use plinthside_exchange::package::lab_path;
use plinthside_exchange::{
    Answer, Devices, ExchangeError, PackInputs, Package, SecretKey, Sender, Target, open, pack,
    read_receipts,
};
use plinthside_visit::{Lang, When};
use std::collections::BTreeMap;
use std::io::{Cursor, Read, Write};

const CODE: &str = "K7Q2-M9TR-B4HX-C";

fn when(text: &str) -> When {
    text.parse().expect("time")
}

fn packed(sender: &Sender, key: &SecretKey, pdf: &[u8], at: &str) -> Package {
    let mut visit = invented();
    signed(&mut visit, 1);
    let (lab, clinic) = (bench(key), clinic());
    pack(&PackInputs {
        visit: &visit,
        order: "o1",
        clinic: &clinic,
        lab: &lab,
        sender,
        order_pdf: pdf,
        bench_pdf: None,
        photographs: &[],
        with_name: false,
        at: when(at),
        lang: Lang::En,
    })
    .expect("pack")
}

const MORNING: &str = "2026-03-09T08:00:00+01:00";
const EVENING: &str = "2026-03-09T18:00:00+01:00";

#[test]
fn an_order_that_was_never_opened_cannot_be_answered() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let a = store(folder.path(), "A");
    let sender = Devices(&a).sender("Tablet A").expect("sender");
    let key = SecretKey::generate();
    let package = packed(&sender, &key, b"%PDF order", MORNING);
    let mut opened = open(&package.bytes, &key).expect("open");
    let put = |(name, bytes): (String, Vec<u8>)| {
        target
            .put(&lab_path("Bench & Sons", &name), &bytes)
            .expect("put");
    };
    let answer = |opened: &plinthside_exchange::Opened| {
        opened
            .receipt(Answer::Accepted, "Bo", "", when(MORNING))
            .expect("receipt")
    };
    put(answer(&opened));
    // The lab knows the practice's key and another order's code; that package it has not opened.
    opened.order.code = "H3XX-0000-0000-A".into();
    put(answer(&opened));
    let read = |code| read_receipts(&target, &sender, "Bench & Sons", code).expect("receipts");
    let (receipts, told) = read(CODE);
    assert_eq!((receipts.len(), told.len()), (1, 0));
    let (receipts, told) = read("H3XX-0000-0000-A");
    assert!(receipts.is_empty());
    assert!(told[0].contains("has not opened the package"), "{told:?}");
}

#[test]
fn a_strangers_package_in_the_clinics_name_is_told_and_replaces_nothing() {
    let folder = tempfile::tempdir().expect("folder");
    let (a, evil) = (
        store(folder.path(), "A"),
        store(folder.path(), "Somebody else"),
    );
    let sender = Devices(&a).sender("Tablet A").expect("sender");
    let other = Devices(&evil).sender("Tablet A").expect("sender");
    let key = SecretKey::generate();
    let bench = folder.path().join("bench");
    let write = |sender: &Sender, pdf: &[u8], at: &str| {
        let package = packed(sender, &key, pdf, at);
        let opened = open(&package.bytes, &key).expect("open");
        opened.write(&bench).expect("write")
    };
    let (genuine, _) = write(&sender, b"%PDF order", MORNING);
    let kept = || std::fs::read(genuine.join("data/order.pdf")).expect("order");
    let (place, told) = write(&other, b"%PDF other", EVENING);
    let told = told.join("\n");
    assert!(
        told.contains("signs with another key than before"),
        "{told}"
    );
    assert!(told.contains("NOT the same"), "{told}");
    assert!(told.contains("sender.json") && told.contains("order.pdf"));
    assert_ne!(place, genuine);
    assert_eq!(kept(), b"%PDF order");
    // The same clinic, the same revision, another paper: kept beside it too.
    let (place, told) = write(&sender, b"%PDF mended", EVENING);
    assert_ne!(place, genuine);
    assert_eq!(kept(), b"%PDF order");
    let told = told.join("\n");
    assert!(
        told.contains("differs in order.fhir.json, order.pdf."),
        "{told}"
    );
    assert!(
        !told.contains("another key"),
        "the first key stays the clinic's"
    );
    // The same order packed again, later: nothing to tell but that.
    let (place, told) = write(&sender, b"%PDF order", EVENING);
    assert_eq!(place, genuine);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].contains("replaced by the same revision"));
}

/// The files in a package, and a package of other files.
fn unsealed(package: &Package, key: &SecretKey) -> BTreeMap<String, Vec<u8>> {
    let text = key.file().expect("key");
    let secret = text.lines().find(|l| l.starts_with("AGE-")).expect("key");
    let identity: age::x25519::Identity = secret.parse().expect("key");
    let bytes = age::decrypt(&identity, &package.bytes).expect("opens");
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).expect("zip");
    let mut files = BTreeMap::new();
    for i in 0..zip.len() {
        let mut file = zip.by_index(i).expect("file");
        let mut content = Vec::new();
        file.read_to_end(&mut content).expect("read");
        files.insert(file.name().expect("name").into_owned(), content);
    }
    files
}

fn sealed(files: &BTreeMap<String, Vec<u8>>, key: &SecretKey) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(name, zip::write::SimpleFileOptions::default())
            .expect("start");
        zip.write_all(bytes).expect("write");
    }
    let bytes = zip.finish().expect("zip").into_inner();
    let to: age::x25519::Recipient = key.public().expect("key").parse().expect("key");
    age::encrypt(&to, &bytes).expect("seal")
}

#[test]
fn a_package_whose_names_lead_elsewhere_is_refused_whole() {
    let folder = tempfile::tempdir().expect("folder");
    let a = store(folder.path(), "A");
    let sender = Devices(&a).sender("Tablet A").expect("sender");
    let key = SecretKey::generate();
    let files = unsealed(&packed(&sender, &key, b"%PDF order", MORNING), &key);
    assert!(open(&sealed(&files, &key), &key).is_ok(), "unchanged");
    let bag = format!("{CODE}-r1");
    for name in [
        format!("{bag}/../../evil"),
        format!("{bag}/data/../../../evil"),
        format!("{bag}/./evil"),
        format!("{bag}//evil"),
        format!("{bag}/data\\..\\..\\evil"),
        format!("{bag}/C:evil"),
        "../evil".into(),
        "/evil".into(),
        "evil".into(),
    ] {
        let mut files = files.clone();
        files.insert(name.clone(), b"written elsewhere".to_vec());
        let refused = open(&sealed(&files, &key), &key);
        let Err(ExchangeError::Package { why }) = refused else {
            panic!("{name} was taken");
        };
        assert!(why.contains("leads elsewhere"), "{name}: {why}");
    }
}

#[test]
fn an_answer_to_a_practice_that_was_left_is_still_read() {
    let (folder, target) = (tempfile::tempdir().expect("folder"), memory());
    let (a, lone) = (store(folder.path(), "A"), store(folder.path(), "Lone"));
    Devices(&a).begin("Tablet A").expect("begin");
    let before = Devices(&lone).sender("Tablet L").expect("sender");
    let key = SecretKey::generate();
    let opened = open(&packed(&before, &key, b"%PDF", MORNING).bytes, &key).expect("open");
    join(&a, &lone, "Tablet L", &target);
    let (name, bytes) = opened
        .receipt(Answer::Accepted, "Bo", "", when(EVENING))
        .expect("receipt");
    target
        .put(&lab_path("Bench & Sons", &name), &bytes)
        .expect("put");
    let sender = Devices(&lone).sender("Tablet L").expect("sender");
    assert_ne!(sender.public(), before.public());
    let (receipts, told) = read_receipts(&target, &sender, "Bench & Sons", CODE).expect("read");
    assert_eq!((receipts.len(), told.len()), (1, 0), "{told:?}");
}
