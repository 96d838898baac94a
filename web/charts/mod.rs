//! Charts as SVG, for pages, print and video: values in, a picture out, byte for byte the same each time.
//!
//! Colours stand as presentation attributes from a [`Theme`], so that an exported picture needs no style sheet and a
//! strict content policy is met; classes beside them let a page's style sheet put its own colours over them.

mod amounts;
mod bars;
mod canvas;
mod caption;
mod distribution;
mod plane;
pub mod png;
mod ratios;
pub mod samples;
mod scale;
mod sheet;
mod strip;
mod table;
mod text;
mod theme;

pub use amounts::{Amount, Amounts};
pub use bars::{Bar, BarGroup, Bars};
pub use caption::Caption;
pub use distribution::{Distribution, Histogram};
pub use plane::{Place, Plane, Series, Spot};
pub use ratios::{Overall, Ratio, RatioRow, Ratios};
pub use sheet::{Drawn, Picture, Shape, Sheet};
pub use strip::{Column, Lane, Span, SpanKind, Strip};
pub use table::{Block, Entry, Stands, Table, TableColumn};
pub use theme::{Colour, Theme};

#[cfg(test)]
pub(crate) mod check;
