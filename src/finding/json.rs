//! A finding as JSON.

use serde_json::{Value, json};

use super::answer::Answer;
use super::finding::Finding;

impl Finding {
    /// `{ref, code, severity, eye, message, expected, found, place, source, answered_by, answer}`; what does not exist is
    /// null. Several places are joined by a semicolon.
    pub fn as_json(&self, answer: Option<&Answer>) -> Value {
        let places: Vec<String> = self.places().iter().map(crate::model::Place::with_name).collect();
        json!({
            "ref": self.code().reference(),
            "code": self.code().slug(),
            "severity": self.severity().word(),
            "eye": self.about().map(crate::model::Eye::word),
            "message": self.message(),
            "expected": self.expected_text(),
            "found": self.found_text(),
            "place": if places.is_empty() { Value::Null } else { json!(places.join("; ")) },
            "source": self.source().map(crate::cite::Source::cited),
            "answered_by": self.code().answerer().word(),
            "answer": answer.map(|answer| json!({
                "reason": answer.reason,
                "by": answer.by,
                "at": answer.at.map(|at| at.to_string()),
                "authenticated": answer.authenticated,
            })),
        })
    }
}
