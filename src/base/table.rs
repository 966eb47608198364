//! Tables as spreadsheets save them: text, and what separates its cells.

/// What separates cells: spreadsheets write `;` where the comma is the decimal sign.
const SEPARATORS: [u8; 3] = [b',', b';', b'\t'];

/// The file as text, without the mark that spreadsheets put first.
///
/// # Errors
/// It is not UTF-8: the line, and what to do.
pub fn text(bytes: &[u8]) -> Result<&str, String> {
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = bytes[..error.valid_up_to()].split(|&byte| byte == b'\n').count();
        format!("line {line}: not UTF-8; save the table as \"CSV UTF-8\"")
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// The separator that the first line has most of.
pub fn separator(text: &str) -> u8 {
    let first = text.lines().next().unwrap_or_default();
    let count = |separator: u8| first.matches(char::from(separator)).count();
    SEPARATORS.into_iter().rev().max_by_key(|&separator| count(separator)).unwrap_or(b',')
}
