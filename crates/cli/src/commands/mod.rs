//! One file a command: read the notebook, do the job, show what came out.

pub(crate) mod check;
pub(crate) mod class;
pub(crate) mod combine;
pub(crate) mod demo;
pub(crate) mod field;
pub(crate) mod form;
pub(crate) mod manual;
pub(crate) mod new;
pub(crate) mod path;
pub(crate) mod plan;
pub(crate) mod reduce;
pub(crate) mod report;
pub(crate) mod rings;
pub(crate) mod serve;
