//! What a fixture's message does: boots, reports, wishes, events, signs of life.

use std::borrow::Cow;
use std::sync::Arc;

use document::{Pointer, Revision, Step, Value};
use jiff::Timestamp;
use serde_json::Map;

use crate::change::{Answer, Decision, Noted};
use crate::command::{Edit, Precondition};
use crate::decide::edit_desired;
use crate::edit;
use crate::fixture::{Boot, Fixture, Held, Paper};
use crate::message::Message;
use crate::rejection::{Finding, Rejection};
use crate::rules::Rules;

/// Decides on a fixture's message.
pub(crate) fn hear(fixture: &Fixture, message: Message, rules: &Rules, now: Timestamp) -> Result<Decision, Rejection> {
    match message {
        Message::Boot { reason, have, firmware, boots, rssi } => {
            Ok(boot(fixture, Boot { at: now, reason, have, firmware, boots, rssi }, now))
        }
        Message::Ask { have } => ask(fixture, have, now),
        Message::Alive { alive } => Ok(alive_is(fixture, alive, now)),
        Message::Report { rev, patch } => report(fixture, rev, patch, now),
        Message::Event { event, n } => Ok(sensed(fixture, event, n, now)),
        Message::Wish { n, lit, owners_override } => wish(fixture, n, lit, owners_override, rules, now),
    }
}

/// A sign of life that changes nothing else. It is kept in memory and written with the next thing worth writing,
/// but for the first ever, by which a fixture stops being unheard, and one that comes after the fixture was said to
/// be gone: the message that it is back may have been lost.
fn heard(fixture: &Fixture, now: Timestamp) -> Decision {
    let mut next = fixture.clone();
    let first = next.life.heard.is_none();
    let back = next.life.alive == Some(false);
    next.life.heard = Some(now);
    if back {
        next.life.alive = Some(true);
        next.life.alive_at = Some(now);
    }
    if first || back {
        next.life.count = next.life.count.wrapping_add(1);
    }
    let answer = Answer { revision: fixture.desired.revision, ..Answer::default() };
    let mut decision = Decision::unchanged(next, answer);
    decision.lived = first || back;
    decision
}

/// A question changes nothing, but for what it says of the one who asks: a fixture that holds nothing has applied
/// nothing, and one that holds a revision that was never given (the house was restored from an older backup) is told.
fn ask(fixture: &Fixture, have: u64, now: Timestamp) -> Result<Decision, Rejection> {
    let (have, current) = (Revision::new(have), fixture.desired.revision);
    let holds_nothing = have == Revision::default();
    if have > current || (fixture.life.doubted && !holds_nothing) {
        return Err(Rejection::NeverGiven { rev: have, current });
    }
    let mut decision = heard(fixture, now);
    if holds_nothing
        && (fixture.life.applied != have || fixture.life.doubted)
        && let Some(next) = &mut decision.fixture
    {
        next.life.applied = have;
        next.life.applied_at = Some(now);
        next.life.fresh = true;
        next.life.doubted = false;
        next.life.count = next.life.count.wrapping_add(1);
        decision.lived = true;
    }
    Ok(decision)
}

fn boot(fixture: &Fixture, boot: Boot, now: Timestamp) -> Decision {
    let mut decision = heard(fixture, now);
    if let Some(next) = &mut decision.fixture {
        // the controller has forgotten everything but what it says that it has
        let have = Revision::new(boot.have);
        let known = have <= fixture.desired.revision && !fixture.life.doubted;
        next.life.applied = if known { have } else { Revision::default() };
        next.life.doubted = fixture.life.doubted && have != Revision::default();
        next.life.applied_at = Some(now);
        next.life.fresh = next.life.applied == Revision::default();
        next.life.wish_n = None;
        next.life.event_n = None;
        next.life.boots_heard = next.life.boots_heard.saturating_add(1);
        next.life.boot = Some(Arc::new(boot.clone()));
        next.life.count = next.life.count.wrapping_add(1);
    }
    decision.lived = true;
    decision.noted = Some(Noted::Boot(boot));
    decision
}

fn alive_is(fixture: &Fixture, alive: bool, now: Timestamp) -> Decision {
    if fixture.life.alive == Some(alive) {
        return if alive { heard(fixture, now) } else { quiet(fixture) };
    }
    // a will is the broker's word about a fixture, not the fixture's own
    let mut decision = if alive { heard(fixture, now) } else { quiet(fixture) };
    if let Some(next) = &mut decision.fixture {
        next.life.alive = Some(alive);
        next.life.alive_at = Some(now);
        next.life.count = next.life.count.wrapping_add(1);
    }
    decision.lived = true;
    decision
}

fn quiet(fixture: &Fixture) -> Decision {
    let answer = Answer { revision: fixture.desired.revision, ..Answer::default() };
    Decision::unchanged(fixture.clone(), answer)
}

fn report(fixture: &Fixture, rev: u64, patch: Option<Value>, now: Timestamp) -> Result<Decision, Rejection> {
    let rev = Revision::new(rev);
    let current = fixture.desired.revision;
    if rev > current || fixture.life.doubted {
        return Err(Rejection::NeverGiven { rev, current });
    }
    // an older report that arrives late must not take back what a newer one said
    if rev < fixture.life.applied {
        return Ok(heard(fixture, now));
    }
    // without a patch, what it has is known only while the revision that it took is the current one
    let known = patch.is_some() || rev == current;
    let (mut after, made) = reported(fixture, patch, rev == current);
    let text = match &made {
        Some(_) => Some(written(&after)?),
        None => None,
    };
    let mut decision = heard(fixture, now);
    let Some(next) = &mut decision.fixture else { return Ok(decision) };
    if next.life.applied != rev || (next.life.fresh && known) {
        next.life.fresh = next.life.fresh && !known;
        next.life.applied = rev;
        next.life.applied_at = Some(now);
        next.life.count = next.life.count.wrapping_add(1);
        decision.lived = true;
    }
    if let (Some(made), Some(text)) = (made, text) {
        let held = &*fixture.reported;
        match steady(fixture, made, &after) {
            Some(made) => {
                let told = steady_text(fixture.volatile(), &mut after, &text);
                let step = edit::Step::of(Paper::Reported, held, made, told, now);
                decision.entries.push(step.entry);
                decision.answer.changed = step.changed;
                next.reported = Arc::new(Held { text, ..step.held });
            }
            None => next.reported = Arc::new(Held { drift: held.drift.wrapping_add(1), text, ..held.clone() }),
        }
        decision.rewritten.push(Paper::Reported);
    }
    decision.answer.revision = next.reported.revision;
    Ok(decision)
}

/// The reported document after a report, and what changed in it.
fn reported(fixture: &Fixture, patch: Option<Value>, current: bool) -> (Value, Option<Step>) {
    let mut before = fixture.reported.value();
    let after = match patch {
        // after a boot with nothing it reports from nothing: a merge patch could not say what it no longer knows of
        Some(patch) if fixture.life.fresh => document::merged(&Value::Object(Map::new()), &patch),
        Some(patch) => {
            let made = document::merge_step(&mut before, &patch);
            return (before, made);
        }
        // taken as given: it can only be mirrored while the revision that was taken is the current one
        None if current => taken_as_given(fixture, &before),
        None => return (before, None),
    };
    let made = document::step(&before, &after);
    (after, made)
}

fn written(after: &Value) -> Result<Arc<str>, Rejection> {
    document::check_written(after).map(Arc::from).map_err(|fault| {
        Rejection::Message(Finding::new(
            Pointer::default().child("patch").join(&fault.pointer),
            format!("the reported document would break a bound: {}", fault.problem),
            fault.problem.advice(),
        ))
    })
}

/// What is left of a step when the volatile members do not count; `None` when nothing is.
fn steady(fixture: &Fixture, mut made: Step, after: &Value) -> Option<Step> {
    let volatile = fixture.volatile();
    let touched = |pointer: &&Pointer| document::touches(&made.patch, pointer);
    let touched: Vec<Pointer> = volatile.iter().filter(touched).cloned().collect();
    if touched.is_empty() {
        return Some(made);
    }
    if touched.iter().any(|pointer| pointer.tokens().count() > 1) {
        // what holds a volatile member may have come or gone with it: only the documents tell
        return document::step(&fixture.reported_steady(), &document::without(after, volatile));
    }
    document::remove(&mut made.patch, &touched);
    document::remove(&mut made.inverse, &touched);
    made.changed.retain(|place| !touched.iter().any(|volatile| volatile.is_prefix_of(place)));
    (!made.changed.is_empty()).then_some(made)
}

/// The text of the document without its volatile members. What has none is not written anew.
fn steady_text(volatile: &[Pointer], after: &mut Value, text: &Arc<str>) -> Arc<str> {
    if volatile.iter().all(|pointer| pointer.resolve(after).is_none()) {
        return Arc::clone(text);
    }
    document::remove(after, volatile);
    document::write(after).into()
}

/// The desired document with the volatile members that the fixture reported kept beside it.
fn taken_as_given(fixture: &Fixture, before: &Value) -> Value {
    let volatile = fixture.volatile();
    let mut after = fixture.desired.value();
    document::remove(&mut after, volatile);
    for pointer in volatile {
        let path: Vec<_> = pointer.tokens().collect();
        if let (Some(after), Some(before)) = (after.as_object_mut(), before.as_object()) {
            keep(after, before, &path);
        }
    }
    after
}

/// Keeps one member, unless something that is no object now stands on the way to it.
fn keep(after: &mut Map<String, Value>, before: &Map<String, Value>, path: &[Cow<'_, str>]) {
    match path {
        [] => {}
        [name] => {
            if let Some(value) = before.get(name.as_ref()) {
                after.insert(name.to_string(), value.clone());
            }
        }
        [parent, rest @ ..] => {
            let Some(Value::Object(from)) = before.get(parent.as_ref()) else { return };
            match after.get_mut(parent.as_ref()) {
                Some(Value::Object(into)) => keep(into, from, rest),
                Some(_) => {}
                None => {
                    let mut into = Map::new();
                    keep(&mut into, from, rest);
                    if !into.is_empty() {
                        after.insert(parent.to_string(), Value::Object(into));
                    }
                }
            }
        }
    }
}

/// Whether a counted message is news: numbers count up from any start after a boot; what is not above the last
/// one taken is a duplicate or came out of order.
fn is_news(last: Option<u64>, n: u64) -> bool {
    last.is_none_or(|last| n > last)
}

fn sensed(fixture: &Fixture, event: Arc<str>, n: u64, now: Timestamp) -> Decision {
    let mut decision = heard(fixture, now);
    if is_news(fixture.life.event_n, n)
        && let Some(next) = &mut decision.fixture
    {
        next.life.event_n = Some(n);
        next.life.count = next.life.count.wrapping_add(1);
        decision.lived = true;
        decision.noted = Some(Noted::Event { event, n });
    }
    decision
}

fn wish(
    fixture: &Fixture,
    n: u64,
    lit: Option<bool>,
    owners_override: Option<Option<Value>>,
    rules: &Rules,
    now: Timestamp,
) -> Result<Decision, Rejection> {
    if !is_news(fixture.life.wish_n, n) {
        return Ok(heard(fixture, now));
    }
    let mut after = fixture.desired.value();
    if let Some(lit) = lit {
        after = edit::edited(after, Edit::Member("lit", Some(Value::Bool(lit))))?.after;
    }
    if let Some(wished) = owners_override {
        after = edit::edited(after, Edit::Member("override", wished.map(without_null_until)))?.after;
    }
    if !fixture.outlook().has_looks() {
        return Err(Rejection::NoLooks { id: fixture.id.clone(), kind: fixture.record.kind.clone() });
    }
    let mut decision = edit_desired(fixture, Edit::Replace(after), &Precondition::None, rules, now)?;
    if let (Some(next), Some(heard)) = (&mut decision.fixture, heard(fixture, now).fixture) {
        next.life = heard.life;
        next.life.wish_n = Some(n);
        next.life.count = next.life.count.wrapping_add(1);
    }
    decision.lived = true;
    Ok(decision)
}

/// `"until": null` means until released, which a document says by leaving it out.
#[must_use]
pub fn without_null_until(mut wished: Value) -> Value {
    if let Some(members) = wished.as_object_mut()
        && members.get("until").is_some_and(Value::is_null)
    {
        members.remove("until");
    }
    wished
}
