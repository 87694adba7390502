//! Reads one value or token at a time. Comments are refused: they hide bytes.

use std::ops::Range;

use super::value::{Dict, Text, Value};
use super::{Fault, MAX_DEPTH, MAX_KEYS, MAX_VALUES};

#[derive(Debug)]
pub(super) struct Lexer<'a> {
    bytes: &'a [u8],
    at: usize,
    values: usize,
}

impl<'a> Lexer<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0, values: 0 }
    }

    pub(super) fn at(&self) -> usize {
        self.at
    }

    pub(super) fn seek(&mut self, at: usize) {
        self.at = at;
    }

    pub(super) fn fault<T>(&self, why: impl Into<String>) -> Result<T, Fault> {
        Err(Fault { at: self.at, why: why.into() })
    }

    pub(super) fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    pub(super) fn rest(&self) -> &'a [u8] {
        self.bytes.get(self.at..).unwrap_or_default()
    }

    pub(super) fn is_at_end(&self) -> bool {
        self.at >= self.bytes.len()
    }

    pub(super) fn skip_white(&mut self) {
        while self.peek().is_some_and(is_white) {
            self.at += 1;
        }
    }

    /// Steps over exactly these bytes; false if others stand here.
    pub(super) fn take(&mut self, expected: &[u8]) -> bool {
        let found = self.rest().starts_with(expected);
        if found {
            self.at += expected.len();
        }
        found
    }

    pub(super) fn expect(&mut self, expected: &str) -> Result<(), Fault> {
        if self.take(expected.as_bytes()) { Ok(()) } else { self.fault(format!("`{expected}` expected")) }
    }

    /// Steps over one word that ends at white space, a delimiter or the end.
    pub(super) fn expect_word(&mut self, word: &str) -> Result<(), Fault> {
        self.expect(word)?;
        if self.peek().is_some_and(is_regular) { self.fault(format!("`{word}` goes on")) } else { Ok(()) }
    }

    /// Steps over one end of line: line feed or carriage return and line feed.
    pub(super) fn expect_line_end(&mut self) -> Result<(), Fault> {
        if self.take(b"\r\n") || self.take(b"\n") { Ok(()) } else { self.fault("end of line expected") }
    }

    pub(super) fn expect_white(&mut self) -> Result<(), Fault> {
        if !self.peek().is_some_and(is_white) {
            return self.fault("white space expected");
        }
        self.skip_white();
        Ok(())
    }

    /// A number of digits only, without sign.
    pub(super) fn unsigned(&mut self) -> Result<u64, Fault> {
        let from = self.at;
        let mut number: u64 = 0;
        while let Some(digit) = self.peek().filter(u8::is_ascii_digit) {
            if self.at - from >= 15 {
                return self.fault("number too long");
            }
            number = number * 10 + u64::from(digit - b'0');
            self.at += 1;
        }
        if self.at == from { self.fault("number expected") } else { Ok(number) }
    }

    pub(super) fn object_number(&mut self) -> Result<u32, Fault> {
        let from = self.at;
        let number = self.unsigned()?;
        u32::try_from(number)
            .ok()
            .filter(|n| *n > 0)
            .ok_or_else(|| Fault { at: from, why: format!("`{number}` is no object number") })
    }

    /// `count` bytes as they are.
    pub(super) fn skip_bytes(&mut self, count: usize) -> Result<Range<usize>, Fault> {
        match self.at.checked_add(count).filter(|end| *end <= self.bytes.len()) {
            Some(end) => {
                let span = self.at..end;
                self.at = end;
                Ok(span)
            }
            None => self.fault("stream reaches beyond the end of the file"),
        }
    }

    pub(super) fn value(&mut self, depth: usize) -> Result<Value, Fault> {
        self.values += 1;
        if depth > MAX_DEPTH {
            return self.fault("nested too deeply");
        }
        if self.values > MAX_VALUES {
            return self.fault("too many values");
        }
        self.skip_white();
        match self.peek() {
            Some(b'/') => Ok(Value::Name(self.name()?)),
            Some(b'(') => self.literal().map(Value::Text),
            Some(b'[') => self.array(depth),
            Some(b'<') if self.rest().starts_with(b"<<") => self.dict(depth).map(Value::Dict),
            Some(b'<') => self.hexadecimal().map(Value::Text),
            Some(b't') => self.expect_word("true").map(|()| Value::Bool(true)),
            Some(b'f') => self.expect_word("false").map(|()| Value::Bool(false)),
            Some(b'n') => self.expect_word("null").map(|()| Value::Null),
            Some(b'0'..=b'9' | b'+' | b'-' | b'.') => self.number(),
            _ => self.fault("value expected"),
        }
    }

    fn array(&mut self, depth: usize) -> Result<Value, Fault> {
        self.expect("[")?;
        let mut values = Vec::new();
        loop {
            self.skip_white();
            if self.take(b"]") {
                return Ok(Value::Array(values));
            }
            values.push(self.value(depth + 1)?);
        }
    }

    pub(super) fn dict(&mut self, depth: usize) -> Result<Dict, Fault> {
        self.expect("<<")?;
        let mut dict = Dict::default();
        loop {
            self.skip_white();
            if self.take(b">>") {
                return Ok(dict);
            }
            if dict.iter().count() >= MAX_KEYS {
                return self.fault("too many keys in a dictionary");
            }
            let at = self.at;
            let key = self.name()?;
            let value = self.value(depth + 1)?;
            let shown = String::from_utf8_lossy(&key).into_owned();
            if !dict.push_new(key, value) {
                return Err(Fault { at, why: format!("the key `{shown}` stands there twice") });
            }
        }
    }

    fn name(&mut self) -> Result<Vec<u8>, Fault> {
        self.expect("/")?;
        let mut name = Vec::new();
        while let Some(byte) = self.peek().filter(|byte| is_regular(*byte)) {
            self.at += 1;
            if byte == b'#' {
                let high = self.hex_digit()?;
                let low = self.hex_digit()?;
                name.push(high * 16 + low);
            } else {
                name.push(byte);
            }
        }
        Ok(name)
    }

    fn hex_digit(&mut self) -> Result<u8, Fault> {
        let digit = match self.peek() {
            Some(byte @ b'0'..=b'9') => byte - b'0',
            Some(byte @ b'a'..=b'f') => byte - b'a' + 10,
            Some(byte @ b'A'..=b'F') => byte - b'A' + 10,
            _ => return self.fault("hexadecimal digit expected"),
        };
        self.at += 1;
        Ok(digit)
    }

    fn hexadecimal(&mut self) -> Result<Text, Fault> {
        let from = self.at;
        self.expect("<")?;
        let Some(length) = self.rest().iter().position(|byte| *byte == b'>') else {
            return self.fault("string without end");
        };
        let digits = self.rest().get(..length).unwrap_or_default();
        let Ok(bytes) = data_encoding::HEXLOWER_PERMISSIVE.decode(digits) else {
            return self.fault("hexadecimal digits expected");
        };
        self.at += length + 1;
        Ok(Text { bytes, span: from..self.at })
    }

    fn literal(&mut self) -> Result<Text, Fault> {
        let from = self.at;
        self.expect("(")?;
        let mut bytes = Vec::new();
        let mut open = 1_usize;
        loop {
            let Some(byte) = self.peek() else { return self.fault("string without end") };
            self.at += 1;
            match byte {
                b'\\' => self.escape(&mut bytes)?,
                b')' if open == 1 => return Ok(Text { bytes, span: from..self.at }),
                b')' => {
                    open -= 1;
                    bytes.push(byte);
                }
                b'(' => {
                    open += 1;
                    bytes.push(byte);
                }
                // An end of line inside a string reads as line feed (ISO 32000-1, 7.3.4.2).
                b'\r' => {
                    self.take(b"\n");
                    bytes.push(b'\n');
                }
                _ => bytes.push(byte),
            }
        }
    }

    fn escape(&mut self, bytes: &mut Vec<u8>) -> Result<(), Fault> {
        let Some(byte) = self.peek() else { return self.fault("string without end") };
        self.at += 1;
        match byte {
            b'n' => bytes.push(b'\n'),
            b'r' => bytes.push(b'\r'),
            b't' => bytes.push(b'\t'),
            b'b' => bytes.push(8),
            b'f' => bytes.push(12),
            b'(' | b')' | b'\\' => bytes.push(byte),
            b'\n' => {}
            b'\r' => {
                self.take(b"\n");
            }
            b'0'..=b'7' => {
                let mut code = u32::from(byte - b'0');
                for _ in 0..2 {
                    if let Some(digit @ b'0'..=b'7') = self.peek() {
                        code = code * 8 + u32::from(digit - b'0');
                        self.at += 1;
                    }
                }
                match u8::try_from(code) {
                    Ok(byte) => bytes.push(byte),
                    Err(_) => return self.fault("octal escape above 377"),
                }
            }
            _ => return self.fault("unknown escape in a string"),
        }
        Ok(())
    }

    fn number(&mut self) -> Result<Value, Fault> {
        let from = self.at;
        while self.peek().is_some_and(|byte| byte.is_ascii_digit() || b"+-.".contains(&byte)) {
            self.at += 1;
        }
        if self.peek().is_some_and(is_regular) {
            return self.fault("number goes on");
        }
        let text = self.bytes.get(from..self.at).unwrap_or_default();
        let (signed, digits) = match text {
            [b'+' | b'-', digits @ ..] => (true, digits),
            _ => (false, text),
        };
        let mut parts = digits.split(|byte| *byte == b'.');
        let has_point = parts.nth(1).is_some();
        let has_second_point = parts.next().is_some();
        let well_formed = digits.iter().all(|byte| byte.is_ascii_digit() || *byte == b'.')
            && digits.iter().any(u8::is_ascii_digit)
            && !has_second_point
            && text.len() <= 40;
        let text = String::from_utf8_lossy(text).into_owned();
        if !well_formed {
            return Err(Fault { at: from, why: format!("`{text}` is no number") });
        }
        if has_point {
            return Ok(Value::Real(text));
        }
        let Ok(integer) = text.parse::<i64>() else {
            return Err(Fault { at: from, why: format!("`{text}` is too large") });
        };
        if !signed && let Some(number) = self.reference(integer)? {
            return Ok(Value::Reference(number));
        }
        Ok(Value::Integer(integer))
    }

    /// Looks on for ` 0 R` behind a number.
    fn reference(&mut self, number: i64) -> Result<Option<u32>, Fault> {
        let back = self.at;
        self.skip_white();
        let between = self.at > back;
        let generation = if between { self.unsigned().ok() } else { None };
        let after = self.at;
        self.skip_white();
        if let Some(generation) = generation
            && self.at > after
            && self.take(b"R")
            && !self.peek().is_some_and(is_regular)
        {
            return match u32::try_from(number) {
                Ok(number) if number > 0 && generation == 0 => Ok(Some(number)),
                _ => self.fault("reference to an impossible object"),
            };
        }
        self.at = back;
        Ok(None)
    }
}

fn is_white(byte: u8) -> bool {
    matches!(byte, 0 | b'\t' | b'\n' | 12 | b'\r' | b' ')
}

fn is_regular(byte: u8) -> bool {
    !is_white(byte) && !b"()<>[]{}/%".contains(&byte)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Value, Fault> {
        Lexer::new(text.as_bytes()).value(0)
    }

    #[test]
    fn what_is_written_is_read_again() {
        let text = "<</A [1 -2 3.50 true null 7 0 R]/B (a\\(b\\)\\\\)/C#20D <feff00e4>/E <</F /G>>>>";
        let mut again = String::new();
        let value = read(text).unwrap();
        value.write(&mut again);
        assert_eq!(again, text);
        assert_eq!(read(&again).unwrap(), value);
        assert_eq!(value.references(), [7]);
    }

    #[test]
    fn literal_strings_are_decoded() {
        let Value::Text(text) = read("(a(b)c\\101\\n\\\n\r\nx)").unwrap() else { panic!("no string") };
        assert_eq!(text.bytes, b"a(b)cA\n\nx");
        assert_eq!(text.span, 0..18);
    }

    #[test]
    fn odd_forms_are_refused() {
        for text in [
            "<</A 1/A 2>>",
            "<</A 1/#41 2>>",
            "[1 % hidden\n 2]",
            "(no end",
            "<abc>",
            "<ab cd>",
            "1-2",
            "--1",
            "1.2.3",
            "1 1 R",
            "0 0 R",
            "truely",
            "99999999999999999999",
            "(\\q)",
            "(\\777)",
            "/A#4",
        ] {
            assert!(read(text).is_err(), "{text}");
        }
        assert!(read(&"[".repeat(100_000)).is_err());
    }
}
