//! The page: the whole day of a bench on one screen, served to this machine and, where told, to the room.
//!
//! [`serve`] runs until it is told to stop; [`start`] gives a running server to stop by hand. Every change goes through
//! [`arcmass_notebook::edit`]; every number comes from `arcmass-lab` and `arcmass-report`.

mod answer;
mod assets;
mod frame;
mod guard;
mod hub;
mod keys;
mod long;
mod own;
mod pages;
mod server;
mod state;
mod undo;
mod work;

pub use server::{Running, ServeError, ServeOptions, serve, start};
