//! The one place where it is decided what a command does.

use std::sync::{Arc, OnceLock};

use almanac::Running;
use document::{Pointer, Revision, Value};
use jiff::Timestamp;

use crate::change::{Answer, Decision, Publish};
use crate::command::{Command, Edit, Precondition};
use crate::edit::{self, Edited, Step};
use crate::fixture::{Fixture, FixtureKey, Held, Life, Paper};
use crate::hear;
use crate::kind::{Accepted, Kind};
use crate::name::FixtureId;
use crate::outlook::Outlook;
use crate::placing;
use crate::record::Record;
use crate::rejection::{Advice, Rejection};
use crate::rules::Rules;

/// Decides on a command: what the fixture becomes and which rows are to be written, or why not.
///
/// `fixture` is the fixture of that id as it stands, `spare` the key that a fixture made by this command gets.
///
/// # Errors
/// The reason why nothing changes.
pub fn decide(
    fixture: Option<&Fixture>,
    command: Command,
    spare: FixtureKey,
    rules: &Rules,
    now: Timestamp,
) -> Result<Decision, Rejection> {
    if let Command::Create { id, record } = command {
        return match fixture {
            Some(_) => Err(Rejection::Exists(id)),
            None => create(id, &record, spare, rules, now),
        };
    }
    let Some(fixture) = fixture else { return Err(Rejection::UnknownFixture(command.fixture().to_string())) };
    match command {
        Command::Create { .. } => Err(Rejection::Exists(fixture.id.clone())),
        Command::Edit { paper: Paper::Fixture, edit, precondition, .. } => {
            edit_record(fixture, edit, &precondition, rules, now)
        }
        Command::Edit { paper: Paper::Desired, edit, precondition, .. } => {
            edit_desired(fixture, edit, &precondition, rules, now)
        }
        Command::Edit { paper: Paper::Reported, .. } => Err(Rejection::invalid(
            Pointer::default(),
            "what is reported is the fixture's own word, nobody else can change it",
            "edit the desired document instead",
        )),
        Command::Undo { from, target, .. } => {
            let target = if is_strip(fixture, rules) { without_ended_override(target, now) } else { target };
            edit_desired(fixture, Edit::Replace(target), &Precondition::OneOf(vec![from.get()]), rules, now)
        }
        Command::Delete { precondition, .. } => delete(fixture, &precondition),
        Command::Enrol { secret, broker_line, .. } => {
            let mut after = fixture.clone();
            after.secret = Some(secret);
            after.enrolled_at = Some(now);
            let mut decision = Decision::unchanged(after, Answer::default());
            decision.enrolled = Some(broker_line);
            Ok(decision)
        }
        Command::Hear { message, .. } => hear::hear(fixture, message, rules, now),
        Command::Tick { .. } => tick(fixture, rules, now),
    }
}

fn create(id: FixtureId, given: &Value, key: FixtureKey, rules: &Rules, now: Timestamp) -> Result<Decision, Rejection> {
    let whole = Record::completed(&id, given);
    let text = edit::written(&whole)?;
    let record = Record::read(&id, &whole).map_err(Rejection::Invalid)?;
    rules.kinds.get(&record.kind).ok_or_else(|| rules.kinds.unknown(&record.kind))?;
    let empty = Held::empty(now);
    let made = document::step(&empty.value(), &whole)
        .ok_or_else(|| Rejection::invalid(Pointer::default(), "the record is empty", "give at least a title"))?;
    let step = Step::of(Paper::Fixture, &empty, made, text, now);
    let fixture = Fixture {
        key,
        id,
        created: now,
        record: Arc::new(record),
        record_held: Arc::new(step.held),
        desired: Arc::new(empty.clone()),
        reported: Arc::new(empty),
        secret: None,
        enrolled_at: None,
        life: Life::unheard(),
        outlook: Arc::new(OnceLock::new()),
    };
    let answer = Answer { revision: step.entry.revision, changed: step.changed, advice: Vec::new() };
    let mut decision = Decision::unchanged(fixture, answer);
    decision.entries.push(step.entry);
    decision.rewritten.push(Paper::Fixture);
    decision.publish = Publish::State;
    Ok(decision)
}

fn require(precondition: &Precondition, current: Revision) -> Result<(), Rejection> {
    if precondition.holds(current) { Ok(()) } else { Err(Rejection::Stale { current }) }
}

fn edit_record(
    fixture: &Fixture,
    edit: Edit,
    precondition: &Precondition,
    rules: &Rules,
    now: Timestamp,
) -> Result<Decision, Rejection> {
    let held = &fixture.record_held;
    require(precondition, held.revision)?;
    let Edited { after, step } = edit::edited(held.value(), edit)?;
    let text = edit::written(&after)?;
    let record = Record::read(&fixture.id, &after).map_err(Rejection::Invalid)?;
    let Some(made) = step else {
        let answer = Answer { revision: held.revision, ..Answer::default() };
        return Ok(Decision::unchanged(fixture.clone(), answer));
    };
    let advice =
        if record.kind == fixture.record.kind { Vec::new() } else { changed_kind(fixture, &record, rules, now)? };
    check_place_left(fixture, &record, rules)?;
    let step = Step::of(Paper::Fixture, held, made, text, now);
    let revealed = revealed(fixture, &record, now);
    let mut next = fixture.clone();
    next.record = Arc::new(record);
    next.record_held = Arc::new(step.held);
    next.outlook = Arc::new(OnceLock::new());
    let answer = Answer { revision: step.entry.revision, changed: step.changed, advice };
    let mut decision = Decision::unchanged(next, answer);
    decision.entries.push(step.entry);
    decision.rewritten.push(Paper::Fixture);
    if let (Some(step), Some(next)) = (revealed, &mut decision.fixture) {
        next.reported = Arc::new(Held { text: Arc::clone(&fixture.reported.text), ..step.held });
        decision.entries.push(step.entry);
        decision.rewritten.push(Paper::Reported);
    }
    decision.publish = Publish::State;
    Ok(decision)
}

/// A change of kind must not leave a desired document that the new kind would refuse. One that was never written is
/// not asked: a fixture is made without one too.
fn changed_kind(fixture: &Fixture, record: &Record, rules: &Rules, now: Timestamp) -> Result<Vec<Advice>, Rejection> {
    if fixture.desired.revision == Revision::default() {
        rules.kinds.get(&record.kind).ok_or_else(|| rules.kinds.unknown(&record.kind))?;
        return Ok(Vec::new());
    }
    let desired = fixture.desired.value();
    rules.kinds.accept(&record.kind, &desired, &desired, now)
}

/// A record must not leave a timetable without a place that had one, nor a new kind take up a timetable without one.
fn check_place_left(fixture: &Fixture, record: &Record, rules: &Rules) -> Result<(), Rejection> {
    if record.place.is_some() || rules.site.is_some() {
        return Ok(());
    }
    let why = if fixture.record.place.is_some() {
        "the place is taken away"
    } else if record.kind != fixture.record.kind {
        "as a strip it would follow its timetable"
    } else {
        return Ok(());
    };
    let outlook = Outlook::read(&record.kind, &fixture.desired.value(), fixture.desired.at);
    outlook.plan().map_or(Ok(()), |plan| placing::check_left(plan, why)).map_err(Rejection::Invalid)
}

/// The step of the reported document as history tells it when the owner names other members as volatile: what is no
/// longer volatile comes into history, what now is leaves it. Without it, history would not lead to the document.
fn revealed(fixture: &Fixture, record: &Record, now: Timestamp) -> Option<Step> {
    let reported = fixture.reported.value();
    let before = document::without(&reported, fixture.volatile());
    let after = document::without(&reported, &record.volatile);
    let made = document::step(&before, &after)?;
    Some(Step::of(Paper::Reported, &fixture.reported, made, document::write(&after).into(), now))
}

fn is_strip(fixture: &Fixture, rules: &Rules) -> bool {
    matches!(rules.kinds.get(&fixture.record.kind), Some(Kind::Strip))
}

/// A state of the past without its override if that has ended since: it shows nothing any more, and setting it anew
/// would be refused.
fn without_ended_override(mut target: Value, now: Timestamp) -> Value {
    let until = target.pointer("/override/until").and_then(Value::as_str).map(str::parse::<almanac::Until>);
    if matches!(until, Some(Ok(almanac::Until::At(until))) if until <= now)
        && let Some(members) = target.as_object_mut()
    {
        members.remove("override");
    }
    target
}

/// An edit of the desired document; also used by wishes, undo and the end of an override.
pub(crate) fn edit_desired(
    fixture: &Fixture,
    edit: Edit,
    precondition: &Precondition,
    rules: &Rules,
    now: Timestamp,
) -> Result<Decision, Rejection> {
    let held = &fixture.desired;
    require(precondition, held.revision)?;
    if let Edit::Member(..) = edit
        && !is_strip(fixture, rules)
    {
        return Err(Rejection::NoLooks { id: fixture.id.clone(), kind: fixture.record.kind.clone() });
    }
    let Edited { mut after, mut step } = edit::edited(held.value(), edit)?;
    let kind = &fixture.record.kind;
    let place = fixture.place(rules.site.as_deref());
    let mut advice = Vec::new();
    if step.as_ref().is_some_and(|made| made.patch.get("override").is_none())
        && waits_for_a_change(&after)
        && fixture.override_has_ended(place, NO_LINKS, now)
    {
        after = edit::edited(after, Edit::Member("override", None))?.after;
        step = document::step(&held.value(), &after);
        let text = "the override had ended with a change of the timetable, so it was cleared with this edit";
        advice.push(Advice { pointer: Pointer::default().child("override"), text: text.to_owned() });
    }
    let Some(made) = step else {
        // nothing changes, but what is worth knowing of the document is said all the same
        let Accepted { mut advice, strip } = rules.kinds.read(kind, &after, false, now)?;
        if let Some(strip) = &strip {
            placing::advise(strip, place, &mut advice);
        }
        return Ok(Decision::unchanged(
            fixture.clone(),
            Answer { revision: held.revision, changed: Vec::new(), advice },
        ));
    };
    let text = edit::written(&after)?;
    let overridden_anew = made.patch.get("override").is_some();
    let Accepted { advice: read, strip } = rules.kinds.read(kind, &after, overridden_anew, now)?;
    advice.splice(0..0, read);
    if let Some(strip) = &strip {
        if place.is_none() && made.patch.get("timetable").is_some() {
            placing::check_new(&strip.plan()).map_err(Rejection::Invalid)?;
        }
        placing::advise(strip, place, &mut advice);
    }
    let step = Step::of(Paper::Desired, held, made, text, now);
    let mut next = fixture.clone();
    next.desired = Arc::new(step.held);
    next.outlook = Arc::new(OnceLock::from(Outlook::of(strip, now)));
    let answer = Answer { revision: step.entry.revision, changed: step.changed, advice };
    let mut decision = Decision::unchanged(next, answer);
    decision.entries.push(step.entry);
    decision.rewritten.push(Paper::Desired);
    decision.publish = Publish::State;
    Ok(decision)
}

/// No link changes when an override ends.
const NO_LINKS: &[Running] = &[];

/// Whether a document has an override until the next change of the timetable. Whether that has ended is reckoned from
/// the last edit, so an edit that left an ended one in place would have it begin anew.
fn waits_for_a_change(document: &Value) -> bool {
    document.pointer("/override/until").is_some_and(|until| until == "next-change")
}

fn delete(fixture: &Fixture, precondition: &Precondition) -> Result<Decision, Rejection> {
    let held = &fixture.record_held;
    require(precondition, held.revision)?;
    let entry = edit::ending(held, held.revision.next());
    let answer = Answer { revision: entry.revision, changed: vec![Pointer::default()], advice: Vec::new() };
    let mut decision = Decision::unchanged(fixture.clone(), answer);
    decision.fixture = None;
    decision.entries.push(entry);
    decision.publish = Publish::Withdraw;
    Ok(decision)
}

/// Clears an override whose time is over. Called at the deadline, and at start for what ended meanwhile.
fn tick(fixture: &Fixture, rules: &Rules, now: Timestamp) -> Result<Decision, Rejection> {
    if fixture.override_has_ended(rules.site.as_deref(), NO_LINKS, now) {
        edit_desired(fixture, Edit::Member("override", None), &Precondition::None, rules, now)
    } else {
        let answer = Answer { revision: fixture.desired.revision, ..Answer::default() };
        Ok(Decision::unchanged(fixture.clone(), answer))
    }
}
