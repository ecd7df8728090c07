//! Board maps: YAML as typed → checked → the model that the ranking works on.

pub mod raw;
