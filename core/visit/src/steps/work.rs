//! What each step holds.

use super::Tally;
use crate::examination::{Dimension, Reading, reading_kind, reading_kinds};
use crate::knowledge::Knowledge;
use crate::order::OrderState;
use crate::person::ConsentFor;
use crate::rules::{Case, Checks, Level, Stops};
use crate::verdict::{Call, Evidence, verdict};
use crate::words::{Lang, Text};

/// Dimensions that prove the cast.
const PROOF: [Dimension; 5] = [
    Dimension::BimalleolarBreadthMm,
    Dimension::HeelBreadthMm,
    Dimension::HeelToFirstMtpMm,
    Dimension::MedialMalleolusHeightMm,
    Dimension::LateralMalleolusHeightMm,
];

fn holds_something(reading: &Reading) -> bool {
    reading.mean().is_some() || !reading.choices.is_empty() || !reading.text.trim().is_empty()
}

fn attend_blocks(tally: &mut Tally, checks: &Checks, what: Stops) {
    for block in checks.in_the_way_of(what) {
        tally.attend(block.text.clone());
    }
}

pub(super) fn ask(case: &Case<'_>, _: &Knowledge, checks: &Checks) -> Tally {
    let mut tally = Tally::default();
    let (visit, person) = (case.visit, &case.visit.person);
    let consent = |what| person.consents_to(&what);
    let kg = person.body_mass_kg.as_ref();
    tally.thing(
        !person.code.trim().is_empty(),
        "patient's code",
        "Code des Patienten",
    );
    tally.thing(
        !visit.reason.trim().is_empty(),
        "reason for the visit",
        "Anlass des Besuchs",
    );
    tally.thing(person.born.is_some(), "date of birth", "Geburtsdatum");
    tally.thing(
        kg.and_then(|e| e.usable()).is_some(),
        "body mass",
        "Körpergewicht",
    );
    tally.thing(
        consent(ConsentFor::Treatment).is_some(),
        "consent to treatment",
        "Einwilligung in die Behandlung",
    );
    tally.thing(
        consent(ConsentFor::Photographs).is_some(),
        "consent to photographs",
        "Einwilligung in Fotografien",
    );
    for kind in reading_kinds().iter().filter(|k| k.group == "alarm") {
        let asked = visit
            .reading(&kind.key, case.side)
            .is_some_and(holds_something);
        tally.named(asked, kind.label.clone());
    }
    if consent(ConsentFor::Treatment) == Some(false) {
        tally.attend(Text::new(
            "Treatment was refused: do not cast.",
            "Behandlung abgelehnt: nicht abformen.",
        ));
    }
    for entry in [kg, person.stature_mm.as_ref()].into_iter().flatten() {
        if let (Some(problem), false) = (&entry.problem, entry.confirmed) {
            tally.attend(both(|lang| {
                format!("“{}”: {}", entry.typed, problem.sentence(lang))
            }));
        }
    }
    let alarms = ["possible-neuro-arthropathy", "possible-thrombosis"];
    for block in checks.in_the_way_of(Stops::Casting) {
        if alarms.contains(&block.rule.as_str()) {
            tally.attend(block.text.clone());
        }
    }
    tally
}

pub(super) fn examine(case: &Case<'_>, known: &Knowledge, _: &Checks) -> Tally {
    let mut tally = Tally::default();
    let visit = case.visit;
    let mut groups: Vec<(&str, &Text)> = Vec::new();
    for kind in reading_kinds().iter().filter(|k| k.core) {
        if groups.iter().all(|(group, _)| *group != kind.group) {
            groups.push((&kind.group, &kind.label));
        }
    }
    let here: Vec<&Reading> = visit
        .readings
        .iter()
        .filter(|r| r.side.is_none_or(|s| s == case.side))
        .collect();
    for (group, label) in groups {
        let taken = here
            .iter()
            .any(|r| holds_something(r) && reading_kind(&r.kind).is_some_and(|k| k.group == group));
        tally.named(taken, label.clone());
    }
    let leg = visit.leg(case.side);
    for dimension in PROOF {
        let label = known.anthropometry.kind(dimension).map(|k| k.label.clone());
        let taken = leg.and_then(|l| l.get(dimension)).is_some();
        tally.named(taken, label.unwrap_or_default());
    }
    for reading in &here {
        let label = reading_kind(&reading.kind).map_or_else(
            || Text::new(reading.kind.clone(), reading.kind.clone()),
            |k| k.label.clone(),
        );
        if reading.is_unconfirmed_copy() {
            tally.attend(Text::new(
                format!("{}: copied from the last visit, not confirmed.", label.en),
                format!(
                    "{}: vom letzten Besuch übernommen, nicht bestätigt.",
                    label.de
                ),
            ));
        }
        for (entry, problem) in unsettled(&reading.repeats) {
            tally.attend(both(|lang| {
                format!("{} “{entry}”: {}", label.get(lang), problem.sentence(lang))
            }));
        }
    }
    if let Some(leg) = leg {
        for (dimension, entries) in leg.values.iter() {
            let label = known
                .anthropometry
                .kind(*dimension)
                .map(|k| k.label.clone());
            let label = label.unwrap_or_default();
            for (entry, problem) in unsettled(entries) {
                tally.attend(both(|lang| {
                    format!("{} “{entry}”: {}", label.get(lang), problem.sentence(lang))
                }));
            }
        }
        let (sex, age) = (
            visit.person.sex.as_ref(),
            visit.person.age_years(case.today),
        );
        if let Some(question) = known.anthropometry.question(leg, sex, age) {
            tally.attend(question);
        }
    }
    tally
}

fn unsettled(entries: &[crate::Entry]) -> impl Iterator<Item = (&str, &crate::entry::Problem)> {
    entries
        .iter()
        .filter(|e| !e.confirmed)
        .filter_map(|e| Some((e.typed.as_str(), e.problem.as_ref()?)))
}

fn both(make: impl Fn(Lang) -> String) -> Text {
    Text::new(make(Lang::En), make(Lang::De))
}

pub(super) fn position(case: &Case<'_>, _: &Knowledge, _: &Checks) -> Tally {
    let mut tally = Tally::default();
    let record = case.cast.map(|c| &c.record);
    let number = |e: &Option<crate::Entry>| e.as_ref().and_then(crate::Entry::usable).is_some();
    let mut thing = |done: Option<bool>, en: &str, de: &str| {
        tally.thing(done == Some(true), en, de);
    };
    thing(record.map(|r| r.position.is_some()), "position", "Lagerung");
    thing(record.map(|r| number(&r.knee_flexion_deg)), "knee", "Knie");
    thing(
        record.map(|r| r.rearfoot_held.is_some()),
        "rearfoot held",
        "Rückfuß gehalten",
    );
    thing(
        record.map(|r| r.midtarsal.is_some()),
        "midtarsal joint",
        "Mittelfuß",
    );
    thing(
        record.map(|r| r.first_ray.is_some()),
        "first ray",
        "erster Strahl",
    );
    thing(
        record.map(|r| number(&r.foot_to_leg_intended_deg)),
        "foot-to-leg angle intended",
        "vorgesehener Fuß-Bein-Winkel",
    );
    tally
}

pub(super) fn mark(case: &Case<'_>, known: &Knowledge, _: &Checks) -> Tally {
    let mut tally = Tally::default();
    let Some(list) = known.checklists.list("marks") else {
        return tally;
    };
    let marks: Vec<&str> = case
        .results
        .map(|r| r.points.iter().map(|p| p.mark.as_str()).collect())
        .unwrap_or_default();
    let open = list.open(case.visit, &marks);
    for item in &list.items {
        let done = open.iter().all(|o| o.id != item.id);
        tally.named(done, item.say.clone());
    }
    tally
}

pub(super) fn cast(case: &Case<'_>, _: &Knowledge, checks: &Checks) -> Tally {
    let mut tally = Tally::default();
    let record = case.cast.map(|c| &c.record);
    let mut thing = |done: Option<bool>, en: &str, de: &str| {
        tally.thing(done == Some(true), en, de);
    };
    thing(record.map(|r| r.dipped_at.is_some()), "dip", "Eintauchen");
    thing(
        record.map(|r| r.removed_at.is_some()),
        "removal",
        "Abnehmen",
    );
    thing(
        record.map(|r| r.foot_to_leg_reached_deg.is_some()),
        "foot-to-leg angle reached",
        "erreichter Fuß-Bein-Winkel",
    );
    thing(
        record.map(|r| r.side_written.is_some()),
        "L or R written",
        "L oder R geschrieben",
    );
    thing(
        record.map(|r| !r.material.is_empty()),
        "material",
        "Material",
    );
    thing(
        record.map(|r| !r.cast_by.is_empty()),
        "who cast",
        "wer abgeformt hat",
    );
    thing(
        record.map(|r| !r.marked_by.is_empty()),
        "who marked",
        "wer markiert hat",
    );
    attend_blocks(&mut tally, checks, Stops::Casting);
    if let Some(why) = &case.visit.deferred {
        tally.attend(Text::new(
            format!("Casting was put off: {why}"),
            format!("Abformen verschoben: {why}"),
        ));
    }
    tally
}

pub(super) fn check_cast(case: &Case<'_>, known: &Knowledge, checks: &Checks) -> Tally {
    let mut tally = Tally::default();
    let Some(cast) = case.cast else {
        tally.thing(false, "a cast", "ein Abdruck");
        return tally;
    };
    let by_hand = cast.inspection.without_photographs == Some(true);
    tally.thing(
        case.results.is_some() || by_hand,
        "marks measured",
        "Markierungen vermessen",
    );
    let looked = cast.inspection != crate::cast_record::Inspection::default();
    tally.thing(looked, "shell looked over", "Schale angesehen");
    let judged = verdict(
        &Evidence::of_visit(case.visit, cast, case.results),
        &known.tolerances,
    );
    let settled = cast.decision.is_some() || judged.call == Call::Keep;
    tally.thing(
        settled,
        "keep or recast decided",
        "behalten oder neu abformen entschieden",
    );
    if cast.decision.is_none() && judged.call > Call::Keep {
        tally.attend(judged.text);
    }
    if case.results.is_none() && !by_hand {
        attend_blocks(&mut tally, checks, Stops::Photographs);
    }
    tally
}

pub(super) fn prescribe(case: &Case<'_>, known: &Knowledge, checks: &Checks) -> Tally {
    let mut tally = Tally::default();
    let (Some(order), Some(revision)) = (case.order, case.revision) else {
        tally.thing(false, "the order", "der Auftrag");
        return tally;
    };
    for rule in known.rules.rules.iter().filter(|r| r.field.is_some()) {
        if rule.number == 0 && rule.level == Level::Block {
            let missing = checks
                .in_the_way_of(Stops::Signing)
                .find(|f| f.rule == rule.id);
            tally.named(
                missing.is_none(),
                missing.map_or_else(Text::default, |f| f.text.clone()),
            );
        }
    }
    for block in checks.in_the_way_of(Stops::Signing) {
        if block.number > 0 || block.field.is_none() {
            tally.attend(block.text.clone());
        }
    }
    let chosen = crate::order::FIELDS
        .iter()
        .any(|f| revision.prescription.is_filled(f.path));
    if !chosen {
        // Conditional fields of an untouched order are not "done".
        tally.done = 0;
        tally.attention.clear();
    }
    tally.thing(revision.signature.is_some(), "signature", "Unterschrift");
    if order.state() == OrderState::Withdrawn {
        tally.attend(Text::new(
            "This order was withdrawn.",
            "Dieser Auftrag wurde zurückgezogen.",
        ));
    }
    tally
}

pub(super) fn pack(case: &Case<'_>, _: &Knowledge, checks: &Checks) -> Tally {
    let mut tally = Tally::default();
    let cast = case.cast;
    tally.thing(
        cast.is_some_and(|c| c.code.is_some()),
        "code bound to the cast",
        "Code dem Abdruck zugeordnet",
    );
    tally.thing(
        cast.is_some_and(|c| c.record.packing.is_some()),
        "how the plaster is packed",
        "wie der Gips verpackt ist",
    );
    for rule in ["sides-differ", "sealed-wet"] {
        if let Some(fired) = checks.fired.iter().find(|f| f.rule == rule) {
            tally.attend(fired.text.clone());
        }
    }
    tally
}

/// States from hand-over on.
fn reached(case: &Case<'_>, state: &OrderState) -> bool {
    case.order
        .is_some_and(|o| o.history.iter().any(|c| &c.to == state))
}

pub(super) fn hand_over(case: &Case<'_>, _: &Knowledge, _: &Checks) -> Tally {
    let mut tally = Tally::default();
    let gone = reached(case, &OrderState::HandedOver);
    tally.thing(gone, "handed over to the lab", "der Werkstatt übergeben");
    if let Some(order) = case.order {
        let amended = order.in_force().map(|r| r.number);
        let sent = order
            .history
            .iter()
            .rfind(|c| c.to == OrderState::HandedOver)
            .map(|c| c.revision);
        if gone && amended > sent {
            tally.attend(Text::new(
                "A later revision was signed after hand-over: send it to the lab.",
                "Nach der Übergabe wurde eine neue Revision unterschrieben: der Werkstatt senden.",
            ));
        }
        if let Some(hold) = order.history.last().filter(|c| c.to == OrderState::LabHold) {
            tally.attend(Text::new(
                format!("On hold at the lab: {}", hold.reason),
                format!("In der Werkstatt angehalten: {}", hold.reason),
            ));
        }
    }
    tally
}

pub(super) fn follow_up(case: &Case<'_>, _: &Knowledge, _: &Checks) -> Tally {
    let mut tally = Tally::default();
    for state in [
        OrderState::Received,
        OrderState::Fitted,
        OrderState::Reviewed,
    ] {
        tally.thing(
            reached(case, &state),
            state.label(Lang::En),
            state.label(Lang::De),
        );
    }
    let Some(order) = case.order else {
        return tally;
    };
    let follow_up = case.visit.follow_up.iter().filter(|f| f.order == order.id);
    for due in follow_up.filter_map(|f| {
        let due = f.review_due?;
        let seen = f.reviews.iter().any(|r| r.at.date_naive() >= due);
        (due < case.today && !seen).then_some(due)
    }) {
        tally.attend(both(|lang| {
            let day = crate::format::long_date(due, lang);
            match lang {
                Lang::En => format!("The review was due on {day}."),
                Lang::De => format!("Die Kontrolle war am {day} fällig."),
            }
        }));
    }
    if order.state() == OrderState::Remade {
        let named = case
            .visit
            .follow_up
            .iter()
            .filter(|f| f.order == order.id)
            .flat_map(|f| &f.remakes)
            .any(|r| r.new_order.is_some());
        if !named {
            tally.attend(Text::new(
                "Made again, but no new order has been begun.",
                "Neu anzufertigen, aber noch kein neuer Auftrag begonnen.",
            ));
        }
    }
    tally
}
