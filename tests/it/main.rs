//! Tries to break what must hold of the store, the way in, the desk and the command line. One
//! binary, so that the program is linked once.

#[cfg(test)]
mod air;
#[cfg(test)]
mod backup;
#[cfg(test)]
mod cli;
#[cfg(test)]
mod common;
#[cfg(test)]
mod desk;
#[cfg(test)]
mod disk;
#[cfg(test)]
mod exchange;
#[cfg(test)]
mod first;
#[cfg(test)]
mod gaps;
#[cfg(test)]
mod guides;
#[cfg(test)]
mod intake;
#[cfg(test)]
mod kept;
#[cfg(test)]
mod kill;
#[cfg(test)]
mod leaving;
#[cfg(test)]
mod notices;
#[cfg(test)]
mod old;
#[cfg(test)]
mod projection;
#[cfg(test)]
mod running;
#[cfg(test)]
mod seal;
#[cfg(test)]
mod store;
#[cfg(test)]
mod tamper;
#[cfg(test)]
mod tls;
#[cfg(test)]
mod trouble;
