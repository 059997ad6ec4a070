//! The officer's pages.
