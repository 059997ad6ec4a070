//! The proxy from both of its sides.

#[cfg(test)]
mod modes;
#[cfg(test)]
mod program;
