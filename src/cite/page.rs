//! The page that lists every source, printed from the code.

use super::ALL;

/// `docs/SOURCES.md`: every source with its place in the text and how far it was verified.
///
/// # Examples
/// ```
/// assert!(axiswright::cite::sources_page().contains("| ISO 8429 |"));
/// ```
pub fn sources_page() -> String {
    let mut page = String::from(
        "# Sources\n\n\
         Printed from the code by `cite::sources_page`; a test compares the two. *Seen*: what of the source was in front of\n\
         us. *How far*: read; computed from a stated formula; read in secondary texts; common practice of the trade; from\n\
         memory; our assumption. What was not read in the original says so, here and on the record page of every sheet.\n\n\
         | short | source | seen | how far |\n|---|---|---|---|\n",
    );
    for source in ALL {
        let cells = [source.short, source.full, source.place, source.mark.words()];
        page.push_str("| ");
        page.push_str(&cells.map(|cell| cell.replace('|', "\\|")).join(" | "));
        page.push_str(" |\n");
    }
    page
}
