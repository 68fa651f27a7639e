//! Labels bound, void and proven, print jobs and printers, mats by printer: from the command line,
//! with the demonstration's store.
#![allow(clippy::unwrap_used, clippy::expect_used)] // helpers of tests, not only #[test] functions

mod support;

use plinthside::lent::far_store;
use plinthside::photographs::{Look, Source, look_through};
use plinthside::records::Place;
use plinthside::{labels, sources};
use plinthside_paper::CastCode;
use plinthside_paper::qr::FoundCode;
use plinthside_print::{Images, PrintDocument, Stage, Wait};
use plinthside_store::{Kdf, Options, Store};
use serde_json::Value;
use std::fs;
use std::process::Output;
use support::{DemoCopy, demonstration, done, plinthside, refusal};
use tempfile::TempDir;

/// Labels printed ahead, as their codes read on the sheet.
fn printed_ahead(clinic: &DemoCopy, count: u32) -> Vec<String> {
    let sheet = clinic.path("sheet.png");
    let sheet = sheet.to_str().unwrap();
    done(&clinic.run(&[
        "labels",
        "-n",
        &count.to_string(),
        "--by",
        "Ada",
        "--out",
        sheet,
    ]));
    let read: Value =
        serde_json::from_str(&done(&plinthside(["code", "read", sheet, "--json"]))).unwrap();
    let codes = read["codes"].as_array().unwrap().iter();
    codes
        .map(|code| code["text"].as_str().unwrap().to_owned())
        .collect()
}

fn state(clinic: &DemoCopy, code: &str) -> String {
    clinic.json(&["code", "state", code])["state"]["state"]
        .as_str()
        .unwrap()
        .to_owned()
}

const LEFT: &str = "7R3K-M2XD-9TQ4-7";

#[test]
fn a_label_printed_ahead_is_free_then_bound_then_void() {
    let clinic = DemoCopy::new();
    let codes = printed_ahead(&clinic, 2);
    assert_eq!(codes.len(), 2);
    assert!(codes.iter().all(|code| state(&clinic, code) == "unbound"));

    // The cast has a label, which stops another until it is void.
    let said = refusal(&clinic.run(&["code", "bind", "demo-left", &codes[0]]));
    assert!(said.contains(LEFT) && said.contains("void"), "{said}");
    let said = done(&clinic.run(&["code", "void", LEFT, "--why", "wet and torn", "--by", "Bo"]));
    assert!(said.contains("demo-left"), "{said}");
    let spelled = codes[0].to_lowercase();
    let said = done(&clinic.run(&["code", "bind", "demo-left", &spelled, "--by", "Bo"]));
    assert!(said.contains("bound to the left cast"), "{said}");
    let visit = clinic.json(&["show", "demo-left"]);
    let shown = visit["casts"][0]["code"].as_str().unwrap().replace('-', "");
    assert_eq!(shown, codes[0]);
    let said = done(&clinic.run(&["code", "bind", "demo-left", &codes[0]]));
    assert!(said.contains("already"), "{said}");

    // Hard stops: another visit, a void label, the other side.
    done(&clinic.run(&[
        "code",
        "void",
        &clinic_code(&clinic, "demo-right"),
        "--why",
        "lost",
    ]));
    let said = refusal(&clinic.run(&["code", "bind", "demo-right", &codes[0]]));
    assert!(said.contains("demo-left"), "{said}");
    let said = refusal(&clinic.run(&["code", "bind", "demo-right", LEFT]));
    assert!(said.contains("void"), "{said}");
    let said = refusal(&clinic.run(&["code", "bind", "demo-left", &codes[1], "--side", "right"]));
    assert!(said.contains("right"), "{said}");
    assert_eq!(
        state(&clinic, &codes[1]),
        "unbound",
        "what was refused binds nothing"
    );

    // One swapped pair of symbols is never taken for another label.
    let mut swapped: Vec<char> = codes[1].chars().collect();
    let at = (0..11).find(|&i| swapped[i] != swapped[i + 1]).unwrap();
    swapped.swap(at, at + 1);
    let swapped: String = swapped.into_iter().collect();
    assert!(refusal(&clinic.run(&["code", "bind", "demo-right", &swapped])).contains("check"));
    // A wrong symbol in a label that was printed here: its group is known, whatever the symbol.
    let mut wrong: Vec<char> = codes[1].chars().collect();
    wrong[5] = if wrong[5] == 'Q' { 'R' } else { 'Q' };
    let wrong: String = wrong.into_iter().collect();
    let said = refusal(&clinic.run(&["code", "bind", "demo-right", &wrong]));
    assert!(said.contains("look at the second group"), "{said}");

    let history = clinic.json(&["code", "state", &codes[0]]);
    let history = history["history"].as_array().unwrap();
    let acts: Vec<&str> = history
        .iter()
        .map(|e| e["what"].as_str().unwrap())
        .collect();
    assert_eq!(acts, ["printed", "bound"]);
    assert_eq!(
        (history[1]["by"].as_str(), history[1]["note"].as_str()),
        (Some("Bo"), Some("typing"))
    );
}

fn clinic_code(clinic: &DemoCopy, visit: &str) -> String {
    clinic.json(&["show", visit])["casts"][0]["code"]
        .as_str()
        .unwrap()
        .to_owned()
}

#[test]
fn a_packed_bag_is_proven_by_a_photograph_of_its_label() {
    let clinic = DemoCopy::new();
    let photo = |side: &str| demonstration().join(format!("{side}-label.png"));
    let (left, right) = (photo("left"), photo("right"));
    let (left, right) = (left.to_str().unwrap(), right.to_str().unwrap());
    let said = done(&clinic.run(&["code", "prove", left, right, "--by", "Cy"]));
    assert!(
        said.contains("left side") && said.contains("right side") && !said.contains("WRONG"),
        "{said}"
    );
    let said = done(&clinic.run(&["code", "prove", left, "--visit", "demo-left", "--by", "Cy"]));
    assert!(said.contains("right. "), "{said}");

    let output = clinic.run(&["code", "prove", right, "--visit", "demo-left", "--by", "Cy"]);
    refusal(&output);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        said.contains("WRONG") && said.contains("another order") && said.contains("stop"),
        "{said}"
    );

    // Right and wrong alike are kept with person and time.
    let proofs = |code: &str| {
        let state = clinic.json(&["code", "state", code]);
        let events = state["history"].as_array().unwrap().clone();
        events
            .into_iter()
            .filter(|e| e["what"] == "proved")
            .collect::<Vec<_>>()
    };
    let of_left = proofs(LEFT);
    assert_eq!(of_left.len(), 2);
    assert!(
        of_left
            .iter()
            .all(|e| e["by"] == "Cy" && e["at_ms"].as_i64().unwrap() > 0 && e["note"] == "")
    );
    assert!(
        !proofs(&clinic_code(&clinic, "demo-right"))[1]["note"]
            .as_str()
            .unwrap()
            .is_empty()
    );

    // A picture without a label, and one with two, prove nothing.
    let nothing = clinic.path("demo.png");
    done(&plinthside([
        "mat".as_ref(),
        "--paper".as_ref(),
        "a4".as_ref(),
        "--out".as_ref(),
        nothing.as_os_str(),
    ]));
    let said = refusal(&clinic.run(&["code", "prove", nothing.to_str().unwrap()]));
    assert!(said.contains("no label could be read"), "{said}");
    printed_ahead(&clinic, 3);
    let sheet = clinic.path("sheet.png");
    let said = refusal(&clinic.run(&["code", "prove", sheet.to_str().unwrap()]));
    assert!(said.contains("several labels"), "{said}");
}

/// The label lying on the mat ties the photographs of a cast to its visit.
#[test]
fn photographs_with_another_visits_label_are_refused() {
    let clinic = DemoCopy::new();
    let (store, passphrase) = (clinic.path("demo.store"), clinic.path("passphrase.txt"));
    let mut records = Place::new(Some(store), Some(passphrase))
        .unwrap()
        .open()
        .unwrap();
    let cast_of = |records: &mut plinthside::records::Records, visit: &str| {
        records.visit(visit).unwrap().value.casts[0].clone()
    };
    let (left, right) = (
        cast_of(&mut records, "demo-left"),
        cast_of(&mut records, "demo-right"),
    );
    let photographs: Vec<Source> = left
        .sources
        .photographs
        .iter()
        .map(|photo| Source::Bytes {
            name: photo.id.clone(),
            bytes: sources::bytes_of(&mut records, photo).unwrap().into(),
        })
        .collect();
    let look = Look {
        codes: true,
        ..Look::default()
    };
    let found = look_through(&photographs[..1], look).unwrap();
    let codes: Vec<CastCode> = found[0].codes.iter().filter_map(FoundCode::cast).collect();
    let seen = labels::seen_beside("left-1.jpg", &codes, None).unwrap();
    assert_eq!(seen.unwrap().to_string(), LEFT);
    let right: CastCode = right.code.unwrap().parse().unwrap();
    let said = labels::seen_beside("left-1.jpg", &codes, Some(right))
        .unwrap_err()
        .to_string();
    assert!(
        said.contains("left-1.jpg")
            && said.contains(LEFT)
            && said.contains(&format!("not {right}"))
            && said.contains("another cast"),
        "{said}"
    );
}

/// The first label seen is the cast's own; any other is named, beside it too.
#[test]
fn photographs_with_two_labels_among_them_are_refused() {
    let (one, other) = (CastCode::mint().unwrap(), CastCode::mint().unwrap());
    let refused = |codes: &[CastCode], own| {
        let refusal = labels::seen_beside("b", codes, own).unwrap_err();
        refusal.to_string()
    };
    assert_eq!(labels::seen_beside("a", &[one], None).unwrap(), Some(one));
    let said = refused(&[other], Some(one));
    assert!(said.starts_with("b shows the label"), "{said}");
    assert!(said.contains("another cast"), "{said}");
    // Beside its own label in one picture, or beside the first of all: not overlooked.
    assert!(refused(&[one, other], Some(one)).contains(&other.to_string()));
    assert!(refused(&[one, other], None).contains(&other.to_string()));
    assert_eq!(labels::seen_beside("c", &[], Some(one)).unwrap(), Some(one));
}

/// Where nothing prints over IPP: the file is written and handed to the system.
#[cfg(target_os = "linux")]
#[test]
fn a_paper_is_written_and_handed_to_the_system() {
    use std::os::unix::fs::PermissionsExt;
    let clinic = DemoCopy::new();
    let (tools, told, pdf) = (
        clinic.path("tools"),
        clinic.path("told"),
        clinic.path("label.pdf"),
    );
    fs::create_dir(&tools).unwrap();
    let tool = tools.join("xdg-open");
    fs::write(
        &tool,
        format!("#!/bin/sh\necho \"$1\" >'{}'\n", told.display()),
    )
    .unwrap();
    fs::set_permissions(&tool, fs::Permissions::from_mode(0o755)).unwrap();
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_plinthside"))
        .args(["label", "demo-left", "--open", "--out"])
        .arg(&pdf)
        .arg("--store")
        .arg(clinic.path("demo.store"))
        .arg("--passphrase-file")
        .arg(clinic.path("passphrase.txt"))
        .env("PATH", format!("{}:/usr/bin:/bin", tools.display()))
        .output()
        .unwrap();
    done(&output);
    assert!(fs::read(&pdf).unwrap().starts_with(b"%PDF-"));
    let start = std::time::Instant::now();
    while !told.exists() || fs::read_to_string(&told).unwrap().is_empty() {
        assert!(
            start.elapsed() < std::time::Duration::from_secs(20),
            "the system was told nothing"
        );
        std::thread::sleep(std::time::Duration::from_millis(20));
    }
    assert_eq!(
        fs::read_to_string(&told).unwrap().trim_end(),
        pdf.to_str().unwrap()
    );
}

#[test]
fn jobs_wait_in_the_store_and_say_for_what() {
    let clinic = DemoCopy::new();
    // Nobody listens there: a port that was free a moment ago.
    let port = std::net::TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap()
        .port();
    let address = format!("ipp://127.0.0.1:{port}/ipp/print");
    done(&clinic.run(&[
        "print", "add", "Labels", &address, "--dpi", "203", "--label", "62x100",
    ]));
    let printers = clinic.json(&["print", "printers"]);
    assert_eq!(
        (printers[0]["name"].as_str(), printers[0]["dpi"].as_u64()),
        (Some("Labels"), Some(203))
    );

    let pdf = demonstration().join("left-order.pdf");
    let pdf = pdf.to_str().unwrap();
    done(&clinic.run(&[
        "print",
        pdf,
        "--to",
        "labels",
        "--copies",
        "2",
        "--no-wait",
        "--by",
        "Ada",
    ]));
    let jobs = clinic.json(&["print", "jobs"]);
    let job = &jobs[0];
    let id = job["id"].as_str().unwrap().to_owned();
    assert_eq!(
        (job["stage"]["at"].as_str(), job["copies"].as_u64()),
        (Some("queued"), Some(2))
    );
    assert_eq!(
        (job["by"].as_str(), job["printer"].as_str()),
        (Some("Ada"), Some(address.as_str()))
    );

    let said = refusal(&clinic.run(&["print", "resume"]));
    assert!(
        said.contains("does not answer") && said.contains("kept"),
        "{said}"
    );
    let jobs = clinic.json(&["print", "jobs"]);
    assert_eq!(jobs[0]["waits_for"]["for"], "network");
    // The papers lie in the encrypted store and nowhere else.
    let store = fs::read(clinic.path("demo.store")).unwrap();
    assert!(!store.windows(5).any(|w| w == b"%PDF-"));

    assert!(refusal(&clinic.run(&["print", "again", &id])).contains("cannot be printed again"));
    done(&clinic.run(&["print", "cancel", &id]));
    assert_eq!(
        clinic.json(&["print", "jobs"])[0]["stage"]["at"],
        "cancelled"
    );
    assert!(refusal(&clinic.run(&["print", "cancel", "none"])).contains("no print job"));

    for (file, words) in [
        ("passphrase.txt", "neither a PDF nor a PNG"),
        ("gone.pdf", "gone.pdf"),
    ] {
        let file = clinic.path(file);
        let said = refusal(&clinic.run(&["print", file.to_str().unwrap(), "--to", "labels"]));
        assert!(said.contains(words), "{said}");
    }
    let said = refusal(&clinic.run(&["print", pdf, "--to", "usb://x"]));
    assert!(said.contains("not a printer's address"), "{said}");
    done(&clinic.run(&["print", "remove", "Labels"]));
    assert!(refusal(&clinic.run(&["print", "remove", "Labels"])).contains("no printer called"));
}

#[test]
fn a_folder_can_hold_jobs_where_there_is_no_store() {
    let folder = TempDir::new().unwrap();
    let queue = folder.path().join("queue");
    let queue = queue.to_str().unwrap();
    let png = demonstration().join("left-label.png");
    let png = png.to_str().unwrap();
    let add = [
        "print",
        png,
        "--to",
        "ipp://127.0.0.1:9/ipp/print",
        "--no-wait",
        "--queue",
        queue,
        "--json",
    ];
    let jobs: Value = serde_json::from_str(&done(&plinthside(add))).unwrap();
    assert_eq!(jobs[0]["title"], "left-label.png");
    let again = done(&plinthside(["print", "jobs", "--queue", queue]));
    assert!(again.contains("left-label.png"), "{again}");
}

#[test]
fn check_bars_are_kept_by_printer_and_used() {
    let clinic = DemoCopy::new();
    let (mat, layout) = (clinic.path("mat.pdf"), clinic.path("mat.json"));
    let (mat, layout) = (mat.to_str().unwrap(), layout.to_str().unwrap());
    let said = |output: &Output| {
        done(output);
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    let print = [
        "mat",
        "--paper",
        "a4",
        "--printer",
        "Office",
        "--out",
        mat,
        "--layout",
        layout,
    ];
    let reminder = said(&clinic.run(&print));
    assert!(reminder.contains("have not been measured"), "{reminder}");
    let nominal = |key: &str| {
        done(&clinic.run(&[
            "mat",
            "--paper",
            "a4",
            "--printer",
            "Office",
            "--measured",
            "200",
            "120",
            "--layout",
            layout,
        ]));
        let file: Value = serde_json::from_str(&fs::read_to_string(layout).unwrap()).unwrap();
        file["printed"][key][0].as_f64().unwrap()
    };
    let (across, along) = (nominal("across_mm"), nominal("along_mm"));
    let enter = |printer: &str, scale: f64| {
        let bars = [across * scale, along * scale].map(|v| format!("{v:.2}"));
        said(&clinic.run(&[
            "mat",
            "--paper",
            "a4",
            "--printer",
            printer,
            "--measured",
            &bars[0],
            &bars[1],
        ]))
    };
    let kept = enter("Office", 0.998);
    assert!(!kept.contains("Caution"), "{kept}");
    // What fitting A4 to the part that a printer reaches does.
    let fitted = enter("Old", 0.96);
    assert!(
        fitted.contains("fit to page") && fitted.contains("96.0 %"),
        "{fitted}"
    );

    let reminder = said(&clinic.run(&print));
    assert!(
        reminder
            .contains("Measure them again if the paper or anything about the printer has changed"),
        "{reminder}"
    );
    let file: Value = serde_json::from_str(&fs::read_to_string(layout).unwrap()).unwrap();
    let measured = file["printed"]["across_mm"][1].as_f64().unwrap();
    assert!((measured - across * 0.998).abs() < 0.01, "{measured}");
    let other = ["mat", "--paper", "a4", "--printer", "New", "--out", mat];
    let reminder = said(&clinic.run(&other));
    assert!(
        reminder.contains("printer or paper has changed"),
        "{reminder}"
    );
    let wrong = clinic.run(&[
        "mat",
        "--paper",
        "a4",
        "--printer",
        "Office",
        "--measured",
        "20",
        "12",
    ]);
    assert!(refusal(&wrong).contains("measure it again"), "{wrong:?}");
}

/// A thread without the store prints through the one that has it: every step is on the disk before
/// the next, and a closed store stops it.
#[test]
fn a_thread_without_the_store_keeps_its_jobs_in_it() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("store");
    let cheap = Kdf::LEAST;
    let phrase = "a passphrase for tests";
    let mut store = Store::create(&path, phrase, Options::new("Tablet").kdf(cheap)).unwrap();
    let (nudge, nudged) = std::sync::mpsc::channel();
    let (far, keeper) = far_store(move || {
        let _ = nudge.send(());
    });
    let page = PrintDocument {
        title: "Label".into(),
        page_mm: [62.0, 100.0],
        pdf: Some(b"%PDF-1.7".to_vec()),
        images: vec![Images {
            dpi: 203.2,
            pages: vec![vec![1, 2, 3]],
        }],
    };
    let worker = std::thread::spawn(move || {
        let mut queue = plinthside::printing::queue(far).unwrap();
        let nowhere = "ipp://127.0.0.1:9/ipp/print".parse().unwrap();
        let id = queue.add(&page, &nowhere, 1, "Ada", 1).unwrap();
        queue.advance(2).unwrap();
        (queue, id)
    });
    while !worker.is_finished() {
        if nudged
            .recv_timeout(std::time::Duration::from_millis(20))
            .is_ok()
        {
            keeper.answer(&mut store);
        }
    }
    let (mut queue, id) = worker.join().unwrap();
    drop((store, keeper));
    let closed = queue.cancel(&id, 3).unwrap_err().to_string();
    assert!(closed.contains("closed"), "{closed}");

    let store = std::sync::Mutex::new(Store::open(&path, phrase, Options::new("Tablet")).unwrap());
    let again = plinthside::printing::queue(store).unwrap();
    let job = again.job(&id).expect("kept");
    assert_eq!(job.stage, Stage::Queued, "what was refused changed nothing");
    assert!(matches!(job.waits_for, Some(Wait::Network { .. })));
}
