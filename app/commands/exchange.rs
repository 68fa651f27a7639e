//! `plinthside sync|pack|open|devices`: with the clinic's other devices, and to the lab.

use super::print;
use crate::cli::{DevicesCommand, OpenArgs, PackArgs, SyncArgs};
use crate::error::AppError;
use crate::package::ForLab;
use crate::records::device_name;
use crate::records::receipts::{self, Answered};
use crate::{clock, files, outbox};
use plinthside_exchange::package::lab_path;
use plinthside_exchange::{
    Answer, Devices, Report, SecretKey, Sync, Target, TargetSpec, Targets, connect,
};
use plinthside_store::Store;
use plinthside_visit::person::Lab;
use std::io::IsTerminal;
use std::path::Path;
use std::sync::atomic::AtomicBool;
use std::sync::{Mutex, PoisonError};

/// The largest package that is read into memory.
const PACKAGE_LIMIT_BYTES: u64 = 1 << 30;

/// `plinthside sync`
///
/// # Errors
/// No such target, one that doesn't answer, or a device that may not publish.
pub fn sync(args: &SyncArgs) -> Result<(), AppError> {
    let records = args.store.place()?.open()?;
    let store = Mutex::new(records.into_store());
    let mut spec = Targets(&store).named(&args.target)?;
    if let (Some(user), Some(secret)) = (&args.user, &args.secret_file) {
        let secret = files::read_text(secret)?;
        spec = spec.with_credentials(user, secret.lines().next().unwrap_or(""));
    }
    if let Some(certificate) = &args.certificate {
        spec = spec.with_certificate(files::read_text(certificate)?);
    }
    if let Some(name) = &args.keep_as {
        spec.name.clone_from(name);
        Targets(&store).set(&spec)?;
    }
    Devices(&store).begin_if_none(&device_name())?;
    let live = std::io::stderr().is_terminal();
    let (target, report) = plinthside_exchange::meet(
        &store,
        &spec,
        Sync {
            address: &spec.url,
            cancel: &AtomicBool::new(false),
            progress: &mut |progress| {
                if live {
                    let (done, total) = (progress.done, progress.total);
                    eprint!("\r{:?}: {done} of {total}\x1b[K", progress.step);
                }
            },
            photographs: !args.without_photographs,
        },
    )?;
    if live {
        eprint!("\r\x1b[K");
    }
    let mut lines = report.words();
    lines.extend(with_labs(&store, &spec, target.as_ref(), &report)?);
    if args.json {
        return print(&files::json_text(&lines)?);
    }
    print(&(lines.join("\n") + "\n"))
}

/// Lays packages for labs at a target and takes their answers from it; what was done, in words.
fn with_labs(
    store: &Mutex<Store>,
    spec: &TargetSpec,
    target: &dyn Target,
    report: &Report,
) -> Result<Vec<String>, AppError> {
    let held = || store.lock().unwrap_or_else(PoisonError::into_inner);
    if report.erasures_received > 0 {
        outbox::forget_erased(&mut held())?;
    }
    let delivery = outbox::deliver(store, spec, target)?;
    let mut lines = delivery.told;
    if !delivery.laid.is_empty() {
        let laid = delivery.laid.join(", ");
        lines.push(format!("Laid there for the lab: {laid}."));
    }
    let (answers, unread) = receipts::read(store, target)?;
    lines.extend(unread);
    for answered in answers {
        let Answered { visit, order, .. } = &answered;
        let taken = receipts::take(&mut held(), &answered, "command line", clock::now());
        lines.push(match taken {
            Ok(()) => format!("Answer of the lab to order {order} of visit {visit} taken in."),
            Err(problem) => {
                format!("Answer of the lab to order {order} of visit {visit}: {problem}")
            }
        });
    }
    Ok(lines)
}

/// `plinthside devices`
///
/// # Errors
/// No practice, no such device, a code that leads nowhere, or a target that doesn't answer.
pub fn devices(command: &DevicesCommand) -> Result<(), AppError> {
    let store = |args: &crate::cli::StoreArgs| -> Result<Mutex<Store>, AppError> {
        Ok(Mutex::new(args.place()?.open()?.into_store()))
    };
    match command {
        DevicesCommand::List { store: args } => {
            let store = store(args)?;
            Devices(&store).begin_if_none(&device_name())?;
            let lines = Devices(&store).list()?.into_iter().map(|device| {
                let note = match (&device.struck_off_by, device.this) {
                    (Some(by), _) => format!("struck off by {by}"),
                    (None, true) => "this device".to_owned(),
                    (None, false) => String::new(),
                };
                format!("{}  {}  {note}\n", device.id, device.name)
            });
            print(&lines.collect::<String>())
        }
        DevicesCommand::Invite { at, store: args } => {
            let store = store(args)?;
            Devices(&store).begin_if_none(&device_name())?;
            let target = connect(&Targets(&store).named(at)?)?;
            let invitation = Devices(&store).invite(target.as_ref())?;
            print(&format!("{}\n", invitation.text))
        }
        DevicesCommand::Join {
            code,
            at,
            store: args,
        } => {
            let store = store(args)?;
            let target = connect(&Targets(&store).named(at)?)?;
            let by = Devices(&store).join(target.as_ref(), code, &device_name())?;
            print(&format!(
                "{by} showed the code. Synchronise on {by}, then here.\n"
            ))
        }
        DevicesCommand::StrikeOff {
            device,
            store: args,
        } => {
            let store = store(args)?;
            Devices(&store).strike_off(device)?;
            print(
                "Struck off. What it has it keeps: change the target's password too. Others hear of it with the next sync here.\n",
            )
        }
        DevicesCommand::ChangeKey { store: args } => {
            let store = store(args)?;
            Devices(&store).change_key()?;
            print(
                "The practice has a new key; the other devices get it with the next sync. What lies at targets from before opens with the old one.\n",
            )
        }
    }
}

/// `plinthside pack`
///
/// # Errors
/// No such visit or lab, an order that is not signed, or a lab without a key.
pub fn pack(args: &PackArgs) -> Result<(), AppError> {
    let mut records = args.store.place()?.open()?;
    let kept = records.with_visit(&args.visit)?;
    let foot = kept.foot(&args.visit, args.side)?;
    let lab = kept
        .clinic
        .labs
        .iter()
        .find(|lab| lab.name.eq_ignore_ascii_case(args.lab.trim()));
    let mut lab = match lab {
        Some(lab) => lab.clone(),
        None if args.key.is_some() => Lab {
            name: args.lab.clone(),
            ..Lab::default()
        },
        None => {
            let known: Vec<&str> = kept.clinic.labs.iter().map(|l| l.name.as_str()).collect();
            return Err(AppError::Request(format!(
                "the clinic knows no lab “{}”; it knows: {}",
                args.lab,
                known.join(", ")
            )));
        }
    };
    if let Some(key) = &args.key {
        lab.public_key.clone_from(key);
    }
    if lab.public_key.trim().is_empty() {
        return Err(AppError::Request(format!(
            "the lab “{}” has no key yet; ask it for its public key (it starts with age1) and enter it in the settings, or name it with --key",
            lab.name
        )));
    }
    let package = ForLab::gather(&mut records, &foot, lab.clone())?.seal(&foot, args.with_name)?;
    for warning in &package.warnings {
        eprintln!("Note: {warning}");
    }
    let mut places = Vec::new();
    if let Some(out) = &args.out {
        files::write(out, &package.bytes)?;
        places.push(out.display().to_string());
    }
    if let Some(at) = &args.at {
        let store = Mutex::new(records.into_store());
        let target = connect(&Targets(&store).named(at)?)?;
        let path = lab_path(&lab.name, &package.name);
        target.put(&path, &package.bytes)?;
        places.push(format!("{}, {path}", target.describe()));
    }
    print(&format!(
        "{} sealed for {}: {}\n",
        package.name,
        lab.name,
        places.join("; ")
    ))
}

/// `plinthside open`
///
/// # Errors
/// The key doesn't open it, or it is not whole; which part is said.
pub fn open(args: &OpenArgs) -> Result<(), AppError> {
    let key = SecretKey::read(&files::read_text(&args.key)?)?;
    let bytes = files::read_limited(&args.package, PACKAGE_LIMIT_BYTES)?;
    let opened = plinthside_exchange::open(&bytes, &key)?;
    let (place, told) = opened.write(&args.out)?;
    let mut lines = opened.words();
    lines.extend(told);
    lines.push(format!(
        "Everything was verified; it lies in {}.",
        place.display()
    ));
    if let Some(answer) = args.answer {
        let answer = match answer {
            crate::cli::AnswerArg::Accepted => Answer::Accepted,
            crate::cli::AnswerArg::Question => Answer::Question,
            crate::cli::AnswerArg::Rejected => Answer::Rejected,
        };
        let (name, bytes) = opened.receipt(answer, &args.by, &args.reason, clock::now())?;
        let path = args.package.parent().unwrap_or(Path::new(".")).join(name);
        files::write(&path, &bytes)?;
        lines.push(format!("Answer written: {}", path.display()));
    }
    print(&(lines.join("\n") + "\n"))
}
