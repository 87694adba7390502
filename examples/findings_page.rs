//! Prints `docs/FINDINGS.md`.

use std::io::Write as _;

fn main() -> std::io::Result<()> {
    std::io::stdout().lock().write_all(axiswright::checks::findings_page().as_bytes())
}
