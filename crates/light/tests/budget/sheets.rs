//! Build sheets: what is taken, and every fault with its place.

use light::budget::{BudgetError, BuildSheet, Chip, Fault, FaultKind, Feed, SheetMembers, UncheckedSheet};
use serde_json::{Value, json};

use crate::{EXAMPLE, SOUND, changed, sheet};

fn faults(text: &str) -> Vec<Fault> {
    match serde_json::from_str::<UncheckedSheet>(text).unwrap().check() {
        Err(BudgetError::Sheet(faults)) => faults,
        other => panic!("{other:?} for {text}"),
    }
}

fn faults_with(changes: Value) -> Vec<Fault> {
    faults(&changed(SOUND, changes).to_string())
}

/// Exactly one fault, of this kind, at this place.
fn one(changes: Value, pointer: &str, kind: FaultKind) {
    let faults = faults_with(changes.clone());
    assert_eq!(faults.len(), 1, "{changes}: {faults:?}");
    assert_eq!((faults[0].pointer.as_str(), faults[0].kind), (pointer, kind), "{changes}: {faults:?}");
    assert!(!faults[0].text.is_empty() && !faults[0].mend.is_empty());
}

#[test]
fn a_sheet_reads_back_as_it_was_written() {
    for text in [SOUND, EXAMPLE] {
        let value: Value = serde_json::from_str(text).unwrap();
        let sheet = sheet(value);
        let written = serde_json::to_string(&sheet).unwrap();
        let again: BuildSheet = serde_json::from_str(&written).unwrap();
        assert_eq!(again, sheet);
        assert_eq!(again.pixels, sheet.pixels);
    }
}

#[test]
fn a_chip_and_a_number_of_pixels_are_enough() {
    let sheet = sheet(json!({"chip": "apa102", "pixels": 1}));
    assert_eq!(serde_json::to_value(&sheet).unwrap(), json!({"chip": "apa102", "pixels": 1}));
    assert_eq!(sheet.clone().into_members(), SheetMembers::new(Chip::Apa102, 1));
}

#[test]
fn null_counts_as_left_out() {
    let sheet = sheet(json!({"chip": "apa102", "pixels": 1, "fuse_amps": null, "feed": null}));
    assert_eq!((sheet.fuse_amps, sheet.feed.clone()), (None, None));
}

#[test]
fn each_fault_is_told_with_its_place() {
    one(json!({"pixels": 0, "feed": {"points": [0]}, "layout": null}), "/pixels", FaultKind::OutOfRange);
    one(json!({"pixels": 20001, "layout": null}), "/pixels", FaultKind::OutOfRange);
    one(json!({"pixels": 60.5, "layout": null}), "/pixels", FaultKind::OutOfRange);
    one(json!({"pixels": "sixty"}), "/pixels", FaultKind::WrongType);
    one(json!({"supply_amps": -10}), "/supply_amps", FaultKind::OutOfRange);
    one(json!({"fuse_amps": 0}), "/fuse_amps", FaultKind::OutOfRange);
    one(json!({"fuse_amps": "5 A"}), "/fuse_amps", FaultKind::WrongType);
    one(json!({"relay": "yes"}), "/relay", FaultKind::WrongType);
    one(json!({"chip": "ws2812x"}), "/chip", FaultKind::UnknownName);
    one(json!({"mounting": "ice"}), "/mounting", FaultKind::UnknownName);
    one(json!({"colour": "red"}), "/colour", FaultKind::UnknownMember);
    one(json!({"feed": {"guage": 4}}), "/feed/guage", FaultKind::UnknownMember);
    one(json!({"feed": {"awg": 18}}), "/feed/awg", FaultKind::Clash);
    one(json!({"feed": {"points": [0, 2.5]}}), "/feed/points/1", FaultKind::OffTheStrip);
    one(json!({"feed": {"points": [0, 2.07]}}), "/feed/points/1", FaultKind::OffTheStrip);
    one(json!({"feed": {"points": [-0.1]}}), "/feed/points/0", FaultKind::OffTheStrip);
    one(json!({"feed": {"points": []}}), "/feed/points", FaultKind::OutOfRange);
    one(json!({"feed": {"points": [0, "end"]}}), "/feed/points/1", FaultKind::WrongType);
    one(json!({"feed": {"points": [0, 1, 0]}}), "/feed/points/2", FaultKind::TwiceGiven);
    one(json!({"volts": 12}), "/volts", FaultKind::VoltsAgainstChip);
    one(json!({"layout": {"runs": [[0, 60]]}}), "/layout/runs/0/1", FaultKind::OffTheStrip);
    one(json!({"layout": {"runs": [[0, 20], [30, 20]]}}), "/layout/runs/1", FaultKind::Clash);
    one(json!({"layout": {"runs": [[0]]}}), "/layout/runs/0", FaultKind::WrongType);
    one(json!({"layout": {"runs": []}}), "/layout/runs", FaultKind::OutOfRange);
    one(json!({"layout": {"skip": 60}}), "/layout/skip", FaultKind::OffTheStrip);
    one(json!({"layout": {"order": "GRX"}}), "/layout/order", FaultKind::UnknownName);
    one(json!({"layout": {"white_balance": [1, 0.9]}}), "/layout/white_balance", FaultKind::OutOfRange);
    one(json!({"layout": {"white_balance": [1, 1.1, 1]}}), "/layout/white_balance/1", FaultKind::OutOfRange);
    one(json!({"protection": {"ip": "waterproof"}}), "/protection/ip", FaultKind::UnknownName);
    one(json!({"supplies": 0}), "/supplies", FaultKind::OutOfRange);
    one(json!({"feed": 3}), "/feed", FaultKind::WrongType);
}

#[test]
fn a_member_with_slashes_has_an_escaped_place() {
    one(json!({"a/b~c": 1}), "/a~1b~0c", FaultKind::UnknownMember);
}

#[test]
fn all_faults_are_told_at_once() {
    let faults = faults_with(json!({"chip": "x", "fuse_amps": -1, "feed": {"points": [9]}, "what": 1}));
    let places: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
    for place in ["/chip", "/fuse_amps", "/feed/points/0", "/what"] {
        assert!(places.contains(&place), "{place} in {places:?}");
    }
    assert_eq!(places.len(), 4, "{places:?}");
    let told = BudgetError::Sheet(faults).to_string();
    assert!(told.contains("4 faults") && told.contains("/feed/points/0"), "{told}");
}

#[test]
fn what_is_missing_is_told_once() {
    let places: Vec<_> = faults("{}").into_iter().map(|fault| (fault.pointer, fault.kind)).collect();
    assert_eq!(places, [("/chip".to_owned(), FaultKind::Missing), ("/pixels".to_owned(), FaultKind::Missing)]);
    assert_eq!(faults("[]")[0].kind, FaultKind::WrongType);
    assert_eq!(faults("null")[0].pointer, "");
}

#[test]
fn a_member_given_twice_is_refused() {
    let faults = faults(r#"{"chip": "ws2812b", "pixels": 1, "pixels": 2}"#);
    assert_eq!((faults[0].pointer.as_str(), faults[0].kind), ("/pixels", FaultKind::TwiceGiven));
}

#[test]
fn a_point_one_pixel_past_the_end_is_the_end_since_lengths_get_rounded() {
    // 100 pixels at 60 a metre are 1.6667 m.
    sheet(json!({"chip": "ws2812b", "pixels": 100, "pixels_per_metre": 60, "feed": {"points": [0, 1.67]}}));
}

#[test]
fn a_sheet_made_in_code_keeps_the_same_rules() {
    let feed = Feed { points: Some(vec![f64::NAN]), metres: Some(f64::INFINITY), ..Feed::default() };
    let members = SheetMembers { feed: Some(feed), volts: Some(f64::NAN), ..SheetMembers::new(Chip::Ws2812b, 10) };
    let Err(BudgetError::Sheet(faults)) = members.check() else { panic!("taken") };
    let places: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
    for place in ["/volts", "/feed/metres", "/feed/points/0"] {
        assert!(places.contains(&place), "{place} in {places:?}");
    }
}

#[test]
fn reading_a_sheet_directly_refuses_with_every_fault_in_the_text() {
    let error = serde_json::from_str::<BuildSheet>(r#"{"chip": "ws2812b", "pixels": 0, "x": 1}"#).unwrap_err();
    assert!(error.to_string().contains("/pixels") && error.to_string().contains("/x"), "{error}");
}
