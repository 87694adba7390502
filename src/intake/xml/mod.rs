//! XML to a tree of elements, and the paths by which a template finds values in it.
//!
//! A document is read whole or refused whole: a document type declaration, an entity of its own, an element left open,
//! anything after the root, a name or an attribute given twice in one element, and everything beyond the limits of
//! [`events`] refuse the file. Names are compared by namespace and local name, never by prefix.
//!
//! Sources: Extensible Markup Language (XML) 1.0, fifth edition, W3C 2008; Namespaces in XML 1.0, third edition, W3C
//! 2009.

mod document;
mod encoding;
mod events;
mod leftover;
mod path;
mod rules;

pub(super) use document::{Document, ElementId};
pub(super) use encoding::likely;
pub(super) use leftover::{Used, told, unread};
pub(super) use path::{Found, Path};
pub(super) use rules::XmlShape;
