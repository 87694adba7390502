//! The paths a source text names.

use crate::code::{Token, parts, tokens};

/// A path such as `crate::model::Eye`, as written, `use` trees spelled out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Named {
    pub(crate) segments: Vec<String>,
    pub(crate) line: usize,
    /// Whether it stands in a `use`.
    pub(crate) imported: bool,
    /// Whether that `use` is visible outside its module.
    pub(crate) exported: bool,
    /// How many inline modules stand around it.
    pub(crate) inline: usize,
}

impl Named {
    pub(crate) fn segment(&self, at: usize) -> &str {
        self.segments.get(at).map_or("", String::as_str)
    }

    pub(crate) fn written(&self) -> String {
        self.segments.join("::")
    }
}

/// What a source text names.
pub(crate) struct Names {
    pub(crate) paths: Vec<Named>,
    /// Modules declared in this text.
    pub(crate) modules: Vec<String>,
}

fn is_word(text: &str) -> bool {
    text.chars().next().is_some_and(|c| c.is_alphabetic() || c == '_')
}

/// Every path of a source text.
pub(crate) fn names(text: &str) -> Names {
    let tokens = tokens(&parts(text).code);
    let word = |at: usize| tokens.get(at).map_or("", |token| token.text.as_str());
    let mut names = Names { paths: Vec::new(), modules: Vec::new() };
    let mut braces: Vec<bool> = Vec::new();
    let mut opens_module = false;
    let mut at = 0;
    while at < tokens.len() {
        let inline = braces.iter().filter(|module| **module).count();
        match word(at) {
            "{" => {
                braces.push(opens_module);
                opens_module = false;
                at += 1;
            }
            "}" => {
                braces.pop();
                at += 1;
            }
            "mod" if is_word(word(at + 1)) && matches!(word(at + 2), ";" | "{") => {
                names.modules.push(word(at + 1).to_owned());
                opens_module = word(at + 2) == "{";
                at += 2;
            }
            "use" => {
                let exported = at > 0 && matches!(word(at - 1), "pub" | ")");
                let mut tree = Tree { tokens: &tokens, at: at + 1, found: Vec::new() };
                tree.read(&[]);
                at = tree.at;
                names.paths.extend(tree.found.into_iter().map(|(segments, line)| Named {
                    segments,
                    line,
                    imported: true,
                    exported,
                    inline,
                }));
            }
            here if is_word(here) && word(at + 1) == "::" && !continues(&tokens, at) => {
                let line = tokens[at].line;
                let mut segments = vec![here.to_owned()];
                at += 1;
                while word(at) == "::" && is_word(word(at + 1)) {
                    segments.push(word(at + 1).to_owned());
                    at += 2;
                }
                names.paths.push(Named { segments, line, imported: false, exported: false, inline });
            }
            _ => at += 1,
        }
    }
    names
}

/// Whether the word goes on with a path that began before it, as `B` in `<A>::B`.
fn continues(tokens: &[Token], at: usize) -> bool {
    let before = |back: usize| at.checked_sub(back).map_or("", |at| tokens[at].text.as_str());
    before(1) == "::" && (before(2) == ">" || is_word(before(2)))
}

struct Tree<'a> {
    tokens: &'a [Token],
    at: usize,
    found: Vec<(Vec<String>, usize)>,
}

impl Tree<'_> {
    fn word(&self) -> &str {
        self.tokens.get(self.at).map_or("", |token| token.text.as_str())
    }

    fn line(&self) -> usize {
        self.tokens.get(self.at).map_or(0, |token| token.line)
    }

    /// Reads one branch up to the `,`, `}` or `;` that ends it.
    fn read(&mut self, stem: &[String]) {
        let mut segments = stem.to_vec();
        let mut line = self.line();
        let mut branched = false;
        while !matches!(self.word(), "," | "}" | ";" | "") {
            match self.word() {
                "{" => {
                    branched = true;
                    self.at += 1;
                    while !matches!(self.word(), "}" | "") {
                        self.read(&segments);
                        if self.word() == "," {
                            self.at += 1;
                        }
                    }
                    self.at += 1;
                }
                "as" => self.at += 2,
                "::" => self.at += 1,
                _ => {
                    line = self.line();
                    segments.push(self.word().to_owned());
                    self.at += 1;
                }
            }
        }
        if !branched {
            self.found.push((segments, line));
        }
    }
}

#[test]
fn trees_are_spelled_out_and_depth_is_known() {
    let text = "
        pub(crate) use crate::{model::{Eye, self}, units as u, finding::*};
        use ::csv::Reader;
        fn f() -> crate::optics::Power { <A as B>::c::d(super::e::f) }
        mod tests { use super::super::x; mod deeper { fn g() { toml::from_str() } } }
        // use crate::hidden;
        mod other;
    ";
    let Names { paths, modules } = names(text);
    let shown: Vec<(String, bool, usize)> =
        paths.iter().map(|named| (named.written(), named.exported, named.inline)).collect();
    let expected = [
        ("crate::model::Eye", true, 0),
        ("crate::model::self", true, 0),
        ("crate::units", true, 0),
        ("crate::finding::*", true, 0),
        ("csv::Reader", false, 0),
        ("crate::optics::Power", false, 0),
        ("super::e::f", false, 0),
        ("super::super::x", false, 1),
        ("toml::from_str", false, 2),
    ];
    assert_eq!(shown.len(), expected.len(), "{shown:?}");
    for ((path, exported, inline), wanted) in shown.iter().zip(expected) {
        assert_eq!((path.as_str(), *exported, *inline), wanted);
    }
    assert_eq!(modules, ["tests", "deeper", "other"]);
    assert_eq!(paths[0].line, 2);
}
