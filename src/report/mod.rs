//! What leaves the program on paper or as a picture.

pub mod chart;
