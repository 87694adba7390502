//! The markup of a document as a stream of our own events: the only place that knows the XML crate.
//!
//! The crate parts the text into markup. What it leaves to its caller is done here: the grammar of names and
//! attributes, references, and the limits.
//!
//! The limits are our own choice.

use quick_xml::Error;
use quick_xml::errors::IllFormedError;
use quick_xml::events::Event as Markup;
use quick_xml::reader::Reader;

use crate::intake::text::forbidden;

/// Most events of a document, attributes among them; an export of a day has a few thousand.
const MOST_EVENTS: usize = 50_000;
/// Longest value of an attribute, in bytes.
const LONGEST_ATTRIBUTE: usize = 1024;
/// Longest name, in bytes.
const LONGEST_NAME: usize = 256;
/// Most attributes of one element.
const MOST_ATTRIBUTES: usize = 64;

/// Why a document is no sound one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    /// Line from 1.
    pub(super) line: u64,
    /// What was met, without anything of the content.
    pub(super) detail: String,
}

/// One step through a document.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Event {
    /// An element begins: its name as written, its attributes as written and resolved.
    Open { name: String, attributes: Vec<(String, String)> },
    /// The element that began last ends.
    Close,
    /// Characters, references resolved. Text between two tags may come in several events.
    Text(String),
    /// A comment or a processing instruction.
    Aside,
}

/// The events of a text.
pub(super) struct Events<'t> {
    reader: Reader<&'t [u8]>,
    text: &'t str,
    /// Bytes of the text whose line ends are counted in `line`.
    counted: usize,
    line: u64,
    seen: usize,
}

impl<'t> Events<'t> {
    /// Begins at the start of a text.
    pub(super) fn of(text: &'t str) -> Self {
        let mut reader = Reader::from_str(text);
        let config = reader.config_mut();
        config.enable_all_checks(true);
        config.allow_dangling_amp = false;
        config.allow_unmatched_ends = false;
        config.expand_empty_elements = true;
        Self { reader, text, counted: 0, line: 1, seen: 0 }
    }

    /// The line on which the latest event begins, from 1.
    pub(super) const fn line(&self) -> u64 {
        self.line
    }

    fn count_to(&mut self, position: u64) {
        let position = usize::try_from(position).unwrap_or(usize::MAX).min(self.text.len());
        let ends = self.text.get(self.counted..position).unwrap_or_default().matches('\n').count();
        self.line = self.line.saturating_add(u64::try_from(ends).unwrap_or(u64::MAX));
        self.counted = self.counted.max(position);
    }

    fn fault(&self, detail: impl Into<String>) -> Fault {
        Fault { line: self.line, detail: detail.into() }
    }

    /// The next event; none at the end of the text.
    ///
    /// # Errors
    /// [`Fault`] for markup that is not well formed, a document type declaration, an entity that is not one of the five
    /// of XML, a character no export holds, and what is beyond the limits.
    pub(super) fn next(&mut self) -> Result<Option<Event>, Fault> {
        loop {
            self.count_to(self.reader.buffer_position());
            self.seen += 1;
            if self.seen > MOST_EVENTS {
                return Err(self.fault(format!("more than {MOST_EVENTS} pieces of markup")));
            }
            let markup = self.reader.read_event().map_err(|error| {
                // Not the crate's own words where they quote the document.
                let detail = match error {
                    Error::Syntax(error) => error.to_string(),
                    Error::IllFormed(IllFormedError::MismatchedEndTag { .. }) => {
                        "an end tag of another element than the one that is open".to_owned()
                    }
                    Error::IllFormed(IllFormedError::UnmatchedEndTag(_)) => {
                        "an end tag where no element is open".to_owned()
                    }
                    Error::IllFormed(_)
                    | Error::InvalidAttr(_)
                    | Error::Encoding(_)
                    | Error::Escape(_)
                    | Error::Namespace(_)
                    | Error::Io(_) => "markup that is not well formed".to_owned(),
                };
                self.fault(detail)
            })?;
            return Ok(Some(match markup {
                Markup::Start(tag) | Markup::Empty(tag) => {
                    let name = tag.name().as_ref().to_owned();
                    self.check_name(&name)?;
                    Event::Open { name, attributes: self.attributes(tag.attributes_raw())? }
                }
                Markup::End(_) => Event::Close,
                Markup::Text(text) => {
                    if text.contains("]]>") {
                        return Err(self.fault("`]]>` in a text"));
                    }
                    Event::Text(text.into_inner().into_owned())
                }
                Markup::CData(text) => Event::Text(text.into_inner().into_owned()),
                Markup::GeneralRef(reference) => {
                    let resolved = resolved(&reference.into_inner()).map_err(|detail| self.fault(detail))?;
                    Event::Text(resolved.to_string())
                }
                Markup::Comment(_) => Event::Aside,
                Markup::PI(instruction) => {
                    let target = instruction.target().to_owned();
                    self.check_name(&target)?;
                    if target.eq_ignore_ascii_case("xml") {
                        return Err(self.fault("an XML declaration that is not the beginning of the file"));
                    }
                    Event::Aside
                }
                Markup::Decl(_) if self.counted == 0 && self.seen == 1 => continue,
                Markup::Decl(_) => {
                    return Err(self.fault("an XML declaration that is not the beginning of the file"));
                }
                Markup::DocType(_) => {
                    return Err(self.fault("a document type declaration, which no export needs"));
                }
                Markup::Eof => return Ok(None),
            }));
        }
    }

    fn check_name(&self, name: &str) -> Result<(), Fault> {
        if name.len() > LONGEST_NAME {
            return Err(self.fault(format!("a name longer than {LONGEST_NAME} bytes")));
        }
        if is_name(name) { Ok(()) } else { Err(self.fault("a name that XML does not allow")) }
    }

    /// The attributes of a tag by the grammar: white space, a name, `=`, a quoted value; each name once.
    fn attributes(&mut self, raw: &str) -> Result<Vec<(String, String)>, Fault> {
        let mut attributes: Vec<(String, String)> = Vec::new();
        let mut rest = raw;
        loop {
            let trimmed = rest.trim_start_matches(SPACE);
            if trimmed.is_empty() {
                return Ok(attributes);
            }
            if trimmed.len() == rest.len() {
                return Err(self.fault("an attribute without white space before it"));
            }
            if attributes.len() >= MOST_ATTRIBUTES {
                return Err(self.fault(format!("an element with more than {MOST_ATTRIBUTES} attributes")));
            }
            let (name, after) =
                trimmed.split_once('=').ok_or_else(|| self.fault("an attribute without a value"))?;
            let name = name.trim_end_matches(SPACE);
            self.check_name(name)?;
            let after = after.trim_start_matches(SPACE);
            let quote = after.chars().next().filter(|c| matches!(c, '"' | '\''));
            let (value, after) = quote
                .and_then(|quote| after.get(1..)?.split_once(quote))
                .ok_or_else(|| self.fault("the value of an attribute is not in quotes"))?;
            self.seen += 1;
            if self.seen > MOST_EVENTS {
                return Err(self.fault(format!("more than {MOST_EVENTS} pieces of markup")));
            }
            if attributes.iter().any(|(own, _)| own == name) {
                return Err(self.fault("an attribute that stands twice in one element"));
            }
            attributes.push((name.to_owned(), self.attribute_value(value)?));
            rest = after;
        }
    }

    fn attribute_value(&self, raw: &str) -> Result<String, Fault> {
        if raw.len() > LONGEST_ATTRIBUTE {
            return Err(
                self.fault(format!("the value of an attribute is longer than {LONGEST_ATTRIBUTE} bytes"))
            );
        }
        if raw.contains('<') {
            return Err(self.fault("a `<` in the value of an attribute"));
        }
        let mut value = String::with_capacity(raw.len());
        let mut rest = raw;
        while let Some((before, after)) = rest.split_once('&') {
            let (reference, after) =
                after.split_once(';').ok_or_else(|| self.fault("a `&` that begins no reference"))?;
            value.push_str(before);
            value.push(resolved(reference).map_err(|detail| self.fault(detail))?);
            rest = after;
        }
        value.push_str(rest);
        Ok(value)
    }
}

/// White space of XML.
pub(super) const SPACE: [char; 4] = [' ', '\t', '\r', '\n'];

/// The character of a reference: one of the five entities of XML, or a character by its number.
fn resolved(reference: &str) -> Result<char, String> {
    if let Some(number) = reference.strip_prefix('#') {
        let hexadecimal = number.strip_prefix('x');
        let (digits, radix) = hexadecimal.map_or((number, 10), |digits| (digits, 16));
        let plain = (1..=8).contains(&digits.len()) && digits.chars().all(|c| c.is_digit(radix));
        let c = plain.then(|| u32::from_str_radix(digits, radix).ok().and_then(char::from_u32)).flatten();
        let c = c.ok_or_else(|| "a reference to a character that does not exist".to_owned())?;
        return match forbidden(c) {
            _ if c == '\r' => Err("a reference to a carriage return".to_owned()),
            Some(complaint) => Err(format!("a reference to a character: {complaint}")),
            None => Ok(c),
        };
    }
    match reference {
        "amp" => Ok('&'),
        "lt" => Ok('<'),
        "gt" => Ok('>'),
        "apos" => Ok('\''),
        "quot" => Ok('"'),
        name if is_name(name) && name.len() <= 32 => {
            Err(format!("the entity `&{name};`, which XML itself does not know; it is not looked up"))
        }
        _ => Err("a `&` that begins no reference".to_owned()),
    }
}

/// Whether a text is a name. Source: XML 1.0, productions 4, 4a and 5.
pub(super) fn is_name(text: &str) -> bool {
    let starts = |c: char| {
        matches!(c, ':' | '_' | 'A'..='Z' | 'a'..='z'
            | '\u{C0}'..='\u{D6}' | '\u{D8}'..='\u{F6}' | '\u{F8}'..='\u{2FF}' | '\u{370}'..='\u{37D}'
            | '\u{37F}'..='\u{1FFF}' | '\u{200C}'..='\u{200D}' | '\u{2070}'..='\u{218F}'
            | '\u{2C00}'..='\u{2FEF}' | '\u{3001}'..='\u{D7FF}' | '\u{F900}'..='\u{FDCF}'
            | '\u{FDF0}'..='\u{FFFD}' | '\u{10000}'..='\u{EFFFF}')
    };
    let follows = |c: char| {
        starts(c)
            || matches!(c, '-' | '.' | '0'..='9' | '\u{B7}' | '\u{300}'..='\u{36F}' | '\u{203F}'..='\u{2040}')
    };
    let mut chars = text.chars();
    chars.next().is_some_and(starts) && chars.all(follows)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(text: &str) -> Result<Vec<Event>, Fault> {
        let mut events = Events::of(text);
        let mut found = Vec::new();
        while let Some(event) = events.next()? {
            found.push(event);
        }
        Ok(found)
    }

    fn attributes(tag: &str) -> Result<Vec<(String, String)>, String> {
        match all(tag).map_err(|fault| fault.detail)?.into_iter().next() {
            Some(Event::Open { attributes, .. }) => Ok(attributes),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn references_become_characters() {
        let text: String = all("<a>x&amp;&#233;&#xe9;&lt;<![CDATA[&<]]></a>")
            .unwrap()
            .into_iter()
            .map(|event| if let Event::Text(text) = event { text } else { String::new() })
            .collect();
        assert_eq!(text, "x&éé<&<");
        assert_eq!(attributes("<a b='&quot;&#65;'/>").unwrap(), [("b".to_owned(), "\"A".to_owned())]);
    }

    #[test]
    fn tags_obey_the_grammar() {
        for (tag, words) in [
            ("<a b='1'c='2'/>", "without white space"),
            ("<a b/>", "without a value"),
            ("<a b=1/>", "not in quotes"),
            ("<a b='1' b='1'/>", "stands twice"),
            ("<a b='<'/>", "`<`"),
            ("<a b='&'/>", "begins no reference"),
            ("<a b='&nbsp;'/>", "`&nbsp;`"),
            ("<a 1b='x'/>", "a name"),
            ("<1a/>", "a name"),
        ] {
            let found = attributes(tag).unwrap_err();
            assert!(found.contains(words), "{tag}: {found}");
        }
        assert_eq!(attributes("<a\n\tb = 'x' />").unwrap().len(), 1);
    }

    #[test]
    fn faults_name_their_line() {
        for (text, line, words) in [
            ("<!DOCTYPE a>\n<a/>", 1, "document type"),
            ("<a>\n<b>\n</c></a>", 3, "another element"),
            ("<a>\n&x1;</a>", 2, "`&x1;`"),
            ("<a>&#1;</a>", 1, "U+0001"),
            ("<a>&#xD800;</a>", 1, "does not exist"),
            ("<a>&#13;</a>", 1, "carriage return"),
            ("<a>]]></a>", 1, "`]]>`"),
            ("\n<?xml version='1.0'?><a/>", 2, "not the beginning"),
            ("<a/>\n<?XML b?>", 2, "not the beginning"),
            ("<a><!-- x -- y --></a>", 1, "not well formed"),
            ("<a b='1", 1, "not closed"),
        ] {
            let fault = all(text).unwrap_err();
            assert_eq!(fault.line, line, "{text}: {fault:?}");
            assert!(fault.detail.contains(words), "{text}: {fault:?}");
        }
    }
}
