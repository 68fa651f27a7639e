//! What a printer says of itself (RFC 8011, section 5.4; PWG 5100.14).

use crate::media::{Media, size_of_name};
use ipp::attribute::{IppAttribute, IppAttributeGroup};
use ipp::value::IppValue;

/// Whether the printer works.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum PrinterState {
    /// Nothing to do.
    #[default]
    Idle,
    /// Printing.
    Printing,
    /// Stopped; the reasons say why.
    Stopped,
}

/// What a printer says of itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct About {
    /// Name, and make and model.
    pub name: String,
    /// What tells it from every other printer.
    pub uuid: Option<String>,
    /// Whether it takes jobs at all.
    pub accepting: bool,
    /// Whether it works.
    pub state: PrinterState,
    /// `printer-state-reasons` as the printer writes them.
    pub reasons: Vec<String>,
    /// MIME types of documents it takes.
    pub formats: Vec<String>,
    /// The one it prefers.
    pub prefers: Option<String>,
    /// Pixel types of PWG raster.
    pub raster_types: Vec<String>,
    /// Resolutions of PWG raster that are alike both ways, dots per inch.
    pub raster_dpi: Vec<u32>,
    /// Sizes it takes.
    pub media_supported: Vec<Media>,
    /// Their names, as the printer writes them.
    pub media_names: Vec<String>,
    /// Smallest and largest size of paper cut to any length.
    pub media_ranges: Vec<[Media; 2]>,
    /// Sizes it holds now.
    pub media_ready: Vec<Media>,
    /// Ways of scaling; `none` is the one for true scale.
    pub scaling: Vec<String>,
    /// Job attributes it knows.
    pub job_attributes: Vec<String>,
    /// Numbers of the operations it knows.
    pub operations: Vec<i32>,
}

const CREATE_JOB: i32 = 5;
const SEND_DOCUMENT: i32 = 6;

/// Reasons that stop a job, without their `-error`, `-warning`, `-report`, and what to do. Names of
/// RFC 8011, section 5.4.12.
const REASONS: [(&str, &str); 17] = [
    ("media-empty", "it is out of paper or labels: load more"),
    (
        "media-needed",
        "it asks for paper: load it and press its button",
    ),
    ("media-jam", "its paper is jammed"),
    ("input-tray-missing", "a tray is missing"),
    ("output-area-full", "its output tray is full"),
    ("cover-open", "its cover is open"),
    ("door-open", "its door is open"),
    ("interlock-open", "its cover is open"),
    ("toner-empty", "it is out of toner"),
    ("marker-supply-empty", "it is out of ink or ribbon"),
    ("marker-waste-full", "its waste container is full"),
    ("developer-empty", "it is out of developer"),
    ("paused", "it is paused: press its button or resume it"),
    ("moving-to-paused", "it is being paused: resume it"),
    ("shutdown", "it is switched off"),
    ("offline", "it is not online: switch it online"),
    ("timed-out", "it does not answer its own computer"),
];

impl About {
    /// What keeps it from printing, in words, and what to do; `None` if nothing does.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        let words = trouble_in(&self.reasons, self.state == PrinterState::Stopped);
        match (words, self.state) {
            (Some(words), _) => Some(words),
            (None, PrinterState::Stopped) => Some("the printer is stopped: look at it".into()),
            (None, _) => None,
        }
    }

    /// Whether jobs can be made first and filled later, which printing at most once rests on.
    #[must_use]
    pub fn makes_jobs(&self) -> bool {
        self.operations.contains(&CREATE_JOB) && self.operations.contains(&SEND_DOCUMENT)
    }

    pub(crate) fn knows(&self, attribute: &str) -> bool {
        self.job_attributes.iter().any(|a| a == attribute)
    }

    pub(crate) fn of(groups: &[&IppAttributeGroup]) -> Self {
        let find = |name: &str| groups.iter().find_map(|g| g.get(name));
        let words = |name: &str| find(name).map(texts).unwrap_or_default();
        let first = |name: &str| words(name).into_iter().next().unwrap_or_default();
        let number = |name: &str| find(name).and_then(|a| integers(a).first().copied());
        let name = [first("printer-name"), first("printer-make-and-model")];
        let uuid = Some(first("printer-uuid")).filter(|u| !u.is_empty());
        let sizes = |name: &str| {
            words(name)
                .iter()
                .filter(|n| !is_limit(n))
                .filter_map(|n| size_of_name(n))
                .collect::<Vec<_>>()
        };
        let mut about = Self {
            name: name
                .into_iter()
                .filter(|n| !n.is_empty())
                .collect::<Vec<_>>()
                .join(", "),
            uuid,
            accepting: !matches!(
                find("printer-is-accepting-jobs").map(IppAttribute::value),
                Some(IppValue::Boolean(false))
            ),
            state: match number("printer-state") {
                Some(5) => PrinterState::Stopped,
                Some(4) => PrinterState::Printing,
                _ => PrinterState::Idle,
            },
            reasons: words("printer-state-reasons"),
            formats: words("document-format-supported"),
            prefers: Some(first("document-format-preferred")).filter(|f| !f.is_empty()),
            raster_types: words("pwg-raster-document-type-supported"),
            raster_dpi: find("pwg-raster-document-resolution-supported")
                .map(resolutions)
                .unwrap_or_default(),
            media_supported: sizes("media-supported"),
            media_names: words("media-supported"),
            media_ranges: find("media-size-supported").map(ranges).unwrap_or_default(),
            media_ready: sizes("media-ready"),
            scaling: words("print-scaling-supported"),
            job_attributes: words("job-creation-attributes-supported"),
            operations: find("operations-supported")
                .map(integers)
                .unwrap_or_default(),
        };
        let limits: Vec<Media> = ["custom_min", "custom_max"]
            .iter()
            .filter_map(|kind| {
                words("media-supported")
                    .iter()
                    .find(|n| n.contains(kind))
                    .and_then(|n| size_of_name(n))
            })
            .collect();
        about.media_ranges.extend(<[Media; 2]>::try_from(limits));
        about
    }
}

/// What stops a job among reasons as a printer writes them.
pub(crate) fn trouble_in(reasons: &[String], stopped: bool) -> Option<String> {
    let stops = reasons.iter().find_map(|reason| {
        // A warning or a report does not stop a printer that says it works.
        let mild = reason.ends_with("-warning") || reason.ends_with("-report");
        let stem = ["-error", "-warning", "-report"]
            .iter()
            .find_map(|end| reason.strip_suffix(end))
            .unwrap_or(reason);
        let known = REASONS.iter().find(|(name, _)| *name == stem);
        known.filter(|_| stopped || !mild)
    });
    stops.map(|(_, words)| format!("the printer says {words}"))
}

fn is_limit(name: &str) -> bool {
    name.starts_with("custom_min") || name.starts_with("custom_max")
}

fn values(attribute: &IppAttribute) -> &[IppValue] {
    match attribute.value() {
        IppValue::Array(values) => values,
        value => std::slice::from_ref(value),
    }
}

/// Every textual value of an attribute.
pub(crate) fn texts(attribute: &IppAttribute) -> Vec<String> {
    let text = |value: &IppValue| match value {
        IppValue::Keyword(t) => Some(t.to_string()),
        IppValue::NameWithoutLanguage(t) => Some(t.to_string()),
        IppValue::TextWithoutLanguage(t) => Some(t.to_string()),
        IppValue::NameWithLanguage { name, .. } => Some(name.to_string()),
        IppValue::TextWithLanguage { text, .. } => Some(text.to_string()),
        IppValue::MimeMediaType(t) => Some(t.to_string()),
        IppValue::Uri(t) => Some(t.to_string()),
        _ => None,
    };
    values(attribute).iter().filter_map(text).collect()
}

/// Every number of an attribute.
pub(crate) fn integers(attribute: &IppAttribute) -> Vec<i32> {
    let number = |value: &IppValue| match value {
        IppValue::Integer(n) | IppValue::Enum(n) => Some(*n),
        _ => None,
    };
    values(attribute).iter().filter_map(number).collect()
}

fn resolutions(attribute: &IppAttribute) -> Vec<u32> {
    let dpi = |value: &IppValue| match value {
        // Units 3 are dots an inch, 4 dots a centimetre (RFC 8011, section 5.1.16).
        IppValue::Resolution {
            cross_feed,
            feed,
            units,
        } if cross_feed == feed && *feed > 0 => {
            let dots = f64::from(*feed) * if *units == 4 { 2.54 } else { 1.0 };
            Some(dots.round() as u32)
        }
        _ => None,
    };
    values(attribute).iter().filter_map(dpi).collect()
}

/// Sizes given as a range in either direction.
fn ranges(attribute: &IppAttribute) -> Vec<[Media; 2]> {
    let range = |value: &IppValue| {
        let IppValue::Collection(members) = value else {
            return None;
        };
        let member = |wanted: &str| {
            let found = members.iter().find(|(name, _)| name.as_str() == wanted)?.1;
            match found {
                IppValue::Integer(n) => Some([*n, *n]),
                IppValue::RangeOfInteger { min, max } => Some([*min, *max]),
                _ => None,
            }
        };
        let ([w0, w1], [h0, h1]) = (member("x-dimension")?, member("y-dimension")?);
        let media = |width, height| Media { width, height };
        (w0 != w1 || h0 != h1).then(|| [media(w0, h0), media(w1, h1)])
    };
    values(attribute).iter().filter_map(range).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_become_words_and_warnings_stop_nothing() {
        let says = |reason: &str, stopped| trouble_in(&[reason.to_owned()], stopped);
        assert!(
            says("media-empty-error", false)
                .unwrap()
                .contains("load more")
        );
        assert!(says("media-empty", false).is_some());
        assert_eq!(says("media-low-warning", false), None);
        assert_eq!(says("media-empty-warning", false), None);
        assert!(says("media-empty-report", true).is_some());
        assert_eq!(says("none", true), None);
        let stopped = About {
            state: PrinterState::Stopped,
            ..About::default()
        };
        assert!(stopped.trouble().is_some());
        assert_eq!(About::default().trouble(), None);
    }
}
