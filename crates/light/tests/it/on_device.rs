//! Looks as the device renders them, and how much they light.

use device::DeviceLook;
use light::{
    Colour, Intensity, Look, Motif, MotifName, Seconds, Span, Toward, WhiteLed, floor_beneath, floor_duty, look_duty,
};

fn white(motif: MotifName) -> DeviceLook {
    let motif = Motif { seconds: Seconds::new(2.0).unwrap(), ..Motif::new(motif) };
    (&Look::builder().colours(vec![Colour::from_rgb8(255, 255, 255)]).motif(motif).build().unwrap().compile()).into()
}

#[test]
fn a_compiled_look_is_the_devices_look() {
    let motif =
        Motif { seconds: Seconds::new(1.5).unwrap(), toward: Toward::Start, seed: 9, ..Motif::new(MotifName::Unroll) };
    let look = Look::builder()
        .colours(vec![Colour::from_rgb8(255, 0, 0), Colour::BLACK])
        .span(Span::new(0.0, 0.2).unwrap())
        .motif(motif);
    let on_device = DeviceLook::from(&look.build().unwrap().compile());
    assert_eq!(on_device.colours().collect::<Vec<_>>(), [[65_535, 0, 0, 0], [0; 4]]);
    assert_eq!(on_device.span(), [0, 13_107]);
    let motif = on_device.motif();
    assert_eq!(
        (motif.name, motif.period_ms, motif.width, motif.softness, motif.toward, motif.seed),
        (device::MotifName::Unroll, 1_500, 16_384, 32_768, device::Toward::Start, 9)
    );
    let with_white = Look::builder().kelvin(4_500.0).build().unwrap().compile_with_white(WhiteLed::default());
    assert_eq!(DeviceLook::from(&with_white).colours().next(), Some([0, 0, 0, 65_535]));
}

/// The names and words are written twice, once for documents and once for firmware.
#[test]
fn documents_and_firmware_call_motifs_by_the_same_names() {
    for name in MotifName::ALL {
        assert_eq!(device::MotifName::from(name).as_str(), name.as_str());
    }
    for toward in [Toward::End, Toward::Start] {
        assert_eq!(device::Toward::from(toward).as_str(), toward.as_str());
    }
    assert_eq!(light::COLOURS_MAX, device::COLOURS_MAX);
}

/// What the owner may ask for is what the device shows: neither shows a shorter period than the other allows.
#[test]
fn the_shortest_period_of_a_document_is_the_devices() {
    for name in MotifName::ALL {
        for count in 1..=8 {
            let least = f64::from(device::MotifName::from(name).least_period_ms(count)) / 1_000.0;
            let build = |seconds| {
                let motif = Motif { seconds, ..Motif::new(name) };
                Look::builder().colours(vec![Colour::BLACK; count]).motif(motif).build()
            };
            let look = build(Seconds::new(least).unwrap()).unwrap();
            assert_eq!(DeviceLook::from(&look.compile()).motif().period_ms, look.compile().motif.period_ms);
            assert!(Seconds::new(least - 0.001).is_err() || build(Seconds::new(least - 0.001).unwrap()).is_err());
        }
    }
}

/// By hand: full white is 1 a channel; half of the pixels a half; a stretch of a quarter with the softness of its edges
/// evened out a quarter; `unroll` is lit half of the time, and all at once at its peak; a swell's square of smoothstep has
/// a mean of 13/35 over a rise that takes 5/16 of the period, as its fall does, and rests 3/16 at the top.
#[test]
fn duty_is_the_mean_over_all_pixels_and_the_period() {
    let close = |got: f64, wanted: f64| assert!((got - wanted).abs() < 0.005, "{got} for {wanted}");
    let steady = look_duty(&white(MotifName::Steady), 144);
    assert_eq!((steady.peak, steady.mean), ([1.0, 1.0, 1.0, 0.0], [1.0, 1.0, 1.0, 0.0]));
    let half: DeviceLook = (&Look::builder()
        .colours(vec![Colour::from_rgb8(255, 255, 255)])
        .span(Span::new(0.5, 1.0).unwrap())
        .build()
        .unwrap()
        .compile())
        .into();
    assert_eq!(look_duty(&half, 100).peak[0], 0.5);
    close(look_duty(&white(MotifName::Travel), 144).mean[0], 0.25);
    close(look_duty(&white(MotifName::Travel), 144).peak[0], 0.25);
    close(look_duty(&white(MotifName::Unroll), 144).mean[0], 0.5);
    close(look_duty(&white(MotifName::Unroll), 144).peak[0], 1.0);
    close(look_duty(&white(MotifName::Swell), 10).mean[0], 3.0 / 16.0 + 2.0 * 5.0 / 16.0 * 13.0 / 35.0);
    close(look_duty(&white(MotifName::Swell), 10).peak[0], 1.0);
    let hearth = look_duty(&white(MotifName::Hearth), 144);
    assert!(hearth.mean[0] > 0.375 && hearth.mean[0] < hearth.peak[0] && hearth.peak[0] <= 1.0, "{hearth:?}");
    assert_eq!(look_duty(&white(MotifName::Glint), 0).peak, [0.0; 4]);
}

#[test]
fn a_floor_is_warm_white_at_its_intensity() {
    let at = |intensity, white| floor_duty(Intensity::new(intensity).unwrap(), white);
    // Source: CIE 15, dimming-lstar.csv: L* 50 is 12071 of 65535, which the largest channel has.
    let [red, green, blue, of_white] = at(50.0, None);
    assert!((red, of_white) == (12_071, 0) && green < red && blue < green, "{green} {blue}");
    assert_eq!(at(0.0, None), [0; 4]);
    assert!(at(8.0, Some(WhiteLed::default()))[3] > 0);
}

#[test]
fn a_floor_takes_its_light_from_the_default_look_and_is_warm_white_where_that_lights_nothing() {
    let look = |names: &[&str]| {
        let colours = names.iter().map(|name| name.parse::<Colour>().unwrap()).collect();
        Look::builder().colours(colours).intensity(Intensity::new(90.0).unwrap()).build().unwrap()
    };
    let half = Intensity::new(50.0).unwrap();
    // Source: CIE 15, dimming-lstar.csv: L* 50 is 12071 of 65535.
    assert_eq!(floor_beneath(Some(&look(&["lime"])), half, None), [0, 12_071, 0, 0], "at its own intensity");
    let [red, green, blue, _] = floor_beneath(Some(&look(&["red", "blue"])), half, None);
    assert!((red, green) == (blue, 0) && red.abs_diff(12_071 / 2) <= 1, "two colours are mixed: {red} {green} {blue}");
    let white = floor_duty(half, None);
    for dark in [None, Some(&Look::dark()), Some(&look(&["black"]))] {
        assert_eq!(floor_beneath(dark, half, None), white);
    }
    let faint = Intensity::new(0.1).unwrap();
    assert_eq!(floor_beneath(Some(&look(&["#030303"])), faint, None), floor_duty(faint, None), "too dark to light");
    let of_white = Some(WhiteLed::default());
    assert!(floor_beneath(Some(&look(&["white"])), half, of_white)[3] > 0, "by the white LED where there is one");
}

#[test]
fn a_compiled_floor_is_laid_beneath_the_whole_length() {
    let look = Look::builder().kelvin(2400.0).span(Span::new(0.0, 0.5).unwrap()).build().unwrap();
    let mut compiled = look.compile();
    assert_eq!(device::DeviceLook::from(&compiled).floor(), device::DARK);
    compiled.floor = Some(vec![900, 500, 100]);
    let laid = device::DeviceLook::from(&compiled);
    assert_eq!(laid.floor(), [900, 500, 100, 0]);
    assert_eq!(laid.pixels(0, 10).last(), Some([900, 500, 100, 0]), "beyond the span too");
}
