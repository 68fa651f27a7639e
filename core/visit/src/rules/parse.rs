//! Reads a condition and checks it against the facts there are.

use super::condition::{Condition, Expr, Op, Sum, Term};
use super::facts::{FactKind, kind_of};

/// What is wrong with a condition, and where in its text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConditionError {
    /// Byte offset in the condition.
    pub at: usize,
    /// What is wrong and what is expected.
    pub problem: String,
}

/// Parentheses and `not` nest no deeper than this: a rule deeper than that is a mistake.
const DEEPEST: usize = 32;

const KEYWORDS: [&str; 9] = [
    "and", "or", "not", "in", "between", "is", "known", "unknown", "abs",
];

#[derive(Debug, Clone, PartialEq)]
enum Token {
    Name(String),
    Word(String),
    Number(f64),
    Sign(&'static str),
}

const SIGNS: [&str; 14] = [
    "<=", ">=", "<>", "<", ">", "=", "(", ")", ",", "+", "-", "*", "/", "−",
];

fn tokens(text: &str) -> Result<Vec<(usize, Token)>, ConditionError> {
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        let rest = &text[at..];
        let start = at;
        if c.is_whitespace() {
            at += c.len_utf8();
            continue;
        }
        let token = if c.is_ascii_alphabetic() {
            let end = rest
                .find(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '.'))
                .unwrap_or(rest.len());
            at += end;
            Token::Name(rest[..end].to_owned())
        } else if c.is_ascii_digit() {
            let end = rest
                .find(|c: char| !(c.is_ascii_digit() || c == '.'))
                .unwrap_or(rest.len());
            at += end;
            let number = rest[..end].parse().map_err(|_| ConditionError {
                at: start,
                problem: format!("“{}” is not a number", &rest[..end]),
            })?;
            Token::Number(number)
        } else if c == '\'' {
            let Some(end) = rest[1..].find('\'') else {
                return Err(ConditionError {
                    at,
                    problem: "a word in '…' is not closed".into(),
                });
            };
            at += end + 2;
            Token::Word(rest[1..=end].to_owned())
        } else if let Some(sign) = SIGNS.iter().find(|s| rest.starts_with(**s)) {
            at += sign.len();
            Token::Sign(if *sign == "−" { "-" } else { sign })
        } else {
            return Err(ConditionError {
                at,
                problem: format!("“{c}” has no meaning here"),
            });
        };
        found.push((start, token));
    }
    Ok(found)
}

/// Reads a condition.
///
/// # Errors
/// Where it is not a condition, names a fact or word there is none of, or compares what can't be.
pub fn parse(text: &str) -> Result<Condition, ConditionError> {
    let mut parser = Parser {
        tokens: tokens(text)?,
        next: 0,
        end: text.len(),
        depth: 0,
    };
    let expr = parser.or()?;
    match parser.tokens.get(parser.next) {
        None => Ok(Condition(expr)),
        Some(_) => Err(parser.error("“and”, “or” or the end is expected here")),
    }
}

struct Parser {
    tokens: Vec<(usize, Token)>,
    next: usize,
    end: usize,
    depth: usize,
}

impl Parser {
    fn error(&self, problem: impl Into<String>) -> ConditionError {
        self.error_at(self.next, problem)
    }

    fn error_at(&self, token: usize, problem: impl Into<String>) -> ConditionError {
        let at = self.tokens.get(token).map_or(self.end, |(at, _)| *at);
        ConditionError {
            at,
            problem: problem.into(),
        }
    }

    fn peek(&self) -> Option<&Token> {
        self.tokens.get(self.next).map(|(_, token)| token)
    }

    fn take_keyword(&mut self, word: &str) -> bool {
        let yes = matches!(self.peek(), Some(Token::Name(name)) if name == word);
        self.next += usize::from(yes);
        yes
    }

    fn take_sign(&mut self, signs: &[&'static str]) -> Option<&'static str> {
        match self.peek() {
            Some(Token::Sign(sign)) if signs.contains(sign) => {
                let sign = *sign;
                self.next += 1;
                Some(sign)
            }
            _ => None,
        }
    }

    fn expect_sign(&mut self, sign: &'static str) -> Result<(), ConditionError> {
        match self.take_sign(&[sign]) {
            Some(_) => Ok(()),
            None => Err(self.error(format!("“{sign}” is expected here"))),
        }
    }

    fn deeper<T>(
        &mut self,
        inner: impl FnOnce(&mut Self) -> Result<T, ConditionError>,
    ) -> Result<T, ConditionError> {
        if self.depth == DEEPEST {
            return Err(self.error("the condition nests too deep; split it into two rules"));
        }
        self.depth += 1;
        let result = inner(self);
        self.depth -= 1;
        result
    }

    fn or(&mut self) -> Result<Expr, ConditionError> {
        let mut parts = vec![self.and()?];
        while self.take_keyword("or") {
            parts.push(self.and()?);
        }
        Ok(if parts.len() == 1 {
            parts.remove(0)
        } else {
            Expr::Or(parts)
        })
    }

    fn and(&mut self) -> Result<Expr, ConditionError> {
        let mut parts = vec![self.not()?];
        while self.take_keyword("and") {
            parts.push(self.not()?);
        }
        Ok(if parts.len() == 1 {
            parts.remove(0)
        } else {
            Expr::And(parts)
        })
    }

    fn not(&mut self) -> Result<Expr, ConditionError> {
        if self.take_keyword("not") {
            return self
                .deeper(Self::not)
                .map(|inner| Expr::Not(Box::new(inner)));
        }
        self.comparison()
    }

    fn comparison(&mut self) -> Result<Expr, ConditionError> {
        // A parenthesis opens a condition or a number: try the condition, fall back to the number.
        let start = self.next;
        if self.take_sign(&["("]).is_some() {
            let condition = self
                .deeper(Self::or)
                .and_then(|e| self.expect_sign(")").map(|()| e));
            let number_follows = matches!(
                self.peek(),
                Some(Token::Sign(
                    "<" | "<=" | ">" | ">=" | "=" | "<>" | "+" | "-" | "*" | "/"
                ))
            );
            match condition {
                Ok(condition) if !number_follows => return Ok(condition),
                Err(e) => {
                    self.next = start;
                    return self.numeric().map_err(|_| e);
                }
                Ok(_) => self.next = start,
            }
            return self.numeric();
        }
        if let Some(Token::Name(name)) = self.peek().cloned()
            && name != "abs"
        {
            let kind = self.kind(&name)?;
            self.next += 1;
            if self.take_keyword("is") {
                let not = self.take_keyword("not");
                let known = match (self.take_keyword("known"), self.take_keyword("unknown")) {
                    (true, _) => true,
                    (_, true) => false,
                    _ => return Err(self.error("“known” or “unknown” is expected after “is”")),
                };
                let expr = Expr::Known(name);
                return Ok(if known == not {
                    Expr::Not(Box::new(expr))
                } else {
                    expr
                });
            }
            match kind {
                FactKind::Flag => return Ok(Expr::Flag(name)),
                FactKind::Words(list) => return self.words(name, &list),
                FactKind::Number(_) => self.next = start,
            }
        }
        self.numeric()
    }

    fn kind(&self, name: &str) -> Result<FactKind, ConditionError> {
        if KEYWORDS.contains(&name) {
            return Err(self.error(format!("“{name}” can't stand here; a fact is expected")));
        }
        kind_of(name).ok_or_else(|| self.error(format!("there is no fact “{name}”")))
    }

    fn words(&mut self, fact: String, list: &[String]) -> Result<Expr, ConditionError> {
        let not = self.take_keyword("not");
        if self.take_keyword("in") {
            self.expect_sign("(")?;
            let mut any_of = vec![self.word(&fact, list)?];
            while self.take_sign(&[","]).is_some() {
                any_of.push(self.word(&fact, list)?);
            }
            self.expect_sign(")")?;
            let expr = Expr::Words { fact, any_of };
            return Ok(if not { Expr::Not(Box::new(expr)) } else { expr });
        }
        match self.take_sign(&["=", "<>"]) {
            Some(sign) if !not => {
                let any_of = vec![self.word(&fact, list)?];
                let expr = Expr::Words { fact, any_of };
                Ok(if sign == "<>" {
                    Expr::Not(Box::new(expr))
                } else {
                    expr
                })
            }
            _ => Err(self.error(format!("{fact} holds words: use =, <>, in (…) or is known"))),
        }
    }

    fn word(&mut self, fact: &str, list: &[String]) -> Result<String, ConditionError> {
        match self.peek().cloned() {
            Some(Token::Word(word)) if list.is_empty() || list.contains(&word) => {
                self.next += 1;
                Ok(word)
            }
            Some(Token::Word(word)) => Err(self.error(format!(
                "{fact} is never '{word}'; it is one of {}",
                list.join(", ")
            ))),
            _ => Err(self.error("a word in '…' is expected here")),
        }
    }

    fn numeric(&mut self) -> Result<Expr, ConditionError> {
        let left = self.sum()?;
        if self.take_keyword("between") {
            let low = self.sum()?;
            if !self.take_keyword("and") {
                return Err(self.error("“and” and the upper end are expected after “between”"));
            }
            let high = self.sum()?;
            return Ok(Expr::And(vec![
                Expr::Compare(Op::AtLeast, left.clone(), low),
                Expr::Compare(Op::AtMost, left, high),
            ]));
        }
        let op = match self.take_sign(&["<", "<=", ">", ">=", "=", "<>"]) {
            Some("<") => Op::Less,
            Some("<=") => Op::AtMost,
            Some(">") => Op::More,
            Some(">=") => Op::AtLeast,
            Some("=") => Op::Equal,
            Some(_) => Op::Differs,
            None => {
                return Err(self.error("a comparison (<, <=, >, >=, =, <>, between) is expected"));
            }
        };
        Ok(Expr::Compare(op, left, self.sum()?))
    }

    fn sum(&mut self) -> Result<Term, ConditionError> {
        let mut left = self.product()?;
        while let Some(sign) = self.take_sign(&["+", "-"]) {
            let op = if sign == "+" { Sum::Plus } else { Sum::Minus };
            left = Term::Sum(op, Box::new(left), Box::new(self.product()?));
        }
        Ok(left)
    }

    fn product(&mut self) -> Result<Term, ConditionError> {
        let mut left = self.term()?;
        while let Some(sign) = self.take_sign(&["*", "/"]) {
            let op = if sign == "*" { Sum::Times } else { Sum::Over };
            left = Term::Sum(op, Box::new(left), Box::new(self.term()?));
        }
        Ok(left)
    }

    fn term(&mut self) -> Result<Term, ConditionError> {
        if self.take_sign(&["-"]).is_some() {
            let inner = self.deeper(Self::term)?;
            return Ok(Term::Sum(
                Sum::Minus,
                Box::new(Term::Number(0.0)),
                Box::new(inner),
            ));
        }
        if self.take_keyword("abs") {
            self.expect_sign("(")?;
            let inner = self.deeper(Self::sum)?;
            self.expect_sign(")")?;
            return Ok(Term::Abs(Box::new(inner)));
        }
        if self.take_sign(&["("]).is_some() {
            let inner = self.deeper(Self::sum)?;
            self.expect_sign(")")?;
            return Ok(inner);
        }
        match self.peek().cloned() {
            Some(Token::Number(v)) => {
                self.next += 1;
                Ok(Term::Number(v))
            }
            Some(Token::Name(name)) => match self.kind(&name)? {
                FactKind::Number(_) => {
                    self.next += 1;
                    Ok(Term::Fact(name))
                }
                FactKind::Words(_) | FactKind::Flag => {
                    Err(self.error(format!("{name} is not a number")))
                }
            },
            Some(Token::Word(_)) => Err(self.error("a number is expected here, not a word")),
            Some(Token::Sign(sign)) => Err(self.error(format!(
                "“{sign}” can't stand here; a number or fact is expected"
            ))),
            None => Err(self.error("the condition ends too early")),
        }
    }
}
