//! Dates and times by declared forms only. The order of day and month is never taken from the content.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Token {
    Year,
    YearOfTwoDigits,
    Month,
    MonthName,
    Day,
    Hour,
    HourOfTwelve,
    Minute,
    Second,
    Fraction,
    HalfOfDay,
    Offset,
    Literal(char),
}

impl Token {
    const fn is_digits(self) -> bool {
        match self {
            Self::Year
            | Self::YearOfTwoDigits
            | Self::Month
            | Self::Day
            | Self::Hour
            | Self::HourOfTwelve
            | Self::Minute
            | Self::Second => true,
            Self::MonthName | Self::Fraction | Self::HalfOfDay | Self::Offset | Self::Literal(_) => false,
        }
    }
}

pub(super) const MONTHS: [&str; 12] =
    ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];

/// A declared form of a date or a time.
///
/// `%Y` four digits, `%y` two; `%m %d %H %I %M %S` one or two digits, exactly two where another number touches them;
/// `%b` the first three letters of an English month; `%p` AM or PM; `%.f` a fraction of a second that may be absent;
/// `%z` `Z` or an offset from UTC; `%%` a percent sign. Everything else stands for itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Form {
    text: String,
    tokens: Vec<Token>,
}

/// What a text says in one form.
#[derive(Debug, Clone, Copy, Default)]
struct Parts {
    year: Option<i16>,
    two_digits: Option<i16>,
    month: Option<i8>,
    day: Option<i8>,
    hour: Option<i8>,
    hour_of_twelve: Option<i8>,
    afternoon: Option<bool>,
    minute: Option<i8>,
    second: Option<i8>,
    nanosecond: i32,
    offset: Option<i32>,
}

impl Form {
    /// Reads a form.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let mut tokens = Vec::new();
        let mut rest = text.chars();
        while let Some(c) = rest.next() {
            if c != '%' {
                tokens.push(Token::Literal(c));
                continue;
            }
            let token = match rest.next() {
                Some('Y') => Token::Year,
                Some('y') => Token::YearOfTwoDigits,
                Some('m') => Token::Month,
                Some('b') => Token::MonthName,
                Some('d') => Token::Day,
                Some('H') => Token::Hour,
                Some('I') => Token::HourOfTwelve,
                Some('M') => Token::Minute,
                Some('S') => Token::Second,
                Some('p') => Token::HalfOfDay,
                Some('z') => Token::Offset,
                Some('%') => Token::Literal('%'),
                Some('.') if rest.next() == Some('f') => Token::Fraction,
                _ => return Err(format!("`{text}` holds an unknown `%` sign")),
            };
            if !matches!(token, Token::Literal(_)) && tokens.contains(&token) {
                return Err(format!("`{text}` names a part twice"));
            }
            tokens.push(token);
        }
        let form = Self { text: text.to_owned(), tokens };
        let one_of = |a, b| form.has(a) != form.has(b);
        if !one_of(Token::Year, Token::YearOfTwoDigits)
            || !one_of(Token::Month, Token::MonthName)
            || !form.has(Token::Day)
        {
            return Err(format!("`{text}` does not name year, month and day once each"));
        }
        Ok(form)
    }

    fn has(&self, token: Token) -> bool {
        self.tokens.contains(&token)
    }

    /// The form as it was declared.
    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// Whether its year has two digits.
    pub(super) fn has_two_digit_year(&self) -> bool {
        self.has(Token::YearOfTwoDigits)
    }

    /// Whether it names a time of day as a whole: hour and minute, AM or PM with a clock of twelve.
    pub(super) fn names_time(&self) -> bool {
        let hour = self.has(Token::Hour) != self.has(Token::HourOfTwelve);
        hour && self.has(Token::HourOfTwelve) == self.has(Token::HalfOfDay) && self.has(Token::Minute)
    }

    /// Whether it names any part of a time of day.
    pub(super) fn names_any_time(&self) -> bool {
        [
            Token::Hour,
            Token::HourOfTwelve,
            Token::Minute,
            Token::Second,
            Token::Fraction,
            Token::HalfOfDay,
            Token::Offset,
        ]
        .into_iter()
        .any(|token| self.has(token))
    }

    /// The date a text says in this form; `latest` bounds a year of two digits.
    pub(super) fn date(&self, text: &str, latest: Date) -> Option<Date> {
        self.parts(text)?.date(latest)
    }

    /// The local time a text says in this form, and its offset from UTC if it has one.
    pub(super) fn time(&self, text: &str, latest: Date) -> Option<(DateTime, Option<Offset>)> {
        let parts = self.parts(text)?;
        let hour = match (parts.hour, parts.hour_of_twelve, parts.afternoon) {
            (Some(hour), None, None) => hour,
            (None, Some(hour @ 1..=12), Some(afternoon)) => hour % 12 + if afternoon { 12 } else { 0 },
            _ => return None,
        };
        let time = Time::new(hour, parts.minute?, parts.second.unwrap_or(0), parts.nanosecond).ok()?;
        let offset = match parts.offset {
            Some(seconds) => Some(Offset::from_seconds(seconds).ok()?),
            None => None,
        };
        Some((parts.date(latest)?.to_datetime(time), offset))
    }

    fn parts(&self, text: &str) -> Option<Parts> {
        let mut parts = Parts::default();
        let mut rest = text;
        for (at, token) in self.tokens.iter().copied().enumerate() {
            let neighbour = |index: Option<usize>| {
                index.and_then(|i| self.tokens.get(i)).is_some_and(|token| token.is_digits())
            };
            let touched = neighbour(at.checked_sub(1)) || neighbour(at.checked_add(1));
            let mut number = |least: usize, most: usize| -> Option<&str> {
                let count = rest.bytes().take(most).take_while(u8::is_ascii_digit).count();
                let (digits, after) = (count >= least).then(|| rest.split_at(count))?;
                rest = after;
                Some(digits)
            };
            let least = if touched { 2 } else { 1 };
            match token {
                Token::Year => parts.year = Some(number(4, 4)?.parse().ok()?),
                Token::YearOfTwoDigits => parts.two_digits = Some(number(2, 2)?.parse().ok()?),
                Token::Month => parts.month = Some(number(least, 2)?.parse().ok()?),
                Token::Day => parts.day = Some(number(least, 2)?.parse().ok()?),
                Token::Hour => parts.hour = Some(number(least, 2)?.parse().ok()?),
                Token::HourOfTwelve => parts.hour_of_twelve = Some(number(least, 2)?.parse().ok()?),
                Token::Minute => parts.minute = Some(number(least, 2)?.parse().ok()?),
                Token::Second => parts.second = Some(number(least, 2)?.parse().ok()?),
                Token::MonthName => {
                    let (name, after) = rest.split_at_checked(3)?;
                    let index = MONTHS.iter().position(|month| name.eq_ignore_ascii_case(month))?;
                    parts.month = Some(i8::try_from(index + 1).ok()?);
                    rest = after;
                }
                Token::HalfOfDay => {
                    let (half, after) = rest.split_at_checked(2)?;
                    parts.afternoon = match half.to_ascii_uppercase().as_str() {
                        "AM" => Some(false),
                        "PM" => Some(true),
                        _ => return None,
                    };
                    rest = after;
                }
                Token::Fraction => {
                    if let Some(after) = rest.strip_prefix(['.', ',']) {
                        rest = after;
                        let count = rest.bytes().take_while(u8::is_ascii_digit).count();
                        if !(1..=9).contains(&count) {
                            return None;
                        }
                        let (digits, after) = rest.split_at(count);
                        parts.nanosecond = format!("{digits:0<9}").parse().ok()?;
                        rest = after;
                    }
                }
                Token::Offset => {
                    let (seconds, after) = offset(rest)?;
                    parts.offset = Some(seconds);
                    rest = after;
                }
                Token::Literal(c) => rest = rest.strip_prefix(c)?,
            }
        }
        rest.is_empty().then_some(parts)
    }
}

fn offset(text: &str) -> Option<(i32, &str)> {
    if let Some(after) = text.strip_prefix('Z') {
        return Some((0, after));
    }
    let (sign, rest) = match text.chars().next()? {
        '+' => (1, text.get(1..)?),
        '-' => (-1, text.get(1..)?),
        _ => return None,
    };
    let two = |text: &str| -> Option<i32> {
        let digits = text.get(..2)?;
        if digits.bytes().all(|b| b.is_ascii_digit()) { digits.parse().ok() } else { None }
    };
    let hours = two(rest)?;
    let rest = rest.get(2..)?;
    let rest = rest.strip_prefix(':').unwrap_or(rest);
    let minutes = two(rest)?;
    (hours <= 14 && minutes < 60).then_some(())?;
    Some((sign * (hours * 3600 + minutes * 60), rest.get(2..)?))
}

impl Parts {
    fn date(&self, latest: Date) -> Option<Date> {
        let (month, day) = (self.month?, self.day?);
        let year = match (self.year, self.two_digits) {
            (Some(year), None) => year,
            (None, Some(digits)) => {
                let year = latest.year() - latest.year().rem_euclid(100) + digits;
                if (year, month, day) > (latest.year(), latest.month(), latest.day()) {
                    year - 100
                } else {
                    year
                }
            }
            _ => return None,
        };
        Date::new(year, month, day).ok()
    }
}

/// The one value all fitting forms agree on.
pub(super) fn agreed<T: PartialEq>(values: impl Iterator<Item = T>) -> Option<T> {
    let mut found = None;
    for value in values {
        match &found {
            None => found = Some(value),
            Some(earlier) if *earlier == value => {}
            Some(_) => return None,
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    const TODAY: Date = date(2026, 3, 11);

    fn day(form: &str, text: &str) -> Option<Date> {
        Form::parse(form).unwrap().date(text, TODAY)
    }

    #[test]
    fn reads_declared_orders_only() {
        assert_eq!(day("%d.%m.%Y", "09.04.1951"), Some(date(1951, 4, 9)));
        assert_eq!(day("%m/%d/%Y", "3/8/1951"), Some(date(1951, 3, 8)));
        assert_eq!(day("%Y%m%d", "19510308"), Some(date(1951, 3, 8)));
        assert_eq!(day("%d-%b-%Y", "08-MAR-1951"), Some(date(1951, 3, 8)));
        for (form, text) in [
            ("%m/%d/%Y", "13/8/1951"),
            ("%d.%m.%Y", "09.04.51"),
            ("%Y%m%d", "1951308"),
            ("%d.%m.%Y", "31.02.1951"),
            ("%d.%m.%Y", "18695"),
            ("%d.%m.%Y", " 09.04.1951"),
            ("%d.%m.%Y", "09.04.1951 "),
            ("%d.%m.%Y", "٠٩.04.1951"),
        ] {
            assert_eq!(day(form, text), None, "{form} {text}");
        }
    }

    #[test]
    fn two_digits_are_the_latest_year_not_in_the_future() {
        assert_eq!(day("%d.%m.%y", "11.03.26"), Some(TODAY));
        assert_eq!(day("%d.%m.%y", "12.03.26"), Some(date(1926, 3, 12)));
        assert_eq!(day("%d.%m.%y", "09.04.51"), Some(date(1951, 4, 9)));
        assert_eq!(day("%d.%m.%y", "29.02.51"), None);
    }

    #[test]
    fn reads_times_of_both_clocks() {
        let time = |form: &str, text: &str| {
            Form::parse(form).unwrap().time(text, TODAY).map(|(time, offset)| match offset {
                Some(offset) => format!("{time} {offset}"),
                None => time.to_string(),
            })
        };
        assert_eq!(time("%m/%d/%Y %I:%M %p", "03/11/2025 9:14 PM").as_deref(), Some("2025-03-11T21:14:00"));
        assert_eq!(time("%m/%d/%Y %I:%M %p", "03/11/2025 12:14 AM").as_deref(), Some("2025-03-11T00:14:00"));
        assert_eq!(
            time("%Y-%m-%dT%H:%M:%S%.f%z", "2025-03-11T09:14:05.5+01:00").as_deref(),
            Some("2025-03-11T09:14:05.5 +01")
        );
        assert_eq!(time("%Y%m%d%H%M%S", "20250311091427").as_deref(), Some("2025-03-11T09:14:27"));
        assert_eq!(time("%Y-%m-%d %H:%M", "2025-03-11 24:00"), None);
        assert_eq!(time("%m/%d/%Y %I:%M %p", "03/11/2025 13:14 PM"), None);
    }

    #[test]
    fn refuses_forms_without_a_whole_date() {
        for form in ["%d.%m", "%Y-%m-%d %Q", "%Y %y-%m-%d", "%d.%d.%Y", "%H:%M"] {
            assert!(Form::parse(form).is_err(), "{form}");
        }
    }

    #[test]
    fn forms_that_disagree_give_nothing() {
        assert_eq!(agreed([1, 1].into_iter()), Some(1));
        assert_eq!(agreed([1, 2].into_iter()), None);
        assert_eq!(agreed(core::iter::empty::<u8>()), None);
    }
}
