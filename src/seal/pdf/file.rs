//! A file as a row of revisions, each with objects, cross-reference table and trailer, with nothing in between.

use std::collections::BTreeMap;
use std::ops::Range;

use super::lexer::Lexer;
use super::value::{Dict, Value};
use super::{Fault, MAX_OBJECTS, MAX_REVISIONS};

/// An indirect object of generation 0.
#[derive(Debug, Clone)]
pub(in crate::seal) struct Object {
    /// Offset of its number.
    pub(in crate::seal) at: usize,
    pub(in crate::seal) value: Value,
    /// Where the data of a stream lies.
    pub(in crate::seal) stream: Option<Range<usize>>,
}

#[derive(Debug)]
pub(in crate::seal) struct Revision {
    pub(in crate::seal) objects: BTreeMap<u32, Object>,
    pub(in crate::seal) trailer: Dict,
    /// Offset of the cross-reference table.
    pub(in crate::seal) xref_at: usize,
    /// Offset behind its end-of-file mark and the end of line after it.
    pub(in crate::seal) end: usize,
    /// Whether there is an end of line after the end-of-file mark.
    pub(in crate::seal) ends_line: bool,
}

#[derive(Debug)]
pub(in crate::seal) struct File {
    /// At least one.
    pub(in crate::seal) revisions: Vec<Revision>,
    /// What lies behind the last revision that could be read, if anything.
    pub(in crate::seal) rest: Option<Fault>,
    pub(in crate::seal) root: u32,
    /// Number of the next new object.
    pub(in crate::seal) next: u32,
}

impl File {
    /// Reads a file. What follows a readable first revision and cannot be read is put into `rest`, so that the caller
    /// can name it as a change.
    pub(in crate::seal) fn parse(bytes: &[u8]) -> Result<Self, Fault> {
        let mut lexer = Lexer::new(bytes);
        header(&mut lexer)?;
        let mut file = Self { revisions: Vec::new(), rest: None, root: 0, next: 1 };
        file.read_revision(&mut lexer)?;
        while !lexer.is_at_end() {
            if let Err(fault) = file.read_revision(&mut lexer) {
                file.rest = Some(fault);
                break;
            }
        }
        Ok(file)
    }

    fn read_revision(&mut self, lexer: &mut Lexer<'_>) -> Result<(), Fault> {
        if self.revisions.len() >= MAX_REVISIONS {
            return lexer.fault("too many revisions");
        }
        let from = lexer.at();
        let already: usize = self.revisions.iter().map(|revision| revision.objects.len()).sum();
        let mut objects = BTreeMap::new();
        lexer.skip_white();
        if lexer.is_at_end() {
            lexer.seek(from);
            return lexer.fault("bytes behind the end-of-file mark");
        }
        while !lexer.rest().starts_with(b"xref") {
            if already + objects.len() >= MAX_OBJECTS {
                return lexer.fault("too many objects");
            }
            let at = lexer.at();
            let (number, object) = read_object(lexer)?;
            if objects.insert(number, object).is_some() {
                return Err(Fault { at, why: format!("object `{number}` stands there twice") });
            }
            lexer.skip_white();
        }
        let xref_at = lexer.at();
        self.read_table(lexer, &objects)?;
        lexer.expect_word("trailer")?;
        lexer.skip_white();
        let trailer_at = lexer.at();
        let trailer = lexer.dict(0)?;
        let size = objects.last_key_value().map_or(1, |(number, _)| number.saturating_add(1)).max(self.next);
        self.check_trailer(&trailer, size).map_err(|why| Fault { at: trailer_at, why })?;
        lexer.expect_white()?;
        lexer.expect_word("startxref")?;
        lexer.expect_white()?;
        if usize::try_from(lexer.unsigned()?) != Ok(xref_at) {
            return lexer.fault("startxref does not point to the table");
        }
        lexer.expect_line_end()?;
        lexer.expect("%%EOF")?;
        let ends_line = lexer.take(b"\n");
        if let Some(root) = trailer.get("Root").and_then(Value::as_reference) {
            self.root = root;
        }
        self.next = size;
        self.revisions.push(Revision { objects, trailer, xref_at, end: lexer.at(), ends_line });
        Ok(())
    }

    /// The table must list exactly the objects of its revision at their places; that of the first revision must be
    /// one section without gaps, because some readers find fault with later signatures otherwise.
    fn read_table(&self, lexer: &mut Lexer<'_>, objects: &BTreeMap<u32, Object>) -> Result<(), Fault> {
        lexer.expect_word("xref")?;
        lexer.expect_line_end()?;
        let is_first = self.revisions.is_empty();
        let mut expected = objects.iter();
        let mut sections = 0;
        let mut listed = 0_usize;
        while !lexer.rest().starts_with(b"trailer") {
            sections += 1;
            let start = lexer.unsigned()?;
            lexer.expect(" ")?;
            let count = lexer.unsigned()?;
            lexer.expect_line_end()?;
            for number in start..start.saturating_add(count) {
                let offset = entry(lexer, is_first && number == 0)?;
                if is_first && number == 0 {
                    continue;
                }
                listed += 1;
                match expected.next() {
                    Some((n, object)) if u64::from(*n) == number && object.at == offset => {}
                    _ => return lexer.fault(format!("the table does not fit object `{number}`")),
                }
            }
        }
        if listed != objects.len() {
            return lexer.fault("the table does not list every object");
        }
        let gap_free = objects
            .last_key_value()
            .is_some_and(|(last, _)| usize::try_from(*last).is_ok_and(|last| last == objects.len()));
        if is_first && (sections != 1 || !gap_free) {
            return lexer.fault("the first table is not one section without gaps");
        }
        Ok(())
    }

    fn check_trailer(&self, trailer: &Dict, size: u32) -> Result<(), String> {
        for key in ["Encrypt", "XRefStm"] {
            if trailer.get(key).is_some() {
                return Err(format!("the trailer has `{key}`"));
            }
        }
        if trailer.get("Size") != Some(&Value::Integer(i64::from(size))) {
            return Err("the trailer has a wrong `Size`".into());
        }
        if trailer.get("Root").and_then(Value::as_reference).is_none() {
            return Err("the trailer names no catalog".into());
        }
        if !matches!(trailer.get("ID"), Some(Value::Array(ids))
            if matches!(ids.as_slice(), [Value::Text(_), Value::Text(_)]))
        {
            return Err("the trailer has no `ID` of two strings".into());
        }
        let Some(previous) = self.revisions.last() else {
            return if trailer.get("Prev").is_none() {
                Ok(())
            } else {
                Err("the first trailer has `Prev`".into())
            };
        };
        if i64::try_from(previous.xref_at).ok().map(Value::Integer).as_ref() != trailer.get("Prev") {
            return Err("the trailer's `Prev` does not point to the table before".into());
        }
        let changing = ["Size", "Prev", "ID"];
        if previous.trailer.without(&changing) != trailer.without(&changing) {
            return Err("an entry of the trailer was changed".into());
        }
        if first_id(&previous.trailer) != first_id(trailer) {
            return Err("the trailer's first `ID` was changed".into());
        }
        Ok(())
    }
}

fn first_id(trailer: &Dict) -> Option<&Value> {
    if let Some(Value::Array(ids)) = trailer.get("ID") { ids.first() } else { None }
}

/// `%PDF-1.n` and, if there is one, the comment of high bytes that marks the file as binary.
fn header(lexer: &mut Lexer<'_>) -> Result<(), Fault> {
    lexer.expect("%PDF-1.")?;
    if !lexer.peek().is_some_and(|byte| (b'4'..=b'7').contains(&byte)) {
        return lexer.fault("version 1.4 to 1.7 expected");
    }
    lexer.skip_bytes(1)?;
    lexer.expect_line_end()?;
    if lexer.take(b"%") {
        while lexer.peek().is_some_and(|byte| byte >= 128) {
            lexer.skip_bytes(1)?;
        }
        lexer.expect_line_end()?;
    }
    Ok(())
}

fn read_object(lexer: &mut Lexer<'_>) -> Result<(u32, Object), Fault> {
    let at = lexer.at();
    let number = lexer.object_number()?;
    lexer.expect(" 0 obj")?;
    let value = lexer.value(0)?;
    lexer.skip_white();
    let mut stream = None;
    if let Value::Dict(dict) = &value {
        for kind in ["ObjStm", "XRef"] {
            if dict.is_name("Type", kind) {
                return Err(Fault { at, why: format!("object `{number}` is a stream of kind `{kind}`") });
            }
        }
        if lexer.take(b"stream") {
            lexer.expect_line_end()?;
            let Some(Value::Integer(length)) = dict.get("Length") else {
                return lexer.fault("stream without a direct length");
            };
            let Ok(length) = usize::try_from(*length) else {
                return lexer.fault("stream of negative length");
            };
            stream = Some(lexer.skip_bytes(length)?);
            if !lexer.take(b"\r\n") {
                lexer.take(b"\n");
            }
            lexer.expect_word("endstream")?;
            lexer.skip_white();
        }
    }
    lexer.expect_word("endobj")?;
    Ok((number, Object { at, value, stream }))
}

/// One entry of exactly 20 bytes; returns the offset.
fn entry(lexer: &mut Lexer<'_>, is_head: bool) -> Result<usize, Fault> {
    let text = lexer.rest().get(..20).unwrap_or_default();
    let (Some(offset), Some(tail)) = (text.get(..10), text.get(10..)) else {
        return lexer.fault("table entry expected");
    };
    let tails: [&[u8]; 3] = if is_head {
        [b" 65535 f \n", b" 65535 f\r\n", b" 65535 f \r"]
    } else {
        [b" 00000 n \n", b" 00000 n\r\n", b" 00000 n \r"]
    };
    if !offset.iter().all(u8::is_ascii_digit) || !tails.contains(&tail) {
        return lexer.fault("table entry is not of the usual 20 bytes");
    }
    let offset = offset
        .iter()
        .fold(0_usize, |sum, digit| sum.saturating_mul(10).saturating_add(usize::from(digit - b'0')));
    lexer.skip_bytes(20)?;
    Ok(offset)
}
