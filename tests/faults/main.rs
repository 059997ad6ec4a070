//! Tablets, a network that breaks, and a server that is killed: what must hold of the way from an
//! outbox to the logbook.

#[cfg(test)]
mod answers;
#[cfg(test)]
mod at_once;
#[cfg(test)]
mod campaign;
#[cfg(test)]
mod history;
#[cfg(test)]
mod line;
#[cfg(test)]
mod mutants;
#[cfg(test)]
mod site;
#[cfg(test)]
mod tablet;
#[cfg(test)]
mod written;
