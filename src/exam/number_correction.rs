//! "One hundred, sorry, one twenty": a number that takes the place of the one just said.
//!
//! Takes: the number said anew, and the value it is to correct.
//! Gives: that value with the new number.
//! Never: guesses a unit, or which of two numbers is meant; that is a problem, and nothing is taken.
//! Tested in: `tests/it/language_number_correction.rs`.

use crate::clock::Span;
use crate::exam::call::{Act, Amount, Call, Problem, Value, ValueSaid};
use crate::protocol::convert;

/// A number without a name, after a word of correction.
#[derive(Debug, Clone, PartialEq)]
pub struct NumberInstead {
    /// The number.
    pub number: f64,
    /// Its unit, where one was said.
    pub unit: Option<String>,
    /// The words as heard, the word of correction among them.
    pub words: String,
    /// Where they were heard.
    pub span: Span,
    /// The least sure of its words, 0 to 1.
    pub confidence: f64,
}

impl NumberInstead {
    /// The call that puts `last` right.
    ///
    /// # Errors
    /// Where it is not clear which number or which unit is meant.
    pub(crate) fn corrects(&self, last: Option<&Value>) -> Result<Call, Problem> {
        let last = last.ok_or_else(no_number)?;
        if last.said.to.is_some() || last.said.by.is_some() {
            return Err(which());
        }
        let value = Value {
            term: last.term.clone(),
            amount: self.amount(&last.amount)?,
            said: ValueSaid {
                structure: last.said.structure.clone(),
                scale: last.said.scale.clone(),
                ..ValueSaid::default()
            },
        };
        Ok(Call {
            act: Act::Value(value),
            corrects: true,
            reach: None,
            words: self.words.clone(),
            span: self.span,
            confidence: self.confidence,
        })
    }

    /// The unit is the one that was said of either; one that was assumed holds for a number of the same sort only.
    fn amount(&self, last: &Amount) -> Result<Amount, Problem> {
        let number = self.number;
        match (&self.unit, &last.unit) {
            (Some(unit), Some(before)) if convert(1.0, unit, before).is_some() => {
                Ok(Amount { number, unit: Some(unit.clone()), unit_assumed: false })
            }
            (None, before) if !last.unit_assumed || alike(number, last.number) => {
                Ok(Amount { number, unit: before.clone(), unit_assumed: last.unit_assumed })
            }
            _ => Err(unit_not_clear()),
        }
    }
}

/// Both whole and both of two figures, or both not: a unit that was assumed of the one would be of the other.
fn alike(number: f64, other: f64) -> bool {
    let sort = |number: f64| (number.fract() == 0.0, number >= 10.0);
    sort(number) == sort(other)
}

fn no_number() -> Problem {
    Problem::new(
        "there is no number just before it to correct",
        "say what the number is of, such as `sorry area one twenty`",
    )
}

fn which() -> Problem {
    Problem::new(
        "two numbers were said before it, and it is not clear which of them is to be corrected",
        "say both again after `correction`",
    )
}

fn unit_not_clear() -> Problem {
    Problem::new(
        "the unit of the corrected number is not clear",
        "say what it is of with its unit, such as `sorry area one point two square centimetres`",
    )
}
