//! A table as a spreadsheet saves it: CSV with commas, semicolons or tabs, with or without a byte
//! order mark, with any end of line.

use std::collections::BTreeMap;
use std::fmt;

use super::columns::{Column, Template};

/// The largest file read, in bytes: some 100,000 rows.
const LARGEST: usize = 8 * 1024 * 1024;
/// Rows of one file at most.
const MOST_ROWS: usize = 50_000;
/// Bytes of one cell at most.
const LONGEST_CELL: usize = 500;
/// Problems told of one file at most; the rest is counted.
const MOST_PROBLEMS: usize = 200;

/// Something to put right before a file can be taken in.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// The file.
    pub file: String,
    /// The row as a spreadsheet numbers it, from 1; 0 where it is about the whole file.
    pub row: u64,
    /// The column's heading; empty where it is about the row.
    pub column: String,
    /// What is wrong and what to do.
    pub say: String,
}

impl Problem {
    /// Where it is: the file, and the row and the column if it is about one.
    pub fn place(&self) -> String {
        let row = (self.row > 0).then(|| format!("row {}", self.row));
        let column = Some(self.column.clone()).filter(|c| !c.is_empty());
        let parts: Vec<String> = [Some(self.file.clone()), row, column].into_iter().flatten().collect();
        parts.join(", ")
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place(), self.say)
    }
}

/// The problems of one file, up to a number that a person can still read.
#[derive(Debug)]
pub struct Problems {
    file: String,
    told: Vec<Problem>,
    more: usize,
}

impl Problems {
    pub fn of(file: &str) -> Self {
        Self { file: file.to_owned(), told: Vec::new(), more: 0 }
    }

    pub fn tell(&mut self, row: u64, column: &str, say: impl Into<String>) {
        if self.told.len() == MOST_PROBLEMS {
            self.more += 1;
            return;
        }
        let (file, column) = (self.file.clone(), column.to_owned());
        self.told.push(Problem { file, row, column, say: say.into() });
    }

    pub fn finish(mut self) -> Vec<Problem> {
        if self.more > 0 {
            let say = format!("and {} more like these; put right the first ones, then try again", self.more);
            self.told.push(Problem { file: self.file, row: 0, column: String::new(), say });
        }
        self.told
    }
}

/// A row that has something in it: its cells by the template's column names.
#[derive(Debug)]
pub struct Row {
    /// As a spreadsheet numbers it.
    pub number: u64,
    cells: BTreeMap<&'static str, String>,
    /// Cells of columns that begin with a family's name, by the rest of the heading.
    family: BTreeMap<String, String>,
}

impl Row {
    /// What is in a column; empty where nothing is.
    pub fn cell(&self, column: &str) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }

    /// What is in the columns of the template's family, where something is.
    pub fn family(&self) -> &BTreeMap<String, String> {
        &self.family
    }
}

enum Heading {
    Named(&'static Column),
    Family(String),
    Empty,
    Unknown,
}

/// Reads a file by its template. Every problem is told; rows with a problem are left out.
pub fn read(template: &Template, bytes: &[u8], problems: &mut Problems) -> Vec<Row> {
    let text = match text_of(bytes) {
        Ok(text) => text,
        Err(say) => {
            problems.tell(0, "", say);
            return Vec::new();
        }
    };
    let (separator, skipped, text) = separator_of(&text);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let mut headings: Option<Vec<Heading>> = None;
    let mut rows = Vec::new();
    // Lines within quotes are one row to a spreadsheet.
    let (mut within, mut lines, mut counted) = (0, 0, 0);
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(e) => {
                problems.tell(0, "", format!("it cannot be read ({e}); save it as CSV again"));
                return Vec::new();
            }
        };
        let from = record.position().map_or(0, |p| usize::try_from(p.byte()).unwrap_or(0));
        // Empty lines before a row are counted to it by the reader, and are rows to a spreadsheet.
        let empty = text[from..].bytes().take_while(|b| matches!(b, b'\r' | b'\n')).count();
        lines += lines_in(&text[counted..from + empty]);
        counted = from + empty;
        let number = (1 + skipped + lines).saturating_sub(within);
        within += record.iter().map(lines_in).sum::<u64>();
        if record.iter().all(|c| c.trim().is_empty()) {
            continue;
        }
        let Some(known) = &headings else {
            match headings_of(template, &record, number, problems) {
                Some(read) => headings = Some(read),
                None => return Vec::new(),
            }
            continue;
        };
        if rows.len() == MOST_ROWS {
            problems.tell(number, "", format!("a file has at most {MOST_ROWS} rows; split it"));
            return Vec::new();
        }
        rows.extend(row_of(known, &record, number, problems));
    }
    if headings.is_none() {
        problems.tell(
            0,
            "",
            format!("it is empty; its first row names the columns: {}", template.headings()),
        );
    }
    rows
}

/// How many lines end in a text, whatever they end with.
fn lines_in(text: &str) -> u64 {
    let ends = text.matches('\n').count() + text.matches('\r').count() - text.matches("\r\n").count();
    u64::try_from(ends).unwrap_or(u64::MAX)
}

fn text_of(bytes: &[u8]) -> Result<String, String> {
    if bytes.len() > LARGEST {
        return Err(format!("it is larger than {} MB; split it", LARGEST / 1024 / 1024));
    }
    let wide = |swap: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = bytes[2..].chunks(2).map(|c| swap([c[0], *c.get(1).unwrap_or(&0)])).collect();
        String::from_utf16(&units)
            .map_err(|_| "its letters cannot be read; save it as “CSV UTF-8”".to_owned())
    };
    match bytes {
        [0xff, 0xfe, ..] => return wide(u16::from_le_bytes),
        [0xfe, 0xff, ..] => return wide(u16::from_be_bytes),
        [b'P', b'K', 3, 4, ..] => {
            return Err("it is a spreadsheet and not a CSV file; save it as “CSV UTF-8”".to_owned());
        }
        _ => {}
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_owned()),
        Err(e) => {
            let line = bytes[..e.valid_up_to()].split(|b| *b == b'\n').count();
            Err(format!("row {line} has letters that cannot be read; save it as “CSV UTF-8”"))
        }
    }
}

/// The separator that the first line is written with, how many lines come before the headings,
/// and the text from there on. `sep=;` before the headings is a spreadsheet's own way to say it.
fn separator_of(text: &str) -> (u8, u64, &str) {
    let (first, rest) = text.split_once('\n').unwrap_or((text, ""));
    let said = first.trim_end_matches('\r').strip_prefix("sep=").map(str::as_bytes);
    if let Some([separator @ (b',' | b';' | b'\t')]) = said {
        return (*separator, 1, rest);
    }
    let most = [b',', b';', b'\t'].into_iter().max_by_key(|s| {
        // The first of several with the same count: max_by_key takes the last.
        (first.bytes().filter(|b| b == s).count(), *s == b',')
    });
    (most.unwrap_or(b','), 0, text)
}

/// Headings are the same whatever their case and whether words are parted by spaces or signs.
fn plain(heading: &str) -> String {
    let apart = heading.trim().to_lowercase().replace(['_', '-'], " ");
    apart.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn headings_of(
    template: &Template,
    record: &csv::StringRecord,
    number: u64,
    problems: &mut Problems,
) -> Option<Vec<Heading>> {
    let mut out: Vec<Heading> = Vec::new();
    let mut good = true;
    for cell in record {
        let name = plain(unguarded(cell));
        let heading = if name.is_empty() {
            Heading::Empty
        } else if let Some(column) = template.columns.iter().find(|c| c.name == name) {
            Heading::Named(column)
        } else if let Some(rest) = template.family.and_then(|f| name.strip_prefix(f)).map(str::trim)
            && !rest.is_empty()
            && rest.len() <= 40
        {
            Heading::Family(rest.to_owned())
        } else {
            let say = format!("this column is not known; the columns are: {}", template.headings());
            problems.tell(number, &short(cell), say);
            good = false;
            Heading::Unknown
        };
        let twice = out.iter().any(|h| match (h, &heading) {
            (Heading::Named(a), Heading::Named(b)) => a.name == b.name,
            (Heading::Family(a), Heading::Family(b)) => a == b,
            _ => false,
        });
        if twice {
            problems.tell(number, &name, "this column is there twice; leave one of them");
            good = false;
        }
        out.push(heading);
    }
    for column in template.columns.iter().filter(|c| c.required) {
        if !out.iter().any(|h| matches!(h, Heading::Named(c) if c.name == column.name)) {
            problems.tell(number, column.name, "this column is missing; add it");
            good = false;
        }
    }
    good.then_some(out)
}

fn row_of(
    headings: &[Heading],
    record: &csv::StringRecord,
    number: u64,
    problems: &mut Problems,
) -> Option<Row> {
    let mut row = Row { number, cells: BTreeMap::new(), family: BTreeMap::new() };
    let mut good = true;
    for (at, cell) in record.iter().enumerate() {
        let value = unguarded(cell.trim());
        if value.is_empty() {
            continue;
        }
        let name = match headings.get(at) {
            Some(Heading::Named(c)) => c.name,
            Some(Heading::Family(f)) => f,
            _ => {
                let say = format!(
                    "“{}” stands in a column without a heading; give it one, or take it out",
                    short(value)
                );
                problems.tell(number, "", say);
                good = false;
                continue;
            }
        };
        let wrong = if value.len() > LONGEST_CELL {
            Some(format!(
                "this is longer than {LONGEST_CELL} letters; is a quotation mark missing somewhere above?"
            ))
        } else if value.contains(char::is_control) {
            Some("this has a line break or a sign in it that nobody can see; type it again".to_owned())
        } else {
            None
        };
        if let Some(say) = wrong {
            problems.tell(number, name, say);
            good = false;
            continue;
        }
        match &headings[at] {
            Heading::Named(c) => drop(row.cells.insert(c.name, value.to_owned())),
            Heading::Family(f) => drop(row.family.insert(f.clone(), value.to_owned())),
            Heading::Empty | Heading::Unknown => {}
        }
    }
    for heading in headings {
        if let Heading::Named(c) = heading
            && c.required
            && row.cell(c.name).is_empty()
            && good
        {
            problems.tell(number, c.name, "this is empty; fill it in");
            good = false;
        }
    }
    good.then_some(row)
}

/// Text in a message, cut where it is long.
pub fn short(text: &str) -> String {
    let clean: String = text.chars().filter(|c| !c.is_control()).take(40).collect();
    if clean.len() < text.len() { format!("{clean}…") } else { clean }
}

/// Whether a spreadsheet would take a cell that begins so for a formula.
fn is_formula(cell: &str) -> bool {
    cell.starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// A cell that no spreadsheet takes for a formula: what begins like one gets an apostrophe before
/// it, as a person would type it (OWASP, "CSV Injection", from memory).
pub fn guarded(cell: &str) -> String {
    if is_formula(cell)
        || cell.strip_prefix('\'').is_some_and(|rest| is_formula(rest) || rest.starts_with('\''))
    {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// The cell without the apostrophe of [`guarded`].
fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if is_formula(rest) || rest.starts_with('\'') => rest,
        _ => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::super::columns::{CHECKS, STATIONS, UNITS};
    use super::*;

    fn cells(template: &Template, bytes: &[u8]) -> (Vec<Row>, Vec<Problem>) {
        let mut problems = Problems::of("file.csv");
        let rows = read(template, bytes, &mut problems);
        (rows, problems.finish())
    }

    #[test]
    fn a_spreadsheets_habits_all_read_the_same() {
        let plain = "id,name\nmill,Mühle\n";
        let wide: Vec<u8> = [0xff, 0xfe]
            .into_iter()
            .chain(plain.replace(',', "\t").encode_utf16().flat_map(u16::to_le_bytes))
            .collect();
        let files: [Vec<u8>; 7] = [
            plain.into(),
            format!("\u{feff}{}", plain.replace('\n', "\r\n")).into(),
            plain.replace(',', ";").into(),
            format!("sep=;\r\n{}", plain.replace(',', ";")).into(),
            plain.replace(',', "\t").into(),
            "\"ID\", Name ,,\n\nmill,\"Mühle\",,\n,,,\n".into(),
            wide,
        ];
        for file in files {
            let (rows, problems) = cells(&STATIONS, &file);
            assert!(problems.is_empty(), "{problems:?}");
            assert_eq!(rows.len(), 1);
            assert_eq!((rows[0].cell("id"), rows[0].cell("name")), ("mill", "Mühle"));
        }
    }

    #[test]
    fn rows_are_numbered_as_the_spreadsheet_numbers_them() {
        let (_, problems) = cells(&STATIONS, b"sep=,\nid,name\n\nmill,\"M\nill\"\nb,\n");
        let at: Vec<(u64, &str)> = problems.iter().map(|p| (p.row, p.column.as_str())).collect();
        assert_eq!(at, [(4, "name"), (5, "name")]);
    }

    #[test]
    fn what_is_wrong_with_headings_is_told_with_what_to_do() {
        let (rows, problems) = cells(&STATIONS, b"id,name,id,colour\nmill,Mill,x,red\n");
        assert!(rows.is_empty());
        let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert_eq!(
            told,
            [
                "file.csv, row 1, id: this column is there twice; leave one of them",
                "file.csv, row 1, colour: this column is not known; the columns are: id, name, order",
            ]
        );
        let (_, problems) = cells(&STATIONS, b"id\nmill\n");
        assert_eq!(problems[0].to_string(), "file.csv, row 1, name: this column is missing; add it");
        for (bytes, words) in [
            (&b""[..], "it is empty"),
            (b"PK\x03\x04rest", "not a CSV file"),
            (b"id,name\nm\xfchle,x\n", "row 2 has letters"),
        ] {
            let (_, problems) = cells(&STATIONS, bytes);
            assert!(problems[0].say.contains(words), "{problems:?}");
        }
    }

    #[test]
    fn serial_numbers_have_a_column_for_each_part() {
        let (rows, problems) =
            cells(&UNITS, b"number,profile,cadence,serial regulator,Serial_Reducer\n7,p,weekly,R-1,\n");
        assert!(problems.is_empty(), "{problems:?}");
        assert_eq!(rows[0].family(), &BTreeMap::from([("regulator".to_owned(), "R-1".to_owned())]));
        let (_, problems) = cells(&CHECKS, b"unit,date,time,serial x\n");
        assert!(problems[0].say.contains("not known"));
    }

    #[test]
    fn no_cell_is_taken_for_a_formula_and_each_reads_back_as_it_was() {
        for cell in ["=1+1", "+1", "-2", "@x", "'=1", "''=1", "'", "O'Neil", "plain", "'plain"] {
            let written = guarded(cell);
            assert!(!is_formula(&written), "{written}");
            assert_eq!(unguarded(&written), cell);
        }
    }
}
