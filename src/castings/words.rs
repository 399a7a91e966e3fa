//! Closed lists of words: a code for storage and forms, and the word a person reads.

/// Gives a field-less enum its list, its stored code (the same as its serde name) and its word.
macro_rules! words {
    ($name:ident { $($variant:ident = $code:literal, $word:literal;)+ }) => {
        impl $name {
            /// All of them, in the order screens list them.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The code it is stored and sent as; the same as in JSON.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code),+ }
            }

            /// The one with this code.
            #[must_use]
            pub fn from_code(code: &str) -> Option<Self> {
                match code { $($code => Some(Self::$variant),)+ _ => None }
            }

            /// The word a person reads.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}
pub(crate) use words;

#[cfg(test)]
mod tests {
    use crate::castings::{Action, Face, FeatureKind, When};

    /// Stored text, form values and JSON must be one and the same word.
    #[test]
    fn codes_are_the_json_names_and_read_back() {
        macro_rules! check {
            ($($name:ident),+) => {$(
                for one in $name::ALL {
                    assert_eq!(serde_json::to_value(one).unwrap(), one.code());
                    assert_eq!($name::from_code(one.code()), Some(*one));
                }
                assert_eq!($name::from_code("no such word"), None);
            )+};
        }
        check!(Action, Face, FeatureKind, When);
    }
}
