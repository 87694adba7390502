//! Empty signature fields with a printable placeholder.
//!
//! Every field, its widget and its lock stand in the file from the first byte. A signer replaces the field's `/V`, `/AP` and `/F` and nothing
//! else.

use std::collections::BTreeSet;

use lopdf::{Object, Stream, dictionary};

use crate::page::error::PageError;
use crate::page::geometry::Path;
use crate::page::list::{Document, SignatureField};
use crate::page::pdf::{appearance, header, library, no_resources, points};

/// Annotation flag Print (ISO 32000-1, table 165).
const PRINT: i64 = 4;

/// Both signature flags, fields exist and append only (ISO 32000-1, table 219): set from the start, so that no signer has to touch them.
const SIGNATURE_FLAGS: i64 = 3;

/// Adds the fields of a document to its file.
pub(super) fn add(
    file: &mut lopdf::Document,
    document: &Document,
    page_ids: &[lopdf::ObjectId],
) -> Result<(), PageError> {
    if document.fields.is_empty() {
        return Ok(());
    }
    let mut names = BTreeSet::new();
    let mut references = Vec::new();
    for field in &document.fields {
        let refuse = |reason| PageError::Field { name: field.name.clone(), reason };
        let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | ' ');
        if field.name.is_empty() || !field.name.chars().all(plain) {
            return Err(refuse("the name may hold letters, digits, spaces, `_` and `-` only"));
        }
        if !names.insert(field.name.as_str()) {
            return Err(refuse("the name stands twice"));
        }
        let page = document.pages.get(field.page).ok_or_else(|| refuse("its page does not exist"))?;
        let page_id = *page_ids.get(field.page).ok_or_else(|| refuse("its page does not exist"))?;
        let (width, height) = (field.placeholder.width_mm(), field.placeholder.height_mm());
        let inside = Path::rectangle(field.at, width, height, 0.0)
            .bounds()
            .is_some_and(|bounds| bounds.within(page.width_mm(), page.height_mm(), 0.0));
        if !inside {
            return Err(refuse("its box leaves the page"));
        }
        let id = widget(file, field, page_id, page.height_mm())?;
        let on_page = file.get_dictionary_mut(page_id).map_err(library)?;
        match on_page.get_mut(b"Annots") {
            Ok(Object::Array(list)) => list.push(Object::Reference(id)),
            _ => on_page.set("Annots", vec![Object::Reference(id)]),
        }
        references.push(Object::Reference(id));
    }
    let form = file.add_object(dictionary! { "Fields" => references, "SigFlags" => SIGNATURE_FLAGS });
    file.catalog_mut().map_err(library)?.set("AcroForm", Object::Reference(form));
    Ok(())
}

fn widget(
    file: &mut lopdf::Document,
    field: &SignatureField,
    page_id: lopdf::ObjectId,
    page_height_mm: f64,
) -> Result<lopdf::ObjectId, PageError> {
    let (width, height) = (field.placeholder.width_mm(), field.placeholder.height_mm());
    let form = dictionary! {
        "Type" => "XObject",
        "Subtype" => "Form",
        "BBox" => vec![0.into(), 0.into(), points(width).into(), points(height).into()],
        "Resources" => no_resources(),
    };
    let look = file.add_object(Stream::new(form, appearance(&field.placeholder)?));
    let rect: Vec<Object> = vec![
        points(field.at.x).into(),
        points(page_height_mm - field.at.y - height).into(),
        points(field.at.x + width).into(),
        points(page_height_mm - field.at.y).into(),
    ];
    let mut dict = dictionary! {
        "Type" => "Annot",
        "Subtype" => "Widget",
        "FT" => "Sig",
        "T" => header::text(&field.name),
        "TU" => header::text(&field.tooltip),
        "F" => PRINT,
        "P" => page_id,
        "Rect" => rect,
        "AP" => dictionary! { "N" => look },
    };
    if field.locks_all {
        let lock = file.add_object(dictionary! { "Type" => "SigFieldLock", "Action" => "All" });
        dict.set("Lock", lock);
    }
    Ok(file.add_object(dict))
}
