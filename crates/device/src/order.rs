//! The order in which a chip takes the bytes of a pixel.

use core::fmt;

/// Which channel each byte of a pixel belongs to, for three or four bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Order {
    /// 0 red, 1 green, 2 blue, 3 white; the fourth is not sent when there are three.
    channels: [u8; 4],
    count: u8,
}

impl Order {
    /// Red, green, blue.
    pub const RGB: Self = Self { channels: [0, 1, 2, 3], count: 3 };
    /// Green, red, blue.
    pub const GRB: Self = Self { channels: [1, 0, 2, 3], count: 3 };
    /// Blue, green, red.
    pub const BGR: Self = Self { channels: [2, 1, 0, 3], count: 3 };
    /// Green, red, blue, white.
    pub const GRBW: Self = Self { channels: [1, 0, 2, 3], count: 4 };

    /// Reads an order such as `grb` or `rgbw`: each of r, g, b once, and w once or not at all; case does not matter.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let mut channels = [3; 4];
        let mut seen = [false; 4];
        let mut count = 0_u8;
        for byte in text.bytes() {
            let channel = match byte.to_ascii_lowercase() {
                b'r' => 0_u8,
                b'g' => 1,
                b'b' => 2,
                b'w' => 3,
                _ => return None,
            };
            let seen = seen.get_mut(usize::from(channel))?;
            if *seen {
                return None;
            }
            *seen = true;
            *channels.get_mut(usize::from(count))? = channel;
            count = count.checked_add(1)?;
        }
        let [red, green, blue, white] = seen;
        let complete = red && green && blue && (count == 3 || (white && count == 4));
        complete.then_some(Self { channels, count })
    }

    /// How many bytes a pixel has, 3 or 4.
    #[must_use]
    pub const fn count(self) -> u8 {
        self.count
    }

    /// Values given as red, green, blue and white in the order of sending; the fourth is to be left out when there are
    /// three.
    pub(crate) fn arrange<T: Copy + Default>(self, values: [T; 4]) -> [T; 4] {
        self.channels.map(|channel| values.get(usize::from(channel)).copied().unwrap_or_default())
    }
}

/// As [`Order::parse`] reads it, in small letters.
impl fmt::Display for Order {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for letter in self.arrange(["r", "g", "b", "w"]).iter().take(usize::from(self.count)) {
            f.write_str(letter)?;
        }
        Ok(())
    }
}
