//! The camera's lens and pose.
