//! Identifiers as types of their own, so that a part's id is never taken for a retailer's.

/// Declares a text identifier with its constructor, accessor, display and serde form. Copies of one
/// share their text: a part is named in the catalogue, in the matcher and in each of its offers.
macro_rules! text_id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(std::sync::Arc<str>);

        impl $name {
            pub fn new(id: impl AsRef<str>) -> $name {
                $name(id.as_ref().into())
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

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                to.serialize_str(&self.0)
            }
        }

        impl<'d> serde::Deserialize<'d> for $name {
            fn deserialize<D: serde::Deserializer<'d>>(from: D) -> Result<$name, D::Error> {
                <String as serde::Deserialize>::deserialize(from).map($name::new)
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
