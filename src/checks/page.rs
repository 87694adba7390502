//! The page that lists every finding, printed from the code.

use super::settings::Settings;
use crate::finding::Code;

/// `docs/FINDINGS.md`: every code with its severities, who acts, the rule, and its limits with source and mark.
pub fn findings_page() -> String {
    let settings = Settings::default();
    let mut page = String::from(
        "# Findings\n\n\
         Printed from the code by `checks::findings_page`; a test compares the two. A limit is the site's to set; the value\n\
         here is its default, with the source and how far that was verified. *note*: nothing to do. *sign-off*: a person\n\
         answers with a reason. *refuse*: no sheet; the source is corrected, measured or exported again. The limits of M01 and\n\
         M03 to M05, F02, F06 and F07 belong to planning: they stand with default and source in `[budget]` of site.toml.\n\n\
         | code | name | severity | who acts | rule | limits |\n|---|---|---|---|---|---|\n",
    );
    for code in Code::ALL {
        let severities: Vec<&str> = code.severities().iter().map(|severity| severity.word()).collect();
        let limits: Vec<String> = settings
            .of(*code)
            .into_iter()
            .map(|(name, limit)| {
                let unit = if limit.unit.is_empty() { String::new() } else { format!(" {}", limit.unit) };
                format!("`{name}` {}{unit}: {}", limit.value, limit.source.cited())
            })
            .collect();
        let line = [
            code.reference().to_owned(),
            format!("`{}`", code.slug()),
            severities.join(", "),
            code.answerer().word().to_owned(),
            code.rule().to_owned(),
            limits.join("; "),
        ];
        page.push_str("| ");
        page.push_str(&line.join(" | "));
        page.push_str(" |\n");
    }
    page
}
