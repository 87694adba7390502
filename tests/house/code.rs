//! Rust text taken apart: what the compiler sees, and what only a reader sees.

/// A source text with everything but one kind of content blanked out; lines and columns stay.
pub(crate) struct Parts {
    /// Without comments and without what stands in literals.
    pub(crate) code: String,
    /// Nothing but the comments.
    pub(crate) comments: String,
}

/// Takes a source text apart.
pub(crate) fn parts(text: &str) -> Parts {
    let chars: Vec<char> = text.chars().collect();
    let mut taken = Taken { code: String::new(), comments: String::new() };
    let mut at = 0;
    while at < chars.len() {
        let end = match chars[at] {
            '/' if chars.get(at + 1) == Some(&'/') => {
                let end = find(&chars, at, |rest| rest[0] == '\n');
                taken.comment(&chars[at..end]);
                end
            }
            '/' if chars.get(at + 1) == Some(&'*') => {
                let end = block_comment(&chars, at);
                taken.comment(&chars[at..end]);
                end
            }
            '"' => {
                let end = quoted(&chars, at + 1);
                taken.blank(&chars[at..end]);
                end
            }
            'r' if !in_word(&chars, at) && raw_hashes(&chars, at + 1).is_some() => {
                let end = raw(&chars, at + 1);
                taken.blank(&chars[at..end]);
                end
            }
            '\'' => match char_literal(&chars, at) {
                Some(end) => {
                    taken.blank(&chars[at..end]);
                    end
                }
                None => taken.keep(&chars, at),
            },
            _ => taken.keep(&chars, at),
        };
        at = end;
    }
    Parts { code: taken.code, comments: taken.comments }
}

struct Taken {
    code: String,
    comments: String,
}

impl Taken {
    fn keep(&mut self, chars: &[char], at: usize) -> usize {
        self.code.push(chars[at]);
        self.comments.push(if chars[at] == '\n' { '\n' } else { ' ' });
        at + 1
    }

    fn comment(&mut self, chars: &[char]) {
        self.comments.extend(chars);
        self.code.extend(chars.iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
    }

    fn blank(&mut self, chars: &[char]) {
        for c in chars {
            let kept = if *c == '\n' { '\n' } else { ' ' };
            self.code.push(kept);
            self.comments.push(kept);
        }
    }
}

fn find(chars: &[char], from: usize, stop: impl Fn(&[char]) -> bool) -> usize {
    (from..chars.len()).find(|at| stop(&chars[*at..])).unwrap_or(chars.len())
}

fn in_word(chars: &[char], at: usize) -> bool {
    let before = at.checked_sub(1).map(|before| chars[before]);
    // `br"…"` and `cr"…"` are raw strings too.
    match before {
        Some('b' | 'c') => in_word(chars, at - 1),
        Some(c) => c.is_alphanumeric() || c == '_',
        None => false,
    }
}

fn block_comment(chars: &[char], from: usize) -> usize {
    let mut depth = 0_usize;
    let mut at = from;
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => {
                depth += 1;
                at += 2;
            }
            ('*', Some('/')) => {
                depth -= 1;
                at += 2;
                if depth == 0 {
                    return at;
                }
            }
            _ => at += 1,
        }
    }
    chars.len()
}

fn quoted(chars: &[char], from: usize) -> usize {
    let mut at = from;
    while at < chars.len() {
        match chars[at] {
            '\\' => at += 2,
            '"' => return at + 1,
            _ => at += 1,
        }
    }
    chars.len()
}

fn raw_hashes(chars: &[char], from: usize) -> Option<usize> {
    let hashes = chars[from..].iter().take_while(|c| **c == '#').count();
    (chars.get(from + hashes) == Some(&'"')).then_some(hashes)
}

fn raw(chars: &[char], from: usize) -> usize {
    let hashes = raw_hashes(chars, from).unwrap();
    let end = find(chars, from + hashes + 1, |rest| {
        rest[0] == '"' && rest.len() > hashes && rest[1..=hashes].iter().all(|c| *c == '#')
    });
    chars.len().min(end + 1 + hashes)
}

fn char_literal(chars: &[char], at: usize) -> Option<usize> {
    if chars.get(at + 1) == Some(&'\\') {
        return Some((find(chars, at + 3, |rest| rest[0] == '\'') + 1).min(chars.len()));
    }
    (chars.get(at + 2) == Some(&'\'')).then_some(at + 3)
}

/// A word or a sign of code, with its line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Token {
    pub(crate) text: String,
    pub(crate) line: usize,
}

/// The tokens of code without comments and literals: words, `::`, and single signs.
pub(crate) fn tokens(code: &str) -> Vec<Token> {
    let mut tokens: Vec<Token> = Vec::new();
    let mut chars = code.chars().peekable();
    let mut line = 1;
    while let Some(c) = chars.next() {
        let mut text = String::from(c);
        if c == '\n' {
            line += 1;
        }
        if c.is_whitespace() {
            continue;
        }
        if c.is_alphanumeric() || c == '_' {
            while let Some(next) = chars.next_if(|next| next.is_alphanumeric() || *next == '_') {
                text.push(next);
            }
        } else if c == ':' && chars.next_if_eq(&':').is_some() {
            text.push(':');
        }
        tokens.push(Token { text, line });
    }
    tokens
}

#[test]
fn comments_and_literals_are_told_from_code() {
    let text = r##"let a = "x // y"; // said /* here
        /* one /* two */ still */ let b = r#"raw " quote"#; let c = '"'; let d: &'static str = br"z";
        let e = '\''; let f = "a\"b"; over"##;
    let Parts { code, comments } = parts(text);
    assert_eq!(code.chars().count(), text.chars().count());
    let words: Vec<String> = tokens(&code).into_iter().map(|token| token.text).collect();
    for gone in ["x", "said", "one", "still", "raw", "quote", "z", "br"] {
        let left = gone == "br";
        assert_eq!(words.iter().any(|word| word == gone), left && words.contains(&"br".to_owned()), "{gone}");
    }
    assert_eq!(words.iter().filter(|word| *word == "let").count(), 6);
    assert!(words.contains(&"static".to_owned()) && words.contains(&"over".to_owned()));
    assert!(comments.contains("said /* here") && comments.contains("still"));
    assert!(!comments.contains("let") && !comments.contains("raw"));
}

#[test]
fn tokens_know_their_line() {
    let found = tokens("use a::b;\n\nfn c() {}");
    let shown: Vec<(&str, usize)> = found.iter().map(|token| (token.text.as_str(), token.line)).collect();
    assert_eq!(shown[..5], [("use", 1), ("a", 1), ("::", 1), ("b", 1), (";", 1)]);
    assert_eq!(shown[5..7], [("fn", 3), ("c", 3)]);
}
