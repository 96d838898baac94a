//! The built program, run as a person or a script runs it.

mod measure;
