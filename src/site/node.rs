//! A settings or case text as a tree that remembers where everything stood and how every number was written.
//!
//! TOML and JSON end in the same tree. Keys are taken one by one; what nobody took is an error, so that a misspelt key is
//! never silently ignored.

use std::collections::BTreeMap;

/// A text that cannot be used, with the place and the next step.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}{}: {message}", place(*.line, .key))]
pub struct TextFault {
    /// Name of the file.
    pub file: String,
    /// Line from 1, where known.
    pub line: Option<usize>,
    /// The key, e.g. `keratometry[1].flat.power_d`.
    pub key: String,
    /// What is wrong.
    pub message: String,
    /// What to do next.
    pub hint: String,
}

fn place(line: Option<usize>, key: &str) -> String {
    match (line, key.is_empty()) {
        (Some(line), false) => format!(", line {line}, key `{key}`"),
        (Some(line), true) => format!(", line {line}"),
        (None, false) => format!(", key `{key}`"),
        (None, true) => String::new(),
    }
}

#[derive(Debug, Clone, PartialEq)]
enum Kind {
    Table(BTreeMap<String, Node>),
    Array(Vec<Node>),
    /// A number as written.
    Number(String),
    Text(String),
    Truth(bool),
    /// A TOML date or time as written.
    Moment(String),
    Nothing,
}

impl Kind {
    const fn word(&self) -> &'static str {
        match self {
            Self::Table(_) => "a table",
            Self::Array(_) => "a list",
            Self::Number(_) => "a number",
            Self::Text(_) => "a text",
            Self::Truth(_) => "true or false",
            Self::Moment(_) => "a date or time",
            Self::Nothing => "null",
        }
    }
}

/// A value with its line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Node {
    kind: Kind,
    line: Option<usize>,
}

/// The whole text.
#[derive(Debug, Clone)]
pub(super) struct Tree {
    file: String,
    root: Node,
}

fn line_of(text: &str, offset: usize) -> usize {
    text.as_bytes().iter().take(offset).filter(|byte| **byte == b'\n').count() + 1
}

fn from_toml(value: &toml::Spanned<toml::de::DeValue<'_>>, text: &str) -> Node {
    use toml::de::DeValue;
    let span = value.span();
    let raw = || text.get(span.clone()).unwrap_or_default().trim().to_owned();
    let kind = match value.get_ref() {
        DeValue::String(string) => Kind::Text(string.to_string()),
        DeValue::Integer(_) | DeValue::Float(_) => Kind::Number(raw()),
        DeValue::Boolean(truth) => Kind::Truth(*truth),
        DeValue::Datetime(moment) => Kind::Moment(moment.to_string()),
        DeValue::Array(items) => Kind::Array(items.iter().map(|item| from_toml(item, text)).collect()),
        DeValue::Table(table) => Kind::Table(
            table.iter().map(|(key, value)| (key.get_ref().to_string(), from_toml(value, text))).collect(),
        ),
    };
    Node { kind, line: Some(line_of(text, span.start)) }
}

fn from_json(value: &serde_json::Value) -> Node {
    use serde_json::Value;
    let kind = match value {
        Value::Null => Kind::Nothing,
        Value::Bool(truth) => Kind::Truth(*truth),
        Value::Number(number) => Kind::Number(number.to_string()),
        Value::String(text) => Kind::Text(text.clone()),
        Value::Array(items) => Kind::Array(items.iter().map(from_json).collect()),
        Value::Object(map) => {
            Kind::Table(map.iter().map(|(key, value)| (key.clone(), from_json(value))).collect())
        }
    };
    Node { kind, line: None }
}

impl Tree {
    /// Reads TOML, or JSON when the text begins with a brace.
    pub(super) fn parse(file: &str, text: &str) -> Result<Self, TextFault> {
        let fault = |line: Option<usize>, message: String| TextFault {
            file: file.to_owned(),
            line,
            key: String::new(),
            message,
            hint: "correct the syntax; quote texts, write numbers with a decimal point".to_owned(),
        };
        if text.trim_start_matches('\u{feff}').trim_start().starts_with('{') {
            let value: serde_json::Value = serde_json::from_str(text.trim_start_matches('\u{feff}'))
                .map_err(|error| fault(Some(error.line()), format!("not JSON: {error}")))?;
            return Ok(Self { file: file.to_owned(), root: from_json(&value) });
        }
        let table = toml::de::DeTable::parse(text).map_err(|error| {
            let line = error.span().map(|span| line_of(text, span.start));
            fault(line, format!("not TOML: {}", error.message().replace('\n', " ")))
        })?;
        let root = Kind::Table(
            table
                .get_ref()
                .iter()
                .map(|(key, value)| (key.get_ref().to_string(), from_toml(value, text)))
                .collect(),
        );
        Ok(Self { file: file.to_owned(), root: Node { kind: root, line: Some(1) } })
    }

    /// The root table.
    pub(super) fn table(&self) -> Result<Table<'_>, TextFault> {
        Table::of(&self.file, String::new(), &self.root)
    }
}

/// A table whose keys are taken one by one.
#[derive(Debug)]
pub(super) struct Table<'t> {
    file: &'t str,
    path: String,
    line: Option<usize>,
    keys: &'t BTreeMap<String, Node>,
    taken: std::cell::RefCell<Vec<&'static str>>,
}

/// A value that was taken: its path, its node.
#[derive(Debug, Clone)]
pub(super) struct Taken<'t> {
    file: &'t str,
    path: String,
    node: &'t Node,
}

impl<'t> Table<'t> {
    fn of(file: &'t str, path: String, node: &'t Node) -> Result<Self, TextFault> {
        let taken = Taken { file, path, node };
        let Kind::Table(keys) = &node.kind else { return Err(taken.expected("a table")) };
        Ok(Self { file, path: taken.path, line: node.line, keys, taken: std::cell::RefCell::default() })
    }

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    /// Path of this table.
    pub(super) fn path(&self) -> &str {
        &self.path
    }

    /// The value of a key, if it is there and not null.
    pub(super) fn get(&self, key: &'static str) -> Option<Taken<'t>> {
        self.taken.borrow_mut().push(key);
        let node = self.keys.get(key).filter(|node| node.kind != Kind::Nothing)?;
        Some(Taken { file: self.file, path: self.path_of(key), node })
    }

    /// The value of a key that must be there.
    pub(super) fn need(&self, key: &'static str, what: &str) -> Result<Taken<'t>, TextFault> {
        self.get(key).ok_or_else(|| TextFault {
            file: self.file.to_owned(),
            line: self.line,
            key: self.path_of(key),
            message: format!("{what} is missing"),
            hint: format!("add `{key}` here"),
        })
    }

    /// The texts of a key.
    pub(super) fn text(&self, key: &'static str) -> Result<Option<String>, TextFault> {
        self.get(key).map(|taken| taken.text()).transpose()
    }

    /// A fault about this table as a whole.
    pub(super) fn fault(&self, message: impl Into<String>, hint: impl Into<String>) -> TextFault {
        TextFault {
            file: self.file.to_owned(),
            line: self.line,
            key: self.path.clone(),
            message: message.into(),
            hint: hint.into(),
        }
    }

    /// Refuses keys that nobody took.
    pub(super) fn finish(self) -> Result<(), TextFault> {
        let taken = self.taken.borrow();
        let unknown = self.keys.iter().find(|(key, _)| !taken.contains(&key.as_str()));
        let Some((key, node)) = unknown else { return Ok(()) };
        let mut known: Vec<&str> = taken.clone();
        known.sort_unstable();
        known.dedup();
        Err(TextFault {
            file: self.file.to_owned(),
            line: node.line,
            key: self.path_of(key),
            message: "unknown key".to_owned(),
            hint: format!("known keys here: {}", known.join(", ")),
        })
    }
}

impl<'t> Taken<'t> {
    /// Path of the value.
    pub(super) fn path(&self) -> &str {
        &self.path
    }

    /// A fault at this value.
    pub(super) fn fault(&self, message: impl Into<String>, hint: impl Into<String>) -> TextFault {
        TextFault {
            file: self.file.to_owned(),
            line: self.node.line,
            key: self.path.clone(),
            message: message.into(),
            hint: hint.into(),
        }
    }

    fn expected(&self, what: &str) -> TextFault {
        self.fault(format!("expected {what}, found {}", self.node.kind.word()), format!("write {what} here"))
    }

    /// A text.
    pub(super) fn text(&self) -> Result<String, TextFault> {
        match &self.node.kind {
            Kind::Text(text) => Ok(text.clone()),
            Kind::Table(_)
            | Kind::Array(_)
            | Kind::Number(_)
            | Kind::Truth(_)
            | Kind::Moment(_)
            | Kind::Nothing => Err(self.expected("a text in quotes")),
        }
    }

    /// A text, or a number or date as it is written: patient numbers and dates come in both forms.
    pub(super) fn text_as_written(&self) -> Result<String, TextFault> {
        match &self.node.kind {
            Kind::Text(text) | Kind::Number(text) | Kind::Moment(text) => Ok(text.clone()),
            Kind::Truth(true) => Ok("yes".to_owned()),
            Kind::Truth(false) => Ok("no".to_owned()),
            Kind::Table(_) | Kind::Array(_) | Kind::Nothing => Err(self.expected("a text")),
        }
    }

    /// A number as written; a text that holds one counts, so that JSON can carry a plus sign.
    pub(super) fn number(&self) -> Result<crate::model::Written, TextFault> {
        let raw = match &self.node.kind {
            Kind::Number(raw) | Kind::Text(raw) => raw,
            Kind::Table(_) | Kind::Array(_) | Kind::Truth(_) | Kind::Moment(_) | Kind::Nothing => {
                return Err(self.expected("a number"));
            }
        };
        crate::model::Written::parse(raw.trim()).ok_or_else(|| {
            self.fault(
                format!("`{raw}` is not a plain decimal number"),
                "write up to four digits, a decimal point and up to eight decimals; no exponent, no words",
            )
        })
    }

    /// A count.
    pub(super) fn count(&self) -> Result<u32, TextFault> {
        let written = self.number()?;
        written.text().parse().map_err(|_| {
            self.fault(format!("`{}` is not a count", written.text()), "write a whole number without a sign")
        })
    }

    /// The values of a list.
    pub(super) fn items(&self) -> Result<Vec<Self>, TextFault> {
        match &self.node.kind {
            Kind::Array(items) => Ok(items
                .iter()
                .enumerate()
                .map(|(position, node)| Self {
                    file: self.file,
                    path: format!("{}[{}]", self.path, position + 1),
                    node,
                })
                .collect()),
            Kind::Table(_)
            | Kind::Number(_)
            | Kind::Text(_)
            | Kind::Truth(_)
            | Kind::Moment(_)
            | Kind::Nothing => Err(self.expected("a list")),
        }
    }

    /// Whether the value is a table.
    pub(super) const fn is_table(&self) -> bool {
        matches!(self.node.kind, Kind::Table(_))
    }

    /// A table.
    pub(super) fn table(&self) -> Result<Table<'t>, TextFault> {
        Table::of(self.file, self.path.clone(), self.node)
    }

    /// The tables of a list; a single table counts as a list of one.
    pub(super) fn tables(&self) -> Result<Vec<Table<'t>>, TextFault> {
        match &self.node.kind {
            Kind::Array(items) => items
                .iter()
                .enumerate()
                .map(|(position, item)| {
                    Table::of(self.file, format!("{}[{}]", self.path, position + 1), item)
                })
                .collect(),
            Kind::Table(_) => Ok(vec![self.table()?]),
            Kind::Number(_) | Kind::Text(_) | Kind::Truth(_) | Kind::Moment(_) | Kind::Nothing => {
                Err(self.expected("a table or a list of tables"))
            }
        }
    }
}
