//! All tests of the domain in one program, so that they share the processor's cores.

mod air;
mod bay;
mod bench;
mod common;
mod desk;
mod drift;
mod ground;
mod judge;
mod model;
mod muster;
mod names;
mod proving;
mod quantity;
mod record;
mod shift;
mod sticky;
mod tally;
mod theorem;
mod totality;
mod upkeep;
