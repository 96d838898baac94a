//! Page values, templates and charts: values in, HTML, SVG and PNG out. No router, no database, no clock.

pub mod assets;
pub mod charts;
pub mod format;
pub mod logs;
pub mod marks;
pub mod pages;
pub mod paths;
pub mod told;
