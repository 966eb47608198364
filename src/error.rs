//! What stops a measurement. The text is what the grower reads; the command adds the file's name before it.

/// Why a photo (or an output) could not be handled.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The file cannot be opened or read.
    #[error("cannot be read: {0}")]
    Read(#[source] std::io::Error),
    /// The content is no photo format that we take.
    #[error("{0}")]
    Format(String),
    /// Larger than the stated limits; found from the header, before decoding.
    #[error("{0}")]
    Limit(String),
    /// Damaged or cut off: never graded.
    #[error("{0}")]
    Damaged(String),
    /// The photo is sound but cannot be measured: status `refused`, with the number and what to change.
    #[error("{0}")]
    Refused(String),
    /// The standard file is not right.
    #[error("{0}")]
    Standard(String),
    /// An output file cannot be written.
    #[error("cannot write {path}: {source}")]
    Write {
        /// The output.
        path: String,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// What an earlier run left cannot be read, or the file is of something else.
    #[error("cannot go on from {path}: {source}")]
    Earlier {
        /// The file.
        path: String,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The stock book is busy, damaged or none.
    #[error("the stock book {path} {reason}")]
    Book {
        /// The book.
        path: String,
        /// What is wrong and what to do.
        reason: String,
    },
    /// The stock book cannot do what it was asked; the text says why and what to do.
    #[error("{0}")]
    Entry(String),
}

/// Result of the library.
pub type Result<T> = std::result::Result<T, Error>;
