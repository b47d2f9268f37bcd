//! Identifiers as types of their own, so that a part's id is never taken for a retailer's.

/// Declares a text identifier with its constructor, accessor, display and serde form.
macro_rules! text_id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            pub fn new(id: impl Into<String>) -> $name {
                $name(id.into())
            }

            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(&self.0)
            }
        }
    };
}
pub(crate) use text_id;

text_id!(
    /// A part's id in the catalogue.
    PartId
);
text_id!(
    /// A workload's id in the catalogue.
    WorkloadId
);
