//! Label cards and pot labels as pages to print.
