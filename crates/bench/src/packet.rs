//! The few packets of MQTT 3.1.1 (OASIS standard, 29 October 2014) that fixtures send and receive, as bytes.

use std::ops::Range;

/// A last will, retained, QoS 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Will<'a> {
    /// Its topic.
    pub(crate) topic: &'a str,
    /// Its payload.
    pub(crate) payload: &'a [u8],
}

/// What a broker sends. Ranges lie in the buffer that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Packet {
    /// Whether it lets the client in (0 is yes).
    ConnAck(u8),
    /// What it granted.
    SubAck(u8),
    /// It has a publication of ours.
    PubAck(u16),
    /// A publication for us.
    Publish {
        /// Its topic.
        topic: Range<usize>,
        /// Its payload.
        payload: Range<usize>,
        /// To be acknowledged under this number (QoS 1).
        id: Option<u16>,
        /// Whether it was stored.
        retain: bool,
    },
    /// Anything else.
    Other,
}

/// Appends a fixed header (section 2.2) for a packet whose rest has `length` bytes.
fn header(out: &mut Vec<u8>, first: u8, mut length: usize) {
    out.push(first);
    loop {
        let digit = (length % 128) as u8;
        length /= 128;
        out.push(if length > 0 { digit | 0x80 } else { digit });
        if length == 0 {
            return;
        }
    }
}

/// Appends bytes with their length before them (section 1.5.3).
fn counted(out: &mut Vec<u8>, bytes: &[u8]) {
    let length = u16::try_from(bytes.len()).unwrap_or(u16::MAX);
    out.extend(length.to_be_bytes());
    out.extend(bytes.iter().take(usize::from(length)));
}

/// CONNECT (section 3.1): clean session, keep alive 120 s.
pub(crate) fn connect(client: &str, username: &str, secret: &str, will: Option<Will<'_>>) -> Vec<u8> {
    let mut rest = Vec::with_capacity(128);
    counted(&mut rest, b"MQTT");
    // user name, password, clean session; a will: retained, QoS 1
    let flags = 0b1100_0010 | if will.is_some() { 0b0010_1100 } else { 0 };
    rest.extend([4, flags, 0, 120]);
    counted(&mut rest, client.as_bytes());
    if let Some(will) = will {
        counted(&mut rest, will.topic.as_bytes());
        counted(&mut rest, will.payload);
    }
    counted(&mut rest, username.as_bytes());
    counted(&mut rest, secret.as_bytes());
    let mut out = Vec::with_capacity(rest.len() + 5);
    header(&mut out, 0x10, rest.len());
    out.extend(rest);
    out
}

/// SUBSCRIBE to one filter with QoS 1 (section 3.8).
pub(crate) fn subscribe(id: u16, filter: &str) -> Vec<u8> {
    let mut out = Vec::with_capacity(filter.len() + 10);
    header(&mut out, 0x82, filter.len() + 5);
    out.extend(id.to_be_bytes());
    counted(&mut out, filter.as_bytes());
    out.push(1);
    out
}

/// Appends PUBLISH with QoS 1, not retained (section 3.3).
pub(crate) fn publish(out: &mut Vec<u8>, id: u16, topic: &str, payload: &[u8]) {
    header(out, 0x32, topic.len() + 4 + payload.len());
    counted(out, topic.as_bytes());
    out.extend(id.to_be_bytes());
    out.extend(payload);
}

/// Appends PUBACK (section 3.4).
pub(crate) fn puback(out: &mut Vec<u8>, id: u16) {
    out.extend([0x40, 2]);
    out.extend(id.to_be_bytes());
}

/// Reads one packet from the beginning of a buffer: it, and where it ends. `Ok(None)` while it is not whole.
pub(crate) fn read(buffer: &[u8]) -> Result<Option<(Packet, usize)>, &'static str> {
    let Some(first) = buffer.first() else { return Ok(None) };
    let (mut length, mut at) = (0_usize, 1);
    loop {
        let Some(byte) = buffer.get(at) else { return Ok(None) };
        length |= usize::from(byte & 0x7f) << (7 * (at - 1));
        at += 1;
        if byte & 0x80 == 0 {
            break;
        }
        if at > 4 {
            return Err("a remaining length of more than four bytes");
        }
    }
    let end = at + length;
    if buffer.len() < end {
        return Ok(None);
    }
    let two = |at: usize| buffer.get(at..at + 2).map(|two| u16::from_be_bytes([two[0], two[1]])).ok_or("it is cut off");
    let byte = |at: usize| buffer.get(at).copied().ok_or("it is cut off");
    let packet = match first >> 4 {
        2 => Packet::ConnAck(byte(at + 1)?),
        3 => {
            let topic = at + 2..at + 2 + usize::from(two(at)?);
            let quality = (first >> 1) & 3;
            let id = if quality > 0 { Some(two(topic.end)?) } else { None };
            let begins = topic.end + if quality > 0 { 2 } else { 0 };
            if begins > end {
                return Err("a topic longer than its packet");
            }
            Packet::Publish { topic, payload: begins..end, id, retain: first & 1 == 1 }
        }
        4 => Packet::PubAck(two(at)?),
        9 => Packet::SubAck(byte(at + 2)?),
        _ => Packet::Other,
    };
    Ok(Some((packet, end)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remaining_lengths_are_those_of_the_standards_table() {
        // MQTT 3.1.1, table 2.4: the least and the greatest length of each number of bytes
        let cases: [(usize, &[u8]); 8] = [
            (0, &[0x00]),
            (127, &[0x7f]),
            (128, &[0x80, 0x01]),
            (16_383, &[0xff, 0x7f]),
            (16_384, &[0x80, 0x80, 0x01]),
            (2_097_151, &[0xff, 0xff, 0x7f]),
            (2_097_152, &[0x80, 0x80, 0x80, 0x01]),
            (268_435_455, &[0xff, 0xff, 0xff, 0x7f]),
        ];
        for (length, bytes) in cases {
            let mut out = Vec::new();
            header(&mut out, 0x30, length);
            assert_eq!(&out[1..], bytes, "{length}");
        }
    }

    #[test]
    fn a_connect_has_the_standards_form() {
        // MQTT 3.1.1, sections 3.1.2 and 3.1.3, byte for byte
        let bytes = connect("c", "u", "p", Some(Will { topic: "t", payload: b"w" }));
        let expected =
            [&[0x10, 25, 0, 4][..], b"MQTT", &[4, 0xee, 0, 120], b"\0\x01c\0\x01t\0\x01w\0\x01u\0\x01p"].concat();
        assert_eq!(bytes, expected);
    }

    #[test]
    fn a_publication_is_read_as_it_was_written_and_never_before_it_is_whole() {
        let payload = vec![b'x'; 300];
        let mut bytes = Vec::new();
        publish(&mut bytes, 7, "fixtures/hall/boot", &payload);
        for cut in 0..bytes.len() {
            assert_eq!(read(&bytes[..cut]).unwrap(), None, "{cut}");
        }
        puback(&mut bytes, 9);
        let (packet, end) = read(&bytes).unwrap().unwrap();
        let Packet::Publish { topic, payload: range, id, retain } = packet else { panic!("{packet:?}") };
        assert_eq!(
            (&bytes[topic], &bytes[range], id, retain),
            (&b"fixtures/hall/boot"[..], &payload[..], Some(7), false)
        );
        assert_eq!(read(&bytes[end..]).unwrap(), Some((Packet::PubAck(9), 4)));
    }

    #[test]
    fn nonsense_is_refused_without_a_panic() {
        assert!(read(&[0x30, 0xff, 0xff, 0xff, 0xff, 1]).is_err());
        assert!(read(&[0x32, 2, 0, 200]).is_err());
        assert!(read(&[0x40, 0]).is_err());
    }
}
