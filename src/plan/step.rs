//! One step of the computation, as the record page and `explain` print it.

use crate::cite::Source;

/// A step: name, formula, inputs, result, source.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What is computed.
    pub name: String,
    /// The formula in symbols.
    pub formula: String,
    /// Inputs with their provenance: label, value with unit, where it came from.
    pub inputs: Vec<(String, String, String)>,
    /// The result with its unit.
    pub result: String,
    /// The published source of the formula.
    pub source: Source,
}
