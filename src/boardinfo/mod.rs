//! What a technician wants to know of a board: which one it is ([`find`]), and a page to lay on the bench ([`show`]).

pub mod effect;
pub mod find;
pub mod page;
pub mod show;
pub mod typenumber;
