//! What leaves the program as a picture, or in the format of an open standard.

pub mod calendar;
pub mod chart;
