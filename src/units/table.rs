//! Tables as people paste or send them: cells between tabs, commas or semicolons, in quotes where they must be (RFC 4180).

/// Reads a table, one row a line; empty lines are left out. The separator is the one that the first line with anything in it has most of: a tab as
/// a spreadsheet copies, a comma or a semicolon as it saves.
///
/// ```
/// use borewright::units::table::rows;
/// let pasted = "Name\tPhone\nHale Boats\t01304 555010\n";
/// assert_eq!(rows(pasted), [["Name", "Phone"], ["Hale Boats", "01304 555010"]]);
/// let saved = "Name;Note\r\n\"Hale; and \"\"Son\"\"\";\"two\nlines\"";
/// assert_eq!(rows(saved), [["Name", "Note"], ["Hale; and \"Son\"", "two\nlines"]]);
/// ```
#[must_use]
pub fn rows(text: &str) -> Vec<Vec<String>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().find(|line| !line.trim().is_empty());
    let first = first.unwrap_or_default();
    let separator = ['\t', ',', ';']
        .into_iter()
        .rev()
        .max_by_key(|separator| first.matches(*separator).count())
        .unwrap_or(',');
    let mut rows = Vec::new();
    let mut row = Vec::new();
    let mut cell = String::new();
    let mut quoted = false;
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => {
                cell.push('"');
                chars.next();
            }
            '"' if quoted => quoted = false,
            '"' if cell.is_empty() => quoted = true,
            '\r' if !quoted => {}
            '\n' if !quoted => {
                row.push(std::mem::take(&mut cell));
                end(&mut rows, &mut row);
            }
            c if c == separator && !quoted => row.push(std::mem::take(&mut cell)),
            c => cell.push(c),
        }
    }
    row.push(cell);
    end(&mut rows, &mut row);
    rows
}

/// Ends a row, unless nothing stands in it.
fn end(rows: &mut Vec<Vec<String>>, row: &mut Vec<String>) {
    let row: Vec<String> = row.drain(..).map(|cell| cell.trim().to_owned()).collect();
    if row.iter().any(|cell| !cell.is_empty()) {
        rows.push(row);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_quite_a_table_still_reads() {
        assert!(rows("").is_empty());
        assert!(rows("\n , ,\n").is_empty());
        assert_eq!(rows("a,b\n1"), [vec!["a", "b"], vec!["1"]]);
        assert_eq!(rows("\u{feff}a,\"b"), [["a", "b"]]);
        assert_eq!(rows("12\" bore,b"), [["12\" bore", "b"]]);
        assert_eq!(rows("a;\"b \"\"c\"\"; d\""), [["a", "b \"c\"; d"]]);
    }
}
