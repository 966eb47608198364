//! Any bytes as a table of plants, as a dump of a book, or as a book's file; the first byte says which.
#![no_main]

use std::fs;
use std::path::Path;
use variegauge::book::{Book, table};
use variegauge::error::Error;
use variegauge::report::stock;

/// A book in memory.
fn empty() -> Book {
    Book::open_or_make(Path::new(":memory:")).expect("memory")
}

/// What is read of a table is the same after it was written.
fn import(bytes: &[u8]) {
    let Ok(plants) = table::plants(bytes) else { return };
    let mut book = empty();
    if book.add_missing(&plants).is_ok() {
        let mut written = Vec::new();
        stock::plants_csv(&book.list(true).expect("memory"), &mut written).expect("memory");
        let came = book.add_missing(&table::plants(&written).expect("our own table")).expect("the same plants");
        assert_eq!((came.added, came.differ), (0, 0), "{}", String::from_utf8_lossy(&written));
    }
}

/// A dump that is taken is that of a sound book, and comes out as it came in.
fn load(bytes: &[u8]) {
    let Ok(dump) = serde_json::from_slice(bytes) else { return };
    let (mut book, mut copy) = (empty(), empty());
    if book.load(&dump).is_ok() {
        assert_eq!(book.check().expect("memory"), [""; 0]);
        copy.load(&book.dump().expect("memory")).expect("our own dump");
        assert_eq!(copy.dump().expect("memory"), book.dump().expect("memory"));
        use_all(&book);
    }
}

fn use_all(book: &Book) {
    let plants = book.list(true).unwrap_or_default();
    for plant in plants.iter().take(3) {
        let _ = (book.history(&plant.plant.number), book.descendants(&plant.plant.number));
    }
    let _ = (book.check(), book.dump(), book.size(), book.all_readings(), book.without_plant());
}

/// What is no book stays as it is.
fn open(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("book.sqlite");
    fs::write(&path, bytes).expect("room");
    match Book::open(&path) {
        Ok(book) => use_all(&book),
        Err(Error::Entry(_)) => assert!(fs::read(&path).is_ok_and(|now| now == bytes)),
        Err(_) => {}
    }
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    match bytes.split_first() {
        Some((which, rest)) => [import, load, open][usize::from(which % 3)](rest),
        None => {}
    }
});
