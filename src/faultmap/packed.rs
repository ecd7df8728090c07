//! Touches of a node as one run of bytes: a board has more than a hundred thousand, and each start of the program would read and
//! place them all. Those of a shipped board are read where they stand in the program file.

use super::model::{KINDS, Kind, Touch};
use serde::de::{Error, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;

/// Bytes of a touch: mode (three), kind, strength (four); the lowest byte first.
const BYTES: usize = 8;

/// Who does what to a node, by mode.
#[derive(Clone, Default)]
pub struct Touches(Cow<'static, [u8]>);

impl Touches {
    /// Each touch, in the order of the modes.
    pub fn iter(&self) -> Iter<'_> {
        Iter(self.0.as_chunks().0.iter())
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len() / BYTES
    }

    /// Whether nothing touches the node.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// The touches of a node, one after the other.
#[derive(Clone)]
pub struct Iter<'t>(std::slice::Iter<'t, [u8; BYTES]>);

impl Iterator for Iter<'_> {
    type Item = Touch;

    #[inline]
    fn next(&mut self) -> Option<Touch> {
        self.0.next().map(unpack)
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.0.size_hint()
    }
}

impl ExactSizeIterator for Iter<'_> {}

#[inline]
fn unpack(&[m0, m1, m2, kind, s0, s1, s2, s3]: &[u8; BYTES]) -> Touch {
    Touch {
        mode: u32::from_le_bytes([m0, m1, m2, 0]),
        kind: KINDS[usize::from(kind)],
        strength: f32::from_le_bytes([s0, s1, s2, s3]),
    }
}

fn pack(t: &Touch) -> [u8; BYTES] {
    let [m0, m1, m2, rest] = t.mode.to_le_bytes();
    assert_eq!(rest, 0, "a board has fewer than 2^24 modes");
    let kind: Kind = t.kind;
    let [s0, s1, s2, s3] = t.strength.to_le_bytes();
    [m0, m1, m2, kind as u8, s0, s1, s2, s3]
}

impl<'t> IntoIterator for &'t Touches {
    type Item = Touch;
    type IntoIter = Iter<'t>;
    fn into_iter(self) -> Iter<'t> {
        self.iter()
    }
}

impl FromIterator<Touch> for Touches {
    fn from_iter<I: IntoIterator<Item = Touch>>(list: I) -> Self {
        let bytes: Vec<u8> = list.into_iter().flat_map(|t| pack(&t)).collect();
        Self(bytes.into())
    }
}

impl fmt::Debug for Touches {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}

impl Serialize for Touches {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_bytes(&self.0)
    }
}

impl<'d: 'static> Deserialize<'d> for Touches {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_bytes(Read)
    }
}

struct Read;

impl<'d: 'static> Visitor<'d> for Read {
    type Value = Touches;

    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("touches")
    }

    fn visit_borrowed_bytes<E: Error>(self, bytes: &'d [u8]) -> Result<Touches, E> {
        // Whoever wrote them made them of kinds; a look at each would fetch the whole board from the disk.
        match bytes.len() % BYTES {
            0 => Ok(Touches(Cow::Borrowed(bytes))),
            _ => Err(E::custom("not a run of touches")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::model::{Kind, Node, Touch};

    #[test]
    fn a_node_comes_back_as_it_was_and_a_cut_one_not_at_all() {
        let touch = |mode, kind, strength| Touch {
            mode,
            kind,
            strength,
        };
        let list = [touch(0, Kind::Lost, 0.25), touch(70_000, Kind::Noisy, 1.0)];
        let node = Node {
            name: "D0".into(),
            line: true,
            touches: list.into_iter().collect(),
        };
        let bytes: &'static [u8] = postcard::to_allocvec(&node).unwrap().leak();
        let back: Node = postcard::from_bytes(bytes).unwrap();
        assert_eq!(format!("{back:?}"), format!("{node:?}"));
        assert!(format!("{back:?}").contains("mode: 70000, kind: Noisy, strength: 1.0"));
        assert_eq!((back.touches.len(), back.touches.iter().len()), (2, 2));
        // The length of the run is the byte before it.
        let mut cut = bytes.to_vec();
        let length = cut.len() - 2 * super::BYTES - 1;
        assert_eq!(cut[length], 16);
        cut[length] = 15;
        assert!(postcard::from_bytes::<Node>(cut.leak()).is_err());
    }
}
