//! The store beside the bare engine, in one run, as rows of `tests/bench/table.py`: JSON, one a line.
//!
//! ```text
//! cargo run --release -p plinthside-store --example speed -- [VISITS] [FOLDER]
//! ```
//!
//! VISITS is 100 000 where not given. The bare engine is SQLCipher with the same key, page size,
//! write-ahead log and `synchronous = FULL`. An entry is compared twice with a transaction that
//! inserts the same row: as the engine does it, and in a log that was lengthened first as the store
//! lengthens its own, which leaves what the store itself adds. The visits are invented.
#![allow(clippy::expect_used, clippy::unwrap_used)]

mod visits;

use plinthside_store::{Filter, Kdf, Opened, Options, Store, VISIT};
use plinthside_visit::Visit;
use rusqlite::{Connection, params};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use visits::{Dice, invented};

const PASSPHRASE: &str = "a passphrase for the benchmark";
const CHEAP: Kdf = Kdf {
    memory_kib: 64,
    passes: 1,
    lanes: 1,
};

fn options() -> Options {
    Options::new("benchmark").kdf(CHEAP)
}

fn percentile(times: &mut [Duration], p: f64) -> Duration {
    times.sort();
    times[((times.len() - 1) as f64 * p).round() as usize]
}

fn ms(t: Duration) -> f64 {
    t.as_secs_f64() * 1e3
}

fn alone(what: &str, value: f64, unit: &str, aim: &str) {
    println!(
        "{}",
        json!({"what": what, "unit": unit, "ours": value, "aim": aim})
    );
}

fn beside(what: &str, ours: Duration, theirs: Duration, aim: &str) {
    println!(
        "{}",
        json!({"what": what, "unit": "ms", "ours": ms(ours), "beside": ms(theirs),
            "reference": "SQLCipher alone", "aim": aim})
    );
}

/// A line of `/proc/self/status`, in MiB; 0 where there is none.
fn memory_mib(field: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status
        .lines()
        .find_map(|l| l.strip_prefix(field))
        .unwrap_or("");
    line.trim_start_matches(':')
        .split_whitespace()
        .next()
        .and_then(|n| n.parse::<f64>().ok())
        .unwrap_or(0.0)
        / 1024.0
}

fn size(path: &Path) -> u64 {
    ["", "-wal"]
        .iter()
        .filter_map(|s| std::fs::metadata(format!("{}{s}", path.display())).ok())
        .map(|m| m.len())
        .sum()
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let visits: usize = arguments
        .next()
        .map_or(100_000, |n| n.parse().expect("number of visits"));
    let folder = arguments
        .next()
        .map_or_else(std::env::temp_dir, PathBuf::from)
        .join(format!("plinthside-speed-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("folder");
    photograph(&folder.join("photograph"));
    entries(&folder.join("entries"));
    many(&folder.join("many"), visits);
    long(&folder.join("long"));
    std::fs::remove_dir_all(&folder).expect("remove");
}

fn bare(path: &Path, key: &str) -> Connection {
    let conn = Connection::open(path).expect("open");
    conn.execute_batch(&format!("PRAGMA key = \"x'{key}'\"; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA cache_size = -16384;")).expect("key");
    conn.execute_batch("CREATE TABLE IF NOT EXISTS t(k INTEGER PRIMARY KEY, bytes BLOB)")
        .expect("table");
    conn
}

/// Storing a large photograph and reading it back, a piece at a time.
fn photograph(path: &Path) {
    const MIB: u64 = 96;
    let source = path.with_extension("jpg");
    let mut bytes = std::io::repeat(0xd8).take(MIB << 20);
    let mut file = File::create(&source).expect("photograph");
    std::io::copy(&mut bytes, &mut file).expect("photograph");
    let mut store = Store::create(path, PASSPHRASE, options()).expect("create");
    let before = memory_mib("VmHWM");
    let mut file = File::open(&source).expect("photograph");
    let photo = store.add_photo(&mut file).expect("add");
    store
        .export_photo(&photo.sha256, &mut std::io::sink())
        .expect("export");
    alone(
        &format!("memory added by storing and reading one of {MIB} MiB"),
        memory_mib("VmHWM") - before,
        "MiB",
        "",
    );
}

/// Saving one entry of a visit, against inserting the same row, turn and turn about: as the program
/// does it, from its own types, and from JSON. Four times each in turn, in new stores, since one turn
/// differs from the next by more than the forms do.
fn entries(path: &Path) {
    const ROUNDS: usize = 4;
    let json = invented(0, &mut Dice(1));
    let visit: Visit = serde_json::from_value(json.clone()).expect("visit");
    let mut forms = [("", Times::default()), (" from JSON", Times::default())];
    for round in 0..ROUNDS {
        let folder = path.join(round.to_string());
        std::fs::create_dir_all(&folder).expect("folder");
        let typed = one_by_one(&folder.join("typed"), &visit, |visit, i| {
            visit.readings[i % 12].repeats[0] = (i as f64 + 0.5).into();
        });
        let from_json = one_by_one(&folder.join("json"), &json, |json, i| {
            json["readings"][i % 12]["repeats"][0] = (i as f64 + 0.5).into();
        });
        for ((_, all), times) in forms.iter_mut().zip([typed, from_json]) {
            all.iter_mut()
                .zip(times)
                .for_each(|(all, times)| all.extend(times));
        }
    }
    for (form, mut times) in forms {
        for (name, p, aim) in [("median", 0.5, "<= 1.5 x"), ("p99", 0.99, "<= 300 ms")] {
            let [ours, row, long] = times.each_mut().map(|times| percentile(times, p));
            let what = format!("one entry{form}, durable, {name} of {}", times[0].len());
            beside(&format!("{what}; its row"), ours, row, aim);
            beside(&format!("{what}; its row in a long log"), ours, long, "");
        }
    }
}

/// Of saving entries, of inserting their rows, of inserting them in a log of full length.
type Times = [Vec<Duration>; 3];

const ROW: &str = "INSERT INTO chunk VALUES(?,?,?,?,?,?,?,?)";

fn one_by_one<T: Serialize + DeserializeOwned>(
    path: &Path,
    visit: &T,
    edit: impl Fn(&mut T, usize),
) -> Times {
    let mut store = Store::create(path, PASSPHRASE, options()).expect("create");
    let key = store.raw_key().to_string();
    let engines = ["row", "long"].map(|name| {
        let engine = bare(&path.with_extension(name), &key);
        engine
            .execute_batch(
                "CREATE TABLE chunk(k INTEGER PRIMARY KEY, n INTEGER, session INTEGER,
                 unsent INTEGER, saved_ms INTEGER, heads BLOB, sha256 BLOB, bytes BLOB)",
            )
            .expect("table");
        engine
    });
    let log = path.with_extension("long-wal");
    let mut log = File::options().append(true).open(log).expect("log");
    log.write_all(&vec![0; 4 << 20]).expect("log");
    let mut prepared = engines.each_ref().map(|engine| {
        ["BEGIN IMMEDIATE", ROW, "COMMIT"].map(|sql| engine.prepare(sql).expect("sql"))
    });
    let mut opened = store.begin("v", VISIT, visit, "Ada").expect("begin");
    let mut times = Times::default();
    for i in 0..600 {
        edit(&mut opened.value, i);
        let before = store.document("v").expect("doc").heads();
        let started = Instant::now();
        let saved = store.save(&mut opened, "Ada Invented", "").expect("save");
        times[0].push(started.elapsed());
        let document = store.document("v").expect("doc");
        let (bytes, head) = (document.changes_since(&before), document.heads()[0].0);
        let k = (1_i64 << 20) + i as i64;
        for ([begin, insert, commit], times) in prepared.iter_mut().zip(&mut times[1..]) {
            let started = Instant::now();
            begin.execute([]).expect("begin");
            insert
                .execute(params![k, 1, 1, 0, saved.at_ms, head, head, bytes])
                .expect("insert");
            commit.execute([]).expect("commit");
            times.push(started.elapsed());
        }
    }
    times
}

fn many(path: &Path, visits: usize) {
    let mut dice = Dice(7);
    let mut store = Store::create(path, PASSPHRASE, options()).expect("create");
    let started = Instant::now();
    let mut names = Vec::new();
    let mut codes = Vec::new();
    let mut number = 0;
    while number < visits {
        let batch: Vec<Value> = (number..visits.min(number + 500))
            .map(|n| invented(n, &mut dice))
            .collect();
        number += batch.len();
        let first = &batch[0];
        names.push(first["person"]["name"].as_str().unwrap().to_owned());
        codes.push(first["casts"][0]["code"].as_str().unwrap().to_owned());
        let records = batch.iter().map(|v| (v["id"].as_str().unwrap(), v));
        store
            .import_all(VISIT, records, "Ada Invented")
            .expect("import");
    }
    alone(
        &format!("import {visits} visits"),
        visits as f64 / started.elapsed().as_secs_f64(),
        "/s",
        "",
    );
    let key = store.raw_key().to_string();
    store.lock().expect("lock");
    let bytes = size(path);
    alone(
        "file per visit, no photographs",
        bytes as f64 / visits as f64 / 1e3,
        "kB",
        "<= 12",
    );

    // The engine with nothing but a list: opening it and reading one page.
    let engine_path = path.with_extension("bare");
    {
        let engine = bare(&engine_path, &key);
        engine.execute_batch(&format!("BEGIN; WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {visits})
            INSERT INTO t(bytes) SELECT randomblob(200) FROM n; COMMIT;")).expect("fill");
    }
    let (mut opens, mut bare_opens) = (Vec::new(), Vec::new());
    for _ in 0..9 {
        plinthside_store::passphrase_fits(path, PASSPHRASE).expect("key");
        let started = Instant::now();
        let mut store = Store::open(path, PASSPHRASE, options()).expect("open");
        let page = store.cases(&Filter::All, 0, 50).expect("page");
        let count = store.count(&Filter::All).expect("count");
        opens.push(started.elapsed());
        assert_eq!((page.len(), count), (50.min(visits), visits));
        store.lock().expect("lock");
        let started = Instant::now();
        let engine = bare(&engine_path, &key);
        let mut statement = engine
            .prepare("SELECT bytes FROM t ORDER BY k DESC LIMIT 50")
            .expect("sql");
        let rows = statement
            .query_map([], |r| r.get::<_, Vec<u8>>(0))
            .expect("query")
            .count();
        let _: i64 = engine
            .query_row("SELECT count(*) FROM t", [], |r| r.get(0))
            .expect("count");
        bare_opens.push(started.elapsed());
        assert_eq!(rows, 50.min(visits));
    }
    let (a, b) = (
        percentile(&mut opens, 0.5),
        percentile(&mut bare_opens, 0.5),
    );
    beside(
        "open, first page and count (cheapest passphrase)",
        a,
        b,
        "<= 300 ms",
    );

    let mut store = Store::open(path, PASSPHRASE, options()).expect("open");
    let mut saves = Vec::new();
    for i in 0..200 {
        let id = format!("v{}", (i * 7919) % visits);
        let mut opened: Opened<Visit> = store.open_record(&id).expect("open");
        opened.value.place = format!("room {i}");
        let started = Instant::now();
        store.save(&mut opened, "Ada", "").expect("save");
        saves.push(started.elapsed());
        store.discard(&id).expect("discard");
    }
    alone(
        "save one entry among them, durable, slowest of 200",
        ms(percentile(&mut saves, 1.0)),
        "ms",
        "<= 300",
    );
    let started = Instant::now();
    store.find("zzzzzz", 20).expect("find");
    alone(
        "first search (reads the list of words)",
        ms(started.elapsed()),
        "ms",
        "",
    );
    let mut times = Vec::new();
    let mut found = 0;
    let mut search = |text: &str| {
        let started = Instant::now();
        found += usize::from(!store.find(text, 20).expect("find").is_empty());
        times.push(started.elapsed());
    };
    for (i, name) in names.iter().enumerate().take(400) {
        let last = name.split(' ').next_back().unwrap();
        search(&last[..last.len().min(2 + i % 5)]);
        search(name);
        let mut typo: Vec<char> = name.chars().collect();
        let at = name.len() - 3;
        typo.swap(at, at + 1);
        search(&typo.iter().collect::<String>());
        search(&codes[i][..5]);
        search(["signed", "navicular swelling", "left", "nordlab fit"][i % 4]);
    }
    let searches = times.len();
    alone(
        &format!("search, median of {searches} ({found} with a result)"),
        ms(percentile(&mut times, 0.5)),
        "ms",
        "",
    );
    alone(
        "search, p99",
        ms(percentile(&mut times, 0.99)),
        "ms",
        "<= 20",
    );
    alone("search, slowest", ms(percentile(&mut times, 1.0)), "ms", "");
    let mut pages = Vec::new();
    for _ in 0..200 {
        let started = Instant::now();
        store
            .cases(&Filter::All, dice.roll(visits), 50)
            .expect("page");
        pages.push(started.elapsed());
    }
    alone(
        "a page of 50 anywhere in the list, p99",
        ms(percentile(&mut pages, 0.99)),
        "ms",
        "",
    );
    let started = Instant::now();
    for i in 0..200 {
        let opened: Opened<Value> = store
            .open_record(&format!("v{}", (i * 7919) % visits))
            .expect("open");
        assert!(opened.value.is_object());
    }
    alone(
        "open one visit, mean of 200",
        ms(started.elapsed()) / 200.0,
        "ms",
        "",
    );
    alone(
        "memory of this process, peak (import included)",
        memory_mib("VmHWM"),
        "MiB",
        "<= 150",
    );
    alone(
        "memory now, after searching and paging",
        memory_mib("VmRSS"),
        "MiB",
        "<= 150",
    );
}

/// Opening a visit that was changed 400 times, finished once and in eight sittings.
fn long(path: &Path) {
    let mut store = Store::create(path, PASSPHRASE, options()).expect("create");
    for (id, sittings) in [("one", 1), ("eight", 8)] {
        store
            .import(id, VISIT, &invented(1, &mut Dice(9)), "Ada")
            .expect("import");
        for sitting in 0..sittings {
            let mut opened: Opened<Value> = store.open_record(id).expect("open");
            for i in 0..400 / sittings {
                opened.value["readings"][i % 12]["repeats"][1] =
                    (sitting as f64 + i as f64 / 8.0).into();
                opened.value["person"]["telephone"] = format!("{sitting} {i}").into();
                store.save(&mut opened, "Ada", "").expect("save");
            }
            store.finish(id).expect("finish");
        }
    }
    store.lock().expect("lock");
    for id in ["one", "eight"] {
        let mut times = Vec::new();
        for _ in 0..15 {
            let mut store = Store::open(path, PASSPHRASE, options()).expect("open");
            let started = Instant::now();
            let opened: Opened<Value> = store.open_record(id).expect("open");
            times.push(started.elapsed());
            assert!(opened.value.is_object());
            assert_eq!(store.document(id).expect("doc").changes(), 401);
        }
        alone(
            &format!("open a visit with 400 changes, {id} sitting(s), median"),
            ms(percentile(&mut times, 0.5)),
            "ms",
            "<= 30",
        );
    }
    let mut store = Store::open(path, PASSPHRASE, options()).expect("open");
    let started = Instant::now();
    let history = store.document("one").expect("doc").history();
    alone(
        &format!("history of {} changes", history.len()),
        ms(started.elapsed()),
        "ms",
        "",
    );
}
