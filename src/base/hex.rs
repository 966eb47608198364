//! Bytes as text.

/// Bytes as lower-case hex.
pub fn hex(bytes: &[u8]) -> String {
    let digit = |value: u8| char::from(b"0123456789abcdef"[usize::from(value)]);
    bytes.iter().flat_map(|byte| [digit(byte >> 4), digit(byte & 15)]).collect()
}
