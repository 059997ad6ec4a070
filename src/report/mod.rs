//! What leaves the program in the format of an open standard.

pub mod calendar;
