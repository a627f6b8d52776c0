//! Reading `showing` and `problem`, held against `serde_json` (version in Cargo.lock).

use std::ffi::CStr;
use std::mem::MaybeUninit;

use proptest::prelude::*;
use sconced_device::{
    SconcedBecause, SconcedMotif, SconcedShowing, SconcedStatus, SconcedToward, sconced_problem_is_never_given,
    sconced_showing_read,
};
use serde_json::{Value, json};

fn read(text: impl AsRef<[u8]>) -> Result<SconcedShowing, SconcedStatus> {
    let text = text.as_ref();
    let mut showing = MaybeUninit::uninit();
    // SAFETY: both pointers are those of live values of this function, and the length is the text's.
    match unsafe { sconced_showing_read(text.as_ptr().cast(), text.len(), showing.as_mut_ptr()) } {
        // SAFETY: written, as the status says.
        SconcedStatus::Ok => Ok(unsafe { showing.assume_init() }),
        status => Err(status),
    }
}

fn name(showing: &SconcedShowing) -> String {
    // SAFETY: a C char is a byte.
    let bytes: [u8; 65] = showing.name.map(|byte| byte.to_ne_bytes()[0]);
    CStr::from_bytes_until_nul(&bytes).expect("a zero at its end").to_str().expect("UTF-8").to_owned()
}

#[test]
fn the_example_of_the_firmware_guide_is_read_whole() {
    let guide = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/../device/FIRMWARE.md"));
    let example = guide.split("```json\n").nth(1).unwrap().split("```").next().unwrap();
    let showing = read(example).unwrap();
    let look = showing.look;
    assert_eq!((showing.rev, showing.now_ms, showing.until_s), (42, 1_764_060_000_000, 1_764_075_600));
    assert_eq!((showing.fade_ms, showing.has_ceiling), (2_000, false));
    assert_eq!(showing.because, SconcedBecause::Timetable as u8);
    assert_eq!(name(&showing), "evening");
    assert_eq!((look.colour_count, look.colours[0]), (1, [12_850, 46_774, 40_349, 0]));
    assert_eq!((look.motif, look.toward), (SconcedMotif::Unroll as u8, SconcedToward::Start as u8));
    assert_eq!((look.period_ms, look.width, look.softness, look.seed), (1_500, 16_384, 32_768, 0));
    assert_eq!((look.span, look.floor), ([0, 65_535], [900, 480, 130, 0]));
}

#[test]
fn members_of_newer_daemons_are_passed_over_and_what_may_be_left_out_is_usual() {
    let newer = r#" {"new":{"a":[1,{"b":null}],"c":"}]\"{["},"rev":7,"now_ms":8,"channels":[[1,2,3,4],[5,6,7]],
        "motif":["swirl",1,{"x":[2]}],"more":-1.5e3,"ceiling_milliamps":3500,"because":"moon"} "#;
    let showing = read(newer).unwrap();
    assert_eq!((showing.rev, showing.ceiling_milliamps, showing.has_ceiling), (7, 3_500, true));
    assert_eq!((showing.because, showing.until_s, showing.fade_ms), (SconcedBecause::Other as u8, 0, 0));
    assert_eq!((showing.look.motif, showing.look.span), (SconcedMotif::Steady as u8, [0, 65_535]));
    assert_eq!(showing.look.colours[..2], [[1, 2, 3, 4], [5, 6, 7, 0]]);
    assert_eq!(name(&showing), "");
    let short = read(r#"{"rev":7,"now_ms":8,"channels":[[1,2,3]],"motif":["glint",900]}"#).unwrap().look;
    assert_eq!((short.motif, short.period_ms, short.width), (SconcedMotif::Glint as u8, 900, 16_384));
    let long = read(r#"{"rev":7,"now_ms":8,"channels":[[1,2,3]],"motif":["glint",900,1,2,"start",3,4,[5]]}"#).unwrap();
    assert_eq!((long.look.seed, long.look.toward), (3, SconcedToward::Start as u8));
    let large = read(r#"{"rev":7,"now_ms":8,"channels":[[1,2,3]],"ceiling_milliamps":9999999999}"#).unwrap();
    assert_eq!(large.ceiling_milliamps, u32::MAX);
}

#[test]
fn every_reason_and_every_motif_has_its_number() {
    let of = |member: &str, value: Value| {
        let mut message = json!({"rev": 1, "now_ms": 1, "channels": [[1, 2, 3]]});
        message[member] = value;
        read(message.to_string()).unwrap()
    };
    for (word, number) in [
        ("unlit", SconcedBecause::Unlit),
        ("override", SconcedBecause::Override),
        ("link", SconcedBecause::Link),
        ("timetable", SconcedBecause::Timetable),
        ("default", SconcedBecause::Default),
        ("dark", SconcedBecause::Dark),
    ] {
        assert_eq!(of("because", json!(word)).because, number as u8, "{word}");
    }
    for (word, number) in [
        ("steady", SconcedMotif::Steady),
        ("swell", SconcedMotif::Swell),
        ("travel", SconcedMotif::Travel),
        ("unroll", SconcedMotif::Unroll),
        ("hearth", SconcedMotif::Hearth),
        ("glint", SconcedMotif::Glint),
        ("wander", SconcedMotif::Wander),
    ] {
        assert_eq!(of("motif", json!([word, 1, 2, 3, "end", 4])).look.motif, number as u8, "{word}");
    }
}

#[test]
fn a_message_that_cannot_be_read_is_said_so() {
    let with = |part: &str| format!(r#"{{"rev":1,"now_ms":2,"channels":[[1,2,3]]{part}}}"#);
    assert!(read(with("")).is_ok());
    for bad in [
        "",
        "null",
        "[]",
        "{}",
        r#"{"rev":1,"now_ms":2}"#,
        r#"{"rev":1,"channels":[[1,2,3]]}"#,
        r#"{"rev":1,"now_ms":2,"channels":[]}"#,
        r#"{"rev":1,"now_ms":2,"channels":[[1,2]]}"#,
        r#"{"rev":1,"now_ms":2,"channels":[[1,2,3,4,5]]}"#,
        r#"{"rev":1,"now_ms":2,"channels":[[1,2,65536]]}"#,
        r#"{"rev":1,"now_ms":2,"channels":[[1,2,-3]]}"#,
        r#"{"rev":-1,"now_ms":2,"channels":[[1,2,3]]}"#,
        r#"{"rev":1.5,"now_ms":2,"channels":[[1,2,3]]}"#,
        r#"{"rev":18446744073709551616,"now_ms":2,"channels":[[1,2,3]]}"#,
    ] {
        assert_eq!(read(bad), Err(SconcedStatus::ErrorMessage), "{bad}");
    }
    for part in [
        r#","rev":2"#,
        r#","span":[1]"#,
        r#","span":[1,65536]"#,
        r#","motif":[]"#,
        r#","motif":["glint",-1]"#,
        r#","motif":["glint",1,2,3,"up",4]"#,
        r#","fade_ms":"soon""#,
        r#","look":7"#,
        r#","x":[[[[[[[[1]]]]]]]]"#,
        ",",
        "}",
        "] [",
    ] {
        assert_eq!(read(with(part)), Err(SconcedStatus::ErrorMessage), "{part}");
    }
    assert_eq!(read([with("").as_bytes(), b"{}"].concat()), Err(SconcedStatus::ErrorMessage));
    assert_eq!(read(format!(r#"{{"x":"{}","rev":1}}"#, "\\\"".repeat(9))), Err(SconcedStatus::ErrorMessage));
}

#[test]
fn depth_that_would_eat_a_small_stack_is_refused_before_it_is_followed() {
    let deep = format!(r#"{{"x":{}"#, "[".repeat(1 << 20));
    assert_eq!(read(deep), Err(SconcedStatus::ErrorMessage));
    let objects = r#"{"x":"#.repeat(1 << 18);
    assert_eq!(read(objects), Err(SconcedStatus::ErrorMessage));
    // brackets within a text are none
    let text = r#"{"x":"[[[[[[[[[[[[\"[[[[[[","rev":1,"now_ms":2,"channels":[[1,2,3]]}"#;
    assert_eq!(read(text).unwrap().rev, 1);
}

#[test]
fn a_problem_that_the_revision_was_never_given_is_known() {
    let is = |text: &str| {
        let mut is = false;
        // SAFETY: both pointers are those of live values of this function, and the length is the text's.
        let status = unsafe { sconced_problem_is_never_given(text.as_ptr().cast(), text.len(), &mut is) };
        (status == SconcedStatus::Ok).then_some(is)
    };
    assert_eq!(is(r#"{"advice":"x","pointer":"/rev","type":"/problems/never-given"}"#), Some(true));
    assert_eq!(is(r#"{"type":"/problems/invalid","detail":"/problems/never-given"}"#), Some(false));
    assert_eq!(is("{}"), Some(false));
    assert_eq!(is("[]"), None);
}

proptest! {
    #[test]
    fn what_serde_json_writes_is_read_as_it_was(
        rev in any::<u64>(),
        now_ms in any::<u64>(),
        look in "\\PC{0,40}",
        channels in prop::collection::vec(prop::collection::vec(any::<u16>(), 3..=4), 1..=10),
        span in any::<[u16; 2]>(),
        fade_ms in any::<u32>(),
        pretty in any::<bool>(),
    ) {
        let message = json!({"rev": rev, "now_ms": now_ms, "look": look, "channels": channels, "span": span,
            "fade_ms": fade_ms});
        let text = if pretty { serde_json::to_string_pretty(&message) } else { serde_json::to_string(&message) }.unwrap();
        let showing = read(text).unwrap();
        prop_assert_eq!((showing.rev, showing.now_ms, showing.fade_ms), (rev, now_ms, fade_ms));
        prop_assert_eq!(showing.look.span, span);
        let count = channels.len().min(8);
        prop_assert_eq!(usize::from(showing.look.colour_count), count);
        for (colour, wanted) in showing.look.colours.iter().zip(&channels) {
            prop_assert_eq!(&colour[..wanted.len()], wanted.as_slice());
        }
        let kept = name(&showing);
        prop_assert!(look.starts_with(&kept));
        prop_assert!(kept == look || kept.len() > 64 - 4, "{:?} of {:?}", kept, look);
    }

    #[test]
    fn any_bytes_are_a_message_or_an_error(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = read(bytes);
    }

    #[test]
    fn a_message_with_bytes_changed_is_a_message_or_an_error(changes in prop::collection::vec((any::<usize>(), any::<u8>()), 1..6)) {
        let mut text = br#"{"rev":42,"now_ms":17,"look":"e\u0041\"v","channels":[[1,2,3],[4,5,6,7]],"span":[0,65535],"motif":["unroll",1500,1,2,"start",0],"x":{"y":[null,true]},"until":9}"#.to_vec();
        for (at, byte) in changes {
            let at = at % text.len();
            text[at] = byte;
        }
        if let Ok(showing) = read(&text) {
            prop_assert!((1..=8).contains(&showing.look.colour_count));
            prop_assert!(showing.look.motif < 7 && showing.look.toward < 2);
            name(&showing);
        }
    }
}
