//! Charts as SVG: values in, a picture out.

pub mod samples;
