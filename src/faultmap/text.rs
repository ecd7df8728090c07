//! Words of a board: read where they stand in the program file, of which a board has thousands; those of a user's maps are kept.

use serde::de::{Error, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::ops::Deref;

/// A text that a copy of costs nothing where it is part of the program.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Text(Cow<'static, str>);

impl Text {
    /// As plain text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Deref for Text {
    type Target = str;
    fn deref(&self) -> &str {
        &self.0
    }
}

impl From<String> for Text {
    fn from(text: String) -> Self {
        Self(text.into())
    }
}

impl From<&'static str> for Text {
    fn from(text: &'static str) -> Self {
        Self(text.into())
    }
}

impl From<Text> for Cow<'static, str> {
    fn from(text: Text) -> Self {
        text.0
    }
}

impl PartialEq<str> for Text {
    fn eq(&self, other: &str) -> bool {
        **self == *other
    }
}

impl PartialEq<&str> for Text {
    fn eq(&self, other: &&str) -> bool {
        **self == **other
    }
}

impl PartialEq<String> for Text {
    fn eq(&self, other: &String) -> bool {
        **self == **other
    }
}

impl AsRef<str> for Text {
    fn as_ref(&self) -> &str {
        self
    }
}

impl fmt::Display for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&**self, f)
    }
}

impl fmt::Debug for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&**self, f)
    }
}

impl Serialize for Text {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self)
    }
}

impl<'d: 'static> Deserialize<'d> for Text {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_str(Read)
    }
}

struct Read;

impl<'d: 'static> Visitor<'d> for Read {
    type Value = Text;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a text")
    }

    fn visit_borrowed_str<E: Error>(self, text: &'d str) -> Result<Text, E> {
        Ok(Text(Cow::Borrowed(text)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_comes_back_as_it_was_without_a_copy() {
        let bytes: &'static [u8] = postcard::to_allocvec(&Text::from("D0".to_string()))
            .unwrap()
            .leak();
        let back: Text = postcard::from_bytes(bytes).unwrap();
        assert_eq!(
            (back.to_string(), format!("{back:?}")),
            ("D0".into(), "\"D0\"".into())
        );
        assert!(bytes.as_ptr_range().contains(&back.as_ptr()));
    }
}
