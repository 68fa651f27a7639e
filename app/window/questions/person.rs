//! The patient: consents, conditions, body mass; what is typed once at the desk is shown as facts.

use super::line::line;
use super::{Kind, Question, Scale, item};
use plinthside_measure::marks::Side;
use plinthside_ui as ui;
use plinthside_visit::person::{Condition, Consent, ConsentFor, Sex};
use plinthside_visit::{Entry, Lang, Text, Visit};

/// The questions about the person.
pub fn person() -> Vec<Box<dyn Question>> {
    let consents = ConsentFor::ALL
        .iter()
        .map(|what| Box::new(ConsentTo(what)) as Box<dyn Question>);
    let asked = consents.chain([
        Box::new(Conditions) as Box<dyn Question>,
        Box::new(BodyMass),
    ]);
    asked.chain(typed()).collect()
}

/// What is known of the person, line by line.
pub fn facts(visit: &Visit, lang: Lang) -> Vec<ui::Fact> {
    let person = &visit.person;
    let day = visit.at.map(|at| at.date_naive());
    let born = person.born.map_or_else(String::new, |born| {
        let written = born.format(if lang == Lang::De {
            "%d.%m.%Y"
        } else {
            "%-d %B %Y"
        });
        let years = day.and_then(|day| person.age_years(day));
        years.map_or_else(|| written.to_string(), |n| format!("{written} ({n})"))
    });
    let line = |en: &str, de: &str, value: &str| {
        (!value.is_empty()).then(|| ui::Fact {
            label: Text::new(en, de).get(lang).into(),
            value: value.into(),
        })
    };
    [
        line("Name", "Name", &person.name),
        line("Born", "Geboren", &born),
        line("Code", "Kürzel", &person.code),
        line("Reason", "Anlass", &visit.reason),
        line(
            "Consents for the patient",
            "Stimmt für den Patienten zu",
            &person.proxy,
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

struct ConsentTo(&'static ConsentFor);

fn yes_no(lang: Lang) -> [&'static str; 2] {
    match lang {
        Lang::En => ["given", "refused"],
        Lang::De => ["erteilt", "verweigert"],
    }
}

impl Question for ConsentTo {
    fn key(&self) -> String {
        format!("person.consents_to_{}", self.0.token())
    }

    fn label(&self, lang: Lang) -> String {
        self.0.label(lang).to_owned()
    }

    fn title(&self, lang: Lang) -> String {
        format!(
            "{}: {}",
            Text::new("Consent", "Einwilligung").get(lang),
            self.0.label(lang)
        )
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, visit: &Visit, _side: Side, lang: Lang) -> String {
        let given = visit.person.consents_to(self.0);
        given.map_or_else(String::new, |given| {
            yes_no(lang)[usize::from(!given)].to_owned()
        })
    }

    fn choices(&self, visit: &Visit, _side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let given = visit.person.consents_to(self.0);
        let [yes, no] = yes_no(lang);
        vec![
            item(yes, given == Some(true)),
            item(no, given == Some(false)),
        ]
    }

    fn choose(&self, visit: &mut Visit, _side: Side, index: usize) {
        // Every word on a consent is kept; the latest counts.
        let consent = Consent {
            covers: self.0.clone(),
            given: index == 0,
            at: Some(crate::clock::now()),
            by: visit.person.proxy.clone(),
            extra: Default::default(),
        };
        if visit.person.consents_to(self.0) != Some(consent.given) {
            visit.person.consents.push(consent);
        }
    }
}

struct Conditions;

impl Question for Conditions {
    fn is_optional(&self) -> bool {
        true
    }

    fn key(&self) -> String {
        "person.conditions".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Conditions", "Erkrankungen").get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::AnyOf
    }

    fn shown(&self, visit: &Visit, _side: Side, lang: Lang) -> String {
        let all: Vec<&str> = visit
            .person
            .conditions
            .iter()
            .map(|c| c.label(lang))
            .collect();
        all.join(", ")
    }

    fn choices(&self, visit: &Visit, _side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        Condition::ALL
            .iter()
            .map(|c| item(c.label(lang), visit.person.conditions.contains(c)))
            .collect()
    }

    fn choose(&self, visit: &mut Visit, _side: Side, index: usize) {
        let Some(condition) = Condition::ALL.get(index) else {
            return;
        };
        let conditions = &mut visit.person.conditions;
        if conditions.contains(condition) {
            conditions.retain(|c| c != condition);
        } else {
            conditions.push(condition.clone());
        }
    }
}

struct BodyMass;

impl Question for BodyMass {
    fn key(&self) -> String {
        "person.body_mass_kg".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Body mass", "Körpermasse").get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Number(Scale {
            low: 5.0,
            high: 250.0,
            step: 1.0,
            unit: "kg",
            repeats: false,
        })
    }

    fn shown(&self, visit: &Visit, _side: Side, lang: Lang) -> String {
        let mass = visit.person.body_mass_kg.as_ref().and_then(|e| e.value);
        mass.map_or_else(String::new, |v| self.printed(v, lang))
    }

    fn numbers(&self, visit: &Visit, _side: Side) -> Vec<Entry> {
        visit.person.body_mass_kg.clone().into_iter().collect()
    }

    fn write(&self, visit: &mut Visit, _side: Side, numbers: Vec<Entry>) {
        visit.person.body_mass_kg = numbers.into_iter().next_back();
    }
}

/// What is typed, and never required.
fn typed() -> [Box<dyn Question>; 7] {
    [
        line("person.name", "Name", "Name", |v, _| &mut v.person.name),
        Box::new(Born),
        Box::new(SexOf),
        line("reason", "Reason of the visit", "Anlass", |v, _| {
            &mut v.reason
        }),
        line("person.code", "Code", "Kürzel", |v, _| &mut v.person.code),
        line("person.telephone", "Telephone", "Telefon", |v, _| {
            &mut v.person.telephone
        }),
        line(
            "person.proxy",
            "Consents for the patient",
            "Stimmt für den Patienten zu",
            |v, _| &mut v.person.proxy,
        ),
    ]
}

struct Born;

impl Question for Born {
    fn is_optional(&self) -> bool {
        true
    }

    fn key(&self) -> String {
        "person.born".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new("Born (day month year)", "Geboren (Tag Monat Jahr)")
            .get(lang)
            .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::Text
    }

    fn shown(&self, visit: &Visit, _side: Side, _lang: Lang) -> String {
        let born = visit.person.born;
        born.map_or_else(String::new, |born| born.format("%d.%m.%Y").to_string())
    }

    fn type_in(&self, visit: &mut Visit, _side: Side, text: &str) -> Option<Text> {
        let today = visit.at.map(|at| at.date_naive());
        match read_day(text) {
            _ if text.trim().is_empty() => visit.person.born = None,
            Some(day) if today.is_none_or(|today| day <= today) => visit.person.born = Some(day),
            _ => {
                return Some(Text::new(
                    "This is no day of birth: type day, month and year, as 4.3.1964.",
                    "Das ist kein Geburtstag: bitte Tag, Monat und Jahr eingeben, etwa 4.3.1964.",
                ));
            }
        }
        None
    }
}

/// A day as people type it: day, month and year with anything between, or as in ISO 8601.
pub fn read_day(text: &str) -> Option<chrono::NaiveDate> {
    let numbers: Vec<u32> = text
        .split(|c: char| !c.is_ascii_digit())
        .filter(|part| !part.is_empty())
        .map(str::parse)
        .collect::<Result<_, _>>()
        .ok()?;
    match numbers[..] {
        [year, month, day] if year > 1000 => {
            chrono::NaiveDate::from_ymd_opt(year as i32, month, day)
        }
        [day, month, year] if year > 1000 => {
            chrono::NaiveDate::from_ymd_opt(year as i32, month, day)
        }
        _ => None,
    }
}

struct SexOf;

impl Question for SexOf {
    fn is_optional(&self) -> bool {
        true
    }

    fn key(&self) -> String {
        "person.sex".into()
    }

    fn label(&self, lang: Lang) -> String {
        Text::new(
            "Sex, for published bands",
            "Geschlecht, für Vergleichswerte",
        )
        .get(lang)
        .to_owned()
    }

    fn kind(&self) -> Kind {
        Kind::OneOf
    }

    fn shown(&self, visit: &Visit, _side: Side, lang: Lang) -> String {
        let sex = visit.person.sex.as_ref();
        sex.map_or_else(String::new, |sex| sex.label(lang).to_owned())
    }

    fn choices(&self, visit: &Visit, _side: Side, lang: Lang) -> Vec<ui::ChoiceItem> {
        let now = visit.person.sex.as_ref();
        Sex::ALL
            .iter()
            .map(|sex| item(sex.label(lang), now == Some(sex)))
            .collect()
    }

    fn choose(&self, visit: &mut Visit, _side: Side, index: usize) {
        let chosen = Sex::ALL.get(index);
        let again = visit.person.sex.as_ref() == chosen;
        visit.person.sex = chosen.filter(|_| !again).cloned();
    }
}
