//! Prints `docs/SOURCES.md`.

use std::io::Write as _;

fn main() -> std::io::Result<()> {
    std::io::stdout().lock().write_all(axiswright::cite::sources_page().as_bytes())
}
