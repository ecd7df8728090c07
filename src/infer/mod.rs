//! From a network with readings to posteriors; knows nothing of boards.

pub mod network;
