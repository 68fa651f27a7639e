//! Targets, devices, codes and results as the screen shows them.

use super::intents::kept;
use super::words::{self, remark};
use super::{Came, Exchange};
use crate::records::Records;
use crate::window::session::Session;
use crate::window::text::{models, said};
use plinthside_exchange::{Device, TargetSpec};
use plinthside_paper::qr::{Symbol, text_symbol};
use plinthside_ui::{self as ui, Tone};
use plinthside_visit::{Lang, Text};
use slint::{Image, Rgb8Pixel, SharedPixelBuffer};

/// The screen's state.
pub(super) fn view(session: &mut Session) -> ui::ExchangeView {
    let lang = session.look.lang;
    let (targets, devices) = match session.records().map(kept) {
        Some(Ok(kept)) => kept,
        Some(Err(problem)) => {
            session.exchange.problem = problem.to_string();
            (session.targets(), None)
        }
        None => Default::default(),
    };
    let disputed = session.try_records(Records::settings_in_dispute);
    let disputed = disputed.unwrap_or_default();
    let exchange = &session.exchange;
    let rows = targets.iter().map(|spec| {
        let outcome = exchange.outcomes.get(&spec.name);
        let (note, tone) = outcome.map_or_else(Default::default, |o| o.line(lang));
        ui::SettingsRow {
            title: spec.name.as_str().into(),
            detail: spec.url.as_str().into(),
            note: note.into(),
            tone,
            mark: -1,
        }
    });
    let meeting = targets.iter().enumerate().map(|(i, spec)| ui::ChoiceItem {
        text: spec.name.as_str().into(),
        note: Default::default(),
        chosen: i == exchange.meeting,
    });
    let practice = devices.is_some();
    let invitation = exchange.invitation.as_ref();
    let target = exchange.target.as_ref();
    let of_target = |of: fn(&TargetSpec) -> &str| target.map_or("", of).into();
    ui::ExchangeView {
        page: exchange.page,
        practice,
        targets: models(rows.collect()),
        devices: models(
            devices
                .unwrap_or_default()
                .iter()
                .map(|d| device(d, lang))
                .collect(),
        ),
        results: models(results(exchange, disputed.len(), lang)),
        said: exchange.said.as_str().into(),
        problem: said(&exchange.problem, lang).into(),
        new: target.is_none(),
        name: of_target(|spec| &spec.name),
        address: of_target(|spec| &spec.url),
        user: of_target(|spec| spec.credentials.as_ref().map_or("", |c| &c.user)),
        secret_kept: target.is_some_and(|spec| spec.credentials.is_some()),
        certificate_kept: target.is_some_and(|spec| spec.certificate.is_some()),
        meeting: models(meeting.collect()),
        invitation: invitation.map_or("", |i| &i.text).into(),
        qr: invitation
            .and_then(|i| text_symbol(&i.qr).ok())
            .map_or_else(Image::default, |symbol| picture(&symbol)),
        striking: exchange
            .striking
            .as_ref()
            .map_or("", |(_, name)| name)
            .into(),
        disputed: models(super::disputed::rows(&disputed, &exchange.choices, lang)),
    }
}

/// What came of every target: sentences of synchronisations, problems, unreadable answers.
fn results(exchange: &Exchange, disputed: usize, lang: Lang) -> Vec<ui::Remark> {
    let mut lines = Vec::new();
    if disputed > 0 {
        let text = Text::new(
            format!(
                "The clinic's settings were set differently on two devices in {disputed} place(s). What is shown in the settings counts until somebody chooses."
            ),
            format!(
                "Die Einstellungen der Praxis wurden an {disputed} Stelle(n) auf zwei Geräten verschieden gesetzt. Es gilt, was in den Einstellungen steht, bis jemand wählt."
            ),
        );
        lines.push(remark(text.get(lang), Tone::Caution));
    }
    for outcome in exchange.outcomes.values() {
        match &outcome.what {
            Came::Away => {}
            Came::Refused(problem) => lines.push(remark(said(problem, lang), Tone::Caution)),
            Came::Done(done) => {
                lines.extend(words::report(&done.report, lang));
                if !done.laid.is_empty() {
                    let laid = done.laid.join(", ");
                    let text = Text::new(
                        format!("Laid there for the lab: {laid}."),
                        format!("Dort für die Werkstatt abgelegt: {laid}."),
                    );
                    lines.push(remark(text.get(lang), Tone::Good));
                }
                let answers = done.answers.len();
                if answers > 0 {
                    let text = Text::new(
                        format!(
                            "Answers of labs read: {answers}; they stand in the follow-up of their visits."
                        ),
                        format!(
                            "Antworten von Werkstätten gelesen: {answers}; sie stehen in der Nachsorge ihrer Besuche."
                        ),
                    );
                    lines.push(remark(text.get(lang), Tone::Plain));
                }
                let unread = done.unread.iter();
                lines.extend(unread.map(|line| remark(said(line, lang), Tone::Caution)));
            }
        }
    }
    lines
}

fn device(device: &Device, lang: Lang) -> ui::SettingsRow {
    let this = Text::new("this device", "dieses Gerät");
    let note = device.struck_off_by.as_ref().map(|by| {
        Text::new(
            format!("struck off by {by}"),
            format!("ausgeschlossen von {by}"),
        )
    });
    ui::SettingsRow {
        title: device.name.as_str().into(),
        detail: if device.this {
            this.get(lang).into()
        } else {
            device.id.as_str().into()
        },
        note: note.map_or_else(Default::default, |text| text.get(lang).into()),
        tone: Tone::Plain,
        mark: match (&device.struck_off_by, device.this) {
            (Some(_), _) => -1,
            (None, true) => 1,
            (None, false) => 0,
        },
    }
}

/// A QR symbol with its quiet zone, a pixel a module.
fn picture(symbol: &Symbol) -> Image {
    const QUIET: usize = plinthside_paper::qr::write::QUIET_ZONE;
    let edge = symbol.size + 2 * QUIET;
    let mut pixels = SharedPixelBuffer::<Rgb8Pixel>::new(edge as u32, edge as u32);
    let white = Rgb8Pixel::new(255, 255, 255);
    pixels.make_mut_slice().fill(white);
    for (x, y, length) in symbol.runs() {
        let start = (y + QUIET) * edge + x + QUIET;
        pixels.make_mut_slice()[start..start + length].fill(Rgb8Pixel::new(0, 0, 0));
    }
    Image::from_rgb8(pixels)
}
