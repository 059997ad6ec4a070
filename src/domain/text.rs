//! What stands in records and tables as a text.

/// Serialises a type as the text that its `Display` writes and its `FromStr` reads.
macro_rules! as_text {
    ($t:ty) => {
        impl serde::Serialize for $t {
            fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
                s.collect_str(self)
            }
        }
        impl<'de> serde::Deserialize<'de> for $t {
            fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                // As it lies there: a copy of each text would be a third of reading a record.
                struct Text;
                impl serde::de::Visitor<'_> for Text {
                    type Value = $t;
                    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                        f.write_str("a text")
                    }
                    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<$t, E> {
                        text.parse().map_err(E::custom)
                    }
                }
                d.deserialize_str(Text)
            }
        }
    };
}
pub(crate) use as_text;
