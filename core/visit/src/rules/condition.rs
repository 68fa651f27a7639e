//! Conditions: the comparison words of SQL (ISO/IEC 9075) over named facts, with its three-valued
//! logic: a comparison with an unknown fact is neither true nor false.
//!
//! ```text
//! ankle_dorsiflexion_knee_straight_deg < 0 and order.motion.dorsiflexion.kind in ('free', 'assisted')
//! swelling_girth_change_mm > 10 or swelling = 'pitting'
//! order.shell.band_height_mm is unknown
//! ```
//! A fact that holds several words compares true if any of them does.

use std::collections::BTreeSet;

/// The value of a fact.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number in the unit of its fact.
    Number(f64),
    /// One or more words.
    Words(Vec<String>),
    /// Yes or no.
    Flag(bool),
}

/// Comparison of two numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Op {
    Less,
    AtMost,
    More,
    AtLeast,
    Equal,
    Differs,
}

/// Arithmetic on two numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sum {
    Plus,
    Minus,
    Times,
    Over,
}

/// A number worked out of facts.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Term {
    Number(f64),
    Fact(String),
    Abs(Box<Term>),
    Sum(Sum, Box<Term>, Box<Term>),
}

/// A condition, checked against the facts it names.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Expr {
    Flag(String),
    Known(String),
    Words { fact: String, any_of: Vec<String> },
    Compare(Op, Term, Term),
    Not(Box<Expr>),
    And(Vec<Expr>),
    Or(Vec<Expr>),
}

/// A condition that can be asked of any set of facts.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition(pub(super) Expr);

/// True, false, or unknown.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// It holds.
    True,
    /// It does not.
    False,
    /// It depends on facts that are not known.
    Unknown,
}

/// Looks facts up by name.
pub trait Facts {
    /// The value of a fact; `None` if it is not known.
    fn get(&self, fact: &str) -> Option<Value>;
}

impl Condition {
    /// Whether the condition holds.
    #[must_use]
    pub fn ask(&self, facts: &dyn Facts) -> Answer {
        match eval(&self.0, facts) {
            Some(true) => Answer::True,
            Some(false) => Answer::False,
            None => Answer::Unknown,
        }
    }

    /// Every fact the condition names.
    #[must_use]
    pub fn facts(&self) -> BTreeSet<&str> {
        let mut names = BTreeSet::new();
        collect(&self.0, &mut names);
        names
    }
}

fn eval(expr: &Expr, facts: &dyn Facts) -> Option<bool> {
    match expr {
        Expr::Flag(fact) => match facts.get(fact)? {
            Value::Flag(yes) => Some(yes),
            _ => None,
        },
        Expr::Known(fact) => Some(facts.get(fact).is_some()),
        Expr::Words { fact, any_of } => match facts.get(fact)? {
            Value::Words(words) => Some(words.iter().any(|w| any_of.contains(w))),
            _ => None,
        },
        Expr::Compare(op, a, b) => {
            let (a, b) = (number(a, facts)?, number(b, facts)?);
            // Decimals as typed: 400.1 − 380.1 is 20, whatever is left in the last binary digits.
            let equal = (a - b).abs() <= 1e-9 * a.abs().max(b.abs()).max(1.0);
            Some(match op {
                Op::Less => a < b && !equal,
                Op::AtMost => a < b || equal,
                Op::More => a > b && !equal,
                Op::AtLeast => a > b || equal,
                Op::Equal => equal,
                Op::Differs => !equal,
            })
        }
        Expr::Not(inner) => eval(inner, facts).map(|yes| !yes),
        // One false (true) settles an `and` (`or`), whatever is unknown beside it.
        Expr::And(all) => kleene(all, facts, false),
        Expr::Or(any) => kleene(any, facts, true),
    }
}

fn kleene(parts: &[Expr], facts: &dyn Facts, settles: bool) -> Option<bool> {
    let mut unknown = false;
    for part in parts {
        match eval(part, facts) {
            Some(answer) if answer == settles => return Some(settles),
            Some(_) => {}
            None => unknown = true,
        }
    }
    (!unknown).then_some(!settles)
}

/// A finite number or nothing: dividing by zero is unknown.
fn number(term: &Term, facts: &dyn Facts) -> Option<f64> {
    let value = match term {
        Term::Number(v) => *v,
        Term::Fact(fact) => match facts.get(fact)? {
            Value::Number(v) => v,
            _ => return None,
        },
        Term::Abs(inner) => number(inner, facts)?.abs(),
        Term::Sum(op, a, b) => {
            let (a, b) = (number(a, facts)?, number(b, facts)?);
            match op {
                Sum::Plus => a + b,
                Sum::Minus => a - b,
                Sum::Times => a * b,
                Sum::Over => a / b,
            }
        }
    };
    value.is_finite().then_some(value)
}

fn collect<'a>(expr: &'a Expr, names: &mut BTreeSet<&'a str>) {
    match expr {
        Expr::Flag(fact) | Expr::Known(fact) | Expr::Words { fact, .. } => {
            names.insert(fact);
        }
        Expr::Compare(_, a, b) => {
            collect_term(a, names);
            collect_term(b, names);
        }
        Expr::Not(inner) => collect(inner, names),
        Expr::And(parts) | Expr::Or(parts) => parts.iter().for_each(|p| collect(p, names)),
    }
}

fn collect_term<'a>(term: &'a Term, names: &mut BTreeSet<&'a str>) {
    match term {
        Term::Number(_) => {}
        Term::Fact(fact) => {
            names.insert(fact);
        }
        Term::Abs(inner) => collect_term(inner, names),
        Term::Sum(_, a, b) => {
            collect_term(a, names);
            collect_term(b, names);
        }
    }
}
