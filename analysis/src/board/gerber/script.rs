//! A file's commands, one a line, as the crate can read them.
//!
//! The crate wants each command on a line of its own, takes a plus sign for the end of a number, and panics on
//! letters beyond ASCII, on short attributes and on numbers that are too long. So commands are taken apart here,
//! those that say nothing of outline or parts are left out, and the rest is checked for what the crate trusts.

use super::GerberError;

/// More commands than this are no outline and no list of parts (own choice; no source).
const MOST_COMMANDS: usize = 400_000;
/// Digits of a coordinate: six before and six after the decimal point at most.
const MOST_DIGITS: usize = 12;
/// The attributes that say something of a part.
const PART_ATTRIBUTES: [&str; 5] = [".C", ".CRot", ".CVal", ".CFtp", ".CPgN"];
/// The attribute that says what an aperture draws.
pub(super) const APERTURE_FUNCTION: &str = ".AperFunction";

/// What the crate gets to read.
pub(super) struct Script {
    /// One command a line.
    pub(super) text: String,
    /// The line of the file that each came from, from 1.
    pub(super) lines: Vec<u64>,
    /// Lines whose command is not understood.
    pub(super) odd: Vec<u64>,
    /// Whether the file's end is stated.
    pub(super) ended: bool,
}

/// A command as it stands in the file, without its `*`.
struct Word {
    line: u64,
    /// Whether it stands between percent signs, or is an attribute in a comment.
    extended: bool,
    text: String,
}

/// What becomes of a command.
enum Fate {
    Passed(String),
    LeftOut,
    Odd,
    Unsupported(&'static str),
    End,
}

/// Whether a text looks like a Gerber file: it states its number format or its layer.
#[must_use]
pub fn is_gerber(text: &str) -> bool {
    words(text).take(400).any(|word| {
        let states = |start| word.text.starts_with(start);
        word.extended && (states("FSL") || states("FST") || states("TF.FileFunction"))
    })
}

/// The fields of the file function, with commas between; `None` where none is stated.
pub(super) fn file_function(text: &str) -> Option<String> {
    words(text).find_map(|word| {
        let fields = word.text.strip_prefix("TF.FileFunction,").filter(|_| word.extended)?;
        Some(fields.trim().to_owned())
    })
}

/// The commands of a file that tell of outline or parts.
pub(super) fn read(file_name: &str, text: &str) -> Result<Script, GerberError> {
    let mut script = Script { text: String::new(), lines: Vec::new(), odd: Vec::new(), ended: false };
    for word in words(text) {
        match fate(&word) {
            Fate::Passed(command) => {
                if script.lines.len() == MOST_COMMANDS {
                    let file_name = file_name.to_owned();
                    return Err(GerberError::TooLong { file_name, allowed: MOST_COMMANDS });
                }
                script.text.push_str(&command);
                script.text.push('\n');
                script.lines.push(word.line);
            }
            Fate::LeftOut => {}
            Fate::Odd => script.odd.push(word.line),
            Fate::Unsupported(what) => {
                let file_name = file_name.to_owned();
                return Err(GerberError::Unsupported { file_name, line: word.line, what });
            }
            Fate::End => {
                script.ended = true;
                break;
            }
        }
    }
    script.text.push_str("M02*\n");
    Ok(script)
}

/// The commands of a file. Lines may be broken anywhere between them.
fn words(text: &str) -> impl Iterator<Item = Word> {
    let mut letters = text.chars();
    let (mut line, mut extended) = (1, false);
    std::iter::from_fn(move || {
        let mut word = Word { line, extended, text: String::new() };
        loop {
            match letters.next()? {
                '*' => {
                    word.text.truncate(word.text.trim_end().len());
                    return Some(as_attribute(word));
                }
                // A comment may hold a percent sign.
                '%' if extended || !word.text.starts_with("G04") => {
                    extended = !extended;
                    word = Word { line, extended, text: String::new() };
                }
                '\n' => line += 1,
                '\r' => {}
                letter if word.text.is_empty() && letter.is_whitespace() => {}
                letter => {
                    if word.text.is_empty() {
                        word.line = line;
                    }
                    word.text.push(letter);
                }
            }
        }
    })
}

/// A comment that holds an attribute is that attribute (5.1.1).
fn as_attribute(word: Word) -> Word {
    let comment = word.text.strip_prefix("G04").filter(|_| !word.extended);
    match comment.and_then(|comment| comment.trim_start().strip_prefix("#@!")) {
        Some(attribute) => Word { text: attribute.trim().to_owned(), extended: true, ..word },
        None => word,
    }
}

fn fate(word: &Word) -> Fate {
    if word.extended { extended(&word.text) } else { plain(&word.text) }
}

fn extended(text: &str) -> Fate {
    let passed = || Fate::Passed(format!("%{}*%", escaped(text)));
    let attribute = |fields: &str| fields.split(',').next().unwrap_or_default().trim().to_owned();
    let known = |name: &str| name == APERTURE_FUNCTION || PART_ATTRIBUTES.contains(&name);
    match (text.get(..2).unwrap_or_default(), text.get(2..).unwrap_or_default()) {
        ("MO", _) => passed(),
        ("AD", _) => passed(),
        ("FS", format) if is_format(format) => passed(),
        ("FS", _) => Fate::Unsupported("this number format"),
        ("TA", fields) if attribute(fields) == APERTURE_FUNCTION => passed(),
        ("TO", fields) if PART_ATTRIBUTES.contains(&attribute(fields).as_str()) => passed(),
        ("TD", "") => passed(),
        ("TD", name) if known(name) => passed(),
        ("SR", "" | "X1Y1I0J0" | "X1Y1I0.0J0.0") | ("IR", "0") => Fate::LeftOut,
        ("SR", _) => Fate::Unsupported("a panel of several boards (step and repeat)"),
        ("AB", _) => Fate::Unsupported("an aperture made of other objects (AB)"),
        ("AS", axes) if axes != "AXBY" => Fate::Unsupported("an exchange of the axes (AS)"),
        ("MI", mirror) if mirror.contains('1') => Fate::Unsupported("a mirrored image (MI)"),
        ("OF" | "SF" | "IR", _) if !is_neutral(text) => {
            Fate::Unsupported("a shifted, scaled or turned image")
        }
        _ => Fate::LeftOut,
    }
}

/// Leading or trailing zeros left out, absolute places, and as many digits as the standard allows.
fn is_format(format: &str) -> bool {
    let digit = |letter: u8| (b'1'..=b'6').contains(&letter);
    match format.as_bytes() {
        [b'L' | b'T', b'A', b'X', whole, part, b'Y', other_whole, other_part] => {
            digit(*whole) && digit(*part) && whole == other_whole && part == other_part
        }
        _ => false,
    }
}

/// Offsets of 0 and scales of 1 change nothing.
fn is_neutral(text: &str) -> bool {
    let neutral = if text.starts_with("SF") { 1.0 } else { 0.0 };
    let numbers = text.get(2..).unwrap_or_default().split(['A', 'B']).filter(|number| !number.is_empty());
    numbers.map(str::parse::<f64>).all(|number| number.is_ok_and(|number| number == neutral))
}

fn plain(text: &str) -> Fate {
    match text.get(..3).unwrap_or(text) {
        "" | "G04" | "G70" | "G71" | "G90" => return Fate::LeftOut,
        "G91" => return Fate::Unsupported("a file in incremental coordinates"),
        "M00" | "M01" | "M02" | "M30" => return Fate::End,
        _ => {}
    }
    let digits = text.split(|letter: char| !letter.is_ascii_digit()).map(str::len).max();
    let known = text.bytes().all(|letter| b"GDXYIJ+-0123456789".contains(&letter));
    if !known || digits.is_none_or(|digits| digits > MOST_DIGITS) {
        return Fate::Odd;
    }
    let text = text.replace('+', "");
    Fate::Passed(match text.as_bytes() {
        // The crate knows these with their leading zero only.
        [b'G', digit @ b'1'..=b'3', rest @ ..] if !rest.first().is_some_and(u8::is_ascii_digit) => {
            format!("G0{}{}*", char::from(*digit), text.get(2..).unwrap_or_default())
        }
        // It knows no operation that begins with an arc's centre.
        [b'I' | b'J', ..] => format!("X{text}*"),
        _ => format!("{text}*"),
    })
}

/// Letters beyond ASCII as the standard writes them, `\u` and four digits, which [`unescaped`] turns back.
fn escaped(text: &str) -> String {
    let mut units = [0; 2];
    text.chars()
        .map(|letter| match letter {
            ' '..='~' => letter.to_string(),
            _ => letter.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04X}")).collect(),
        })
        .collect()
}

/// The text that an attribute's field stands for.
pub(super) fn unescaped(field: &str) -> String {
    let mut units: Vec<u16> = Vec::with_capacity(field.len());
    let mut rest = field;
    while let Some(letter) = rest.chars().next() {
        let code = rest.strip_prefix("\\u").and_then(|rest| rest.get(..4));
        let unit = code.and_then(|code| u16::from_str_radix(code, 16).ok());
        let taken = match unit {
            Some(unit) => {
                units.push(unit);
                "\\uXXXX".len()
            }
            None => {
                units.extend(letter.encode_utf16(&mut [0; 2]).iter());
                letter.len_utf8()
            }
        };
        rest = rest.get(taken..).unwrap_or_default();
    }
    String::from_utf16_lossy(&units).trim().to_owned()
}
