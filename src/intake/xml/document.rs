//! A document as a tree of elements with names resolved by namespace, text accumulated and lines kept.
//!
//! The limits are our own choice.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::encoding::decode;
use super::events::{Event, Events, Fault, SPACE};
use crate::intake::IntakeError;
use crate::intake::template::TextRules;
use crate::model::{Place, Spot};

/// Deepest nesting of elements.
const DEEPEST: usize = 32;
/// Longest text of one element, in bytes.
const LONGEST_TEXT: usize = 4096;

/// The namespace of the prefix `xml`. Source: Namespaces in XML 1.0, section 3.
const XML_SPACE: &str = "http://www.w3.org/XML/1998/namespace";
/// The namespace of the prefix `xmlns`. Source: as above.
const XMLNS_SPACE: &str = "http://www.w3.org/2000/xmlns/";

/// A name by its namespace and its local part.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::intake) struct Name {
    pub(super) space: Option<Arc<str>>,
    pub(super) local: String,
}

/// An element of a document, by its order in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::intake) struct ElementId(usize);

/// An attribute that is no declaration of a namespace.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Attribute {
    pub(super) name: Name,
    /// The name as written.
    pub(super) written: String,
    pub(super) value: String,
}

/// An element with what it holds.
#[derive(Debug)]
pub(super) struct Element {
    pub(super) name: Name,
    /// The name as written.
    pub(super) written: String,
    pub(super) line: u64,
    pub(super) parent: Option<ElementId>,
    pub(super) attributes: Vec<Attribute>,
    pub(super) children: Vec<ElementId>,
    by_name: BTreeMap<Name, Vec<ElementId>>,
    text: String,
    /// A comment or a processing instruction stands after some text.
    paused: bool,
    /// Text stands before and after a comment or a processing instruction.
    split: bool,
}

impl Element {
    /// The text without white space around it.
    pub(super) fn text(&self) -> &str {
        self.text.trim_matches(SPACE)
    }

    /// Whether text stands before and after a comment.
    pub(super) const fn is_split(&self) -> bool {
        self.split
    }

    /// The children of this name.
    pub(super) fn named(&self, name: &Name) -> &[ElementId] {
        self.by_name.get(name).map_or(&[], Vec::as_slice)
    }

    /// The attribute of this name.
    pub(super) fn attribute(&self, name: &Name) -> Option<&Attribute> {
        self.attributes.iter().find(|attribute| attribute.name == *name)
    }
}

/// A well-formed document; the first element is the root.
#[derive(Debug)]
pub(in crate::intake) struct Document(Vec<Element>);

/// Namespaces in force.
#[derive(Default)]
struct Scopes {
    /// Per prefix, the innermost last. The empty prefix is the default namespace, the empty namespace is none.
    bound: BTreeMap<String, Vec<Arc<str>>>,
    /// The prefixes each open element binds.
    opened: Vec<Vec<String>>,
}

impl Scopes {
    /// Takes up the declarations among the attributes of an element that opens.
    ///
    /// # Errors
    /// What is wrong with a declaration.
    fn open(&mut self, attributes: &[(String, String)]) -> Result<(), &'static str> {
        let mut here = Vec::new();
        for (name, uri) in attributes {
            let prefix = match name.split_once(':') {
                None if name == "xmlns" => "",
                Some(("xmlns", prefix)) => prefix,
                None | Some(_) => continue,
            };
            let reserved = matches!(prefix, "xml" | "xmlns") || uri == XML_SPACE || uri == XMLNS_SPACE;
            if reserved && !(prefix == "xml" && uri == XML_SPACE) {
                return Err("a declaration of a namespace that XML keeps for itself");
            }
            if prefix.contains(':') || (uri.is_empty() && !prefix.is_empty()) {
                return Err("a declaration of a namespace that is none");
            }
            self.bound.entry(prefix.to_owned()).or_default().push(Arc::from(uri.as_str()));
            here.push(prefix.to_owned());
        }
        self.opened.push(here);
        Ok(())
    }

    fn close(&mut self) {
        for prefix in self.opened.pop().into_iter().flatten() {
            if let Some(spaces) = self.bound.get_mut(&prefix) {
                spaces.pop();
            }
        }
    }

    /// The name behind a written one; an attribute without prefix is in no namespace.
    ///
    /// # Errors
    /// What is wrong with the name.
    fn name(&self, written: &str, attribute: bool) -> Result<Name, &'static str> {
        let (prefix, local) = match written.split_once(':') {
            None => ("", written),
            Some((prefix, local)) if !prefix.is_empty() && !local.is_empty() && !local.contains(':') => {
                (prefix, local)
            }
            Some(_) => return Err("a name with a misplaced colon"),
        };
        let space = match self.bound.get(prefix).and_then(|spaces| spaces.last()) {
            _ if prefix.is_empty() && attribute => None,
            Some(space) => Some(Arc::clone(space)).filter(|space| !space.is_empty()),
            None if prefix.is_empty() => None,
            None if prefix == "xml" => Some(Arc::from(XML_SPACE)),
            None => return Err("a prefix that no namespace is declared for"),
        };
        Ok(Name { space, local: local.to_owned() })
    }
}

impl Document {
    /// Reads a document.
    ///
    /// # Errors
    /// [`IntakeError::Encoding`] for bytes that are no text as declared, [`IntakeError::Structure`] for a document that is
    /// not well formed, cut short, dangerous or beyond the limits.
    pub(in crate::intake) fn read(
        bytes: &[u8],
        rules: &TextRules,
        whole: &Place,
    ) -> Result<Self, IntakeError> {
        let text = decode(bytes, rules, whole)?;
        Self::parse(&text).map_err(|fault| IntakeError::Structure {
            detail: fault.detail,
            place: whole.at(Spot::Line(fault.line)),
        })
    }

    fn parse(text: &str) -> Result<Self, Fault> {
        let mut events = Events::of(text);
        let mut document = Self(Vec::new());
        let mut scopes = Scopes::default();
        let mut open: Vec<ElementId> = Vec::new();
        while let Some(event) = events.next()? {
            let line = events.line();
            let fault = |detail: &str| Fault { line, detail: detail.to_owned() };
            match event {
                Event::Open { name, attributes } => {
                    if open.len() >= DEEPEST {
                        return Err(fault(&format!("elements nested deeper than {DEEPEST}")));
                    }
                    if open.is_empty() && !document.0.is_empty() {
                        return Err(fault("an element after the end of the root element"));
                    }
                    scopes.open(&attributes).map_err(fault)?;
                    let id = document.add(name, attributes, open.last().copied(), line, &scopes)?;
                    open.push(id);
                }
                Event::Close => {
                    scopes.close();
                    open.pop();
                }
                Event::Text(text) => match open.last().and_then(|id| document.0.get_mut(id.0)) {
                    Some(element) => element.take(&text).map_err(|detail| fault(&detail))?,
                    None if text.trim_matches(SPACE).is_empty() => {}
                    None => return Err(fault("text outside the root element")),
                },
                Event::Aside => {
                    if let Some(element) = open.last().and_then(|id| document.0.get_mut(id.0)) {
                        element.paused |= !element.text.is_empty();
                    }
                }
            }
        }
        let line = events.line();
        if !open.is_empty() {
            let detail = "the file ends before its elements do: it was cut short".to_owned();
            return Err(Fault { line, detail });
        }
        if document.0.is_empty() {
            return Err(Fault { line, detail: "there is no element".to_owned() });
        }
        Ok(document)
    }

    fn add(
        &mut self,
        written: String,
        attributes: Vec<(String, String)>,
        parent: Option<ElementId>,
        line: u64,
        scopes: &Scopes,
    ) -> Result<ElementId, Fault> {
        let fault = |detail: &str| Fault { line, detail: detail.to_owned() };
        let id = ElementId(self.0.len());
        let name = scopes.name(&written, false).map_err(fault)?;
        let mut own: Vec<Attribute> = Vec::new();
        for (written, value) in attributes {
            if written == "xmlns" || written.starts_with("xmlns:") {
                continue;
            }
            let name = scopes.name(&written, true).map_err(fault)?;
            if own.iter().any(|attribute| attribute.name == name) {
                return Err(fault("an attribute that stands twice in one element"));
            }
            own.push(Attribute { name, written, value });
        }
        if let Some(parent) = parent.and_then(|parent| self.0.get_mut(parent.0)) {
            parent.children.push(id);
            parent.by_name.entry(name.clone()).or_default().push(id);
        }
        self.0.push(Element {
            name,
            written,
            line,
            parent,
            attributes: own,
            children: Vec::new(),
            by_name: BTreeMap::new(),
            text: String::new(),
            paused: false,
            split: false,
        });
        Ok(id)
    }

    /// The root element of any document.
    pub(super) const ROOT: ElementId = ElementId(0);

    /// An element; none for an id of another document.
    pub(super) fn element(&self, id: ElementId) -> Option<&Element> {
        self.0.get(id.0)
    }

    /// The root element.
    #[expect(clippy::unused_self, reason = "the root of this document, not of any")]
    pub(in crate::intake) const fn root(&self) -> ElementId {
        Self::ROOT
    }

    /// The namespace of an element.
    pub(in crate::intake) fn space(&self, id: ElementId) -> Option<&str> {
        self.element(id)?.name.space.as_deref()
    }

    /// The local name of an element.
    pub(in crate::intake) fn local(&self, id: ElementId) -> &str {
        self.element(id).map_or("", |element| element.name.local.as_str())
    }

    /// Whether an element has this name.
    pub(in crate::intake) fn is(&self, id: ElementId, space: Option<&str>, local: &str) -> bool {
        self.element(id)
            .is_some_and(|element| element.name.local == local && element.name.space.as_deref() == space)
    }

    /// The children of an element in the order of the file.
    pub(in crate::intake) fn children(&self, id: ElementId) -> &[ElementId] {
        self.element(id).map_or(&[], |element| element.children.as_slice())
    }

    /// The element an element stands in.
    pub(in crate::intake) fn parent(&self, id: ElementId) -> Option<ElementId> {
        self.element(id)?.parent
    }

    /// The text of an element without white space around it.
    pub(in crate::intake) fn text(&self, id: ElementId) -> &str {
        self.element(id).map_or("", Element::text)
    }

    /// The attributes of an element that are in no namespace, with their values.
    pub(in crate::intake) fn plain_attributes(&self, id: ElementId) -> Vec<(&str, &str)> {
        let all = self.element(id).map_or(&[][..], |element| element.attributes.as_slice());
        let plain = all.iter().filter(|attribute| attribute.name.space.is_none());
        plain.map(|own| (own.name.local.as_str(), own.value.trim_matches(SPACE))).collect()
    }

    /// The value of an attribute that is in no namespace, and where it stands.
    pub(in crate::intake) fn attribute_of(&self, id: ElementId, local: &str) -> Option<(&str, Spot)> {
        let attributes = &self.element(id)?.attributes;
        let own = attributes.iter().find(|own| own.name.space.is_none() && own.name.local == local)?;
        Some((own.value.trim_matches(SPACE), self.attribute_spot(id, &own.written)))
    }

    /// The way from the root in the names of the file, `[n]` where a name stands more than once among its siblings.
    pub(super) fn way(&self, id: ElementId) -> String {
        let mut steps = Vec::new();
        let mut at = Some(id);
        while let Some((id, element)) = at.and_then(|id| Some((id, self.element(id)?))) {
            let twins = element.parent.and_then(|parent| self.element(parent));
            let twins = twins.map_or(&[][..], |parent| parent.named(&element.name));
            let nth = twins.binary_search(&id).map_or(1, |before| before + 1);
            steps.push(if twins.len() > 1 {
                format!("/{}[{nth}]", element.written)
            } else {
                format!("/{}", element.written)
            });
            at = element.parent;
        }
        steps.reverse();
        steps.concat()
    }

    /// Where an element stands: its line and the way to it.
    pub(in crate::intake) fn spot(&self, id: ElementId) -> Spot {
        let line = self.element(id).map_or(1, |element| element.line);
        Spot::Element(format!("line {line}, {}", self.way(id)))
    }

    /// Where an attribute stands.
    pub(super) fn attribute_spot(&self, id: ElementId, written: &str) -> Spot {
        let line = self.element(id).map_or(1, |element| element.line);
        Spot::Element(format!("line {line}, {}/@{written}", self.way(id)))
    }
}

impl Element {
    fn take(&mut self, text: &str) -> Result<(), String> {
        let blank = text.trim_matches(SPACE).is_empty();
        if blank && self.text.is_empty() {
            return Ok(());
        }
        self.split |= self.paused && !blank;
        if self.text.len() + text.len() > LONGEST_TEXT {
            return Err(format!("the text of an element is longer than {LONGEST_TEXT} bytes"));
        }
        self.text.push_str(text);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_those_of_namespaces() {
        let document = Document::parse(
            "<a xmlns='u' xmlns:p='v' p:x='1' x='2'><p:b xmlns:p='w'/><b xmlns=''/><p:b/></a>",
        )
        .unwrap();
        let shown: Vec<String> = document
            .0
            .iter()
            .map(|e| format!("{}|{}", e.name.space.as_deref().unwrap_or(""), e.name.local))
            .collect();
        assert_eq!(shown, ["u|a", "w|b", "|b", "v|b"]);
        let spaces: Vec<Option<&str>> =
            document.0[0].attributes.iter().map(|a| a.name.space.as_deref()).collect();
        assert_eq!(spaces, [Some("v"), None]);
    }

    #[test]
    fn ways_count_twins_only() {
        let document = Document::parse("<a>\n <b/>\n <c/>\n <b><d/></b>\n</a>").unwrap();
        let ways: Vec<String> = (0..5).map(|at| document.spot(ElementId(at)).to_string()).collect();
        assert_eq!(
            ways,
            ["line 1, /a", "line 2, /a/b[1]", "line 3, /a/c", "line 4, /a/b[2]", "line 4, /a/b[2]/d"]
        );
    }

    #[test]
    fn documents_that_are_not_whole() {
        for (text, words) in [
            ("", "no element"),
            ("<!-- a -->", "no element"),
            ("<a>", "cut short"),
            ("<a><b></b>", "cut short"),
            ("<a/>x", "outside the root"),
            ("x<a/>", "outside the root"),
            ("<a/>&amp;", "outside the root"),
            ("<a/><b/>", "after the end"),
            ("<a></a></a>", "no element is open"),
            ("<p:a/>", "no namespace is declared"),
            ("<a p:b='1'/>", "no namespace is declared"),
            ("<a xmlns:p=''/>", "that is none"),
            ("<a xmlns:xml='u'/>", "for itself"),
            ("<a xmlns:p='u' xmlns:q='u' p:b='1' q:b='2'/>", "stands twice"),
            ("<:a/>", "misplaced colon"),
        ] {
            let fault = Document::parse(text).unwrap_err();
            assert!(fault.detail.contains(words), "{text}: {fault:?}");
        }
        assert!(Document::parse("<a/><!-- after --><?p i?>\n").is_ok());
    }
}
