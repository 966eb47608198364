//! Stage: report.
