//! What is asked of one of the clinic's printers.

use super::entries::{NO_NOTE, Questions, any, line};
use crate::window::questions::{Kind, Question, item};
use plinthside_paper::LabelSize;
use plinthside_print::Address;
use plinthside_ui as ui;
use plinthside_visit::person::ClinicPrinter;
use plinthside_visit::{Clinic, Lang, Text};

fn printer_at(clinic: &mut Clinic, at: usize) -> Option<&mut ClinicPrinter> {
    clinic.printers.get_mut(at)
}

fn network_address(text: &str) -> Option<Text> {
    text.parse::<Address>().err().map(|_| {
        Text::new(
            "This is no address of a printer: type its name or number in the network, as printer.local or 192.168.1.20.",
            "Das ist keine Adresse eines Druckers: bitte Name oder Nummer im Netz eingeben, etwa drucker.local oder 192.168.1.20.",
        )
    })
}

/// One of the printers.
pub fn printer() -> Questions {
    vec![
        line(
            "name",
            ["Name", "Name"],
            NO_NOTE,
            |c, i| printer_at(c, i).map(|p| &mut p.name),
            any,
        ),
        line(
            "address",
            ["Address in the network", "Adresse im Netz"],
            [
                "any printer that speaks IPP, as nearly all in networks do; no driver is needed",
                "jeder Drucker, der IPP spricht, also fast jeder im Netz; kein Treiber nötig",
            ],
            |c, i| printer_at(c, i).map(|p| &mut p.address),
            network_address,
        ),
        Box::new(Holds),
        Box::new(Dots),
        Box::new(Trusted),
    ]
}

/// Sheets, or labels of a size.
struct Holds;

impl Question<Clinic, usize> for Holds {
    fn key(&self) -> String {
        "label".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Prints on", "Druckt auf").get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, clinic: &Clinic, at: usize, lang: Lang) -> String {
        clinic.printers.get(at).map_or_else(String::new, |printer| {
            if printer.label.is_empty() {
                sheets(lang).to_owned()
            } else {
                labels(&printer.label, lang)
            }
        })
    }

    fn choices(&self, clinic: &Clinic, at: usize, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = clinic.printers.get(at).map_or("", |p| p.label.as_str());
        let sizes = LabelSize::ALL.into_iter().map(|size| {
            let size = size.to_string();
            item(&labels(&size, lang), now == size)
        });
        std::iter::once(item(sheets(lang), now.is_empty()))
            .chain(sizes)
            .collect()
    }

    fn choose(&self, clinic: &mut Clinic, at: usize, index: usize) {
        if let Some(printer) = printer_at(clinic, at) {
            let size = index
                .checked_sub(1)
                .and_then(|i| LabelSize::ALL.get(i).copied());
            printer.label = size.map_or_else(String::new, |size| size.to_string());
        }
    }
}

fn sheets(lang: Lang) -> &'static str {
    match lang {
        Lang::En => "sheets of paper",
        Lang::De => "Blätter",
    }
}

/// Labels of a size, in words.
pub fn labels(size: &str, lang: Lang) -> String {
    let size = size.replace('x', " × ");
    match lang {
        Lang::En => format!("labels of {size} mm"),
        Lang::De => format!("Etiketten von {size} mm"),
    }
}

/// Dots an inch.
struct Dots;

const DOTS: [u32; 3] = [203, 300, 600];

impl Question<Clinic, usize> for Dots {
    fn key(&self) -> String {
        "dpi".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Dots an inch", "Punkte je Zoll")
            .get(lang)
            .to_owned()
    }

    fn note(&self, _clinic: &Clinic, _at: usize, lang: Lang) -> String {
        Text::new(
            "so that each module of a code is whole dots",
            "damit jedes Feld eines Codes aus ganzen Punkten besteht",
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, clinic: &Clinic, at: usize, _lang: Lang) -> String {
        let dpi = clinic.printers.get(at).map_or(0, |p| p.dpi);
        if dpi == 0 {
            String::new()
        } else {
            dpi.to_string()
        }
    }

    fn choices(&self, clinic: &Clinic, at: usize, _lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = clinic.printers.get(at).map_or(0, |p| p.dpi);
        DOTS.iter()
            .map(|dpi| item(&dpi.to_string(), now == *dpi))
            .collect()
    }

    fn choose(&self, clinic: &mut Clinic, at: usize, index: usize) {
        if let (Some(printer), Some(dpi)) = (printer_at(clinic, at), DOTS.get(index)) {
            printer.dpi = *dpi;
        }
    }
}

/// Whether a certificate of its own is taken as it is.
struct Trusted;

impl Question<Clinic, usize> for Trusted {
    fn key(&self) -> String {
        "trusted".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Its own certificate", "Eigenes Zertifikat")
            .get(lang)
            .to_owned()
    }

    fn note(&self, _clinic: &Clinic, _at: usize, lang: Lang) -> String {
        Text::new(
            "a printer in the clinic's own network vouches for itself; take that only for one you know",
            "ein Drucker im eigenen Netz bürgt für sich selbst; nur für einen bekannten annehmen",
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, clinic: &Clinic, at: usize, lang: Lang) -> String {
        let trusted = clinic.printers.get(at).is_some_and(|p| p.trusted);
        taken(lang)[usize::from(!trusted)].to_owned()
    }

    fn choices(&self, clinic: &Clinic, at: usize, lang: Lang) -> Vec<ui::ChoiceItem> {
        let trusted = clinic.printers.get(at).is_some_and(|p| p.trusted);
        let [yes, no] = taken(lang);
        vec![item(yes, trusted), item(no, !trusted)]
    }

    fn choose(&self, clinic: &mut Clinic, at: usize, index: usize) {
        if let Some(printer) = printer_at(clinic, at) {
            printer.trusted = index == 0;
        }
    }
}

fn taken(lang: Lang) -> [&'static str; 2] {
    match lang {
        Lang::En => ["taken as it is", "not taken"],
        Lang::De => ["wird angenommen", "wird nicht angenommen"],
    }
}
