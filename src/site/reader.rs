//! Reading a table key by key: typed, with places, nothing left over.

use std::borrow::Cow;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{SiteError, Spot, listed, nearest, shown};
use super::valued::{Origin, Valued};

/// A value that stands in the file, with its place.
#[derive(Debug, Clone)]
pub(super) struct Read<T> {
    pub(super) value: T,
    pub(super) spot: Spot,
}

impl<T> Read<T> {
    pub(super) fn valued(self) -> Valued<T> {
        Valued { value: self.value, origin: Origin::File { line: self.spot.line } }
    }
}

/// The value of the file, else the default.
pub(super) fn or_default<T>(read: Option<Read<T>>, default: T) -> Valued<T> {
    read.map_or(Valued { value: default, origin: Origin::Default }, Read::valued)
}

/// A table of which keys are taken one after the other.
pub(super) struct Reader<'t> {
    file: &'t str,
    text: &'t str,
    /// Its name with a point behind it; empty at the top of the file.
    prefix: String,
    at: usize,
    entries: Vec<(Spanned<Cow<'t, str>>, Spanned<DeValue<'t>>)>,
}

impl<'t> Reader<'t> {
    /// The whole of a file.
    ///
    /// # Errors
    /// [`SiteError::Syntax`].
    pub(super) fn open(file: &'t str, text: &'t str) -> Result<Self, SiteError> {
        let table = DeTable::parse(text).map_err(|error| syntax(file, text, &error))?;
        let at = table.span().start;
        Ok(Self { file, text, prefix: String::new(), at, entries: table.into_inner().into_iter().collect() })
    }

    /// The place where the table begins.
    pub(super) fn spot(&self) -> Spot {
        self.place(self.at)
    }

    fn place(&self, byte: usize) -> Spot {
        Spot::of(self.file, self.text, byte)
    }

    /// A key with its table.
    pub(super) fn key(&self, name: &str) -> String {
        format!("{}{name}", self.prefix)
    }

    fn take(&mut self, name: &str) -> Option<Spanned<DeValue<'t>>> {
        let at = self.entries.iter().position(|(key, _)| key.get_ref() == name)?;
        Some(self.entries.swap_remove(at).1)
    }

    /// An error about a value that stands at `spot`.
    pub(super) fn value_error(&self, name: &str, spot: Spot, expected: &str, found: &str) -> SiteError {
        SiteError::Value { spot, key: self.key(name), expected: expected.to_owned(), found: shown(found) }
    }

    fn read<T>(
        &mut self,
        name: &str,
        expected: &str,
        convert: impl FnOnce(&DeValue<'t>) -> Option<T>,
    ) -> Result<Option<Read<T>>, SiteError> {
        let Some(entry) = self.take(name) else { return Ok(None) };
        let spot = self.place(entry.span().start);
        match convert(entry.get_ref()) {
            Some(value) => Ok(Some(Read { value, spot })),
            None => Err(self.value_error(name, spot, expected, &as_written(self.text, &entry))),
        }
    }

    /// A text without control characters, not blank, at most 80 characters.
    pub(super) fn text(&mut self, name: &str) -> Result<Option<Read<String>>, SiteError> {
        self.read(name, "a text in quotes of 1 to 80 characters on one line", |value| {
            let text = value.as_str()?;
            let sound = !text.trim().is_empty()
                && text.trim() == text
                && text.chars().count() <= 80
                && !text.chars().any(char::is_control);
            sound.then(|| text.to_owned())
        })
    }

    /// One of the words of a key.
    pub(super) fn word<T>(
        &mut self,
        name: &str,
        words: &[&str],
        from: impl Fn(&str) -> Option<T>,
    ) -> Result<Option<Read<T>>, SiteError> {
        let expected = format!("one of {}", listed(words));
        self.read(name, &expected, |value| value.as_str().filter(|word| words.contains(word)).and_then(from))
    }

    /// A whole number within limits.
    pub(super) fn whole(
        &mut self,
        name: &str,
        least: u32,
        most: u32,
    ) -> Result<Option<Read<u32>>, SiteError> {
        self.read(name, &format!("a whole number from {least} to {most}"), |value| {
            let integer = value.as_integer()?;
            let number = u32::from_str_radix(integer.as_str(), integer.radix()).ok()?;
            (least..=most).contains(&number).then_some(number)
        })
    }

    /// A finite number; `sound` says whether it can be a value of the key.
    pub(super) fn number(
        &mut self,
        name: &str,
        expected: &str,
        sound: impl Fn(f64) -> bool,
    ) -> Result<Option<Read<f64>>, SiteError> {
        self.read(name, expected, |value| {
            let text = match value {
                DeValue::Float(float) => float.as_str(),
                DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str(),
                DeValue::Integer(_)
                | DeValue::String(_)
                | DeValue::Boolean(_)
                | DeValue::Datetime(_)
                | DeValue::Array(_)
                | DeValue::Table(_) => return None,
            };
            text.parse::<f64>().ok().filter(|number| number.is_finite() && sound(*number))
        })
    }

    /// A list of texts, none of them blank or twice.
    pub(super) fn texts(&mut self, name: &str) -> Result<Option<Read<Vec<String>>>, SiteError> {
        self.read(name, "a list of different texts in quotes", |value| {
            let mut texts: Vec<String> = Vec::new();
            for item in value.as_array()? {
                let text = item.get_ref().as_str().filter(|text| !text.trim().is_empty())?;
                if texts.iter().any(|earlier| earlier == text) {
                    return None;
                }
                texts.push(text.to_owned());
            }
            Some(texts)
        })
    }

    /// A table inside this one.
    pub(super) fn table(&mut self, name: &str) -> Result<Option<Self>, SiteError> {
        let Some(entry) = self.take(name) else { return Ok(None) };
        self.inner(name, &self.key(name), entry).map(Some)
    }

    /// The tables of a list of tables.
    pub(super) fn tables(&mut self, name: &str) -> Result<Vec<Self>, SiteError> {
        let Some(entry) = self.take(name) else { return Ok(Vec::new()) };
        let spot = self.place(entry.span().start);
        let written = as_written(self.text, &entry);
        let DeValue::Array(items) = entry.into_inner() else {
            return Err(self.value_error(name, spot, &format!("tables headed `[[{name}]]`"), &written));
        };
        items
            .into_iter()
            .enumerate()
            .map(|(at, item)| self.inner(name, &format!("{}[{}]", self.key(name), at + 1), item))
            .collect()
    }

    fn inner(&self, name: &str, path: &str, entry: Spanned<DeValue<'t>>) -> Result<Self, SiteError> {
        let at = entry.span().start;
        let written = as_written(self.text, &entry);
        let DeValue::Table(table) = entry.into_inner() else {
            return Err(self.value_error(name, self.place(at), &format!("a table `[{name}]`"), &written));
        };
        let entries = table.into_iter().collect();
        Ok(Self { file: self.file, text: self.text, prefix: format!("{path}."), at, entries })
    }

    /// An error about a key that should be there.
    pub(super) fn missing(&self, name: &str, expected: &str) -> SiteError {
        SiteError::MissingKey { spot: self.spot(), key: self.key(name), expected: expected.to_owned() }
    }

    /// Every key must be known; `top` are the keys of the top of the file, for a key that slid under a table.
    ///
    /// # Errors
    /// [`SiteError::UnknownKey`] for the first unknown key in the file.
    pub(super) fn only<K: AsRef<str>>(&self, known: &[K], top: &[&str]) -> Result<(), SiteError> {
        let is_known = |name: &str| known.iter().any(|key| key.as_ref() == name);
        let unknown = self.entries.iter().filter(|(key, _)| !is_known(key.get_ref()));
        let Some((key, _)) = unknown.min_by_key(|(key, _)| key.span().start) else { return Ok(()) };
        let name = key.get_ref().as_ref();
        let meant = if !self.prefix.is_empty() && top.contains(&name) {
            Some(format!(
                "`{name}` belongs to the top of the file, before the first line that begins with `[`"
            ))
        } else {
            let near = nearest(name, known.iter().map(AsRef::as_ref));
            near.map(|near| format!("did you mean `{near}`?"))
        };
        Err(SiteError::UnknownKey {
            spot: self.place(key.span().start),
            key: self.key(&shown(name)),
            meant,
            known: known.iter().map(|known| known.as_ref().to_owned()).collect(),
        })
    }
}

/// A value as it stands in the file.
fn as_written(text: &str, value: &Spanned<DeValue<'_>>) -> String {
    let written = text.get(value.span()).unwrap_or_default();
    match value.get_ref() {
        DeValue::String(inner) => inner.to_string(),
        DeValue::Table(_) => "a table".to_owned(),
        DeValue::Integer(_)
        | DeValue::Float(_)
        | DeValue::Boolean(_)
        | DeValue::Datetime(_)
        | DeValue::Array(_) => written.to_owned(),
    }
}

/// The error of the TOML parser with its place.
pub(super) fn syntax(file: &str, text: &str, error: &toml::de::Error) -> SiteError {
    let spot = Spot::of(file, text, error.span().map_or(0, |span| span.start));
    SiteError::Syntax { spot, problem: shown(error.message()) }
}
