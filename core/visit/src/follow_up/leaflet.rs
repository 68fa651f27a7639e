//! The patient's leaflet as a structure for the printer: plain words, both languages.

use super::FollowUp;
use crate::data::{DataError, DataFile};
use crate::format;
use crate::person::Clinic;
use crate::words::{Lang, Text};
use plinthside_measure::marks::Side;
use serde::{Deserialize, Serialize};

const SHIPPED: &str = include_str!("../../data/leaflet.toml");

/// The text of the leaflet, a data file a clinic can edit.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LeafletText {
    /// Version of the file's shape; 1.
    pub schema: u32,
    title: Text,
    caution: Text,
    wear_in_hours: Vec<f64>,
    wear_in_hours_insensate: Vec<f64>,
    section: Vec<SectionText>,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct SectionText {
    #[allow(dead_code)] // names the section for who edits the file
    id: String,
    heading: Text,
    lines: Vec<Text>,
    #[serde(default)]
    bullets: bool,
    #[serde(default)]
    plan: bool,
    #[serde(default)]
    only_insensate: bool,
    #[serde(default)]
    tone: Tone,
}

/// How strongly a section is set off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// As the rest.
    #[default]
    Plain,
    /// Take care.
    Caution,
    /// Stop and get help.
    Stop,
}

/// A leaflet, ready to be set.
#[derive(Debug, Clone, PartialEq)]
pub struct Leaflet {
    /// Language.
    pub lang: Lang,
    /// Title.
    pub title: String,
    /// Sections, in order.
    pub sections: Vec<Section>,
    /// The usual caution, at the foot.
    pub caution: String,
}

/// A section of the leaflet.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Heading.
    pub heading: String,
    /// Lines: paragraphs or bullets.
    pub lines: Vec<String>,
    /// Whether the lines are bullets.
    pub bullets: bool,
    /// Rows of the wear-in plan: day, hours.
    pub plan: Vec<(String, String)>,
    /// How strongly it is set off.
    pub tone: Tone,
}

/// Whose leaflet it is.
#[derive(Debug, Clone, Copy)]
pub struct LeafletFor<'a> {
    /// The clinic.
    pub clinic: &'a Clinic,
    /// The brace's side.
    pub side: Side,
    /// A sensation site was not felt.
    pub insensate: bool,
    /// What followed the order: wear-in plan of the last fitting, next review.
    pub follow_up: Option<&'a FollowUp>,
}

impl LeafletText {
    /// The text the program ships.
    ///
    /// # Errors
    /// None in a released program: a test reads it.
    pub fn shipped() -> Result<Self, DataError> {
        Self::parse("leaflet.toml", SHIPPED)
    }

    /// A clinic's own text.
    ///
    /// # Errors
    /// Names the line: text that is not TOML, an unknown field, hours outside 0 to 24.
    pub fn parse(name: &str, text: &str) -> Result<Self, DataError> {
        let file = DataFile { name, text };
        let leaflet: Self = file.parse()?;
        if leaflet.schema != 1 {
            return Err(file.error(
                0,
                None,
                format!("schema {} is not known, expected 1", leaflet.schema),
            ));
        }
        for (key, hours) in [
            ("wear_in_hours", &leaflet.wear_in_hours),
            ("wear_in_hours_insensate", &leaflet.wear_in_hours_insensate),
        ] {
            if hours.is_empty() || hours.iter().any(|h| !(0.0..=24.0).contains(h)) {
                let at = text.find(key).unwrap_or(0);
                return Err(file.error(at, Some(key), "each day needs 0 to 24 hours"));
            }
        }
        Ok(leaflet)
    }

    /// Hours on each day where the clinician set no plan: usual, and for a foot that feels little.
    #[must_use]
    pub fn wear_in_plans(&self) -> [Vec<f64>; 2] {
        [
            self.wear_in_hours.clone(),
            self.wear_in_hours_insensate.clone(),
        ]
    }

    /// The leaflet for one brace.
    #[must_use]
    pub fn leaflet(&self, whose: LeafletFor<'_>, lang: Lang) -> Leaflet {
        let fitting = whose
            .follow_up
            .and_then(|f| f.fittings.iter().max_by_key(|f| f.at));
        let usual = if whose.insensate {
            &self.wear_in_hours_insensate
        } else {
            &self.wear_in_hours
        };
        let hours = fitting
            .map(|f| &f.wear_in_hours)
            .filter(|h| !h.is_empty())
            .unwrap_or(usual);
        let fill = Fill { whose, lang };
        let section = |s: &SectionText| Section {
            heading: s.heading.get(lang).to_owned(),
            lines: s
                .lines
                .iter()
                .filter_map(|line| fill.line(line.get(lang)))
                .collect(),
            bullets: s.bullets,
            tone: s.tone,
            plan: if s.plan {
                plan(hours, lang)
            } else {
                Vec::new()
            },
        };
        let shown = |s: &&SectionText| whose.insensate || !s.only_insensate;
        Leaflet {
            lang,
            title: self.title.get(lang).to_owned(),
            sections: self.section.iter().filter(shown).map(section).collect(),
            caution: self.caution.get(lang).to_owned(),
        }
    }
}

fn plan(hours: &[f64], lang: Lang) -> Vec<(String, String)> {
    let row = |(i, h): (usize, &f64)| {
        let (day, hour, hours, minutes) = match lang {
            Lang::En => ("Day", "hour", "hours", "minutes"),
            Lang::De => ("Tag", "Stunde", "Stunden", "Minuten"),
        };
        // Half an hour is plainer as thirty minutes.
        let length = if *h < 1.0 {
            format!("{} {minutes}", format::number(h * 60.0, 0, lang))
        } else {
            let text = format::number(*h, usize::from(h.fract() != 0.0), lang);
            format!("{text} {}", if *h == 1.0 { hour } else { hours })
        };
        (format!("{day} {}", i + 1), length)
    };
    hours.iter().enumerate().map(row).collect()
}

struct Fill<'a> {
    whose: LeafletFor<'a>,
    lang: Lang,
}

impl Fill<'_> {
    /// The line with its places filled; dropped where there is nothing to fill in.
    fn line(&self, text: &str) -> Option<String> {
        let clinic = self.whose.clinic;
        let side = match (self.whose.side, self.lang) {
            (Side::Left, Lang::En) => "left",
            (Side::Right, Lang::En) => "right",
            (Side::Left, Lang::De) => "linken",
            (Side::Right, Lang::De) => "rechten",
        };
        let review = self.whose.follow_up.and_then(|f| f.review_due);
        let review = review
            .map(|day| format::long_date(day, self.lang))
            .unwrap_or_default();
        // A leaflet that names nobody to ring is worse than one to be completed by hand.
        let telephone = match clinic.telephone.as_str() {
            "" => "_".repeat(24),
            telephone => telephone.to_owned(),
        };
        let mut line = text.to_owned();
        for (place, value) in [
            ("{clinic}", clinic.name.as_str()),
            ("{telephone}", telephone.as_str()),
            ("{urgent}", clinic.urgent_telephone.as_str()),
            ("{side}", side),
            ("{review}", review.as_str()),
        ] {
            if line.contains(place) {
                if value.is_empty() {
                    return None;
                }
                line = line.replace(place, value);
            }
        }
        Some(line)
    }
}
