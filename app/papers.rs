//! From one foot of a visit to its papers: the same for commands, demo and screens.

use crate::error::AppError;
use crate::visits::Foot;
use chrono::{DateTime, FixedOffset, NaiveDate};
use plinthside_measure::cast::Results;
use plinthside_paper::{
    Bench, CouchCard, Document, Label, LabelSize, LeafletSheet, OrderSheet, Outline, PackedCast,
    Packing, Paper, PrinterDots,
};
use plinthside_visit::aids::{CheckLists, Help};
use plinthside_visit::follow_up::{Leaflet, LeafletFor};
use plinthside_visit::knowledge::Knowledge;
use plinthside_visit::order::line_cost;
use plinthside_visit::person::Lab;
use plinthside_visit::rules::{Case, Checks, Fired, check};
use plinthside_visit::verdict::{Evidence, Verdict, verdict};
use plinthside_visit::{Clinic, Entry, Lang};

/// Number of the rule that fires where a sensation site is not felt.
const NOT_FELT: u32 = 12;

/// The device in words, as labels and lists name it.
fn device(foot: &Foot<'_>) -> &'static str {
    match foot.clinic.lang {
        Lang::De => "Knöchel-Fuß-Orthese mit Gelenk",
        Lang::En => "Hinged ankle-foot orthosis",
    }
}

/// What the order says about motion and hinges, in one line.
fn hinge_words(foot: &Foot<'_>) -> Result<String, AppError> {
    let (_, revision) = foot.order()?;
    let lang = foot.clinic.lang;
    let wanted = [
        "motion.plantarflexion.kind",
        "motion.dorsiflexion.kind",
        "motion.hinge",
    ];
    let lines = revision.lines(lang);
    let words = wanted
        .iter()
        .filter_map(|path| lines.iter().find(|line| line.field.path == *path));
    Ok(words
        .map(|line| format!("{} {}", line.field.label(lang), line.value))
        .collect::<Vec<_>>()
        .join("; "))
}

/// What the rules raise about this foot.
fn raised(
    known: &Knowledge,
    foot: &Foot<'_>,
    results: Option<&Results>,
    today: NaiveDate,
) -> Checks {
    let case = Case::of_visit(foot.visit, foot.side, today);
    let case = match results {
        Some(results) => case.measured(results),
        None => case,
    };
    check(&known.rules, &case)
}

/// Its cautions in words.
fn cautions(raised: &Checks, lang: Lang) -> Vec<String> {
    let cautions = raised.cautions();
    cautions.map(|f| f.text.get(lang).to_owned()).collect()
}

/// The judgement of this foot's cast.
///
/// # Errors
/// When the shipped tolerances can't be read.
pub fn judge(foot: &Foot<'_>, results: &Results) -> Result<Verdict, AppError> {
    let (known, _) = Knowledge::for_clinic(foot.clinic)?;
    Ok(judged(&known, foot, results))
}

fn judged(known: &Knowledge, foot: &Foot<'_>, results: &Results) -> Verdict {
    let evidence = match foot.cast() {
        Some(cast) => Evidence::of_visit(foot.visit, cast, Some(results)),
        None => Evidence::of_results(results),
    };
    verdict(&evidence, &known.tolerances)
}

/// The bag label.
///
/// # Errors
/// No order, or no code bound to the cast yet.
pub fn label(
    foot: &Foot<'_>,
    size: LabelSize,
    dots: PrinterDots,
    today: NaiveDate,
) -> Result<Document, AppError> {
    let (_, revision) = foot.order()?;
    let code = foot.code()?.ok_or_else(|| {
        AppError::Request(format!(
            "no cast code is bound to the {} cast of visit {}; bind one first (plinthside code bind)",
            foot.side, foot.visit.id
        ))
    })?;
    let identity = &revision.prescription.identity;
    let label = Label {
        code,
        side: foot.side,
        revision: revision.number,
        device: device(foot).into(),
        hinge: hinge_words(foot)?,
        date: cast_date(foot, today),
        clinic: foot.clinic.name.clone(),
        telephone: foot.clinic.telephone.clone(),
        package: identity.package.zip(identity.packages),
        name: None,
    };
    Ok(plinthside_paper::label(&label, size, dots)?)
}

/// The day the cast was taken, else the day of the visit.
fn cast_date(foot: &Foot<'_>, today: NaiveDate) -> NaiveDate {
    let dipped = foot.cast().and_then(|cast| cast.record.dipped_at);
    dipped.or(foot.visit.at).map_or(today, |at| at.date_naive())
}

/// The order.
///
/// # Errors
/// No order yet.
pub fn order(foot: &Foot<'_>, paper: Paper, today: NaiveDate) -> Result<Document, AppError> {
    let (order, revision) = foot.order()?;
    let cast = foot.cast();
    let results = foot.results().ok();
    let lang = foot.clinic.lang;
    let (known, _) = Knowledge::for_clinic(foot.clinic)?;
    let raised = raised(&known, foot, results.as_ref(), today);
    let say = |fired: &Fired| (fired.rule.clone(), fired.text.get(lang).to_owned());
    let sheet = OrderSheet {
        clinic: foot.clinic,
        order,
        revision,
        code: foot.code()?,
        person_code: &foot.visit.person.code,
        name: None,
        body_mass_kg: foot
            .visit
            .person
            .body_mass_kg
            .as_ref()
            .and_then(Entry::usable),
        cast: cast.map(|cast| &cast.record),
        without_photographs: cast
            .is_none_or(|cast| cast.inspection.without_photographs == Some(true)),
        cautions: &cautions(&raised, lang),
        rules: &raised.fired.iter().map(say).collect::<Vec<_>>(),
        lang,
        date: today,
    };
    Ok(plinthside_paper::order(&sheet, paper)?)
}

/// The bench sheet at true scale.
///
/// # Errors
/// Nothing measured yet.
pub fn bench(foot: &Foot<'_>, paper: Paper, today: NaiveDate) -> Result<Document, AppError> {
    let results = foot.results()?;
    let (known, _) = Knowledge::for_clinic(foot.clinic)?;
    let verdict = judged(&known, foot, &results);
    let case = Case::of_visit(foot.visit, foot.side, today).measured(&results);
    let (ordered, revision) = match foot.order() {
        Ok((_, revision)) => {
            let cost = line_cost(&case).map(|cost| cost.get(foot.clinic.lang).to_owned());
            let words = [
                Some(device(foot).to_owned()),
                Some(hinge_words(foot)?),
                cost,
            ];
            let words: Vec<String> = words.into_iter().flatten().collect();
            (words.join(". "), revision.number)
        }
        Err(_) => (String::new(), 1),
    };
    let measured = foot
        .cast()
        .and_then(|cast| cast.measurement.as_ref())
        .and_then(|m| m.at);
    let clearances = foot
        .cast()
        .and_then(|cast| cast.measurement.as_ref())
        .map(|m| &m.clearances);
    let outlines: Vec<Outline> = clearances
        .into_iter()
        .flatten()
        .map(|area| Outline {
            mark: area.mark.to_string(),
            cast_mm: area.line_cast_mm.clone(),
        })
        .collect();
    let bench = Bench {
        results: &results,
        outlines: &outlines,
        verdict: Some(&verdict),
        cautions: &cautions(
            &raised(&known, foot, Some(&results), today),
            foot.clinic.lang,
        ),
        code: foot.code()?,
        revision,
        ordered: &ordered,
        clinic: &foot.clinic.name,
        telephone: &foot.clinic.telephone,
        lang: foot.clinic.lang,
        date: measured.map_or(today, |at: DateTime<FixedOffset>| at.date_naive()),
    };
    Ok(plinthside_paper::bench(&bench, paper)?)
}

/// The card that lies at the couch.
///
/// # Errors
/// When the shipped lists can't be read.
pub fn couch_card(
    clinic: &Clinic,
    paper: Paper,
    lang: Lang,
    today: NaiveDate,
) -> Result<Document, AppError> {
    let (known, _) = Knowledge::for_clinic(clinic)?;
    let card = CouchCard {
        clinic,
        lists: &CheckLists::shipped()?,
        timers: &known.timers,
        help: &Help::shipped()?,
        lang,
        date: today,
    };
    Ok(plinthside_paper::couch_card(&card, paper)?)
}

/// The packing list of the bag with this foot's cast.
///
/// # Errors
/// No order, or no code bound to the cast yet.
pub fn packing(foot: &Foot<'_>, paper: Paper, today: NaiveDate) -> Result<Document, AppError> {
    let (_, revision) = foot.order()?;
    let identity = &revision.prescription.identity;
    let lab = foot.clinic.labs.iter().find(|lab| lab.name == identity.lab);
    let unknown = Lab {
        name: identity.lab.clone(),
        ..Lab::default()
    };
    let code = foot.code()?.ok_or_else(|| {
        AppError::Request(format!(
            "no cast code is bound to the {} cast of visit {}, so no bag can be packed; bind one first",
            foot.side, foot.visit.id
        ))
    })?;
    let packed = foot.cast().and_then(|cast| cast.record.packing.as_ref());
    let mut contents = vec!["Order".to_owned()];
    if foot.results().is_ok() {
        contents.push("Bench sheet, true scale".into());
    }
    let packing = Packing {
        clinic: foot.clinic,
        lab: lab.unwrap_or(&unknown),
        casts: &[PackedCast {
            code,
            side: foot.side,
            revision: revision.number,
            device: device(foot).into(),
        }],
        contents: &contents,
        package: (
            identity.package.unwrap_or(1),
            identity.packages.unwrap_or(1),
        ),
        packed: packed.map_or("", |packing| packing.label(foot.clinic.lang)),
        lang: foot.clinic.lang,
        date: today,
    };
    Ok(plinthside_paper::packing_list(&packing, paper)?)
}

/// The patient's leaflet for this foot, in the clinic's language.
///
/// # Errors
/// The shipped text can't be read, or the page fails.
pub fn leaflet(foot: &Foot<'_>, paper: Paper, today: NaiveDate) -> Result<Document, AppError> {
    let leaflet = leaflet_text(foot, today)?;
    let sheet = LeafletSheet {
        leaflet: &leaflet,
        side: foot.side,
        clinic: &foot.clinic.name,
        telephone: &foot.clinic.telephone,
        date: today,
    };
    Ok(plinthside_paper::leaflet(&sheet, paper)?)
}

/// The same as text.
///
/// # Errors
/// The shipped text can't be read.
pub fn leaflet_text(foot: &Foot<'_>, today: NaiveDate) -> Result<Leaflet, AppError> {
    let (known, _) = Knowledge::for_clinic(foot.clinic)?;
    let order = foot.visit.order(foot.side);
    let follow_up = order.and_then(|order| {
        foot.visit
            .follow_up
            .iter()
            .find(|follow_up| follow_up.order == order.id)
    });
    let checks = raised(&known, foot, foot.results().ok().as_ref(), today);
    let whose = LeafletFor {
        clinic: foot.clinic,
        side: foot.side,
        insensate: checks.fired.iter().any(|fired| fired.number == NOT_FELT),
        follow_up,
    };
    Ok(known.leaflet.leaflet(whose, foot.clinic.lang))
}
