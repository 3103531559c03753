//! worker
