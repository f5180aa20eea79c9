//! The plane the ring lies in.
