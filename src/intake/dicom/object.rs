//! Typed access to the elements of an object, each value with its tag path.

use std::cell::RefCell;
use std::collections::BTreeSet;

use dicom_core::dictionary::{DataDictionary as _, DataDictionaryEntry as _};
use dicom_core::value::Value;
use dicom_core::{PrimitiveValue, Tag, VR};
use dicom_dictionary_std::{StandardDataDictionary, tags};
use dicom_object::InMemDicomObject;

use super::text::Charset;
use crate::intake::{IntakeError, NotUnderstood};
use crate::model::{Place, Reading, Spot, Written};

/// What is common to all nodes of one file.
#[derive(Debug)]
pub(super) struct Document {
    whole: Place,
    charset: Charset,
    /// The elements that were asked for, by where they lie in memory: quicker than their paths, and compared with nothing
    /// but elements of the same object.
    touched: RefCell<BTreeSet<usize>>,
}

impl Document {
    /// For one file.
    pub(super) const fn new(whole: Place, charset: Charset) -> Self {
        Self { whole, charset, touched: RefCell::new(BTreeSet::new()) }
    }

    /// The file as a whole.
    pub(super) const fn whole(&self) -> &Place {
        &self.whole
    }
}

/// The root of an object or one item of a sequence, with its path.
#[derive(Debug, Clone)]
pub(super) struct Node<'a> {
    document: &'a Document,
    object: &'a InMemDicomObject,
    prefix: String,
}

/// A number as it stood.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Number {
    /// The number.
    pub(super) value: f64,
    /// Its text, or the shortest decimal of a binary value.
    pub(super) text: String,
    /// Decimals of that text.
    pub(super) decimals: Option<u32>,
    /// Where it stood.
    pub(super) place: Place,
}

impl Number {
    /// A reading of another type with this text and place.
    pub(super) fn reading<T>(self, value: T) -> Reading<T> {
        Reading { value, text: self.text, decimals: self.decimals, place: self.place, converted: None }
    }
}

/// A coded value: Code Value (0008,0100) and Coding Scheme Designator (0008,0102).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Code {
    /// The code.
    pub(super) value: String,
    /// Its scheme.
    pub(super) scheme: String,
    /// Where it stood.
    pub(super) place: Place,
}

impl Code {
    /// Whether it is this code of this scheme.
    pub(super) fn is(&self, scheme: &str, value: &str) -> bool {
        self.scheme == scheme && self.value == value
    }
}

impl core::fmt::Display for Code {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} {}", self.scheme, self.value)
    }
}

/// A tag as the standard writes it: `(0046,0075)`.
pub(super) fn tag_text(tag: Tag) -> String {
    let mut text = String::with_capacity(11);
    push_tag(&mut text, tag);
    text
}

/// Writes a tag behind a path; every value has its path, and formatting one takes longer than reading the value.
fn push_tag(into: &mut String, tag: Tag) {
    let mut hexadecimal = |before: char, number: u16| {
        into.push(before);
        for shift in [12, 8, 4, 0] {
            let digit = char::from_digit(u32::from((number >> shift) & 0xF), 16);
            into.push(digit.unwrap_or('0').to_ascii_uppercase());
        }
    };
    hexadecimal('(', tag.group());
    hexadecimal(',', tag.element());
    into.push(')');
}

/// A tag with its keyword, where the dictionary has one.
pub(super) fn tag_words(tag: Tag) -> String {
    let entry = StandardDataDictionary.by_tag(tag).filter(|_| tag.group().is_multiple_of(2));
    entry.map_or_else(|| tag_text(tag), |entry| format!("{} {}", entry.alias(), tag_text(tag)))
}

impl<'a> Node<'a> {
    /// The root of an object.
    pub(super) const fn root(document: &'a Document, object: &'a InMemDicomObject) -> Self {
        Self { document, object, prefix: String::new() }
    }

    /// Where an element of this node stands.
    pub(super) fn place(&self, tag: Tag) -> Place {
        self.document.whole.at(Spot::Tag(self.path(tag)))
    }

    /// Where this node itself stands.
    pub(super) fn own_place(&self) -> Place {
        let path = self.prefix.trim_end_matches('/');
        let spot = if path.is_empty() { Spot::Whole } else { Spot::Tag(path.to_owned()) };
        self.document.whole.at(spot)
    }

    fn path(&self, tag: Tag) -> String {
        let mut path = String::with_capacity(self.prefix.len() + 11);
        path.push_str(&self.prefix);
        push_tag(&mut path, tag);
        path
    }

    fn value(&self, tag: Tag) -> Option<(VR, &'a Value<InMemDicomObject, Vec<u8>>)> {
        let element = self.object.get(tag)?;
        self.document.touched.borrow_mut().insert(core::ptr::from_ref(element).addr());
        Some((element.vr(), element.value()))
    }

    /// The items of a sequence; none when it is not there.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] when the element is no sequence.
    pub(super) fn items(&self, tag: Tag) -> Result<Vec<Node<'a>>, IntakeError> {
        let Some((vr, value)) = self.value(tag) else { return Ok(Vec::new()) };
        match value {
            Value::Sequence(sequence) => Ok((1_usize..)
                .zip(sequence.items())
                .map(|(number, object)| Node {
                    document: self.document,
                    object,
                    prefix: format!("{}[{number}]/", self.path(tag)),
                })
                .collect()),
            Value::Primitive(PrimitiveValue::Empty) => Ok(Vec::new()),
            Value::Primitive(_) | Value::PixelSequence(_) => {
                Err(self.layout(tag, "a sequence", &format!("a value of VR {}", vr.to_string())))
            }
        }
    }

    /// The item of a sequence that can have one; none when it is not there or empty.
    ///
    /// # Errors
    /// [`IntakeError::Layout`] when it has several.
    pub(super) fn one(&self, tag: Tag) -> Result<Option<Node<'a>>, IntakeError> {
        let mut items = self.items(tag)?;
        if items.len() > 1 {
            return Err(self.layout(tag, "one item", &format!("{} items", items.len())));
        }
        Ok(items.pop())
    }

    /// A number of any numeric value representation, DS or IS. A number that is not finite is refused.
    ///
    /// # Errors
    /// [`IntakeError::Value`] and [`IntakeError::Layout`].
    pub(super) fn number(&self, tag: Tag, field: &str) -> Result<Option<Number>, IntakeError> {
        let Some((vr, value)) = self.value(tag) else { return Ok(None) };
        let Value::Primitive(value) = value else {
            return Err(self.layout(tag, "a number", "a sequence"));
        };
        let numbers: Vec<f64> = match value {
            PrimitiveValue::Empty => return Ok(None),
            PrimitiveValue::F64(numbers) => numbers.to_vec(),
            // The shortest decimal of the single-precision number is what the device meant.
            PrimitiveValue::F32(numbers) => {
                numbers.iter().map(|number| number.to_string().parse().unwrap_or(f64::NAN)).collect()
            }
            PrimitiveValue::U16(numbers) => numbers.iter().map(|number| f64::from(*number)).collect(),
            PrimitiveValue::I16(numbers) => numbers.iter().map(|number| f64::from(*number)).collect(),
            PrimitiveValue::U32(numbers) => numbers.iter().map(|number| f64::from(*number)).collect(),
            PrimitiveValue::I32(numbers) => numbers.iter().map(|number| f64::from(*number)).collect(),
            PrimitiveValue::Strs(_) | PrimitiveValue::Str(_) if matches!(vr, VR::DS | VR::IS) => {
                return self.written_number(tag, field, value);
            }
            PrimitiveValue::Strs(_)
            | PrimitiveValue::Str(_)
            | PrimitiveValue::Tags(_)
            | PrimitiveValue::U8(_)
            | PrimitiveValue::U64(_)
            | PrimitiveValue::I64(_)
            | PrimitiveValue::Date(_)
            | PrimitiveValue::DateTime(_)
            | PrimitiveValue::Time(_) => {
                return Err(self.layout(tag, "a number", &format!("a value of VR {}", vr.to_string())));
            }
        };
        let [number] = numbers.as_slice() else {
            return Err(self.layout(tag, "one value", &format!("{} values", numbers.len())));
        };
        let written = Written::from_binary(*number).filter(|_| number.is_finite()).ok_or_else(|| {
            self.bad_value(tag, field, &number.to_string(), "a finite number of at most four digits")
        })?;
        Ok(Some(Number {
            value: *number,
            text: written.text().to_owned(),
            decimals: Some(written.decimals()),
            place: self.place(tag),
        }))
    }

    /// A decimal or integer string (PS3.5 6.2: digits, sign, point, exponent; blanks around it).
    fn written_number(
        &self,
        tag: Tag,
        field: &str,
        value: &PrimitiveValue,
    ) -> Result<Option<Number>, IntakeError> {
        let joined = joined(value).unwrap_or_default();
        let text = joined.trim_matches([' ', '\0']);
        if text.is_empty() {
            return Ok(None);
        }
        if text.contains('\\') {
            return Err(self.layout(tag, "one value", text));
        }
        let place = self.place(tag);
        if let Some(written) = Written::parse(text) {
            let decimals = Some(written.decimals());
            return Ok(Some(Number { value: written.value(), text: text.to_owned(), decimals, place }));
        }
        let grammar = text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E'));
        let number = text.parse::<f64>().ok().filter(|number| grammar && number.is_finite());
        let number = number.ok_or_else(|| self.bad_value(tag, field, text, "a decimal number"))?;
        Ok(Some(Number { value: number, text: text.to_owned(), decimals: None, place }))
    }

    /// A text of one value, blanks around it off; none when it is not there or empty.
    ///
    /// # Errors
    /// [`IntakeError::Encoding`] when the bytes are not of the declared character set.
    pub(super) fn text(&self, tag: Tag) -> Result<Option<Reading<String>>, IntakeError> {
        let Some((vr, value)) = self.value(tag) else { return Ok(None) };
        let Value::Primitive(value) = value else {
            return Err(self.layout(tag, "text", "a sequence"));
        };
        if matches!(value, PrimitiveValue::Empty) {
            return Ok(None);
        }
        let Some(joined) = joined(value) else {
            return Err(self.layout(tag, "text", &format!("a value of VR {}", vr.to_string())));
        };
        // The decoder read every byte as the character of the same number; see `guard`.
        let bytes: Vec<u8> = joined.chars().map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?')).collect();
        let bytes = match bytes.iter().rposition(|byte| !matches!(byte, 0 | b' ')) {
            Some(last) => bytes.get(..=last).unwrap_or_default(),
            None => return Ok(None),
        };
        // Source: PS3.3 C.12.1.1.2, the representations Specific Character Set applies to.
        let by_set = matches!(vr, VR::SH | VR::LO | VR::ST | VR::PN | VR::LT | VR::UC | VR::UT);
        let charset = if by_set { &self.document.charset } else { &Charset::DEFAULT };
        let text = charset.decode(bytes).map_err(|fault| IntakeError::Encoding {
            encoding: fault.set,
            detail: fault.detail,
            place: self.place(tag),
        })?;
        let text = text.trim();
        if matches!(vr, VR::ST | VR::LT | VR::UT) || !text.contains('\\') {
            Ok((!text.is_empty()).then(|| Reading::new(text.to_owned(), text, self.place(tag))))
        } else {
            Err(self.layout(tag, "one value", text))
        }
    }

    /// The code in a sequence of one item; none when it is not there.
    ///
    /// # Errors
    /// As [`Node::one`] and [`Node::text`].
    pub(super) fn code(&self, tag: Tag) -> Result<Option<Code>, IntakeError> {
        let Some(item) = self.one(tag)? else { return Ok(None) };
        let scheme = item.text(tags::CODING_SCHEME_DESIGNATOR)?.map(|reading| reading.value);
        // The meaning is for people and the version of the scheme changes no code.
        let _seen = item.value(tags::CODE_MEANING);
        let _seen = item.value(tags::CODING_SCHEME_VERSION);
        let mut found: Option<Code> = None;
        // Source: PS3.3 8.8, one of the three; a code that is a URN needs no scheme.
        for tag in [tags::CODE_VALUE, tags::LONG_CODE_VALUE, tags::URN_CODE_VALUE] {
            let Some(value) = item.text(tag)? else { continue };
            if found.is_some() {
                return Err(item.layout(tag, "one code in an item", &value.value));
            }
            let scheme = if tag == tags::URN_CODE_VALUE { Some("URN".to_owned()) } else { scheme.clone() };
            let place = item.place(tag);
            found = scheme.map(|scheme| Code { value: value.value, scheme, place });
        }
        Ok(found)
    }

    /// Whether a code string anywhere below this node has this value, and where first.
    pub(super) fn find_below(&self, tag: Tag, wanted: &str) -> Option<Place> {
        let mut open = vec![self.clone()];
        while let Some(node) = open.pop() {
            for element in node.object {
                match element.value() {
                    Value::Sequence(sequence) => {
                        let path = node.path(element.header().tag);
                        open.extend((1_usize..).zip(sequence.items()).map(|(number, object)| Node {
                            document: node.document,
                            object,
                            prefix: format!("{path}[{number}]/"),
                        }));
                    }
                    Value::Primitive(value) => {
                        if element.header().tag == tag
                            && joined(value).is_some_and(|text| text.trim() == wanted)
                        {
                            return Some(node.place(tag));
                        }
                    }
                    Value::PixelSequence(_) => {}
                }
            }
        }
        None
    }

    /// An element that has another shape than expected.
    pub(super) fn layout(&self, tag: Tag, expected: &str, found: &str) -> IntakeError {
        IntakeError::Layout {
            what: tag_words(tag),
            expected: expected.to_owned(),
            found: found.to_owned(),
            place: self.place(tag),
        }
    }

    /// An element whose value cannot be read.
    pub(super) fn bad_value(&self, tag: Tag, field: &str, text: &str, expected: &str) -> IntakeError {
        IntakeError::Value {
            field: field.to_owned(),
            text: text.to_owned(),
            expected: expected.to_owned(),
            code: None,
            place: self.place(tag),
        }
    }

    /// What nobody asked for, in short: plain elements of the root in one line, private ones one line a group, each
    /// sequence and each element inside a used sequence by itself.
    pub(super) fn untouched(&self, into: &mut Vec<NotUnderstood>) {
        const WHY: &str = "not used";
        let touched = self.document.touched.borrow();
        let mut plain: Vec<String> = Vec::new();
        let mut private: std::collections::BTreeMap<u16, u32> = std::collections::BTreeMap::new();
        let mut open = vec![self.clone()];
        while let Some(node) = open.pop() {
            let mut deeper = Vec::new();
            for element in node.object {
                let tag = element.header().tag;
                if tag.group() % 2 == 1 {
                    let count = private.entry(tag.group()).or_default();
                    *count = count.saturating_add(1);
                } else if touched.contains(&core::ptr::from_ref(element).addr()) {
                    if let Value::Sequence(sequence) = element.value() {
                        let path = node.path(tag);
                        deeper.extend((1_usize..).zip(sequence.items()).map(|(number, object)| Node {
                            document: node.document,
                            object,
                            prefix: format!("{path}[{number}]/"),
                        }));
                    }
                } else if node.prefix.is_empty() && !matches!(element.value(), Value::Sequence(_)) {
                    plain.push(tag_words(tag));
                } else {
                    into.push(NotUnderstood {
                        what: tag_words(tag),
                        why: WHY.to_owned(),
                        place: node.place(tag),
                    });
                }
            }
            open.extend(deeper.into_iter().rev());
        }
        if !plain.is_empty() {
            into.push(NotUnderstood {
                what: plain.join(", "),
                why: WHY.to_owned(),
                place: self.document.whole.clone(),
            });
        }
        for (group, count) in private {
            into.push(NotUnderstood {
                what: format!("private group {group:04X}, {count} elements"),
                why: "private to the maker of the device".to_owned(),
                place: self.document.whole.clone(),
            });
        }
    }
}

/// The values of a text element as one text, joined as they stood; none for numbers.
fn joined(value: &PrimitiveValue) -> Option<String> {
    if let PrimitiveValue::Strs(texts) = value {
        Some(texts.join("\\"))
    } else if let PrimitiveValue::Str(text) = value {
        Some(text.clone())
    } else {
        None
    }
}
