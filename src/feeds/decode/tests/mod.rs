//! Decoders from bytes to raw offers. Ids in comments such as F05 name rows of the project's list
//! of inputs that the program meets.

mod additional;
mod csv;
mod guess;
mod html;
mod json;
mod layers;
mod measure;
mod properties;
mod settings;
mod schema_org;
mod standards;
mod structured;
mod support;
mod xml;
