//! `flattop serve` over real sockets: `client` starts it and speaks HTTP as a browser would, or as no browser would.

mod attacks;
mod bench;
mod client;
mod contract;
mod live;
mod practice;
mod results;
mod speed;
