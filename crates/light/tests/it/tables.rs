//! Every applicable row of the tables of outside values. Each table's first line names its source.

use light::{Colour, intensity_of_luminance, kelvin_linear, luminance_of_intensity};

/// The rows of a table, without its source line and its header. No cell of these tables holds a
/// comma.
fn rows(name: &str, count: usize) -> Vec<Vec<String>> {
    let path = format!("{}/../../tests/check-values/{name}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    let rows: Vec<Vec<String>> =
        text.lines().skip(2).map(|line| line.split(',').map(str::to_owned).collect()).collect();
    assert_eq!(rows.len(), count, "rows of {name}");
    rows
}

fn number(cell: &str) -> f64 {
    cell.parse().unwrap_or_else(|error| panic!("{cell}: {error}"))
}

fn close(got: f64, wanted: f64, tolerance: f64, what: &str) {
    assert!((got - wanted).abs() <= tolerance, "{what}: got {got}, wanted {wanted}");
}

fn bytes_of(hex: &str) -> [u8; 3] {
    let code = u32::from_str_radix(hex.strip_prefix('#').unwrap(), 16).unwrap();
    [16, 8, 0].map(|shift: u32| u8::try_from(code >> shift & 255).unwrap())
}

fn assert_bytes_near(got: &str, wanted: &str, tolerance: u8, what: &str) {
    for (got_byte, wanted_byte) in bytes_of(got).into_iter().zip(bytes_of(wanted)) {
        assert!(got_byte.abs_diff(wanted_byte) <= tolerance, "{what}: got {got}, wanted {wanted}");
    }
}

/// Source: IEC 61966-2-1, confirmed with colour-science 0.4.7. Tolerance 1e-7, integers exact
/// (rounding half up).
#[test]
fn each_8_bit_code_has_the_linear_light_of_iec_61966_2_1() {
    for row in rows("srgb-and-gamma-8bit.csv", 256) {
        let code: u8 = row[0].parse().unwrap();
        let written: Colour = format!("#{code:02x}{code:02x}{code:02x}").parse().unwrap();
        let in_rgb: Colour = format!("rgb({code} {code} {code})").parse().unwrap();
        for colour in [Colour::from_rgb8(code, code, code), written, in_rgb] {
            for linear in colour.linear() {
                close(linear, number(&row[1]), 1e-7, &row[0]);
                for (column, scale) in [(2, 255.0), (3, 4095.0), (4, 65535.0)] {
                    assert_eq!((linear * scale + 0.5).floor(), number(&row[column]), "code {code} at {scale}");
                }
            }
        }
    }
}

/// Source: IEC 61966-2-1, confirmed with colour-science 0.4.7. Tolerance 1e-6, 8-bit codes exact.
#[test]
fn linear_light_is_encoded_by_iec_61966_2_1() {
    for row in rows("srgb-encode.csv", 25) {
        let linear = number(&row[0]);
        let colour = Colour::from_linear([linear; 3]);
        for encoded in colour.srgb() {
            close(encoded, number(&row[1]), 1e-6, &row[0]);
        }
        let code: u8 = row[2].parse().unwrap();
        assert_eq!(colour.to_string(), format!("#{code:02x}{code:02x}{code:02x}"));
    }
}

/// Source: CIE 15 / ISO 11664-4, confirmed with colour-science 0.4.7. Tolerance 1e-7, integers
/// exact (rounding half up).
#[test]
fn intensity_has_the_luminance_of_cie_lightness() {
    for row in rows("dimming-lstar.csv", 111) {
        let luminance = luminance_of_intensity(number(&row[1]));
        close(luminance, number(&row[2]), 1e-7, &row[1]);
        for (column, scale) in [(3, 255.0), (4, 1023.0), (5, 4095.0), (6, 65535.0)] {
            assert_eq!((luminance * scale + 0.5).floor(), number(&row[column]), "L* {} at {scale}", row[1]);
        }
    }
}

/// Source: CIE 15, confirmed with colour-science 0.4.7. Tolerance 1e-3.
#[test]
fn luminance_has_the_intensity_of_cie_lightness() {
    for row in rows("lightness.csv", 23) {
        close(intensity_of_luminance(number(&row[0])), number(&row[1]), 1e-3, &row[0]);
    }
}

/// Source: Planck's law (CODATA 2018) over the CIE 1931 observer at 1 nm, computed with
/// colour-science 0.4.7. Tolerance 0.005 linear, 1 an 8-bit channel.
#[test]
fn a_colour_temperature_has_the_light_of_the_planckian_locus() {
    for row in rows("cct-planckian.csv", 53) {
        let linear = kelvin_linear(number(&row[0])).unwrap();
        for (channel, light) in linear.into_iter().enumerate() {
            close(light, number(&row[7 + channel]), 0.005, &row[0]);
        }
        assert_bytes_near(&Colour::from_linear(linear).to_string(), &row[10], 1, &row[0]);
    }
}

/// Source: CSS Color Module Level 4 section 6.1; webcolors 25.10.0 and tinycss2 agree. Exact; the
/// hsl column by Python's colorsys, 1 an 8-bit channel.
#[test]
fn each_css_name_is_its_colour() {
    for row in rows("css-named-colours.csv", 148) {
        for text in [row[0].clone(), row[0].to_uppercase(), row[1].clone()] {
            assert_eq!(text.parse::<Colour>().unwrap().to_string(), row[1], "{text}");
        }
        let codes = [2, 3, 4].map(|column: usize| row[column].parse::<u8>().unwrap());
        let [red, green, blue] = codes;
        assert_eq!(row[0].parse::<Colour>().unwrap(), Colour::from_rgb8(red, green, blue));
        let hsl: Colour = format!("hsl({})", row[5]).parse().unwrap();
        assert_bytes_near(&hsl.to_string(), &row[1], 1, &row[5]);
    }
}

/// Source: Python's colorsys, confirmed with coloraide 8.13.1. Tolerance 1 an 8-bit channel. The
/// hsv column does not apply: CSS has no such form.
#[test]
fn hsl_is_the_colour_of_its_hue_saturation_and_lightness() {
    for row in rows("hsl-hsv-to-rgb.csv", 91) {
        let [hue, saturation, lightness] = [&row[0], &row[1], &row[2]];
        for text in [
            format!("hsl({hue} {saturation}% {lightness}%)"),
            format!("hsl({hue}deg {saturation} {lightness})"),
            format!("HSL({hue}, {saturation}%, {lightness}%)"),
            format!("hsla({hue} {saturation}% {lightness}% / 100%)"),
        ] {
            let colour: Colour = text.parse().unwrap_or_else(|error| panic!("{text}: {error}"));
            assert_bytes_near(&colour.to_string(), &row[3], 1, &text);
        }
    }
}

/// Sources: IEC 61966-2-1 and CIE 15, the fixed points that handbooks print.
#[test]
fn the_fixed_points_of_the_handbooks_hold() {
    close(Colour::from_linear([0.214_041_1; 3]).srgb()[0], 0.5, 1e-6, "sRGB 0.5");
    close(luminance_of_intensity(50.0), 0.184_187, 1e-6, "L* 50");
    close(luminance_of_intensity(8.0), 0.008_856, 1e-6, "L* 8");
    close(intensity_of_luminance(0.18), 49.496, 1e-3, "18 percent grey");
}
