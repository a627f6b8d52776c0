//! The timetable: validated and kept entry by entry.

use almanac::{Dates, Days, Entry, MonthDay, Shift, Start, Timetable};
use document::Value;

use super::reader::{At, Known, Reader, described};

const ENTRY: &str = "write such as {\"start\":\"22:45\",\"look\":\"late\"}";
const DAYS: &str = "write such as [\"fri\",\"sat\"]";
const DATES: &str = "write two month-days, such as [\"12-01\",\"01-06\"]";
const CLAMP: &str = "write a wall time, such as \"16:30\"";

impl Reader {
    pub(super) fn timetable(&mut self, at: &At<'_>, value: &Value, known: Known<'_>) -> Timetable {
        let list = self.list(at, value, "write a list of entries");
        let mut entries = Vec::new();
        for (index, value) in list.iter().enumerate().take(almanac::ENTRIES_MAX) {
            let at = at.element(index);
            entries.extend(self.entry(&at, value, known));
        }
        if list.len() > almanac::ENTRIES_MAX {
            let most = almanac::ENTRIES_MAX;
            self.fault(
                &at.element(most),
                format!("the timetable has {} entries, at most {most} are kept", list.len()),
                "join entries by naming several days in one, or take some away",
            );
            return Timetable::default();
        }
        self.made(at, Timetable::new(entries), Timetable::default(), "take some entries away")
    }

    fn entry(&mut self, at: &At<'_>, value: &Value, known: Known<'_>) -> Option<Entry> {
        let Some(members) = value.as_object() else {
            self.fault(at, format!("this is {}, not an entry", described(value)), ENTRY);
            return None;
        };
        for needed in ["start", "look"] {
            if !members.contains_key(needed) {
                self.fault(&at.child(needed), format!("the entry has no {needed}"), ENTRY);
            }
        }
        let faults = self.count();
        let (mut start, mut look, mut shift) = (None, None, Shift::NONE);
        let (mut days, mut dates, mut not_before, mut not_after) = (None, None, None, None);
        for (name, value) in members {
            let at = at.child(name);
            match name.as_str() {
                "start" => {
                    let advice = "write HH:MM, HH:MM:SS, sunrise, sunset, dawn or dusk";
                    start =
                        self.text(&at, value, advice).and_then(|text| self.tried(&at, text.parse::<Start>(), advice));
                }
                "shift" => {
                    let advice = "write a signed duration of at most 12 hours, such as \"-PT30M\"";
                    if let Some(text) = self.text(&at, value, advice) {
                        shift = self.made(&at, text.parse::<Shift>(), Shift::NONE, advice);
                    }
                }
                "look" => look = self.look_name(&at, value, known),
                "days" => days = self.days(&at, value),
                "dates" => dates = self.dates(&at, value),
                "not_before" => not_before = self.wall_time(&at, value),
                "not_after" => not_after = self.wall_time(&at, value),
                _ => self.fault(
                    &at,
                    format!("an entry has no member {name:?}"),
                    "there are start, shift, look, days, dates, not_before and not_after",
                ),
            }
        }
        if self.count() > faults {
            return None;
        }
        let entry = Entry { start: start?, shift, look: look?, days, dates, not_before, not_after };
        self.tried(at, entry.check(), "let not_before be no later than not_after")?;
        Some(entry)
    }

    fn days(&mut self, at: &At<'_>, value: &Value) -> Option<Days> {
        let list = self.list(at, value, DAYS);
        let mut names = Vec::new();
        for (index, value) in list.iter().enumerate() {
            names.extend(self.text(&at.element(index), value, DAYS));
        }
        if !value.is_array() || names.len() < list.len() {
            return None;
        }
        self.tried(at, Days::from_names(names), DAYS)
    }

    fn dates(&mut self, at: &At<'_>, value: &Value) -> Option<Dates> {
        let list = self.list(at, value, DATES);
        let [from, to] = list else {
            if value.is_array() {
                self.fault(at, "dates are two month-days: from and to, both included", DATES);
            }
            return None;
        };
        let mut read = |index, value: &Value| {
            let at = at.element(index);
            self.text(&at, value, DATES).and_then(|text| self.tried(&at, text.parse::<MonthDay>(), DATES))
        };
        let (from, to) = (read(0, from), read(1, to));
        Some(Dates { from: from?, to: to? })
    }

    fn wall_time(&mut self, at: &At<'_>, value: &Value) -> Option<jiff::civil::Time> {
        let text = self.text(at, value, CLAMP)?;
        self.tried(at, almanac::wall_time(text), CLAMP)
    }
}
