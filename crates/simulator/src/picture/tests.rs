//! Looks as firmware works them out, against the ones that `light` makes of the same pieces.

use device::{DARK, MotifName};
use light::{Colour, Fraction};
use serde_json::json;

use super::*;

fn document() -> Value {
    json!({
        "default": "arrival", "fade": 2.5, "floor": 8,
        "looks": {
            "arrival": {"colours": ["#3fb6a8", "gold"], "intensity": 70, "span": [0.0, 0.5],
                "motif": {"name": "unroll", "seconds": 1.5, "width": 0.5, "softness": 0.25, "toward": "start", "seed": 7.0}},
            "late": {"kelvin": 2400, "intensity": 22},
            "faulty": {"colours": ["no colour"]}
        },
        "override": {"look": {"kelvin": 6500}}
    })
}

#[test]
fn a_look_of_a_document_is_worked_out_with_all_that_it_says() {
    let picture = of_document(&document(), "arrival", false, None);
    let motif = light::Motif {
        seconds: Seconds::new(1.5).unwrap(),
        width: Fraction::HALF,
        softness: Fraction::QUARTER,
        toward: light::Toward::Start,
        seed: 7,
        ..light::Motif::new(light::MotifName::Unroll)
    };
    let look = Look::builder()
        .colours(vec!["#3fb6a8".parse::<Colour>().unwrap(), "gold".parse().unwrap()])
        .intensity(Intensity::new(70.0).unwrap())
        .span(Span::new(0.0, 0.5).unwrap())
        .motif(motif)
        .build()
        .unwrap();
    assert_eq!(picture, Picture { look: DeviceLook::from(&look.compile()), fade_ms: 2_500 });
    assert_eq!(picture.look.motif().name, MotifName::Unroll);
}

#[test]
fn names_of_the_agenda_with_a_meaning_of_their_own_are_understood() {
    let of = |name: &str| of_document(&document(), name, false, None).look;
    assert_eq!(of("dark"), DeviceLook::dark());
    let kelvin = Look::builder().kelvin(6500.0).build().unwrap();
    assert_eq!(of("override"), DeviceLook::from(&kelvin.compile()));
    for unreadable in ["faulty", "of-another-house"] {
        assert_eq!(of(unreadable), DeviceLook::dark(), "{unreadable}");
    }
}

#[test]
fn a_floor_lies_beneath_every_look_but_of_a_document_that_is_not_lit() {
    let eight = Intensity::new(8.0).unwrap();
    let late = Look::builder().kelvin(2400.0).build().unwrap();
    for (default, floor) in [
        (json!("late"), floor_beneath(Some(&late), eight, None)),
        (json!("dark"), floor_beneath(None, eight, None)),
        (json!("faulty"), floor_beneath(None, eight, None)),
        (Value::Null, floor_beneath(None, eight, None)),
    ] {
        let mut document = document();
        document::merge(&mut document, &json!({ "default": default }));
        for name in ["arrival", "late", "dark", "faulty"] {
            let bare = of_document(&document, name, false, None).look;
            let floored = of_document(&document, name, true, None).look;
            assert_eq!(bare.floor(), DARK);
            assert_eq!(floored, bare.with_floor(floor), "{name} above {default}");
            assert!(floored.pixels(0, 10).all(|pixel| pixel[0] > 0), "{name}");
        }
    }
    for change in [json!({"lit": false}), json!({"floor": 0}), json!({"floor": null}), json!({"floor": "8"})] {
        let mut document = document();
        document::merge(&mut document, &change);
        assert_eq!(of_document(&document, "late", true, None).look.floor(), DARK, "{change}");
    }
}

#[test]
fn a_strip_with_white_pixels_gets_the_white_split_off() {
    let white = WhiteLed::default();
    let look = of_document(&document(), "late", true, Some(white)).look;
    assert!(look.colours().all(|colour| colour[3] > 0) && look.floor()[3] > 0);
}

#[test]
fn a_resolved_look_is_taken_as_it_is() {
    let showing = json!({
        "rev": 42, "now_ms": 1, "look": "greet", "channels": [[1, 2, 3], [4, 5, 6, 7]], "span": [100, 65_535],
        "motif": ["travel", 1_500, 16_384, 32_768, "start", 9], "fade_ms": 2_000, "floor": [30, 20, 10]
    });
    let motif = Motif {
        period_ms: 1_500,
        width: 16_384,
        softness: 32_768,
        toward: Toward::Start,
        seed: 9,
        ..Motif::new(MotifName::Travel)
    };
    let look = DeviceLook::new(&[[1, 2, 3, 0], [4, 5, 6, 7]], [100, 65_535], motif).with_floor([30, 20, 10, 0]);
    assert_eq!(of_showing(&showing), Some(Picture { look, fade_ms: 2_000 }));
}

#[test]
fn what_a_resolved_look_leaves_out_is_the_usual_and_what_says_nothing_is_nothing() {
    let least = of_showing(&json!({"channels": [[1, 2, 3]]})).unwrap();
    assert_eq!(least.look, DeviceLook::new(&[[1, 2, 3, 0]], [0, u16::MAX], Motif::STEADY));
    assert_eq!(least.fade_ms, 0);
    let unknown = of_showing(&json!({"channels": [[1, 2, 3]], "motif": ["somersault", "x"]})).unwrap();
    assert_eq!(unknown.look, least.look);
    let partly = of_showing(&json!({"channels": [], "motif": ["glint", -1, 70_000, null, "up"]})).unwrap();
    assert_eq!(partly.look, DeviceLook::new(&[], [0, u16::MAX], Motif::new(MotifName::Glint)));
    for nothing in [json!({}), json!({"channels": "white"}), json!({"channels": [[70_000, 0, 0]]}), json!(null)] {
        assert_eq!(of_showing(&nothing), None, "{nothing}");
    }
}
