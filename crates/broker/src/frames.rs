//! The bounds of MQTT packets in a stream of bytes (MQTT 5.0, section 2.1): just enough to find each SUBSCRIBE.

/// The packet type of SUBSCRIBE, in the upper half of a packet's first byte.
const SUBSCRIBE: u8 = 8;
/// A packet's length has seven bits in each byte, and at most four bytes.
const LAST_SHIFT: u32 = 21;

/// Where the stream is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum At {
    /// Before a packet's first byte.
    Start,
    /// Within a packet's length.
    Length { so_far: usize, shift: u32 },
    /// Before the last so many bytes of a packet.
    Body(usize),
    /// A length was not one. Where the next packet begins cannot be known, and the broker library ends the connection.
    Lost,
}

/// Follows a stream of packets.
#[derive(Debug)]
pub(crate) struct Frames(At);

/// What a stream holds at the beginning of a packet.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum First {
    /// Not enough to say, or not the whole of it.
    Partial,
    /// A whole packet of so many bytes.
    Whole(usize),
    /// One that is longer than allowed, or whose length is not one.
    Unfit,
}

impl Frames {
    pub(crate) fn new() -> Self {
        Self(At::Start)
    }

    /// How many of `bytes`, the next of the stream, come before the next SUBSCRIBE. They count as passed.
    pub(crate) fn pass(&mut self, bytes: &[u8]) -> usize {
        let mut rest = bytes;
        while let Some((&byte, behind)) = rest.split_first() {
            match self.0 {
                At::Start if byte >> 4 == SUBSCRIBE => break,
                At::Start => self.0 = At::Length { so_far: 0, shift: 0 },
                At::Length { so_far, shift } => {
                    let so_far = so_far | usize::from(byte & 0x7F) << shift;
                    self.0 = match (byte & 0x80 == 0, so_far) {
                        (true, 0) => At::Start,
                        (true, length) => At::Body(length),
                        (false, _) if shift == LAST_SHIFT => At::Lost,
                        (false, _) => At::Length { so_far, shift: shift + 7 },
                    };
                }
                At::Body(left) => {
                    let (_, behind) = rest.split_at(left.min(rest.len()));
                    let left = left.saturating_sub(rest.len());
                    self.0 = if left == 0 { At::Start } else { At::Body(left) };
                    rest = behind;
                    continue;
                }
                At::Lost => return bytes.len(),
            }
            rest = behind;
        }
        bytes.len() - rest.len()
    }

    /// Whether a SUBSCRIBE begins with the first of `bytes`, the next of the stream.
    pub(crate) fn before_subscribe(&self, bytes: &[u8]) -> bool {
        self.0 == At::Start && bytes.first().is_some_and(|byte| byte >> 4 == SUBSCRIBE)
    }

    /// Lets the next `length` bytes pass, whatever they are.
    pub(crate) fn let_through(&mut self, length: usize) {
        self.0 = At::Body(length);
    }

    /// Lets everything pass from here on.
    pub(crate) fn give_up(&mut self) {
        self.0 = At::Lost;
    }
}

/// Reads the length of the packet with which `bytes` begins, which may be `most` bytes long.
pub(crate) fn first(bytes: &[u8], most: usize) -> First {
    let mut length = 0;
    for (index, &byte) in bytes.iter().skip(1).take(4).enumerate() {
        length |= usize::from(byte & 0x7F) << (7 * index);
        if byte & 0x80 == 0 {
            let whole = index + 2 + length;
            return match whole {
                _ if whole > most => First::Unfit,
                _ if whole > bytes.len() => First::Partial,
                _ => First::Whole(whole),
            };
        }
    }
    if bytes.len() < 5 { First::Partial } else { First::Unfit }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A packet with this type and a body of this length.
    fn packet(kind: u8, length: usize) -> Vec<u8> {
        let mut bytes = vec![kind << 4];
        let mut left = length;
        loop {
            let low = u8::try_from(left % 128).unwrap();
            left /= 128;
            bytes.push(if left > 0 { low | 0x80 } else { low });
            if left == 0 {
                break;
            }
        }
        // every byte of the body looks like a SUBSCRIBE's first
        bytes.resize(bytes.len() + length, 0x82);
        bytes
    }

    #[test]
    fn nothing_after_a_length_that_is_none_is_taken_for_a_packet() {
        let mut frames = Frames::new();
        let bytes = [0x30, 0xFF, 0xFF, 0xFF, 0xFF, 0x82, 0x82];
        assert_eq!(frames.pass(&bytes), bytes.len());
        assert_eq!(frames.pass(&[0x82]), 1);
        assert_eq!(first(&[0x82, 0xFF, 0xFF, 0xFF, 0xFF], usize::MAX), First::Unfit);
        assert_eq!(first(&[0x82, 0xFF, 0xFF, 0xFF], usize::MAX), First::Partial);
    }

    #[test]
    fn a_packet_is_whole_with_its_last_byte_and_unfit_above_the_limit() {
        for length in [0, 1, 127, 128, 16_383, 16_384] {
            let bytes = packet(8, length);
            for cut in [0, 1, bytes.len() - 1] {
                assert_eq!(first(&bytes[..cut], bytes.len()), First::Partial, "{cut} of {length}");
            }
            assert_eq!(first(&bytes, bytes.len()), First::Whole(bytes.len()));
            assert_eq!(first(&[&bytes[..], &[0x82]].concat(), bytes.len()), First::Whole(bytes.len()));
            assert_eq!(first(&bytes, bytes.len() - 1), First::Unfit);
        }
    }

    proptest! {
        #[test]
        fn every_subscribe_is_found_however_the_stream_is_cut(
            packets in prop::collection::vec((1_u8..15, prop_oneof![0_usize..4, 100_usize..200, 16_380_usize..16_390]), 1..8),
            cuts in prop::collection::vec(1_usize..3000, 1..8),
        ) {
            let stream: Vec<u8> = packets.iter().flat_map(|&(kind, length)| packet(kind, length)).collect();
            let mut expected = Vec::new();
            let mut at = 0;
            for &(kind, length) in &packets {
                if kind == SUBSCRIBE {
                    expected.push(at);
                }
                at += packet(kind, length).len();
            }
            let mut frames = Frames::new();
            let mut found = Vec::new();
            let mut from = 0;
            let mut cuts = cuts.iter().cycle();
            while from < stream.len() {
                let until = (from + cuts.next().unwrap()).min(stream.len());
                let passed = frames.pass(&stream[from..until]);
                from += passed;
                if from < until {
                    prop_assert!(frames.before_subscribe(&stream[from..]));
                    found.push(from);
                    let First::Whole(length) = first(&stream[from..], usize::MAX) else { panic!("cut off") };
                    frames.let_through(length);
                }
            }
            prop_assert_eq!(found, expected);
        }
    }
}
