//! Touches of a node as one run of bytes in the compiled board: a board has tens of thousands, and each start of the program reads
//! them all.

use super::model::{KINDS, Touch};
use serde::de::{Error, Visitor};
use serde::{Deserializer, Serializer};

/// Bytes of a touch: mode, kind, strength; the lowest byte first.
const BYTES: usize = 4 + 1 + 4;

pub(super) fn serialize<S: Serializer>(touches: &[Touch], to: S) -> Result<S::Ok, S::Error> {
    let mut bytes = Vec::with_capacity(BYTES * touches.len());
    for t in touches {
        bytes.extend(t.mode.to_le_bytes());
        bytes.push(t.kind as u8);
        bytes.extend(t.strength.to_le_bytes());
    }
    to.serialize_bytes(&bytes)
}

pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Vec<Touch>, D::Error> {
    from.deserialize_bytes(Touches)
}

struct Touches;

impl Visitor<'_> for Touches {
    type Value = Vec<Touch>;

    fn expecting(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str("touches")
    }

    fn visit_bytes<E: Error>(self, bytes: &[u8]) -> Result<Vec<Touch>, E> {
        let (touches, rest) = bytes.as_chunks::<BYTES>();
        if !rest.is_empty() || touches.iter().any(|t| usize::from(t[4]) >= KINDS.len()) {
            return Err(E::custom("not a run of touches"));
        }
        let touch = |&[m0, m1, m2, m3, kind, s0, s1, s2, s3]: &[u8; BYTES]| Touch {
            mode: u32::from_le_bytes([m0, m1, m2, m3]),
            kind: KINDS[usize::from(kind)],
            strength: f32::from_le_bytes([s0, s1, s2, s3]),
        };
        Ok(touches.iter().map(touch).collect())
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
        let node = Node {
            name: "D0".into(),
            line: true,
            touches: vec![touch(0, Kind::Lost, 0.25), touch(70_000, Kind::Noisy, 1.0)],
        };
        let bytes = postcard::to_allocvec(&node).unwrap();
        let back: Node = postcard::from_bytes(&bytes).unwrap();
        assert_eq!(format!("{back:?}"), format!("{node:?}"));
        let kind = bytes.len() - 5;
        let mut unknown = bytes.clone();
        unknown[kind] = 7;
        assert!(postcard::from_bytes::<Node>(&unknown).is_err());
        // The length of the run is the byte before it.
        let mut cut = bytes;
        let length = cut.len() - 2 * super::BYTES - 1;
        assert_eq!(cut[length], 18);
        cut[length] = 17;
        assert!(postcard::from_bytes::<Node>(&cut).is_err());
    }
}
