//! Findings: each danger appears when it should, and goes when it is mended.

use light::budget::{Budget, Finding, Grade, budget};
use serde_json::{Value, json};

use crate::{EXAMPLE, SOUND, answer, changed, close, look, sheet};

fn found<'a>(answer: &'a Budget, rule: &str) -> Option<&'a Finding> {
    answer.findings.iter().find(|finding| finding.rule == rule)
}

/// The rule is silent on the sound sheet and speaks in this grade once these members change.
fn speaks(rule: &str, grade: Grade, changes: Value) -> Finding {
    assert!(found(&answer(SOUND, json!({})), rule).is_none(), "{rule} on the sound sheet");
    let answer = answer(SOUND, changes);
    let finding = found(&answer, rule).unwrap_or_else(|| panic!("{rule} in {:#?}", answer.findings));
    assert_eq!(finding.grade, grade);
    assert!(!finding.text.is_empty() && !finding.source.is_empty() && !finding.mend.is_empty());
    finding.clone()
}

#[test]
fn a_sound_sheet_has_neither_danger_nor_anything_to_mend() {
    let answer = answer(SOUND, json!({}));
    let grave: Vec<_> = answer.findings.iter().filter(|finding| finding.grade != Grade::Note).collect();
    assert!(grave.is_empty(), "{grave:#?}");
}

#[test]
fn no_fuse_is_a_danger() {
    let finding = speaks("fuse-missing", Grade::Danger, json!({"fuse_amps": null}));
    assert_eq!(finding.pointer, "/fuse_amps");
    assert!(finding.mend.contains("7.5 A"), "{}", finding.mend);
}

#[test]
fn a_fuse_above_the_weakest_conductor_or_connector_is_a_danger() {
    // Wire: AWG 22 counts below the table's 0.5 mm2.
    let wire = speaks("fuse-above-conductor", Grade::Danger, json!({"feed": {"mm2": null, "awg": 22}}));
    assert!(wire.text.contains("feed wire"), "{}", wire.text);
    let connector = speaks("fuse-above-conductor", Grade::Danger, json!({"feed": {"connector_amps": 3}}));
    assert_eq!((connector.value, connector.limit, connector.unit.as_deref()), (Some(5.0), Some(3.0), Some("A")));
    let rail = speaks("fuse-above-conductor", Grade::Danger, json!({"rail_amps": 4.9}));
    assert!(rail.text.contains("rail"), "{}", rail.text);
    assert!(found(&answer(SOUND, json!({"rail_amps": 5.0})), "fuse-above-conductor").is_none());
}

#[test]
fn each_branch_is_judged_by_its_upstream_fuse_and_not_by_its_share() {
    // Two feeds share 3.66 A, 1.83 A each: far below a connector of 4 A, but the one fuse of 5 A can put all on one.
    let one_fuse = answer(SOUND, json!({"feed": {"connector_amps": 4}}));
    assert!(one_fuse.branches.iter().all(|branch| branch.full_white_amps < 2.0 && branch.fuse_amps == Some(5.0)));
    assert!(found(&one_fuse, "fuse-above-conductor").is_some());
    // A fuse of its own in each branch mends it.
    let own_fuses = answer(SOUND, json!({"feed": {"connector_amps": 4, "fuse_amps": 4}}));
    assert!(own_fuses.branches.iter().all(|branch| branch.fuse_amps == Some(4.0)));
    assert!(found(&own_fuses, "fuse-above-conductor").is_none());
    // Branch fuses alone are fuses too.
    assert!(found(&answer(SOUND, json!({"fuse_amps": null, "feed": {"fuse_amps": 4}})), "fuse-missing").is_none());
}

#[test]
fn a_fuse_that_may_never_open_is_a_danger() {
    // UL 248-14 by way of the Fuseology guide: 200 percent opens. A supply of 9 A does not reach 2 x 5 A.
    let weak = speaks("fuse-may-never-open", Grade::Danger, json!({"supply_amps": 9}));
    assert_eq!((weak.value, weak.limit), (Some(9.0), Some(10.0)));
    assert!(weak.text.contains("supply gives no more"), "{}", weak.text);
    assert!(found(&answer(SOUND, json!({"supply_amps": 10})), "fuse-may-never-open").is_none());
    // One end and thin rails: 2 m of 0.5 ohm/m there and back let 2.5 A through.
    let far = json!({"rail_ohms_per_metre": 0.5, "feed": {"points": [0]}});
    let far = speaks("fuse-may-never-open", Grade::Danger, far);
    close(far.value.unwrap(), 5.0 / (2.0 * (1.0 + 0.00798 * 1.1572)), 0.001);
    assert!(far.text.contains("lets no more through"), "{}", far.text);
    // A branch fuse opens last: alone it sees the whole rail.
    let branch = json!({"rail_ohms_per_metre": 0.2, "feed": {"fuse_amps": 5}});
    let branch = answer(SOUND, branch);
    let finding = found(&branch, "fuse-may-never-open").unwrap();
    assert_eq!(finding.pointer, "/feed/fuse_amps");
}

#[test]
fn a_supply_that_limits_high_opens_the_fuse_and_its_stated_limit_counts() {
    let high = answer(SOUND, json!({"supply_amps": 9, "supply_limit_amps": 12}));
    assert!(found(&high, "fuse-may-never-open").is_none());
}

#[test]
fn supplies_in_parallel_are_a_danger() {
    speaks("supplies-in-parallel", Grade::Danger, json!({"supplies": 2}));
    assert!(found(&answer(SOUND, json!({"supplies": 1})), "supplies-in-parallel").is_none());
}

#[test]
fn full_white_above_the_supply_is_a_danger_and_close_to_it_wants_mending() {
    let above = json!({"supply_amps": 3.6, "supply_limit_amps": 20});
    let finding = speaks("full-white-above-supply", Grade::Danger, above);
    assert_eq!(finding.value, Some(3.66));
    speaks("full-white-near-supply", Grade::Mend, json!({"supply_amps": 4.5, "supply_limit_amps": 20}));
    // The controller counts too.
    let controller = json!({"supply_amps": 3.7, "supply_limit_amps": 20, "controller_milliamps": 250});
    assert_eq!(speaks("full-white-above-supply", Grade::Danger, controller).value, Some(3.91));
    speaks("supply-unknown", Grade::Mend, json!({"supply_amps": null}));
}

#[test]
fn full_white_above_what_mounting_and_enclosure_take_is_a_danger() {
    // 3.66 A at 5 V over 2 m: 9.15 W/m.
    let wood = speaks("full-white-above-heat", Grade::Danger, json!({"mounting": "wood"}));
    assert_eq!((wood.value, wood.limit), (Some(9.15), Some(8.0)));
    assert!(wood.source.contains("common practice"));
    let hot = speaks("full-white-above-heat", Grade::Danger, json!({"ambient_celsius": 50}));
    close(hot.limit.unwrap(), 25.0 * 10.0 / 35.0, 0.001);
    let sealed = answer(SOUND, json!({"mounting": "aluminium", "enclosure": "sealed"}));
    assert_eq!(sealed.heat.limit_watts_per_metre, 15.0);
}

#[test]
fn a_wet_or_outdoor_place_without_isolation_rcd_and_ingress_protection_is_a_danger() {
    for place in ["wet", "outdoor"] {
        speaks("place-unprotected", Grade::Danger, json!({"place": place}));
        let all = json!({"place": place, "protection": {"selv": true, "rcd": true, "ip": "IP65"}});
        assert!(found(&answer(SOUND, all), "place-unprotected").is_none());
        for lack in [json!({"selv": false}), json!({"rcd": null}), json!({"ip": "IP20"}), json!({"ip": null})] {
            let mut lacking = changed(SOUND, json!({"place": place}));
            lacking["protection"] = json!({"selv": true, "rcd": true, "ip": "IP65"});
            let lacking = changed(&lacking.to_string(), json!({"protection": lack}));
            assert!(found(&budget(&sheet(lacking.clone()), &[]), "place-unprotected").is_some(), "{lacking}");
        }
    }
    speaks("place-unprotected", Grade::Mend, json!({"place": "damp"}));
}

#[test]
fn a_large_buffer_without_an_inrush_limiter_is_a_danger() {
    let finding = speaks("capacitor-inrush", Grade::Danger, json!({"capacitor_microfarads": 10000}));
    assert!(finding.text.contains("switching on"));
    let limited = json!({"capacitor_microfarads": 10000, "inrush_limiter": true});
    assert!(found(&answer(SOUND, limited), "capacitor-inrush").is_none());
    speaks("capacitor-small", Grade::Mend, json!({"capacitor_microfarads": null}));
    speaks("capacitor-small", Grade::Mend, json!({"capacitor_microfarads": 470}));
}

#[test]
fn a_voltage_outside_the_chips_own_is_a_danger() {
    let finding = speaks("volts-outside-chip", Grade::Danger, json!({"volts": 5.5}));
    assert_eq!(finding.limit, Some(5.3));
    speaks("volts-outside-chip", Grade::Danger, json!({"volts": 4.4}));
}

#[test]
fn data_findings_follow_the_line() {
    // 0.7 of 5 V is 3.5 V (WS2812B data sheet).
    let low = speaks("data-level-low", Grade::Mend, json!({"data_volts": 3.3}));
    assert_eq!(low.limit, Some(3.5));
    assert!(low.mend.contains("74AHCT125"));
    speaks("data-resistor-missing", Grade::Mend, json!({"series_ohms": null}));
    speaks("data-rise-slow", Grade::Mend, json!({"series_ohms": 2000}));
    speaks("data-line-long", Grade::Mend, json!({"data_metres": 5}));
    speaks("data-ground-offset", Grade::Mend, json!({"feed": {"metres": 30}}));
    // The 12 V part's logic runs from 5 V inside.
    let twelve = json!({"chip": "ws2815", "volts": 12, "data_volts": 5.0});
    assert!(found(&answer(SOUND, twelve), "data-level-low").is_none());
}

#[test]
fn low_pixels_are_a_finding_and_the_mend_names_a_feed_that_helps() {
    let thin = json!({"rail_ohms_per_metre": 0.25, "rail_amps": 8, "feed": {"points": [0]}});
    let low = speaks("pixel-voltage-low", Grade::Mend, thin);
    assert!(low.value.unwrap() < 4.5 && low.limit == Some(4.5), "{low:?}");
    assert!(low.mend.contains("both ends") || low.mend.contains("middle"), "{}", low.mend);
    // Only full white is low, and the ceiling prevents it.
    let held = json!({"rail_ohms_per_metre": 0.25, "fuse_amps": 1, "feed": {"points": [0]}});
    speaks("pixel-voltage-low", Grade::Note, held);
}

#[test]
fn slow_frames_dimmed_looks_and_a_dark_strip_are_said() {
    let slow = changed(SOUND, json!({"pixels": 5000, "layout": null}));
    assert!(found(&budget(&sheet(slow.clone()), &[]), "frames-slow").is_some());
    let shared = changed(&slow.to_string(), json!({"layout": {"outputs": 8}}));
    assert!(found(&budget(&sheet(shared), &[]), "frames-slow").is_none());
    let small = sheet(changed(SOUND, json!({"fuse_amps": 2})));
    let dimmed = budget(&small, &[look("evening", &[1.0, 1.0, 1.0]), look("late", &[0.1, 0.0, 0.0])]);
    let finding = found(&dimmed, "look-dimmed").unwrap();
    assert!(finding.text.contains("evening") && finding.grade == Grade::Note, "{finding:?}");
    assert_eq!(dimmed.findings.iter().filter(|finding| finding.rule == "look-dimmed").count(), 1);
    let idle = speaks("idle-draw", Grade::Note, json!({"relay": false}));
    assert!(idle.text.contains("kWh"), "{}", idle.text);
    speaks("idle-above-ceiling", Grade::Mend, json!({"fuse_amps": 0.07, "idle_milliamps": 1}));
    speaks("fuse-opens-at-full-white", Grade::Note, json!({"fuse_amps": 3}));
    speaks("white-measured", Grade::Note, json!({"measured_white_amps": 2.5}));
}

#[test]
fn findings_come_gravest_first() {
    let answer = answer(EXAMPLE, json!({"fuse_amps": null}));
    let grades: Vec<_> = answer.findings.iter().map(|finding| finding.grade).collect();
    assert!(grades.is_sorted() && grades.first() == Some(&Grade::Danger), "{grades:?}");
}
