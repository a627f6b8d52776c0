//! Whole answers: worked numbers, the shape of the JSON, assumptions, the text, the extreme sheet.

use light::budget::{Budget, CautionAbout, Grade, LookLoad, budget, report};
use serde_json::{Value, json};

use crate::{EXAMPLE, SOUND, answer, changed, close, json_table, look, sheet};

#[test]
fn a_hundred_and_forty_four_pixels_of_60_ma_are_8_64_amps() {
    // The 60 mA rule: common practice, no source.
    let white = answer(EXAMPLE, json!({"idle_milliamps": 0})).full_white;
    assert_eq!((white.amps, white.watts), (8.64, 43.2));
    let with_idle = answer(EXAMPLE, json!({})).full_white;
    assert_eq!((with_idle.amps, with_idle.idle_amps, with_idle.with_controller_amps), (8.784, 0.144, 9.034));
}

#[test]
fn strips_draw_what_the_table_of_currents_says() {
    for row in json_table("electrical-rules.json")["strip_current"]["rows"].as_array().unwrap() {
        let chip = if row["channels"] == 4 { "sk6812rgbw" } else { "ws2812b" };
        let sheet = sheet(
            json!({"chip": chip, "pixels": row["pixels"], "channel_milliamps": row["mA_per_channel"], "idle_milliamps": 0}),
        );
        close(budget(&sheet, &[]).full_white.amps, row["total_A"].as_f64().unwrap(), 1e-4);
    }
}

#[test]
fn looks_draw_and_are_dimmed_by_the_rule_of_the_table() {
    // scale = min(1, (limit - idle) / (demand - idle)): arithmetic.
    for row in json_table("electrical-rules.json")["power_limit"]["rows"].as_array().unwrap() {
        let limit = row["limit_A"].as_f64().unwrap();
        let sheet = sheet(json!({
            "chip": "ws2812b", "pixels": row["pixels"], "channel_milliamps": row["mA_per_channel"],
            "idle_milliamps": row["idle_mA_per_pixel"], "controller_milliamps": 0, "supply_amps": limit / 0.8,
            "pixels_per_metre": 10, "rail_amps": 100, "feed": {"mm2": 4, "connector_amps": 100}, "fuse_amps": 1000,
            "mounting": "aluminium", "enclosure": "open", "ambient_celsius": 20
        }));
        let duty = |key: &str| row[key].as_f64().unwrap() / 255.0;
        let answer = budget(&sheet, &[look("it", &[duty("r"), duty("g"), duty("b")])]);
        close(answer.ceiling.amps, limit, 1e-6);
        let look = &answer.looks["it"];
        close(look.peak_amps, row["demand_A"].as_f64().unwrap(), 1e-5);
        close(look.scale, row["scale"].as_f64().unwrap(), 1e-5);
        close(look.shown_amps, look.peak_amps.min(limit), 1e-5);
    }
}

#[test]
fn the_ceiling_is_the_least_limit_less_the_controllers_own() {
    let answer = answer(EXAMPLE, json!({"fuse_amps": 5, "rail_amps": 20}));
    // 5 A x 0.75 - 0.25 A.
    assert_eq!((answer.ceiling.amps, answer.ceiling.from.as_str()), (3.5, "fuse"));
    let limit = |from: &str| answer.ceiling.limits.iter().find(|limit| limit.from == from).unwrap().amps;
    assert_eq!((limit("supply"), limit("fuse")), (8.0, 3.75));
    // Aluminium, vented: 20 W/m over a metre at 5 V.
    assert_eq!(limit("heat"), 4.0);
}

#[test]
fn each_limit_can_set_the_ceiling() {
    let sets = [
        ("supply", json!({"supply_amps": 2})),
        ("fuse", json!({"fuse_amps": 2})),
        ("branch fuse", json!({"feed": {"fuse_amps": 1}})),
        ("wire", json!({"feed": {"mm2": null, "awg": 26}})),
        ("connector", json!({"feed": {"connector_amps": 1}})),
        ("rails", json!({"rail_amps": 0.7})),
        ("heat", json!({"ambient_celsius": 54})),
    ];
    for (from, changes) in sets {
        let answer = answer(SOUND, changes);
        assert_eq!(answer.ceiling.from, from, "{:?}", answer.ceiling);
    }
}

#[test]
fn at_the_ceiling_a_look_gathered_at_one_feed_still_keeps_to_its_connector() {
    let sheet = sheet(changed(SOUND, json!({"feed": {"connector_amps": 1.2}})));
    let first = budget(&sheet, &[]);
    assert_eq!(first.ceiling.from, "connector");
    // Only pixels near the start, at their full duty until the total is the ceiling.
    let lit = (first.ceiling.amps / 0.061).floor() as usize;
    let mut profile = vec![0.0; 60];
    profile[..lit].fill(1.0);
    let duty = lit as f64 / 60.0;
    let gathered =
        LookLoad { name: "near".to_owned(), peak: vec![duty; 3], mean: vec![duty; 3], profile: Some(profile) };
    let answer = budget(&sheet, &[gathered]);
    assert!(answer.branches.iter().all(|branch| branch.worst_amps <= 1.2 + 1e-6), "{:?}", answer.branches);
    assert!(answer.branches[0].worst_amps > answer.branches[0].ceiling_amps + 0.05, "{:?}", answer.branches);
}

#[test]
fn a_rail_is_kept_whichever_way_its_current_runs() {
    // Fed at the far end the current runs toward the start; one pixel of 61 mA sits on the feed itself.
    for (point, on_the_feed) in [(0.0, 0.0), (2.0, 0.061), (1.9, 0.061 * 4.0)] {
        let answer = answer(SOUND, json!({"rail_amps": 0.7, "feed": {"points": [point]}}));
        assert_eq!(answer.ceiling.from, "rails", "fed at {point} m");
        close(answer.ceiling.amps, 0.7, on_the_feed + 1e-6);
    }
}

#[test]
fn the_hottest_case_is_taken_where_mounting_enclosure_and_ambient_are_not_known() {
    // 8 W/m on plastic, 0.6 of it sealed, (60 - 30) / 35 of it at 30 degrees C: common practice, no source.
    let bare = budget(&sheet(json!({"chip": "ws2812b", "pixels": 10})), &[]);
    close(bare.heat.limit_watts_per_metre, 8.0 * 0.6 * 30.0 / 35.0, 1e-6);
}

#[test]
fn a_profile_moves_the_least_voltage_to_where_the_light_is() {
    let sheet = sheet(changed(SOUND, json!({"feed": {"points": [0]}, "rail_ohms_per_metre": 0.2})));
    let at = |name: &str, profile: [f64; 4]| LookLoad {
        name: name.to_owned(),
        peak: vec![0.2; 3],
        mean: vec![0.1; 3],
        profile: Some(profile.to_vec()),
    };
    let answer = budget(&sheet, &[at("near", [1.0, 0.0, 0.0, 0.0]), at("far", [0.0, 0.0, 0.0, 1.0])]);
    let (near, far) = (&answer.looks["near"], &answer.looks["far"]);
    assert_eq!(near.peak_amps, far.peak_amps);
    assert!(near.minimum_volts > far.minimum_volts + 0.1, "{near:?} {far:?}");
    assert!(near.mean_amps < near.peak_amps);
}

#[test]
fn a_look_of_odd_numbers_is_taken_for_the_worst() {
    let sheet = sheet(changed(SOUND, json!({})));
    let odd = LookLoad {
        name: "odd".to_owned(),
        peak: vec![f64::NAN, 7.0, -1.0, 1.0],
        mean: vec![],
        profile: Some(vec![f64::NAN, -3.0]),
    };
    let answer = budget(&sheet, &[odd]);
    // NaN and 7 count as full, -1 as none, and the fourth channel does not exist: two channels of 60 pixels.
    close(answer.looks["odd"].peak_amps, 2.0 * 0.02 * 60.0 + 0.06, 1e-6);
    assert_eq!(answer.looks["odd"].mean_amps, 0.06);
}

#[test]
fn the_json_has_the_members_on_which_programs_rely() {
    let answer = budget(&sheet(changed(EXAMPLE, json!({}))), &[look("evening", &[0.5, 0.5, 0.5])]);
    let json = serde_json::to_value(&answer).unwrap();
    for pointer in [
        "/full_white/amps",
        "/looks/evening/peak_amps",
        "/looks/evening/mean_amps",
        "/ceiling/amps",
        "/voltage/minimum",
        "/voltage/at_pixel",
        "/voltage/along/0/1",
        "/branches/1/full_white_amps",
        "/fault/prospective_amps",
        "/heat/limit_watts_per_metre",
        "/data/margin_volts",
        "/refresh/frame_seconds",
        "/capacitor/dip_volts",
        "/idle/relay_saves_kwh",
        "/alternatives/0/full_white/minimum",
        "/feed_wire/loop_ohms",
    ] {
        assert!(json.pointer(pointer).is_some_and(Value::is_number), "{pointer}");
    }
    assert!(json["ceiling"]["from"].is_string());
    for finding in json["findings"].as_array().unwrap() {
        for member in ["grade", "text", "source", "mend"] {
            assert!(finding[member].is_string(), "{member} of {finding}");
        }
    }
    assert!(!json["assumptions"].as_array().unwrap().is_empty());
    let again: Budget = serde_json::from_value(json).unwrap();
    assert_eq!(again, answer);
}

#[test]
fn what_the_sheet_leaves_out_is_named_as_an_assumption() {
    let bare = budget(&sheet(json!({"chip": "ws2812b", "pixels": 144})), &[]);
    let named: Vec<_> = bare.assumptions.iter().map(|assumption| assumption.pointer.as_str()).collect();
    for pointer in [
        "/pixels_per_metre",
        "/volts",
        "/supply_amps",
        "/fuse_amps",
        "/channel_milliamps",
        "/idle_milliamps",
        "/controller_milliamps",
        "/rail_ohms_per_metre",
        "/rail_amps",
        "/feed/mm2",
        "/feed/metres",
        "/feed/points",
        "/feed/connector_amps",
        "/capacitor_microfarads",
        "/data_volts",
        "/data_metres",
        "/series_ohms",
        "/supply_efficiency",
        "/mounting",
        "/enclosure",
        "/ambient_celsius",
        "/place",
    ] {
        assert!(named.contains(&pointer), "{pointer} in {named:?}");
    }
    assert!(bare.assumptions.iter().all(|assumption| !assumption.why.is_empty()));
    let full = answer(SOUND, json!({"supply_limit_amps": 15, "supply_efficiency": 0.9}));
    let left: Vec<_> = full.assumptions.iter().map(|assumption| assumption.pointer.as_str()).collect();
    assert_eq!(left, ["/feed"], "only the temperature of the wire");
}

#[test]
fn a_length_that_is_not_given_follows_the_farthest_feed_point_unless_no_strip_is_so_dense() {
    let metres = |points: Value| {
        budget(&sheet(json!({"chip": "ws2812b", "pixels": 120, "feed": {"points": points}})), &[]).strip.metres
    };
    assert_eq!(metres(json!([0, 4])), 4.0);
    // 60 a metre is a common density, no source.
    assert_eq!(metres(json!([0])), 2.0);
    assert_eq!(metres(json!([0, 0.05])), 2.0);
}

#[test]
fn a_measured_full_white_takes_the_place_of_the_data_sheets() {
    // About 5 A for 144 pixels: common practice, no source.
    let answer = answer(EXAMPLE, json!({"measured_white_amps": 5.0}));
    assert_eq!((answer.full_white.amps, answer.full_white.measured), (5.0, true));
    close(answer.full_white.light_amps, 4.856, 1e-6);
}

#[test]
fn both_ends_lose_a_quarter_of_one_end_and_more_points_less() {
    // I R / 2 and I R / 8 with no feed wire; by lumps within 1.5 percent.
    let answer = answer(EXAMPLE, json!({"feed": {"metres": 0}, "idle_milliamps": 0}));
    let lost = |name: &str| {
        let way = answer.alternatives.iter().find(|way| way.name == name).unwrap();
        5.0 - way.full_white.minimum
    };
    close(lost("one end"), 8.64 * 0.2 / 2.0, 0.013);
    close(lost("both ends"), 8.64 * 0.2 / 8.0, 0.004);
    close(lost("the middle"), 8.64 * 0.2 / 8.0, 0.004);
    assert!(lost("both ends and the middle") < lost("both ends"));
    assert!(lost("four points, evenly from end to end") < lost("both ends and the middle"));
    close(5.0 - answer.voltage.minimum, lost("both ends"), 1e-6);
}

#[test]
fn idle_energy_is_that_of_the_table() {
    // 144 pixels of 1 mA at 5 V: 0.72 W, 6.3072 kWh a year, 7.42024 through a supply of 0.85.
    let idle = answer(EXAMPLE, json!({"supply_efficiency": 0.85})).idle;
    assert_eq!(idle.watts, 0.72);
    close(idle.dark_year_kwh, 7.42024, 1e-4);
    close(idle.relay_saves_kwh, 7.42024 * 0.75, 1e-4);
    assert_eq!(answer(EXAMPLE, json!({"relay": true})).idle.relay_saves_kwh, 0.0);
}

#[test]
fn cautions_are_about_everything_that_burns_or_shocks() {
    let answer = answer(SOUND, json!({}));
    use CautionAbout::{All, Capacitor, Current, Data, Heat, Mains};
    for about in [All, Mains, Current, Heat, Capacitor, Data] {
        assert!(answer.cautions.iter().any(|caution| caution.about == about), "{about:?}");
    }
    let all: String = answer.cautions.iter().map(|caution| caution.text.to_lowercase()).collect();
    for word in ["licensed electrician", "local codes", "selv", "residual current", "live", "charge", "fuse"] {
        assert!(all.contains(word), "{word}");
    }
}

#[test]
fn five_thousand_pixels_on_one_feed_get_an_answer_with_dangers() {
    let sheet = sheet(json!({
        "chip": "ws2812b", "pixels": 5000, "pixels_per_metre": 144, "supply_amps": 10, "feed": {"points": [0]}
    }));
    let answer = budget(&sheet, &[look("white", &[1.0, 1.0, 1.0])]);
    assert!(answer.findings.iter().filter(|finding| finding.grade == Grade::Danger).count() >= 3);
    assert_eq!((answer.voltage.minimum, answer.voltage.at_pixel), (0.0, 4999));
    assert!(answer.voltage.along.len() <= 102 && answer.voltage.along.last().unwrap().0 == 4999);
}

#[test]
fn the_report_keeps_its_width_and_tells_dangers_first() {
    let sheet = sheet(changed(EXAMPLE, json!({"fuse_amps": null})));
    let answer =
        budget(&sheet, &[look("evening", &[0.5, 0.5, 0.5]), look("a look with a long name", &[1.0, 1.0, 1.0])]);
    for width in [0, 50, 80, 120] {
        let text = report(&answer, width);
        let longest = text.lines().map(|line| line.chars().count()).max().unwrap();
        assert!(longest <= width.max(50), "{longest} for {width}");
        let place = |what: &str| text.find(what).unwrap_or_else(|| panic!("{what} in\n{text}"));
        assert!(place("DANGER") < place("To mend") && place("To mend") < place("To know"));
        assert!(place("To know") < place("\nCurrent\n"));
        assert!(text.ends_with('\n'));
    }
    let text = report(&answer, 80);
    for said in ["8.78 A", "evening", "a look with a long name", "licensed", "both ends"] {
        assert!(text.contains(said), "{said} in\n{text}");
    }
}
