//! The program from outside: every test runs the real binary on files made here.
//!
//! `signals` makes captures from closed forms, `bench` runs the program in a folder of its own; the others are tests.

#![allow(clippy::unwrap_used)] // a test that cannot go on should stop where it stands

mod assess;
mod bench;
mod budget;
mod characterise;
mod compatibility;
mod correct;
mod demo;
mod dialogue;
mod drawings;
mod logbook;
mod measure;
mod pair;
mod plan_ids;
mod practise;
mod predict;
mod reach;
mod readings;
mod register;
mod report;
mod serve;
mod several;
mod signals;
mod trim;
mod usage;
