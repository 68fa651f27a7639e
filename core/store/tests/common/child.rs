//! A child process that works on a store until it is killed or refused: this test program itself,
//! started again with a job in its environment.
#![allow(dead_code)]

use super::common::{PASSPHRASE, options, visit};
use plinthside_store::{Opened, Store, StoreError, VISIT};
use serde_json::Value;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Starts the child: `job` says what to do, `arguments` follow as environment variables.
pub fn start(job: &str, store: &Path, arguments: &[(&str, String)]) -> Command {
    let mut command = Command::new(std::env::current_exe().expect("this program"));
    command.args([
        "--exact",
        "the_child",
        "--ignored",
        "--nocapture",
        "--test-threads=1",
    ]);
    command
        .env("JOB", job)
        .env("STORE", store)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command.envs(arguments.iter().map(|(name, value)| (*name, value)));
    command
}

fn say(line: &str) {
    let mut out = std::io::stdout();
    writeln!(out, "\n@{line}")
        .and_then(|()| out.flush())
        .expect("say");
}

/// What a child said, from its output.
pub fn said(output: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(output);
    // The last line may have been cut by the kill.
    let whole = text.rfind('\n').map_or("", |end| &text[..end]);
    whole
        .lines()
        .filter_map(|line| line.strip_prefix('@'))
        .map(str::to_owned)
        .collect()
}

fn kill_me() -> ! {
    let me = std::process::id().to_string();
    Command::new("kill")
        .args(["-9", &me])
        .status()
        .expect("kill");
    loop {
        std::thread::sleep(std::time::Duration::from_secs(1));
    }
}

/// Opens the store; where `DIE_AT` names a step, dies there.
fn opened(path: &Path) -> Result<Store, StoreError> {
    Store::open(path, PASSPHRASE, watched())
}

fn watched() -> plinthside_store::Options {
    let die = std::env::var("DIE_AT").ok();
    options("Tablet 1").watch(move |work, step| {
        if die.as_deref() == Some(&format!("{work} {step}")) {
            kill_me();
        }
    })
}

pub fn run() {
    let Ok(job) = std::env::var("JOB") else {
        return;
    };
    let path = PathBuf::from(std::env::var("STORE").expect("STORE"));
    let done = match job.as_str() {
        "visits" => visits(&path),
        "save" => opened(&path).and_then(|mut store| {
            let mut one: Opened<Value> = store.open_record("v1")?;
            one.value["reason"] = "new".into();
            store.save(&mut one, "Ada", "")?;
            store.finish("v1")
        }),
        "photo" => opened(&path)
            .and_then(|mut s| s.add_photo(&mut Cursor::new(vec![9; 300_000])).map(drop)),
        "erase" => opened(&path).and_then(|mut s| s.erase("v1", "Ada").map(drop)),
        "open" => opened(&path).map(drop),
        "create" => Store::create(&path, PASSPHRASE, watched()).map(drop),
        "backup" => opened(&path).and_then(|mut s| {
            let file = PathBuf::from(std::env::var("FILE").expect("FILE"));
            s.backup(
                &file,
                "Ada",
                &mut |_, _| std::ops::ControlFlow::Continue(()),
            )
            .map(drop)
        }),
        "restore" => {
            let file = PathBuf::from(std::env::var("FILE").expect("FILE"));
            plinthside_store::restore(&file, &path, PASSPHRASE, watched()).map(drop)
        }
        other => panic!("no job {other}"),
    };
    match done {
        Ok(()) => say("done"),
        Err(error) => {
            say(&format!("refused {error}"));
            // Whatever was refused, what is there can be read.
            if let Ok(mut store) = Store::open(&path, PASSPHRASE, options("Tablet 1")) {
                let all = store.visits().unwrap_or_default();
                let read = all.iter().filter(|id| store.read(id).is_ok()).count();
                say(&format!("reads {read} of {}", all.len()));
            }
        }
    }
}

/// A scripted visit after another: entries, a photograph, finishing. Every acknowledged step is
/// said only after the store has said so.
fn visits(path: &Path) -> Result<(), StoreError> {
    let round = std::env::var("ROUND").expect("ROUND");
    let mut store = opened(path)?;
    for left in store.unfinished()? {
        store.recover(&left.id)?;
        store.finish(&left.id)?;
    }
    say("ready");
    for number in 0.. {
        let id = format!("v{round}-{number}");
        let mut one: Opened<Value> =
            store.begin(&id, VISIT, &visit(&id, "Anna Beispiel"), "Ada")?;
        say(&format!("entry {id} 0"));
        for entry in 1..=6_i64 {
            one.value["readings"].as_array_mut().expect("list").push(serde_json::json!({
                "id": format!("r{entry}"), "kind": "ankle_dorsiflexion_knee_bent_deg", "repeats": [entry as f64, 4.5]
            }));
            one.value["entries"] = entry.into();
            store.save(&mut one, "Ada", "")?;
            say(&format!("entry {id} {entry}"));
        }
        let bytes: Vec<u8> = (0..20_000_u32)
            .map(|i| (i % 251) as u8 ^ number as u8)
            .chain(id.bytes())
            .collect();
        let photo = store.add_photo(&mut Cursor::new(bytes))?;
        say(&format!("photo {}", photo.sha256));
        one.value["casts"] = serde_json::json!([{"id": "c", "side": "left", "measurement": {"photos": [photo.sha256]}}]);
        store.save(&mut one, "Ada", "")?;
        store.finish(&id)?;
        say(&format!("finished {id}"));
    }
    Ok(())
}
