//! Reads a JSON request from standard input, computes figures and prints them as JSON: lets other
//! people's software check the same numbers.
//!
//! ```text
//! {"icc": {"name": [[…]]}, "pairs": {"name": [[a, b]]}, "wilson": [[count, of]],
//!  "convert": [[value, "from", "to"]], "typed": [["12,5 cm", "mm"]],
//!  "together": [{"sex": "male", "mm": {"foot_length_mm": 270}}],
//!  "arch_index": [{"outline": [[x, y]], "heel": [x, y], "second_toe": [x, y]}],
//!  "sem": [1.0]}
//! ```

use plinthside_measure::marks::Side;
use plinthside_visit::figures::{icc, limits_of_agreement, repeats, wilson};
use plinthside_visit::norms::{Anthropometry, arch_index, convert, mdc95, typed};
use plinthside_visit::person::Sex;
use plinthside_visit::{Dimension, LegDimensions};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::error::Error;

#[derive(Deserialize, Default)]
#[serde(default, deny_unknown_fields)]
struct Request {
    icc: BTreeMap<String, Vec<Vec<f64>>>,
    pairs: BTreeMap<String, Vec<(f64, f64)>>,
    wilson: Vec<(u64, u64)>,
    convert: Vec<(f64, String, String)>,
    typed: Vec<(String, String)>,
    together: Vec<Foot>,
    arch_index: Vec<Footprint>,
    sem: Vec<f64>,
}

#[derive(Deserialize)]
struct Foot {
    sex: Sex,
    mm: BTreeMap<Dimension, f64>,
}

#[derive(Deserialize)]
struct Footprint {
    outline: Vec<[f64; 2]>,
    heel: [f64; 2],
    second_toe: [f64; 2],
}

fn main() -> Result<(), Box<dyn Error>> {
    let request: Request = serde_json::from_reader(std::io::stdin().lock())?;
    let survey = Anthropometry::shipped()?;
    let together = |foot: &Foot| {
        let mut leg = LegDimensions::new(Side::Left);
        for (dimension, mm) in &foot.mm {
            leg.values.insert(*dimension, vec![(*mm).into()]);
        }
        survey.together(&leg, Some(&foot.sex)).map(|t| {
            json!({"distance2": t.distance2, "of": t.of, "p": t.p, "worst": t.worst.0,
                   "worst_sd": t.worst.1, "expected_mm": t.expected_mm})
        })
    };
    let print = json!({
        "icc": map(&request.icc, |rows| said(icc(rows))),
        "limits": map(&request.pairs, |pairs| said(limits_of_agreement(pairs))),
        "repeatability": map(&request.pairs, |pairs| {
            let rows: Vec<_> = pairs.iter().map(|(a, b)| vec![*a, *b]).collect();
            said(repeats(&rows))
        }),
        "wilson": request.wilson.iter().map(|(c, n)| wilson(*c, *n)).collect::<Vec<_>>(),
        "convert": request.convert.iter().map(|(v, f, t)| convert(*v, f, t)).collect::<Vec<_>>(),
        "typed": request.typed.iter().map(|(t, u)| typed(t, u, None)).collect::<Vec<_>>(),
        "together": request.together.iter().map(together).collect::<Vec<_>>(),
        "arch_index": request.arch_index.iter()
            .map(|f| arch_index(&f.outline, f.heel, f.second_toe)).collect::<Vec<_>>(),
        "mdc95": request.sem.iter().map(|s| mdc95(*s)).collect::<Vec<_>>(),
    });
    println!("{print}");
    Ok(())
}

fn map<T>(of: &BTreeMap<String, T>, f: impl Fn(&T) -> Value) -> BTreeMap<String, Value> {
    of.iter()
        .map(|(name, value)| (name.clone(), f(value)))
        .collect()
}

fn said<T: Serialize, E: std::fmt::Display>(result: Result<T, E>) -> Value {
    match result {
        Ok(value) => json!(value),
        Err(error) => json!({"refused": error.to_string()}),
    }
}
