//! The pages, asked for in process: what they say, what they keep, and whom they let in.

#[cfg(test)]
mod air;
#[cfg(test)]
mod bar;
#[cfg(test)]
mod browser;
#[cfg(test)]
mod cadences;
mod clear;
#[cfg(test)]
mod codes;
#[cfg(test)]
mod correct;
#[cfg(test)]
mod countersign;
#[cfg(test)]
mod district;
#[cfg(test)]
mod hardening;
#[cfg(test)]
mod hostile;
#[cfg(test)]
mod kept;
#[cfg(test)]
mod loans;
#[cfg(test)]
mod morning;
mod moving;
#[cfg(test)]
mod officer;
#[cfg(test)]
mod parts;
#[cfg(test)]
mod past;
#[cfg(test)]
mod photos;
#[cfg(test)]
mod pins;
#[cfg(test)]
mod programs;
#[cfg(test)]
mod reading;
#[cfg(test)]
mod register;
#[cfg(test)]
mod repair;
#[cfg(test)]
mod rights;
#[cfg(test)]
mod rules;
mod settings;
mod shelf;
#[cfg(test)]
mod spares;
#[cfg(test)]
mod stolen;
#[cfg(test)]
mod tables;
#[cfg(test)]
mod tablets;
#[cfg(test)]
mod unit;
#[cfg(test)]
mod upkeep;
#[cfg(test)]
mod used;
#[cfg(test)]
mod watch;
