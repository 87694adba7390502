//! Patterns of file names: literal text, `*`, and groups such as `{patient}`.
//!
//! A wildcard takes the shortest run up to the next literal, the last one everything up to the end; there is no
//! backtracking, so a name is read in one pass.

use std::collections::BTreeMap;

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Literal(String),
    /// Any run, also none.
    Any,
    /// A run of at least one character, kept under its name.
    Group(String),
}

/// A part of a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Run<'p> {
    /// What the pattern itself says.
    Literal,
    /// What a `*` stands for.
    Any,
    /// What a group stands for.
    Group(&'p str),
}

/// A pattern of file names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct NamePattern(Vec<Piece>);

impl NamePattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let mut pieces: Vec<Piece> = Vec::new();
        let mut rest = text;
        while let Some(first) = rest.chars().next() {
            let piece = if first == '*' {
                rest = rest.get(1..).unwrap_or_default();
                Piece::Any
            } else if first == '{' {
                let (name, after) = rest
                    .get(1..)
                    .and_then(|inner| inner.split_once('}'))
                    .ok_or_else(|| "a `{` without its `}`".to_owned())?;
                let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
                if name.is_empty() || !name.chars().all(plain) {
                    return Err(format!(
                        "group `{name}` is not a word of lower-case letters, digits and underscores"
                    ));
                }
                if pieces.contains(&Piece::Group(name.to_owned())) {
                    return Err(format!("group `{name}` stands twice"));
                }
                rest = after;
                Piece::Group(name.to_owned())
            } else {
                let end = rest.find(['*', '{']).unwrap_or(rest.len());
                let (literal, after) = rest.split_at(end);
                rest = after;
                Piece::Literal(literal.to_owned())
            };
            if !matches!(piece, Piece::Literal(_))
                && pieces.last().is_some_and(|last| !matches!(last, Piece::Literal(_)))
            {
                return Err("two wildcards stand side by side".to_owned());
            }
            pieces.push(piece);
        }
        if pieces.is_empty() {
            return Err("the pattern is empty".to_owned());
        }
        Ok(Self(pieces))
    }

    /// Whether the pattern has a group of this name.
    pub(super) fn has_group(&self, name: &str) -> bool {
        self.0.iter().any(|piece| matches!(piece, Piece::Group(own) if own == name))
    }

    /// The groups of a name that fits; none when it does not.
    pub(super) fn captures(&self, name: &str) -> Option<BTreeMap<String, String>> {
        let mut rest = name;
        let mut groups = BTreeMap::new();
        for (group, length) in self.runs(name)? {
            let (run, after) = rest.split_at_checked(length)?;
            if let Run::Group(group) = group {
                groups.insert(group.to_owned(), run.to_owned());
            }
            rest = after;
        }
        Some(groups)
    }

    /// What a name that fits is made of, with the bytes of each part; none when it does not fit.
    pub(super) fn runs(&self, name: &str) -> Option<Vec<(Run<'_>, usize)>> {
        let mut runs = Vec::new();
        let mut rest = name;
        let mut pieces = self.0.iter().peekable();
        while let Some(piece) = pieces.next() {
            match piece {
                Piece::Literal(literal) => {
                    rest = rest.strip_prefix(literal.as_str())?;
                    runs.push((Run::Literal, literal.len()));
                }
                Piece::Any | Piece::Group(_) => {
                    let (run, literal) = match pieces.next() {
                        None => (core::mem::take(&mut rest), 0),
                        Some(Piece::Literal(literal)) => {
                            let skip = match piece {
                                Piece::Group(_) => rest.chars().next()?.len_utf8(),
                                Piece::Literal(_) | Piece::Any => 0,
                            };
                            let at = if pieces.peek().is_none() {
                                rest.strip_suffix(literal.as_str())?.len()
                            } else {
                                skip + rest.get(skip..)?.find(literal.as_str())?
                            };
                            let run = rest.get(..at)?;
                            rest = rest.get(at + literal.len()..)?;
                            (run, literal.len())
                        }
                        Some(Piece::Any | Piece::Group(_)) => return None,
                    };
                    runs.push(match piece {
                        Piece::Group(_) if run.is_empty() => return None,
                        Piece::Group(group) => (Run::Group(group.as_str()), run.len()),
                        Piece::Literal(_) | Piece::Any => (Run::Any, run.len()),
                    });
                    runs.push((Run::Literal, literal));
                }
            }
        }
        rest.is_empty().then_some(runs)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn groups(pattern: &str, name: &str) -> Option<String> {
        NamePattern::parse(pattern).unwrap().captures(name).map(|groups| {
            groups.iter().map(|(group, text)| format!("{group}={text}")).collect::<Vec<_>>().join(" ")
        })
    }

    #[test]
    fn captures_what_stands_between_literals() {
        assert_eq!(groups("KM_{patient}_{eye}.csv", "KM_T-17_R.csv").as_deref(), Some("eye=R patient=T-17"));
        assert_eq!(groups("*_{patient}.csv", "2026_03_T-17.csv").as_deref(), Some("patient=03_T-17"));
        assert_eq!(groups("{any}", "x").as_deref(), Some("any=x"));
        assert_eq!(groups("list*.csv", "list.csv").as_deref(), Some(""));
        for (pattern, name) in
            [("KM_{patient}.csv", "KM_.csv"), ("a*.csv", "b.csv"), ("a*.csv", "a.csvx"), ("ab*b", "ab")]
        {
            assert_eq!(groups(pattern, name), None, "{pattern} {name}");
        }
    }

    #[test]
    fn refuses_a_pattern_with_two_meanings() {
        for pattern in ["", "{a}{b}", "*{a}", "{a", "{A}", "{a}_{a}", "**"] {
            assert!(NamePattern::parse(pattern).is_err(), "{pattern}");
        }
    }
}
