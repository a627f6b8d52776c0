//! The picture of a fixture on the page: a tube, lit where its look is lit, in the colours that it shows.

/// The width of the picture in its own units.
const WIDTH: u32 = 1000;

/// A lit piece of the tube.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Lit {
    /// Where it begins, 0 to 1000.
    pub(crate) x: u32,
    /// How long it is.
    pub(crate) width: u32,
    /// Its colour as `#rrggbb`.
    pub(crate) colour: String,
}

/// The pieces of a look in the device's integers: colours are spread evenly along the span.
pub(crate) fn lit(channels: &[Vec<u16>], span: [u16; 2]) -> Vec<Lit> {
    let place = |at: u32| at * WIDTH / u32::from(u16::MAX);
    let (from, to) = (u32::from(span[0]), u32::from(span[1]));
    let count = u32::try_from(channels.len()).unwrap_or(1).max(1);
    channels
        .iter()
        .zip(0_u32..)
        .filter(|(duty, _)| duty.iter().any(|channel| *channel > 0))
        .map(|(duty, index)| {
            let length = to.saturating_sub(from);
            let (start, end) = (place(from + length * index / count), place(from + length * (index + 1) / count));
            let channel = |n: usize| encoded(duty.get(n).copied().unwrap_or(0));
            Lit {
                x: start,
                width: end.saturating_sub(start).max(4),
                colour: format!("#{:02x}{:02x}{:02x}", channel(0), channel(1), channel(2)),
            }
        })
        .collect()
}

/// Linear duty as an 8-bit sRGB code (IEC 61966-2-1).
fn encoded(duty: u16) -> u8 {
    let linear = f64::from(duty) / f64::from(u16::MAX);
    let code = if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 255")]
    {
        (code * 255.0).round().clamp(0.0, 255.0) as u8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1, as the table `srgb-and-gamma-8bit.csv` has it: encoding what a code decodes to gives that code.
    #[test]
    fn duties_are_encoded_as_srgb() {
        let table = include_str!("../../../../tests/check-values/srgb-and-gamma-8bit.csv");
        let mut rows = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
        let mut seen = 0;
        for row in rows.records() {
            let row = row.unwrap();
            let (code, linear): (u8, f64) = (row[0].parse().unwrap(), row[1].parse().unwrap());
            assert_eq!(encoded((linear * 65535.0).round() as u16), code);
            seen += 1;
        }
        assert_eq!(seen, 256);
    }

    #[test]
    fn colours_are_spread_along_the_span() {
        let pieces = lit(&[vec![65535, 0, 0], vec![0, 0, 65535]], [0, 32768]);
        let colours: Vec<&str> = pieces.iter().map(|piece| piece.colour.as_str()).collect();
        assert_eq!(colours, ["#ff0000", "#0000ff"]);
        assert_eq!((pieces[0].x, pieces[1].x + pieces[1].width), (0, 500));
        assert_eq!(lit(&[vec![0, 0, 0]], [0, 65535]), []);
    }
}
