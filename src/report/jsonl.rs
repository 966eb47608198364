//! JSON lines: one object a photo a line.

use crate::record::PhotoRecord;
use std::io::{Result, Write};

/// Writes one line and flushes it, so that a batch that is killed keeps what is done.
pub fn write(record: &PhotoRecord, out: &mut dyn Write) -> Result<()> {
    serde_json::to_writer(&mut *out, record)?;
    out.write_all(b"\n")?;
    out.flush()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::options::Options;
    use crate::record::Status;

    #[test]
    fn a_record_is_one_line_whatever_its_name() {
        let stop = (Status::Failed, "b\nc".to_owned());
        let record = PhotoRecord::stopped("a\nb\u{1b}.jpg", "a", stop, &Options::default());
        let mut out = Vec::new();
        write(&record, &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(text.matches('\n').count(), 1);
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(value["file"], "a\nb\u{1b}.jpg");
    }
}
