//! The leg's own dimensions: they prove the cast.

use super::{Kind, Question, Scale};
use plinthside_measure::marks::Side;
use plinthside_visit::data::DataError;
use plinthside_visit::norms::{Anthropometry, DimensionKind};
use plinthside_visit::{Dimension, Entry, Lang, LegDimensions, Text, Visit};
use std::rc::Rc;

/// Those that the verdict on a cast compares; taken first.
const COMPARED: [Dimension; 5] = [
    Dimension::BimalleolarBreadthMm,
    Dimension::HeelBreadthMm,
    Dimension::HeelToFirstMtpMm,
    Dimension::MedialMalleolusHeightMm,
    Dimension::LateralMalleolusHeightMm,
];

/// The dimensions that the verdict compares, then the others.
pub fn dimensions() -> Result<[Vec<Box<dyn Question>>; 2], DataError> {
    let table = Rc::new(Anthropometry::shipped()?);
    let question = |dimension: &Dimension| {
        let table = Rc::clone(&table);
        let dimension = *dimension;
        Box::new(OfLeg { dimension, table }) as Box<dyn Question>
    };
    let others = Dimension::ALL.iter().filter(|d| !COMPARED.contains(d));
    Ok([
        COMPARED.iter().map(question).collect(),
        others.map(question).collect(),
    ])
}

struct OfLeg {
    dimension: Dimension,
    table: Rc<Anthropometry>,
}

impl OfLeg {
    fn about(&self) -> Option<&DimensionKind> {
        self.table.kind(self.dimension)
    }

    fn unit(&self) -> &'static str {
        match self.dimension {
            Dimension::ShankLeanDeg => "deg",
            _ => "mm",
        }
    }
}

impl Question for OfLeg {
    fn key(&self) -> String {
        format!("leg.{}", super::super::text::token(&self.dimension))
    }

    fn label(&self, lang: Lang) -> String {
        let about = self.about().map(|about| about.label.get(lang).to_owned());
        about.unwrap_or_else(|| self.key())
    }

    fn note(&self, _visit: &Visit, _side: Side, lang: Lang) -> String {
        let on_the_leg = Text::new("on the leg", "am Bein");
        on_the_leg.get(lang).to_owned()
    }

    fn kind(&self) -> Kind {
        let limits = self.about().map(|about| about.limits(None));
        let scale = Scale::over(limits, self.unit(), true);
        Kind::Number(Scale { step: 1.0, ..scale })
    }

    fn shown(&self, visit: &Visit, side: Side, lang: Lang) -> String {
        let mean = visit.leg(side).and_then(|leg| leg.get(self.dimension));
        mean.map_or_else(String::new, |mean| self.printed(mean, lang))
    }

    fn numbers(&self, visit: &Visit, side: Side) -> Vec<Entry> {
        let leg = visit.leg(side);
        leg.and_then(|leg| leg.values.get(&self.dimension))
            .cloned()
            .unwrap_or_default()
    }

    fn write(&self, visit: &mut Visit, side: Side, numbers: Vec<Entry>) {
        let index = visit.legs.iter().rposition(|leg| leg.side == side);
        let index = index.unwrap_or_else(|| {
            visit.legs.push(LegDimensions {
                by: visit.clinician.clone(),
                at: Some(crate::clock::now()),
                ..LegDimensions::new(side)
            });
            visit.legs.len() - 1
        });
        visit.legs[index].values.insert(self.dimension, numbers);
    }
}
