//! The order as an HL7 FHIR R4 (4.0.1) Bundle of type `collection`.
//!
//! Units are UCUM. Sides are the SNOMED CT qualifiers of HL7's mCODE laterality value set
//! (7771000 left, 24028007 right); the ankle is 344001 of FHIR's own SNOMED body structures; body
//! weight and height are LOINC 29463-7 and 8302-2, as in FHIR's vital signs. What has no published
//! code goes by its name alone. Every reference leads to a resource of the same Bundle.

use super::About;
use crate::seal::sha256;
use plinthside_measure::cast::{Datum, HingePoint, Results};
use plinthside_measure::marks::Side;
use plinthside_measure::quantity::Quantity;
use plinthside_visit::examination::Dimension;
use plinthside_visit::norms::Anthropometry;
use plinthside_visit::order::{FIELDS, FieldKind, at, json_of, usable_number};
use plinthside_visit::{Entry, Lang};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const UCUM: &str = "http://unitsofmeasure.org";
const SNOMED: &str = "http://snomed.info/sct";
const LOINC: &str = "http://loinc.org";

/// The code of a unit of this program in UCUM.
fn ucum(unit: &str) -> &str {
    match unit {
        "score" | "MRC" => "{score}",
        // Arbitrary units have no code; UCUM carries their name as an annotation.
        "Shore A" => "{Shore_A}",
        "" => "1",
        other => other,
    }
}

/// Resources of one Bundle, each with a UUID made from the package's name and its own.
struct Builder<'a> {
    about: &'a About<'a>,
    entries: Vec<Value>,
}

impl Builder<'_> {
    /// A UUID (version 8 of RFC 9562: bits of our own choice) that stays the same when the same
    /// revision is packed again.
    fn id(&self, name: &str) -> String {
        let hash = sha256(format!("plinthside fhir 1\n{}\n{name}", self.about.name()).as_bytes());
        format!(
            "{}-{}-8{}-a{}-{}",
            &hash[..8],
            &hash[8..12],
            &hash[13..16],
            &hash[17..20],
            &hash[20..32]
        )
    }

    fn reference(&self, name: &str) -> Value {
        json!({ "reference": format!("urn:uuid:{}", self.id(name)) })
    }

    fn add(&mut self, name: &str, kind: &str, mut resource: Value) -> Value {
        let id = self.id(name);
        let mut whole = json!({ "resourceType": kind, "id": id });
        if let (Some(whole), Some(fields)) = (whole.as_object_mut(), resource.as_object_mut()) {
            // FHIR has no empty or null elements.
            whole.extend(std::mem::take(fields).into_iter().filter(|(_, v)| match v {
                Value::Null => false,
                Value::String(s) => !s.trim().is_empty(),
                Value::Array(a) => !a.is_empty(),
                _ => true,
            }));
        }
        self.entries
            .push(json!({ "fullUrl": format!("urn:uuid:{id}"), "resource": whole }));
        self.reference(name)
    }

    /// An observation with its 95 % interval, where it has one.
    fn observe(
        &mut self,
        name: &str,
        label: &str,
        value: Value,
        interval: Option<(f64, f64, &str)>,
    ) -> Value {
        let component = interval.map(|(low, high, unit)| {
            let end = |text: &str, value: f64| json!({ "code": { "text": text }, "valueQuantity": quantity(value, unit) });
            json!([end("95 % interval, lower end", low), end("95 % interval, upper end", high)])
        });
        let code = match name {
            "body-weight" => {
                json!({ "coding": [{ "system": LOINC, "code": "29463-7", "display": "Body weight" }], "text": label })
            }
            "body-height" => {
                json!({ "coding": [{ "system": LOINC, "code": "8302-2", "display": "Body height" }], "text": label })
            }
            _ => json!({ "text": label }),
        };
        let sided = !name.starts_with("body-");
        let observation = json!({
            "status": "final",
            "code": code,
            "subject": self.reference("patient"),
            "effectiveDateTime": self.about.inputs.visit.at.map(|at| at.to_rfc3339()),
            "bodySite": sided.then(|| json!({
                "coding": [laterality(self.about.order.side)], "text": self.about.order.side.to_string()
            })),
            "valueQuantity": value,
            "component": component,
        });
        self.add(name, "Observation", observation)
    }

    fn measured(&mut self, name: &str, label: &str, q: &Quantity) -> Value {
        let unit = match q.unit {
            plinthside_measure::quantity::Unit::Mm => "mm",
            plinthside_measure::quantity::Unit::Deg => "deg",
        };
        self.observe(
            name,
            label,
            quantity(q.value, unit),
            Some((q.low95, q.high95, unit)),
        )
    }
}

fn quantity(value: f64, unit: &str) -> Value {
    // A thousandth of a millimetre or degree is beyond any instrument here.
    let value = (value * 1000.0).round() / 1000.0;
    json!({ "value": value, "unit": unit, "system": UCUM, "code": ucum(unit) })
}

fn laterality(side: Side) -> Value {
    match side {
        Side::Left => json!({ "system": SNOMED, "code": "7771000", "display": "Left" }),
        Side::Right => json!({ "system": SNOMED, "code": "24028007", "display": "Right" }),
    }
}

/// The Bundle of a package whose payload holds these files.
pub(super) fn bundle(about: &About<'_>, payload: &BTreeMap<String, Vec<u8>>) -> Value {
    let mut b = Builder {
        about,
        entries: Vec::new(),
    };
    let inputs = about.inputs;
    let (visit, clinic) = (inputs.visit, inputs.clinic);
    let name = inputs
        .with_name
        .then_some(&visit.person.name)
        .filter(|name| !name.trim().is_empty());
    b.add("patient", "Patient", json!({
        "identifier": [{ "type": { "text": "Pseudonymous code" }, "value": visit.person.code.trim() }],
        "name": name.map(|name| json!([{ "text": name }])),
        "birthDate": visit.person.born.filter(|_| inputs.with_name).map(|d| d.to_string()),
    }));
    b.add(
        "clinic",
        "Organization",
        json!({
            "name": or(&clinic.name, "Clinic"),
            "telecom": telecom(&[("phone", &clinic.telephone), ("email", &clinic.email)]),
        }),
    );
    b.add(
        "lab",
        "Organization",
        json!({
            "name": or(&inputs.lab.name, "Lab"),
            "telecom": telecom(&[("phone", &inputs.lab.telephone)]),
        }),
    );
    let signature = about.revision.signature.as_ref();
    if let Some(signature) = signature {
        let p = &signature.prescriber;
        let qualification = json!([{
            "identifier": (!p.registration.is_empty()).then(|| json!([{ "value": p.registration }])),
            "code": { "text": or(&p.profession, "Prescriber") },
        }]);
        b.add("prescriber", "Practitioner", json!({ "name": [{ "text": or(&p.name, "Prescriber") }], "qualification": without_nulls(qualification) }));
    }
    b.add("site", "BodyStructure", json!({
        "location": { "coding": [{ "system": SNOMED, "code": "344001", "display": "Ankle region structure" }], "text": "Ankle and foot" },
        "locationQualifier": [{ "coding": [laterality(about.order.side)], "text": about.order.side.to_string() }],
        "description": format!("The {} foot and ankle; cast {}", about.order.side, about.code),
        "patient": b.reference("patient"),
    }));
    let mut supporting = vec![b.reference("site")];
    supporting.extend(observations(&mut b));
    supporting.extend(documents(&mut b, payload));
    let request = json!({
        "identifier": [{ "value": about.name() }],
        "groupIdentifier": { "value": about.code },
        "priorRequest": about.before.map(|r| json!([{ "identifier": { "value": format!("{}-r{}", about.code, r.number) } }])),
        "status": "active",
        "intent": "order",
        "codeCodeableConcept": { "text": "Custom hinged ankle-foot orthosis from a plaster cast" },
        "parameter": parameters(about),
        "subject": b.reference("patient"),
        "authoredOn": signature.map(|s| s.at.to_rfc3339()),
        "requester": b.reference(if signature.is_some() { "prescriber" } else { "clinic" }),
        "performer": b.reference("lab"),
        "supportingInfo": supporting,
        "note": notes(about),
    });
    b.add("request", "DeviceRequest", request);
    json!({
        "resourceType": "Bundle",
        "id": b.id("bundle"),
        "identifier": { "system": "urn:ietf:rfc:3986", "value": format!("urn:uuid:{}", b.id("bundle")) },
        "type": "collection",
        "timestamp": inputs.at.to_rfc3339(),
        "entry": b.entries,
    })
}

/// What was measured on the cast, the leg's own dimensions, body mass and stature.
fn observations(b: &mut Builder<'_>) -> Vec<Value> {
    let about = b.about;
    let visit = about.inputs.visit;
    let mut made = Vec::new();
    let results: Option<Results> = about
        .cast
        .and_then(|c| c.measurement.as_ref())
        .and_then(|m| m.read().ok().flatten());
    if let Some(results) = results {
        for (name, q) in results
            .quantities
            .iter()
            .filter(|(_, q)| q.value.is_finite())
        {
            let label = format!("{}, measured on the cast", name.label());
            made.push(b.measured(name.as_str(), &label, q));
        }
        for (word, point) in [
            ("medial", results.medial_hinge),
            ("lateral", results.lateral_hinge),
        ] {
            made.extend(point.iter().flat_map(|point| hinge(b, word, point)));
        }
    }
    if let Some(leg) = visit.leg(about.order.side) {
        let kinds = Anthropometry::shipped().ok();
        for dimension in Dimension::ALL {
            let Some(value) = leg.get(*dimension) else {
                continue;
            };
            let kind = kinds.as_ref().and_then(|kinds| kinds.kind(*dimension));
            let (label, key) = kind.map_or_else(
                || (format!("{dimension:?}"), format!("{dimension:?}")),
                |kind| {
                    (
                        kind.label.get(Lang::En).to_owned(),
                        format!("{:?}", kind.key),
                    )
                },
            );
            let unit = if *dimension == Dimension::ShankLeanDeg {
                "deg"
            } else {
                "mm"
            };
            let label = format!("{label}, measured on the leg");
            made.push(b.observe(&format!("leg-{key}"), &label, quantity(value, unit), None));
        }
    }
    let usable = |entry: &Option<Entry>| entry.as_ref().and_then(Entry::usable);
    if let Some(mass) = usable(&visit.person.body_mass_kg) {
        made.push(b.observe("body-weight", "Body weight", quantity(mass, "kg"), None));
    }
    if let Some(stature) = usable(&visit.person.stature_mm) {
        made.push(b.observe(
            "body-height",
            "Body height",
            quantity(stature / 10.0, "cm"),
            None,
        ));
    }
    made
}

fn hinge(b: &mut Builder<'_>, word: &str, point: &HingePoint) -> Vec<Value> {
    let faces: [(&str, &Datum); 2] = [("outside", &point.outside), ("inside", &point.inside)];
    let mut made = Vec::new();
    for (face, datum) in faces {
        for (what, q) in [
            ("height", &datum.height),
            ("forward of the heel", &datum.forward),
        ] {
            if let Some(q) = q.as_ref().filter(|q| q.value.is_finite()) {
                let name = format!("hinge-{word}-{face}-{}", &what[..6]);
                made.push(b.measured(
                    &name,
                    &format!("{word} hinge, {what}, from the {face} face"),
                    q,
                ));
            }
        }
    }
    made
}

/// The files of the package, by their names relative to the Bundle's own.
fn documents(b: &mut Builder<'_>, payload: &BTreeMap<String, Vec<u8>>) -> Vec<Value> {
    let mut made = Vec::new();
    for (file, bytes) in payload {
        let (kind, title) = match file.as_str() {
            "order.pdf" => ("application/pdf", "Order"),
            "bench.pdf" => ("application/pdf", "Bench sheet at true scale"),
            "measurement.json" => ("application/json", "Measurement"),
            "order.json" => ("application/json", "Order as data"),
            name if name.ends_with(".png") => ("image/png", "Photograph of the cast"),
            _ => ("image/jpeg", "Photograph of the cast"),
        };
        let attachment =
            json!({ "contentType": kind, "url": file, "size": bytes.len(), "title": title });
        let subject = b.reference("patient");
        made.push(if kind.starts_with("image/") {
            let media = json!({ "status": "completed", "subject": subject, "content": attachment });
            b.add(file, "Media", media)
        } else {
            let document = json!({
                "status": "current", "type": { "text": title }, "subject": subject,
                "content": [{ "attachment": attachment }],
            });
            b.add(file, "DocumentReference", document)
        });
    }
    made
}

/// Every filled field of the order.
fn parameters(about: &About<'_>) -> Vec<Value> {
    let json = json_of(&about.revision.prescription);
    let lang = about.inputs.lang;
    let lines = about.revision.lines(lang);
    let value = |path: &str, kind: &FieldKind, printed: &str| -> Option<(&'static str, Value)> {
        let value = at(&json, path)?;
        Some(match kind {
            FieldKind::Number(unit) => match usable_number(value) {
                Some(number) => ("valueQuantity", quantity(number, unit)),
                None => ("valueCodeableConcept", json!({ "text": printed })),
            },
            FieldKind::Count => ("valueQuantity", quantity(value.as_f64()?, "1")),
            FieldKind::Flag => ("valueBoolean", json!(value.as_bool()?)),
            _ => ("valueCodeableConcept", json!({ "text": printed })),
        })
    };
    let parameter = |line: &plinthside_visit::order::Line<'_>| {
        let field = FIELDS.iter().find(|f| f.path == line.field.path)?;
        let (key, value) = value(field.path, &field.kind, &line.value)?;
        let code = json!({ "coding": [{ "code": field.path }], "text": field.label(lang) });
        Some(json!({ "code": code, key: value }))
    };
    lines.iter().filter_map(parameter).collect()
}

fn notes(about: &About<'_>) -> Vec<Value> {
    let reason = about.revision.reason.trim();
    let mut notes = Vec::new();
    if let Some(before) = about.before {
        notes.push(json!({ "text": format!("Replaces revision {}. Reason: {}", before.number, or(reason, "not given")) }));
    }
    notes.push(json!({ "text": "Measurements are those of the cast; the prescriber decides. The maker checks the order before work begins and asks where it is unclear." }));
    notes
}

fn telecom(all: &[(&str, &String)]) -> Vec<Value> {
    let filled = all.iter().filter(|(_, value)| !value.trim().is_empty());
    filled
        .map(|(system, value)| json!({ "system": system, "value": value.trim() }))
        .collect()
}

fn or<'a>(text: &'a str, otherwise: &'a str) -> &'a str {
    if text.trim().is_empty() {
        otherwise
    } else {
        text
    }
}

fn without_nulls(mut value: Value) -> Value {
    if let Some(list) = value.as_array_mut() {
        for fields in list.iter_mut().filter_map(Value::as_object_mut) {
            fields.retain(|_, v| !v.is_null());
        }
    }
    value
}
