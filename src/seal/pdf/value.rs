//! Values of PDF and how they are written.

use std::fmt::Write as _;
use std::ops::Range;

/// A value inside an object.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::seal) enum Value {
    Null,
    Bool(bool),
    Integer(i64),
    /// A number with a point, as it was written: comparing never rounds.
    Real(String),
    Name(Vec<u8>),
    Text(Text),
    Array(Vec<Value>),
    Dict(Dict),
    /// A reference to an object of generation 0.
    Reference(u32),
}

/// A string with the place where it stands; two strings are equal if their bytes are.
#[derive(Debug, Clone)]
pub(in crate::seal) struct Text {
    pub(in crate::seal) bytes: Vec<u8>,
    /// Bytes of the file from the opening to the closing bracket.
    pub(in crate::seal) span: Range<usize>,
}

impl PartialEq for Text {
    fn eq(&self, other: &Self) -> bool {
        self.bytes == other.bytes
    }
}

/// A dictionary; keys are unique and keep their order.
#[derive(Debug, Clone, Default)]
pub(in crate::seal) struct Dict(Vec<(Vec<u8>, Value)>);

impl PartialEq for Dict {
    fn eq(&self, other: &Self) -> bool {
        self.0.len() == other.0.len()
            && self.0.iter().all(|(key, value)| other.0.iter().any(|(k, v)| k == key && v == value))
    }
}

impl Dict {
    pub(in crate::seal) fn get(&self, key: &str) -> Option<&Value> {
        self.0.iter().find(|(k, _)| k == key.as_bytes()).map(|(_, value)| value)
    }

    pub(in crate::seal) fn set(&mut self, key: &str, value: Value) {
        match self.0.iter_mut().find(|(k, _)| k == key.as_bytes()) {
            Some((_, old)) => *old = value,
            None => self.0.push((key.as_bytes().to_vec(), value)),
        }
    }

    /// Adds an entry that was read; false if the key is there already.
    pub(super) fn push_new(&mut self, key: Vec<u8>, value: Value) -> bool {
        let new = self.0.iter().all(|(k, _)| *k != key);
        if new {
            self.0.push((key, value));
        }
        new
    }

    pub(in crate::seal) fn iter(&self) -> impl Iterator<Item = (&[u8], &Value)> {
        self.0.iter().map(|(key, value)| (key.as_slice(), value))
    }

    /// The same dictionary without some keys.
    pub(in crate::seal) fn without(&self, keys: &[&str]) -> Self {
        Self(self.0.iter().filter(|(k, _)| keys.iter().all(|key| k != key.as_bytes())).cloned().collect())
    }

    /// Whether `key` holds this name.
    pub(in crate::seal) fn is_name(&self, key: &str, name: &str) -> bool {
        matches!(self.get(key), Some(Value::Name(found)) if found == name.as_bytes())
    }
}

impl Value {
    pub(in crate::seal) fn name(name: &str) -> Self {
        Self::Name(name.as_bytes().to_vec())
    }

    pub(in crate::seal) fn dict(entries: &[(&str, Self)]) -> Self {
        Self::Dict(Dict(
            entries.iter().map(|(key, value)| (key.as_bytes().to_vec(), value.clone())).collect(),
        ))
    }

    pub(in crate::seal) fn as_dict(&self) -> Option<&Dict> {
        if let Self::Dict(dict) = self { Some(dict) } else { None }
    }

    pub(in crate::seal) fn as_reference(&self) -> Option<u32> {
        if let Self::Reference(number) = self { Some(*number) } else { None }
    }

    /// Calls `visit` for this value and everything inside it.
    pub(in crate::seal) fn walk<'v>(&'v self, visit: &mut impl FnMut(&'v Self)) {
        visit(self);
        match self {
            Self::Array(values) => values.iter().for_each(|value| value.walk(visit)),
            Self::Dict(dict) => dict.0.iter().for_each(|(_, value)| value.walk(visit)),
            Self::Null
            | Self::Bool(_)
            | Self::Integer(_)
            | Self::Real(_)
            | Self::Name(_)
            | Self::Text(_)
            | Self::Reference(_) => {}
        }
    }

    /// Numbers of all objects referred to.
    pub(in crate::seal) fn references(&self) -> Vec<u32> {
        let mut found = Vec::new();
        self.walk(&mut |value| found.extend(value.as_reference()));
        found
    }

    /// Appends the value as PDF.
    pub(in crate::seal) fn write(&self, out: &mut String) {
        match self {
            Self::Null => out.push_str("null"),
            Self::Bool(value) => out.push_str(if *value { "true" } else { "false" }),
            Self::Integer(value) => push(out, format_args!("{value}")),
            Self::Real(text) => out.push_str(text),
            Self::Name(name) => write_name(name, out),
            Self::Text(text) => write_bytes(&text.bytes, out),
            Self::Reference(number) => push(out, format_args!("{number} 0 R")),
            Self::Array(values) => {
                out.push('[');
                for (i, value) in values.iter().enumerate() {
                    if i > 0 {
                        out.push(' ');
                    }
                    value.write(out);
                }
                out.push(']');
            }
            Self::Dict(dict) => {
                out.push_str("<<");
                for (key, value) in &dict.0 {
                    write_name(key, out);
                    out.push(' ');
                    value.write(out);
                }
                out.push_str(">>");
            }
        }
    }
}

fn push(out: &mut String, text: std::fmt::Arguments<'_>) {
    out.write_fmt(text).expect("writing to a String does not fail");
}

fn write_name(name: &[u8], out: &mut String) {
    out.push('/');
    for &byte in name {
        if byte.is_ascii_graphic() && !b"()<>[]{}/%#".contains(&byte) {
            out.push(char::from(byte));
        } else {
            push(out, format_args!("#{byte:02X}"));
        }
    }
}

fn write_bytes(bytes: &[u8], out: &mut String) {
    if bytes.iter().all(|&byte| byte == b' ' || byte.is_ascii_graphic()) {
        out.push('(');
        for &byte in bytes {
            if b"()\\".contains(&byte) {
                out.push('\\');
            }
            out.push(char::from(byte));
        }
        out.push(')');
    } else {
        out.push('<');
        out.push_str(&data_encoding::HEXLOWER.encode(bytes));
        out.push('>');
    }
}

/// A text string: ASCII as it is, all else UTF-16 with byte order mark (ISO 32000-1, 7.9.2.2).
pub(in crate::seal) fn write_text(text: &str) -> Value {
    let bytes = if text.is_ascii() {
        text.as_bytes().to_vec()
    } else {
        [0xfe, 0xff].into_iter().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect()
    };
    Value::Text(Text { bytes, span: 0..0 })
}
