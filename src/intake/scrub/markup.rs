//! What is what in XML, whether or not it is well formed.
//!
//! Tags stay; of texts and attributes those stay that the template or the JOIA format measures in, as far as they look
//! like a measured value. An element is known by its local name here: a document whose tags do not match has no paths.

use core::ops::Range;
use std::collections::BTreeMap;

use super::Hidden;
use super::roles::{Role, Roles};
use super::sheet::{How, Region, Sheet};
use crate::intake::compile::{Part, Shape};

/// What the values of a document are, by the names of element and attribute.
pub(super) struct Names<'a> {
    roles: Roles<'a>,
    by_name: BTreeMap<(Option<&'a str>, Option<&'a str>), Vec<Role<'a>>>,
    /// Values of attributes that pick an element.
    picks: Vec<(&'a str, &'a str)>,
    joia: bool,
}

impl<'a> Names<'a> {
    /// Of a template.
    pub(super) fn of_template(roles: Roles<'a>) -> Self {
        let compiled = roles.compiled;
        let mut by_name: BTreeMap<_, Vec<Role<'a>>> = BTreeMap::new();
        let mut picks = Vec::new();
        let others = [&compiled.eye_from, &compiled.reading_from, &compiled.error_from];
        let parts = compiled.fields.iter().flat_map(|field| &field.parts);
        let parts: Vec<&Part> = parts.chain(others.into_iter().flatten()).chain(&compiled.ignored).collect();
        let records = match &compiled.shape {
            Shape::Xml(xml) => {
                picks.extend(xml.wanted().iter().flat_map(crate::intake::xml::Path::choosers));
                xml.names().0
            }
            Shape::Csv(_) | Shape::KeyValue(_) => Vec::new(),
        };
        for part in parts {
            let Part::Path(path) = part else { continue };
            picks.extend(path.choosers());
            let own = roles.of(|other| other == part);
            match path.ends_at() {
                (None, None) => {
                    for record in &records {
                        by_name.entry((Some(*record), None)).or_default().extend(own.iter().copied());
                    }
                }
                ends => by_name.entry(ends).or_default().extend(own),
            }
        }
        for field in &compiled.fields {
            if let Some((element, attribute)) = field.unit_from.as_ref().map(|path| path.ends_at()) {
                by_name.entry((element, attribute)).or_default().push(Role::Unit);
            }
        }
        Self { roles, by_name, picks, joia: false }
    }

    /// Of the JOIA format; the roles are those of no template.
    pub(super) fn of_joia(roles: Roles<'a>) -> Self {
        let mut by_name: BTreeMap<_, Vec<Role<'a>>> = BTreeMap::new();
        for name in JOIA_NUMBERS {
            by_name.insert((Some(name), None), vec![Role::Number]);
        }
        for (name, kind, how) in JOIA_IDENTITY {
            by_name.insert((Some(name), None), vec![Role::Identity(kind, how)]);
        }
        for name in ["Date", "Time"] {
            by_name.insert((Some(name), None), vec![Role::Time { whole: false }]);
        }
        by_name.insert((None, Some("No")), vec![Role::Count]);
        by_name.insert((None, Some("unit")), vec![Role::Unit]);
        Self { roles, by_name, picks: vec![("type", "KM"), ("type", "REF")], joia: true }
    }

    fn of(&self, element: &str, attribute: Option<&str>) -> Vec<Role<'a>> {
        let keys = [(Some(element), attribute), (None, attribute)];
        let usable = |key: &&(Option<&str>, Option<&str>)| key.0.is_some() || key.1.is_some();
        keys.iter().filter(usable).find_map(|key| self.by_name.get(key)).cloned().unwrap_or_default()
    }
}

/// Elements with a number. Source: as the reader of the format, [`crate::intake::joia`].
const JOIA_NUMBERS: [&str; 12] = [
    "Radius",
    "Power",
    "Axis",
    "Sphere",
    "Cylinder",
    "SE",
    "VD",
    "DiopterStep",
    "AxisStep",
    "WorkingDistance",
    "Distance",
    "Near",
];

/// Elements of identity.
const JOIA_IDENTITY: [(&str, Hidden, How); 11] = [
    ("ID", Hidden::Number, How::Runs),
    ("No.", Hidden::Number, How::Runs),
    ("FirstName", Hidden::Name, How::Runs),
    ("MiddleName", Hidden::Name, How::Runs),
    ("LastName", Hidden::Name, How::Runs),
    ("NameJ1", Hidden::Name, How::Runs),
    ("NameJ2", Hidden::Name, How::Runs),
    ("DOB", Hidden::Birth, How::Date),
    ("Sex", Hidden::Sex, How::Sex),
    ("MachineNo", Hidden::Serial, How::Runs),
    ("Age", Hidden::Other, How::Runs),
];

/// Elements of the format that name the instrument, not the patient: kept unless a piece of identity stands in them.
const JOIA_INSTRUMENT: [&str; 5] = ["Company", "ModelName", "ROMVersion", "Version", "CylinderMode"];

/// Words of a document type declaration.
const DECLARED: [&str; 7] = ["DOCTYPE", "ENTITY", "ELEMENT", "ATTLIST", "NOTATION", "SYSTEM", "PUBLIC"];

/// Whether the first tag of a text has this local name.
pub(super) fn begins_with(sheet: &Sheet, root: &str) -> bool {
    let chars = sheet.chars();
    let mut at = 0;
    while let Some(open) = find(&chars, at, "<") {
        let next = chars.get(open + 1).copied().unwrap_or_default();
        if next.is_alphabetic() || next == '_' {
            let end = name_end(&chars, open + 1);
            let name: String = chars.get(open + 1..end).unwrap_or_default().iter().collect();
            return local(&name) == root;
        }
        at = open + 1;
    }
    false
}

fn local(name: &str) -> &str {
    name.rsplit_once(':').map_or(name, |(_, local)| local)
}

fn find(chars: &[char], from: usize, wanted: &str) -> Option<usize> {
    let wanted: Vec<char> = wanted.chars().collect();
    let rest = chars.get(from..)?;
    rest.windows(wanted.len()).position(|window| window == wanted).map(|at| from + at)
}

fn starts(chars: &[char], at: usize, wanted: &str) -> bool {
    wanted.chars().enumerate().all(|(step, c)| chars.get(at + step) == Some(&c))
}

fn name_end(chars: &[char], from: usize) -> usize {
    let rest = chars.get(from..).unwrap_or_default();
    let ends = |c: &char| c.is_whitespace() || matches!(c, '>' | '/' | '=' | '<' | '"' | '\'');
    from + rest.iter().position(ends).unwrap_or(rest.len())
}

/// Says what everything in a document is.
pub(super) fn regions(sheet: &mut Sheet, names: &Names<'_>) {
    let chars = sheet.chars();
    let mut walk = Walk { chars: &chars, sheet, names, open: Vec::new() };
    let mut at = 0;
    while at < chars.len() {
        at = walk.step(at);
    }
}

struct Walk<'w, 'a> {
    chars: &'w [char],
    sheet: &'w mut Sheet,
    names: &'w Names<'a>,
    /// Local names of the elements that are open.
    open: Vec<String>,
}

impl Walk<'_, '_> {
    fn text(&self, range: &Range<usize>) -> String {
        self.chars.get(range.clone()).unwrap_or_default().iter().collect()
    }

    /// From one piece of markup or text to the next.
    fn step(&mut self, at: usize) -> usize {
        let end = self.chars.len();
        let until = |walk: &Self, close: &str| {
            find(walk.chars, at, close).map_or(end, |found| found + close.chars().count())
        };
        if !starts(self.chars, at, "<") {
            let end = find(self.chars, at, "<").unwrap_or(end);
            self.content(at..end);
            return end;
        }
        if starts(self.chars, at, "<!--") {
            return until(self, "-->");
        }
        if starts(self.chars, at, "<![CDATA[") {
            self.sheet.mark(at..at + 9, Region::Word);
            let close = until(self, "]]>");
            let inside = at + 9..close.saturating_sub(3).max(at + 9);
            self.content(inside);
            return close;
        }
        if starts(self.chars, at, "<?") {
            let close = until(self, "?>");
            if starts(self.chars, at, "<?xml ") && at <= 1 && close - at <= 200 {
                self.sheet.mark(at..close, Region::Soft);
            }
            return close;
        }
        if starts(self.chars, at, "<!") {
            return self.declared(at);
        }
        self.tag(at)
    }

    /// A declaration: its own words stay.
    fn declared(&mut self, at: usize) -> usize {
        let mut depth = 0_usize;
        let mut close = self.chars.len();
        for (step, c) in self.chars.get(at..).unwrap_or_default().iter().enumerate() {
            match c {
                '[' => depth += 1,
                ']' => depth = depth.saturating_sub(1),
                '>' if depth == 0 => {
                    close = at + step + 1;
                    break;
                }
                _ => {}
            }
        }
        for word in DECLARED {
            let mut from = at;
            while let Some(found) = find(self.chars, from, word).filter(|found| *found < close) {
                from = found + word.len();
                self.sheet.mark(found..from, Region::Word);
            }
        }
        close
    }

    /// A tag with its attributes.
    fn tag(&mut self, at: usize) -> usize {
        let closing = starts(self.chars, at, "</");
        let from = at + 1 + usize::from(closing);
        let name = from..name_end(self.chars, from);
        let full = self.text(&name);
        let own = local(&full).to_owned();
        self.sheet.mark(name.clone(), Region::Soft);
        let mut here = name.end;
        let mut empty = false;
        while let Some(c) = self.chars.get(here).copied() {
            match c {
                '>' => {
                    here += 1;
                    break;
                }
                // A tag that another follows before it ends.
                '<' => break,
                '/' => {
                    empty = true;
                    here += 1;
                }
                _ if c.is_whitespace() => here += 1,
                _ => here = self.attribute(here, &own),
            }
        }
        if closing {
            if let Some(found) = self.open.iter().rposition(|open| *open == own) {
                self.open.truncate(found);
            }
        } else if !empty {
            self.open.push(own);
        }
        here
    }

    /// One attribute, or a character that is none.
    fn attribute(&mut self, at: usize, element: &str) -> usize {
        let name = at..name_end(self.chars, at);
        if name.is_empty() {
            return at + 1;
        }
        let space = |from: usize| {
            let rest = self.chars.get(from..).unwrap_or_default();
            from + rest.iter().take_while(|c| c.is_whitespace()).count()
        };
        let equals = space(name.end);
        if self.chars.get(equals) != Some(&'=') {
            return name.end.max(at + 1);
        }
        let open = space(equals + 1);
        let Some(quote) = self.chars.get(open).copied().filter(|c| matches!(c, '"' | '\'')) else {
            return equals + 1;
        };
        let Some(close) = find(self.chars, open + 1, &quote.to_string()) else { return self.chars.len() };
        self.sheet.mark(name.clone(), Region::Soft);
        let (full, value) = (self.text(&name), open + 1..close);
        let text = self.text(&value);
        let own = local(&full);
        let picked = self.names.picks.iter().any(|(name, wanted)| *name == own && *wanted == text);
        if full == "xmlns" || full.starts_with("xmlns:") || full.starts_with("xsi:") {
            self.sheet.mark(value, Region::Soft);
        } else if picked {
            self.sheet.mark(value, Region::Word);
        } else {
            let roles = self.names.of(element, Some(own));
            self.value(value, &roles);
        }
        close + 1
    }

    /// Text inside the innermost element.
    fn content(&mut self, range: Range<usize>) {
        let inside = self.chars.get(range.clone()).unwrap_or_default();
        let before = inside.iter().take_while(|c| c.is_whitespace()).count();
        let after = inside.iter().rev().take_while(|c| c.is_whitespace()).count();
        if before == inside.len() {
            return;
        }
        let range = range.start + before..range.end - after;
        let Some(element) = self.open.last().cloned() else { return };
        if self.names.joia && JOIA_INSTRUMENT.contains(&element.as_str()) {
            self.sheet.mark(range, Region::Soft);
            return;
        }
        let roles = self.names.of(&element, None);
        self.value(range, &roles);
    }

    fn value(&mut self, range: Range<usize>, roles: &[Role<'_>]) {
        let text = self.text(&range);
        self.names.roles.apply(self.sheet, range.clone(), &text, roles);
        self.references(&range);
    }

    /// References in a text that is replaced: the five of XML stay, numbers become others.
    fn references(&mut self, range: &Range<usize>) {
        let mut from = range.start;
        while let Some(at) = find(self.chars, from, "&").filter(|at| *at < range.end) {
            from = at + 1;
            let Some(end) = find(self.chars, at, ";").filter(|end| *end < range.end && end - at <= 10) else {
                continue;
            };
            let inside = self.text(&(at + 1..end));
            if matches!(inside.as_str(), "amp" | "lt" | "gt" | "quot" | "apos") {
                self.sheet.mark(at..end + 1, Region::Word);
                continue;
            }
            let (digits, base, hexadecimal) = match (inside.strip_prefix("#x"), inside.strip_prefix('#')) {
                (Some(digits), _) => (digits, 16, true),
                (None, Some(digits)) => (digits, 10, false),
                (None, None) => continue,
            };
            if let Some(c) = u32::from_str_radix(digits, base).ok().and_then(char::from_u32) {
                self.sheet.reference(at..end + 1, c, hexadecimal);
            }
        }
    }
}

/// Says what is what in the name of a JOIA file: `M-Serial0001_20250311_091427_MAKER_MODEL_NUMBER.xml`.
pub(super) fn name_regions(sheet: &mut Sheet, name: &str, roles: Roles<'_>) {
    let Some((stem, _)) = name.rsplit_once('.') else { return };
    let parts: Vec<&str> = stem.split('_').collect();
    let [serial, _, _, _, _, _] = parts.as_slice() else { return };
    if !serial.starts_with("M-Serial") {
        return;
    }
    let mut at = 0;
    for (number, part) in parts.iter().enumerate() {
        let range = at..at + part.chars().count();
        at = range.end + 1;
        match number {
            0 => sheet.mark(range.start..range.start + 8, Region::Word),
            1 => {
                let plain = part.len() == 8 && part.bytes().all(|byte| byte.is_ascii_digit());
                let year = part.get(..4).unwrap_or_default();
                if plain {
                    roles.apply(
                        sheet,
                        range.clone(),
                        &format!("{year}-01-01"),
                        &[Role::Time { whole: false }],
                    );
                }
            }
            2 if part.len() == 6 && part.bytes().all(|byte| byte.is_ascii_digit()) => {
                sheet.mark(range, Region::Measured);
            }
            3 | 4 => sheet.mark(range, Region::Soft),
            5 => sheet.value(range, Hidden::Number, How::Runs),
            _ => {}
        }
    }
}
