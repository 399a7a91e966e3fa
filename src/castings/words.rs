//! Closed lists of words: the word a person reads for each of an enumeration.

/// Gives a field-less enum its words, and prints it as its word.
macro_rules! words {
    ($name:ident { $($variant:ident = $word:literal;)+ }) => {
        impl $name {
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
    use crate::units::Code;

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
