//! options.
