//! The codes by which limbs, zones, planes and structures are called.
//!
//! Takes: text from the protocols, the grammar and the journal.
//! Gives: `LimbCode`, `ZoneCode`, `PlaneCode` and `StructureCode`, which cannot be taken for one another.
//! Never: a check of what a code means; `protocol` knows which there are.
//! Tested in: here.

use std::borrow::Borrow;
use std::fmt;
use std::ops::Deref;

use serde::{Deserialize, Serialize};

/// A type around text: in JSON it is the bare text.
macro_rules! code {
    ($(#[$about:meta])* $name:ident) => {
        $(#[$about])*
        #[derive(Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl $name {
            /// The code as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl Deref for $name {
            type Target = str;

            fn deref(&self) -> &str {
                &self.0
            }
        }

        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }

        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Debug::fmt(&self.0, f)
            }
        }

        impl From<&str> for $name {
            fn from(code: &str) -> $name {
                $name(code.to_owned())
            }
        }

        impl From<String> for $name {
            fn from(code: String) -> $name {
                $name(code)
            }
        }

        impl From<$name> for String {
            fn from(code: $name) -> String {
                code.0
            }
        }

        impl PartialEq<str> for $name {
            fn eq(&self, other: &str) -> bool {
                self.0 == other
            }
        }

        impl PartialEq<&str> for $name {
            fn eq(&self, other: &&str) -> bool {
                self.0 == *other
            }
        }

        impl PartialEq<$name> for str {
            fn eq(&self, other: &$name) -> bool {
                self == other.0
            }
        }

        impl PartialEq<$name> for &str {
            fn eq(&self, other: &$name) -> bool {
                *self == other.0
            }
        }
    };
}

code! {
    /// Code of a limb, such as `LF`.
    LimbCode
}
code! {
    /// Code of a zone, such as `2A`.
    ZoneCode
}
code! {
    /// Code of a plane, such as `T`.
    PlaneCode
}
code! {
    /// Code of a structure, such as `SDFT`; of a ratio, both with a colon between.
    StructureCode
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    #[test]
    fn a_code_is_bare_text_in_json_and_in_print() {
        let zone = ZoneCode::from("2A");
        assert_eq!(serde_json::to_string(&Some(&zone)).unwrap(), "\"2A\"");
        assert_eq!(serde_json::from_str::<ZoneCode>("\"2A\"").unwrap(), zone);
        assert_eq!((format!("[{zone:>4}]"), format!("{zone:?}")), ("[  2A]".to_owned(), "\"2A\"".to_owned()));
    }

    #[test]
    fn a_map_by_codes_is_asked_with_text() {
        let names = BTreeMap::from([(LimbCode::from("LF"), 1)]);
        assert_eq!((names.get("LF"), names.get("RF")), (Some(&1), None));
    }
}
