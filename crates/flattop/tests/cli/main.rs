//! The program from outside: every test runs the real binary on files made here.
//!
//! `signals` makes captures from closed forms, `bench` runs the program in a folder of its own; the others are tests.

#![allow(clippy::unwrap_used)] // a test that cannot go on should stop where it stands

mod assess;
mod bench;
mod compatibility;
mod demo;
mod drawings;
mod logbook;
mod pair;
mod predict;
mod reach;
mod readings;
mod register;
mod several;
mod signals;
mod usage;
