//! What synchronising costs, as rows of `tests/bench/table.py`: JSON, one a line. `cost history N…`: requests, bytes and seconds of the first and of a
//! steady synchronisation with N visits of history. `cost photographs N FOLDER`: N photographs of
//! 3 MB to a folder, beside `age` and `cp` on the same bytes, and the memory it took. `cost practices N`: N practices of
//! three devices and twenty visits a day in one bucket, over five days.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[allow(dead_code)] // it needs a part of what the tests share
#[path = "../tests/exchange/common/mod.rs"]
mod common;
#[allow(dead_code)] // it needs a part of what the tests share
#[path = "../tests/exchange/sim.rs"]
mod sim;

use common::{store, visit};
use plinthside_exchange::{Devices, Memory, Report, Sync, TargetSpec, connect, sync};
use serde_json::json;
use sim::Device;
use std::path::Path;
use std::process::Command;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

/// Synchronisations that tidy up after a long run, and those whose medians are the steady cost.
const TIDYING: usize = 15;
const STEADY: usize = 61;

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |text: &String| text.parse::<usize>().expect("number");
    match arguments[0].as_str() {
        "history" => arguments[1..].iter().for_each(|n| history(number(n))),
        "photographs" => photographs(number(&arguments[1]), Path::new(&arguments[2])),
        _ => practices(number(&arguments[1])),
    }
}

fn row(what: &str, unit: &str, ours: f64) {
    println!("{}", json!({"what": what, "unit": unit, "ours": ours}));
}

/// Medians of requests, bytes and seconds.
fn rows(what: &str, runs: &[(f64, Report)]) {
    let median = |of: &dyn Fn(&(f64, Report)) -> f64| {
        let mut all: Vec<f64> = runs.iter().map(of).collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    };
    row(what, "requests", median(&|(_, r)| r.requests as f64));
    let kb = |(_, r): &(f64, Report)| (r.bytes_sent + r.bytes_received) as f64 / 1e3;
    row(what, "kB", median(&kb));
    row(what, "ms", median(&|(seconds, _)| 1e3 * seconds));
}

fn history(n: usize) {
    let folder = tempfile::tempdir().expect("folder");
    let target = Memory::default();
    let (a, b) = common::pair(folder.path(), &target);
    let visits: Vec<_> = (0..n)
        .map(|i| {
            (
                format!("h{i}"),
                visit(&format!("h{i}"), "trips when tired", &[]),
            )
        })
        .collect();
    a.lock()
        .expect("lock")
        .import_all(
            "visit",
            visits.iter().map(|(id, v)| (id.as_str(), v)),
            "Ada",
        )
        .expect("import");
    let timed = |device: &std::sync::Mutex<plinthside_store::Store>| {
        let start = Instant::now();
        let report = common::run(device, &target);
        (start.elapsed().as_secs_f64(), report)
    };
    rows(&format!("{n} visits: first, sending"), &[timed(&a)]);
    rows(&format!("{n} visits: first, receiving"), &[timed(&b)]);
    let (mut sent, mut received) = (Vec::new(), Vec::new());
    for i in 0..TIDYING + STEADY {
        common::add(&a, &format!("new{i}"), "one new visit", &[]);
        sent.push(timed(&a));
        received.push(timed(&b));
    }
    let (sent, received) = (&sent[TIDYING..], &received[TIDYING..]);
    rows(&format!("{n} visits: one new, sending"), sent);
    rows(&format!("{n} visits: one new, receiving"), received);
    let nothing: Vec<_> = (0..STEADY).map(|_| timed(&a)).collect();
    rows(&format!("{n} visits: nothing new"), &nothing);
}

/// The same bytes, from one disk to the same disk, each file on it before the next counts as done.
fn photographs(n: usize, at: &Path) {
    let folder = tempfile::tempdir_in(at).expect("folder");
    let at = folder.path();
    let a = store(at, "A");
    Devices(&a).begin("A").expect("begin");
    for i in 0..n as u64 {
        let mut x = i + 1;
        let photo: Vec<u8> = (0..3_000_000)
            .map(|_| {
                x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (x >> 56) as u8
            })
            .collect();
        common::add(&a, &format!("v{i}"), "x", &[photo.as_slice()]);
        std::fs::write(at.join(format!("plain-{i}")), photo).expect("write");
    }
    let before = peak_kib();
    let (mut ours, mut each, mut once) = (f64::MAX, f64::MAX, f64::MAX);
    let mut mb = 0.0;
    for round in 0..5 {
        let place = at.join(format!("target-{round}"));
        std::fs::create_dir(&place).expect("folder");
        let address = place.display().to_string();
        let target = connect(&TargetSpec::new("", &address)).expect("connect");
        let start = Instant::now();
        let report = sync(
            &a,
            &*target,
            Sync {
                address: &address,
                cancel: &AtomicBool::new(false),
                progress: &mut |_| {},
                photographs: true,
            },
        )
        .expect("sync");
        ours = ours.min(start.elapsed().as_secs_f64());
        assert_eq!(report.photos_sent, n as u64);
        mb = report.bytes_sent as f64 / 1e6;
        std::fs::remove_dir_all(&place).expect("remove");
        each = each.min(age_and_cp(n, at, true));
        once = once.min(age_and_cp(n, at, false));
    }
    for (what, seconds) in [("each file synced", each), ("one sync at the end", once)] {
        let row = json!({
            "what": format!("{n} of 3 MB, best of five in turn; {what}"), "unit": "s", "ours": ours,
            "beside": seconds, "reference": format!("age, cp and sync on the same {mb:.0} MB"), "aim": "<= 2 x",
        });
        println!("{row}");
    }
    let peak = peak_kib();
    let memory = json!({
        "what": "peak memory", "unit": "MB", "ours": peak as f64 / 1e3, "beside": before as f64 / 1e3,
        "reference": "before synchronising", "aim": "<= 100",
    });
    println!("{memory}");
    assert!(peak < 100_000, "more memory than the limit");
}

/// Seconds of `age`, `cp` and `sync` on the same files.
fn age_and_cp(n: usize, at: &Path, each: bool) -> f64 {
    const RECIPIENT: &str = "age1ql3z7hjy54pw3hyww5ayyfg7zqgvc7w3j2elw8zmrj2kg5sfn9aqmcac8p";
    let (sealed, copied) = (at.join("sealed"), at.join("copied"));
    for folder in [&sealed, &copied] {
        std::fs::create_dir(folder).expect("folder");
    }
    let run = |command: &mut Command| {
        let done = command.status();
        assert!(done.is_ok_and(|status| status.success()), "{command:?}");
    };
    let start = Instant::now();
    for i in 0..n {
        let (plain, sealed) = (at.join(format!("plain-{i}")), sealed.join(i.to_string()));
        let copied = copied.join(i.to_string());
        run(Command::new("age")
            .args(["-r", RECIPIENT, "-o"])
            .arg(&sealed)
            .arg(plain));
        run(Command::new("cp").arg(&sealed).arg(&copied));
        if each {
            run(Command::new("sync").arg(&copied));
        }
    }
    if !each {
        run(Command::new("sync").args((0..n).map(|i| copied.join(i.to_string()))));
    }
    let seconds = start.elapsed().as_secs_f64();
    for folder in [&sealed, &copied] {
        std::fs::remove_dir_all(folder).expect("remove");
    }
    seconds
}

fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    line.and_then(|line| line.split_whitespace().nth(1)?.parse().ok())
        .unwrap_or(0)
}

/// The production protocol over one shared bucket; devices in memory.
fn practices(n: usize) {
    let bucket = Memory::default();
    let never = AtomicBool::new(false);
    let go = |device: &Device| {
        sync(
            device,
            &bucket,
            Sync {
                address: "bucket",
                cancel: &never,
                progress: &mut |_| {},
                photographs: true,
            },
        )
        .expect("sync")
    };
    let mut all = Vec::new();
    for p in 0..n as u32 {
        let devices: Vec<Device> = (0..3).map(|d| Device::new(p * 3 + d)).collect();
        Devices(&devices[0]).begin("D0").expect("begin");
        for device in &devices[1..] {
            let code = Devices(&devices[0]).invite(&bucket).expect("invite");
            Devices(device)
                .join(&bucket, &code.text, "D")
                .expect("join");
            go(&devices[0]);
        }
        all.push(devices);
    }
    for day in 1..=5_u32 {
        let (mut syncs, mut requests, mut bytes) = (0_u64, 0_u64, 0_u64);
        for devices in &all {
            for visit in 0..20_u32 {
                let device = &devices[(visit % 3) as usize];
                device.edit(&format!("d{day}v{visit}"), visit);
                let report = go(device);
                syncs += 1;
                requests += report.requests;
                bytes += report.bytes_sent + report.bytes_received;
            }
        }
        let day = format!("{n} practices, day {day}, {} files", bucket.files().len());
        row(&day, "requests a sync", requests as f64 / syncs as f64);
        row(&day, "kB a sync", bytes as f64 / 1e3 / syncs as f64);
    }
}
