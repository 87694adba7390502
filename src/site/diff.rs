//! What changed in a settings file since it was approved, line by line.

/// Unchanged lines shown around a change.
const CONTEXT: usize = 3;
/// Products of lengths above this are not compared line by line: the whole middle is shown as replaced.
const MOST_CELLS: usize = 4_000_000;

#[derive(Clone, Copy, PartialEq, Eq)]
enum Change {
    Same,
    Old,
    New,
}

/// The changes from `old` to `new`: lines with ` `, `-` and `+` under headings `@@ -line,count +line,count @@`, three
/// unchanged lines around each change. Empty when the texts are equal.
///
/// Control characters are escaped, so that a line end of another system shows as `\r` and no terminal obeys the text.
pub fn diff(old: &str, new: &str) -> String {
    let (old, new) = (lines(old), lines(new));
    let script = script(&old, &new);
    let mut text = String::new();
    let mut at = 0;
    while let Some(first) = script.iter().skip(at).position(|(change, _)| *change != Change::Same) {
        let first = at + first;
        let mut end = first;
        let mut quiet = 0;
        for (index, (change, _)) in script.iter().enumerate().skip(first) {
            if *change == Change::Same {
                quiet += 1;
                if quiet > 2 * CONTEXT {
                    break;
                }
            } else {
                quiet = 0;
                end = index + 1;
            }
        }
        let from = first.saturating_sub(CONTEXT).max(at);
        let to = (end + CONTEXT).min(script.len());
        text.push_str(&heading(&script, from, to));
        for (change, line) in script.iter().take(to).skip(from) {
            text.push(match change {
                Change::Same => ' ',
                Change::Old => '-',
                Change::New => '+',
            });
            text.push_str(&visible(line));
            text.push('\n');
            if !line.ends_with('\n') {
                text.push_str("\\ no line end at the end of the file\n");
            }
        }
        at = to;
    }
    text
}

/// Lines with their line ends.
fn lines(text: &str) -> Vec<&str> {
    text.split_inclusive('\n').collect()
}

fn visible(line: &str) -> String {
    let line = line.strip_suffix('\n').unwrap_or(line);
    let mut shown = String::with_capacity(line.len());
    for character in line.chars() {
        if character.is_control() && character != '\t' {
            shown.extend(character.escape_default());
        } else {
            shown.push(character);
        }
    }
    shown
}

fn heading(script: &[(Change, &str)], from: usize, to: usize) -> String {
    let count = |range: core::ops::Range<usize>, without: Change| {
        script.iter().take(range.end).skip(range.start).filter(|(change, _)| *change != without).count()
    };
    let part = |without: Change| {
        let (before, inside) = (count(0..from, without), count(from..to, without));
        let first = if inside == 0 { before } else { before + 1 };
        format!("{first},{inside}")
    };
    format!("@@ -{} +{} @@\n", part(Change::New), part(Change::Old))
}

/// The shortest way from one text to the other by the longest common subsequence of lines.
fn script<'a>(old: &[&'a str], new: &[&'a str]) -> Vec<(Change, &'a str)> {
    let head = old.iter().zip(new).take_while(|(one, other)| one == other).count();
    let most_tail = old.len().min(new.len()) - head;
    let tail = old
        .iter()
        .rev()
        .zip(new.iter().rev())
        .take(most_tail)
        .take_while(|(one, other)| one == other)
        .count();
    let middle = |text: &[&'a str]| -> Vec<&'a str> {
        text.iter().copied().take(text.len() - tail).skip(head).collect()
    };
    let mut result: Vec<(Change, &str)> = old.iter().take(head).map(|line| (Change::Same, *line)).collect();
    result.extend(compared(&middle(old), &middle(new)));
    result.extend(old.iter().skip(old.len() - tail).map(|line| (Change::Same, *line)));
    result
}

fn compared<'a>(old: &[&'a str], new: &[&'a str]) -> Vec<(Change, &'a str)> {
    let replaced = || {
        let gone = old.iter().map(|line| (Change::Old, *line));
        gone.chain(new.iter().map(|line| (Change::New, *line))).collect()
    };
    if old.is_empty() || new.is_empty() || old.len().saturating_mul(new.len()) > MOST_CELLS {
        return replaced();
    }
    // common[i][j]: common lines of what follows line i of the old and line j of the new text.
    let mut common = vec![vec![0_u32; new.len() + 1]];
    for old_line in old.iter().rev() {
        let below = common.last().cloned().unwrap_or_default();
        let mut row = vec![0_u32];
        for ((new_line, diagonal), under) in
            new.iter().rev().zip(below.iter().skip(1).rev()).zip(below.iter().rev().skip(1))
        {
            let right = row.last().copied().unwrap_or_default();
            row.push(if old_line == new_line { diagonal + 1 } else { right.max(*under) });
        }
        row.reverse();
        common.push(row);
    }
    common.reverse();
    let cell = |i: usize, j: usize| common.get(i).and_then(|row| row.get(j)).copied().unwrap_or_default();

    let mut result = Vec::with_capacity(old.len() + new.len());
    let (mut i, mut j) = (0, 0);
    loop {
        match (old.get(i), new.get(j)) {
            (Some(one), Some(other)) if one == other => {
                result.push((Change::Same, *one));
                (i, j) = (i + 1, j + 1);
            }
            (Some(one), other) if other.is_none() || cell(i + 1, j) >= cell(i, j + 1) => {
                result.push((Change::Old, *one));
                i += 1;
            }
            (_, Some(other)) => {
                result.push((Change::New, *other));
                j += 1;
            }
            (_, None) => return result,
        }
    }
}
