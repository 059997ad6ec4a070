//! What leaves the program on paper, as a picture, or in the format of an open standard.

pub mod calendar;
pub mod chart;
pub mod qr;
