//! The guide: what readers see.
//!
//! [`view`] is what it says, [`render`] the forms it is published in, [`assembly`] how the parts are put
//! together, [`edition`] what was published. May not fetch, store or decide anything; of the crate it
//! uses the pure modules alone.

pub mod assembly;
pub mod edition;
pub mod render;
pub mod upgrades;
pub mod view;
