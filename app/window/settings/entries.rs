//! What is asked of the clinic itself, of its people and its labs: the same questions
//! with the same machinery as in a visit, about one entry of a list.

use crate::window::questions::{Kind, Question, item};
use plinthside_ui as ui;
use plinthside_visit::person::{Lab, Prescriber};
use plinthside_visit::{Clinic, Lang, Text};

/// Questions about one entry of the clinic's lists.
pub type Questions = Vec<Box<dyn Question<Clinic, usize>>>;

/// How a line of text is checked; what is wrong with it is said and the old one stays.
type Check = fn(&str) -> Option<Text>;

/// A line of typed text.
struct Line<R, W> {
    key: &'static str,
    label: Text,
    note: Text,
    read: R,
    write: W,
    check: Check,
}

impl<R, W> Question<Clinic, usize> for Line<R, W>
where
    R: Fn(&Clinic, usize) -> Option<String>,
    W: Fn(&mut Clinic, usize, &str),
{
    fn key(&self) -> String {
        self.key.to_owned()
    }

    fn label(&self, lang: Lang) -> String {
        self.label.get(lang).to_owned()
    }

    fn note(&self, _clinic: &Clinic, _at: usize, lang: Lang) -> String {
        self.note.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, clinic: &Clinic, at: usize, _lang: Lang) -> String {
        (self.read)(clinic, at).unwrap_or_default()
    }

    fn type_in(&self, clinic: &mut Clinic, at: usize, text: &str) -> Option<Text> {
        let text = text.trim();
        let problem = if text.is_empty() {
            None
        } else {
            (self.check)(text)
        };
        if problem.is_none() {
            (self.write)(clinic, at, text);
        }
        problem
    }
}

/// A line of text kept where `field` says.
pub(super) fn line(
    key: &'static str,
    [en, de]: [&str; 2],
    [note_en, note_de]: [&str; 2],
    field: fn(&mut Clinic, usize) -> Option<&mut String>,
    check: Check,
) -> Box<dyn Question<Clinic, usize>> {
    Box::new(Line {
        key,
        label: Text::new(en, de),
        note: Text::new(note_en, note_de),
        read: move |clinic: &Clinic, at| field(&mut clinic.clone(), at).cloned(),
        write: move |clinic: &mut Clinic, at, text: &str| {
            if let Some(field) = field(clinic, at) {
                text.clone_into(field);
            }
        },
        check,
    })
}

/// Lines of an address, typed with commas between.
fn address(
    field: fn(&mut Clinic, usize) -> Option<&mut Vec<String>>,
) -> Box<dyn Question<Clinic, usize>> {
    Box::new(Line {
        key: "address",
        label: Text::new("Address", "Anschrift"),
        note: Text::new(
            "a comma begins a new line on paper",
            "ein Komma beginnt auf dem Papier eine neue Zeile",
        ),
        read: move |clinic: &Clinic, at| Some(field(&mut clinic.clone(), at)?.join(", ")),
        write: move |clinic: &mut Clinic, at, text: &str| {
            if let Some(field) = field(clinic, at) {
                let lines = text.split(',').map(str::trim).filter(|l| !l.is_empty());
                *field = lines.map(str::to_owned).collect();
            }
        },
        check: any,
    })
}

pub(super) fn any(_: &str) -> Option<Text> {
    None
}

pub(super) const NO_NOTE: [&str; 2] = ["", ""];

/// The clinic, as papers print it.
pub fn clinic() -> Questions {
    vec![
        line(
            "name",
            ["Name", "Name"],
            NO_NOTE,
            |c, _| Some(&mut c.name),
            any,
        ),
        address(|c, _| Some(&mut c.address)),
        line(
            "telephone",
            ["Telephone", "Telefon"],
            [
                "on the bag label and every paper",
                "auf dem Etikett und jedem Papier",
            ],
            |c, _| Some(&mut c.telephone),
            any,
        ),
        line(
            "urgent_telephone",
            ["Telephone when closed", "Telefon außer der Zeit"],
            [
                "on the patient's leaflet",
                "auf dem Merkblatt für den Patienten",
            ],
            |c, _| Some(&mut c.urgent_telephone),
            any,
        ),
        line(
            "contact_hours",
            ["Hours", "Sprechzeiten"],
            NO_NOTE,
            |c, _| Some(&mut c.contact_hours),
            any,
        ),
        line(
            "email",
            ["E-mail", "E-Mail"],
            NO_NOTE,
            |c, _| Some(&mut c.email),
            any,
        ),
        Box::new(PaperLanguage),
    ]
}

/// The language of the clinic's papers, whatever the screen speaks.
struct PaperLanguage;

impl Question<Clinic, usize> for PaperLanguage {
    fn key(&self) -> String {
        "lang".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Language of the papers", "Sprache der Papiere")
            .get(lang)
            .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, clinic: &Clinic, _at: usize, _lang: Lang) -> String {
        match clinic.lang {
            Lang::En => "English".into(),
            Lang::De => "Deutsch".into(),
        }
    }

    fn choices(&self, clinic: &Clinic, _at: usize, _lang: Lang) -> Vec<ui::ChoiceItem> {
        vec![
            item("English", clinic.lang == Lang::En),
            item("Deutsch", clinic.lang == Lang::De),
        ]
    }

    fn choose(&self, clinic: &mut Clinic, _at: usize, index: usize) {
        clinic.lang = if index == 1 { Lang::De } else { Lang::En };
    }
}

fn person_at(clinic: &mut Clinic, at: usize) -> Option<&mut Prescriber> {
    clinic.prescribers.get_mut(at)
}

/// One of those who prescribe or cast.
pub fn person() -> Questions {
    vec![
        line(
            "name",
            ["Name", "Name"],
            [
                "as it stands under an order",
                "wie er unter einem Auftrag steht",
            ],
            |c, i| person_at(c, i).map(|p| &mut p.name),
            any,
        ),
        line(
            "profession",
            ["Profession", "Beruf"],
            NO_NOTE,
            |c, i| person_at(c, i).map(|p| &mut p.profession),
            any,
        ),
        line(
            "registration",
            ["Registration", "Registrierung"],
            [
                "the number with the local body; without it nobody signs an order, but may cast",
                "Nummer bei der zuständigen Stelle; ohne sie kann man abformen, aber keinen Auftrag unterschreiben",
            ],
            |c, i| person_at(c, i).map(|p| &mut p.registration),
            any,
        ),
    ]
}

fn lab_at(clinic: &mut Clinic, at: usize) -> Option<&mut Lab> {
    clinic.labs.get_mut(at)
}

/// A key that packages are sealed to.
fn key(text: &str) -> Option<Text> {
    (!plinthside_exchange::is_public_key(text)).then(|| {
        Text::new(
            "This is no such key: it begins with age1 and is 62 symbols long. Copy it whole from the lab's message.",
            "Das ist kein solcher Schlüssel: Er beginnt mit age1 und hat 62 Zeichen. Bitte vollständig aus der Nachricht der Werkstatt übernehmen.",
        )
    })
}

/// One of the labs.
pub fn lab() -> Questions {
    vec![
        line(
            "name",
            ["Name", "Name"],
            NO_NOTE,
            |c, i| lab_at(c, i).map(|l| &mut l.name),
            any,
        ),
        line(
            "contact",
            ["Whom to ask for", "Ansprechpartner"],
            NO_NOTE,
            |c, i| lab_at(c, i).map(|l| &mut l.contact),
            any,
        ),
        line(
            "telephone",
            ["Telephone", "Telefon"],
            NO_NOTE,
            |c, i| lab_at(c, i).map(|l| &mut l.telephone),
            any,
        ),
        address(|c, i| lab_at(c, i).map(|l| &mut l.address)),
        line(
            "public_key",
            [
                "Key for sealed packages",
                "Schlüssel für versiegelte Pakete",
            ],
            [
                "the lab's public key, which begins with age1; compare its last symbols by telephone",
                "der öffentliche Schlüssel der Werkstatt, beginnt mit age1; die letzten Zeichen am Telefon vergleichen",
            ],
            |c, i| lab_at(c, i).map(|l| &mut l.public_key),
            key,
        ),
        Box::new(Line {
            key: "turnaround_days",
            label: Text::new("Working days to return", "Werktage bis zur Rückgabe"),
            note: Text::new("", ""),
            read: |clinic: &Clinic, at: usize| {
                let days = clinic.labs.get(at)?.turnaround_days?;
                Some(days.to_string())
            },
            write: |clinic: &mut Clinic, at: usize, text: &str| {
                if let Some(lab) = clinic.labs.get_mut(at) {
                    lab.turnaround_days = text.parse().ok();
                }
            },
            check: |text| {
                text.parse::<u32>().err().map(|_| {
                    Text::new(
                        "Type whole days, as 15.",
                        "Bitte ganze Tage eingeben, etwa 15.",
                    )
                })
            },
        }),
    ]
}
