//! The technician's pages.
