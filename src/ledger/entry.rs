//! What a caller asks to append: a kind and a JSON body with its version and its time.
//!
//! The limits are our own choice.

use jiff::Timestamp;
use serde_json::{Map, Value};

use super::error::{LedgerError, Result};

/// The fields of a body, without `v` and `at`.
pub type Fields = Map<String, Value>;

/// Kinds that only the ledger itself writes.
const OWN_KINDS: [&str; 3] = ["site", "epoch", "erased"];
/// The longest text a body may hold; a longer one belongs into a note.
const LONGEST_TEXT: usize = 200;
/// The longest body in bytes.
const LONGEST_BODY: usize = 1 << 20;

/// A record to be: kind and body text, checked, not yet numbered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    kind: String,
    body: String,
    at: Timestamp,
}

impl Entry {
    /// An entry of `kind` whose body is `{"v":…,"at":…, fields…}`, fields in the order of their names.
    ///
    /// The chain holds ids, digests, codes and times only. As a seat belt this refuses what is surely none of
    /// them: a number with a fraction, a text longer than 200 bytes or with other than printable ASCII characters.
    /// A name in plain letters passes; keeping it out is the caller's duty (it goes into a [`Note`](super::Note)).
    ///
    /// # Errors
    /// [`LedgerError::BadEntry`]: the kind is not 1 to 40 characters of `a-z`, `0-9`, `-` and blank, or is one of
    /// `site`, `epoch`, `erased`; a field is named `v` or `at`; a value is refused as above; the body is over 1 MiB.
    pub fn new(kind: &str, v: u32, at: Timestamp, fields: Fields) -> Result<Self> {
        if OWN_KINDS.contains(&kind) {
            return Err(bad(kind, "only the ledger itself writes this kind"));
        }
        Self::own(kind, v, at, fields)
    }

    pub(super) fn own(kind: &str, v: u32, at: Timestamp, fields: Fields) -> Result<Self> {
        let fits = (1..=40).contains(&kind.len())
            && kind.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b"- ".contains(&b));
        if !fits {
            return Err(bad(kind, "a kind is 1 to 40 characters of a-z, 0-9, hyphen and blank"));
        }
        let mut body = format!("{{\"v\":{v},\"at\":\"{at}\"");
        for (name, value) in sorted(fields) {
            if name == "v" || name == "at" {
                return Err(bad(kind, "`v` and `at` are set by the ledger"));
            }
            check(kind, &Value::String(name.clone()))?;
            check(kind, &value)?;
            body.push(',');
            body.push_str(&Value::String(name).to_string());
            body.push(':');
            body.push_str(&ordered(value).to_string());
        }
        body.push('}');
        if body.len() > LONGEST_BODY {
            return Err(bad(kind, "the body is over 1 MiB"));
        }
        Ok(Self { kind: kind.to_owned(), body, at })
    }

    /// The kind.
    pub fn kind(&self) -> &str {
        &self.kind
    }

    /// The body, exactly the text that will be stored and hashed.
    pub fn body(&self) -> &str {
        &self.body
    }

    /// The time the caller gave.
    pub fn at(&self) -> Timestamp {
        self.at
    }
}

fn bad(kind: &str, why: &str) -> LedgerError {
    LedgerError::BadEntry { kind: kind.to_owned(), why: why.to_owned() }
}

fn check(kind: &str, value: &Value) -> Result<()> {
    match value {
        Value::Null | Value::Bool(_) => Ok(()),
        Value::Number(n) if n.is_i64() || n.is_u64() => Ok(()),
        Value::Number(_) => Err(bad(kind, "a number with a fraction belongs into a note")),
        Value::String(s) if s.len() > LONGEST_TEXT => {
            Err(bad(kind, "a text over 200 bytes belongs into a note"))
        }
        Value::String(s) if s.bytes().all(|b| (b' '..=b'~').contains(&b)) => Ok(()),
        Value::String(_) => Err(bad(kind, "a text with other than printable ASCII belongs into a note")),
        Value::Array(items) => items.iter().try_for_each(|item| check(kind, item)),
        Value::Object(map) => map.iter().try_for_each(|(name, item)| {
            check(kind, &Value::String(name.clone()))?;
            check(kind, item)
        }),
    }
}

fn sorted(map: Fields) -> Vec<(String, Value)> {
    let mut pairs: Vec<_> = map.into_iter().collect();
    pairs.sort_by(|a, b| a.0.cmp(&b.0));
    pairs
}

/// The same text whether or not some other crate switches the JSON library to keep insertion order.
fn ordered(value: Value) -> Value {
    match value {
        Value::Object(map) => Value::Object(sorted(map).into_iter().map(|(k, v)| (k, ordered(v))).collect()),
        Value::Array(items) => Value::Array(items.into_iter().map(ordered).collect()),
        other @ (Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_)) => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn at() -> Timestamp {
        "2026-11-03T08:15:00Z".parse().unwrap()
    }

    fn fields(value: &Value) -> Fields {
        value.as_object().unwrap().clone()
    }

    #[test]
    fn the_body_begins_with_version_and_time_and_is_in_order() {
        let entry =
            Entry::new("taken", 1, at(), fields(&json!({"z": 1, "a": {"y": [2], "b": null}}))).unwrap();
        assert_eq!(entry.body(), r#"{"v":1,"at":"2026-11-03T08:15:00Z","a":{"b":null,"y":[2]},"z":1}"#);
    }

    #[test]
    fn what_is_no_id_digest_code_or_time_is_refused() {
        for refused in [
            json!({"flat": 43.25}),
            json!({"name": "Müller"}),
            json!({"text": "x".repeat(201)}),
            json!({"deep": [{"d": 0.5}]}),
            json!({"line": "a\nb"}),
            json!({"v": 2}),
            json!({"at": "now"}),
        ] {
            assert!(Entry::new("taken", 1, at(), fields(&refused)).is_err(), "{refused}");
        }
        assert!(Entry::new("taken", 1, at(), fields(&json!({"case": "ABCDEFGH23", "n": 2}))).is_ok());
    }

    #[test]
    fn own_kinds_and_odd_kinds_are_refused() {
        for kind in ["site", "epoch", "erased", "", "Taken", "taken\n", &"x".repeat(41)] {
            assert!(Entry::new(kind, 1, at(), Fields::new()).is_err(), "{kind}");
        }
        assert!(Entry::new("print asked", 1, at(), Fields::new()).is_ok());
    }
}
