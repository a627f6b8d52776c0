//! Looks: colours or kelvin, intensity, span, motif.

use std::collections::BTreeMap;

use document::Value;
use light::{Colour, Fraction, Intensity, Look, Motif, MotifName, Seconds, Span, Toward};

use super::reader::{At, Reader, described};
use super::{DARK, LOOKS, OVERRIDE};

const COLOURS: &str = "write 1 to 8 CSS colours, such as [\"#3fb6a8\",\"gold\"]";
const MOTIF: &str = "write such as {\"name\":\"unroll\",\"seconds\":1.5}";

impl Reader {
    pub(super) fn looks(&mut self, at: &At<'_>, value: &Value) -> BTreeMap<String, Look> {
        let mut looks = BTreeMap::new();
        let Some(members) = value.as_object() else {
            self.fault(
                at,
                format!("this is {}, not an object", described(value)),
                "write such as {\"evening\":{\"colours\":[\"gold\"]}}",
            );
            return looks;
        };
        if members.len() > LOOKS {
            self.fault(at, format!("there are {} looks, at most {LOOKS} are kept", members.len()), "take some away");
        }
        for (name, value) in members {
            let at = at.child(name);
            if name == DARK || name == OVERRIDE {
                self.fault(
                    &at,
                    format!("the name {name} is taken: it has a meaning of its own"),
                    "choose another name",
                );
            } else if let Some(look) = self.look(&at, value) {
                looks.insert(name.clone(), look);
            }
        }
        looks
    }

    pub(super) fn look(&mut self, at: &At<'_>, value: &Value) -> Option<Look> {
        let Some(members) = value.as_object() else {
            self.fault(
                at,
                format!("this is {}, not a look", described(value)),
                "write such as {\"colours\":[\"gold\"],\"intensity\":60}",
            );
            return None;
        };
        let faults = self.count();
        let mut builder = Look::builder();
        for (name, value) in members {
            let at = at.child(name);
            match name.as_str() {
                "colours" => builder = builder.colours(self.colours(&at, value)),
                "kelvin" => {
                    if let Some(kelvin) = self.number(&at, value, "write 1000 to 12000, such as 2400") {
                        builder = builder.kelvin(kelvin);
                    }
                }
                "intensity" => {
                    let advice = "write 0 to 100, as the eye sees it";
                    if let Some(n) = self.number(&at, value, advice) {
                        builder = builder.intensity(self.made(&at, Intensity::new(n), Intensity::FULL, advice));
                    }
                }
                "span" => builder = builder.span(self.span(&at, value)),
                "motif" => builder = builder.motif(self.motif(&at, value)),
                _ => self.advise(&at, format!("{name} is not known to sconced; it is kept for the firmware as it is")),
            }
        }
        if self.count() > faults {
            return None; // what is missing because it was faulty is no fault of its own
        }
        self.tried(at, builder.build(), "write colours or kelvin, such as {\"kelvin\":2400,\"intensity\":22}")
    }

    fn colours(&mut self, at: &At<'_>, value: &Value) -> Vec<Colour> {
        let list = self.list(at, value, COLOURS);
        if value.is_array() && !(1..=light::COLOURS_MAX).contains(&list.len()) {
            self.fault(at, format!("there are {} colours", list.len()), COLOURS);
        }
        let mut colours = Vec::new();
        for (index, value) in list.iter().take(light::COLOURS_MAX).enumerate() {
            let at = at.element(index);
            if let Some(text) = self.text(&at, value, COLOURS) {
                colours.extend(self.tried(
                    &at,
                    text.parse::<Colour>(),
                    "write a CSS colour, such as \"#3fb6a8\", \"gold\" or \"hsl(174 49% 48%)\"",
                ));
            }
        }
        colours
    }

    fn span(&mut self, at: &At<'_>, value: &Value) -> Span {
        let advice = "write the lit part from 0 to 1, such as [0.0, 0.2]";
        let list = self.list(at, value, advice);
        let numbers: Vec<f64> = list.iter().filter_map(Value::as_f64).collect();
        match (list.len(), numbers.as_slice()) {
            (2, [from, to]) => self.made(at, Span::new(*from, *to), Span::WHOLE, advice),
            _ => {
                if value.is_array() {
                    self.fault(at, "a span is two numbers", advice);
                }
                Span::WHOLE
            }
        }
    }

    fn motif(&mut self, at: &At<'_>, value: &Value) -> Motif {
        let Some(members) = value.as_object() else {
            self.fault(at, format!("this is {}, not a motif", described(value)), MOTIF);
            return Motif::STEADY;
        };
        let Some(name) = members.get("name") else {
            self.fault(&at.child("name"), "the motif has no name", MOTIF);
            return Motif::STEADY;
        };
        let at_name = at.child("name");
        let motif_name = self
            .text(&at_name, name, MOTIF)
            .map_or(MotifName::Steady, |text| self.made(&at_name, text.parse(), MotifName::Steady, MOTIF));
        let mut motif = Motif::new(motif_name);
        for (name, value) in members {
            let at = at.child(name);
            match name.as_str() {
                "name" => {}
                "seconds" => {
                    let advice = "write the period in seconds, such as 4";
                    if let Some(n) = self.number(&at, value, advice) {
                        motif.seconds = self.made(&at, Seconds::new(n), motif.seconds, advice);
                    }
                }
                "width" => motif.width = self.fraction(&at, value, motif.width),
                "softness" => motif.softness = self.fraction(&at, value, motif.softness),
                "toward" => {
                    let advice = "write \"end\" or \"start\"";
                    if let Some(text) = self.text(&at, value, advice) {
                        motif.toward = self.made(&at, text.parse(), Toward::End, advice);
                    }
                }
                "seed" => {
                    let advice = "write a whole number from 0 to 65535";
                    match whole(value) {
                        Some(n) => motif.seed = self.made(&at, Motif::seed(n), 0, advice),
                        None => self.fault(&at, format!("this is {}, not a whole number", described(value)), advice),
                    }
                }
                _ => self.advise(&at, format!("{name} is not known to sconced; it is kept for the firmware as it is")),
            }
        }
        motif
    }

    fn fraction(&mut self, at: &At<'_>, value: &Value, otherwise: Fraction) -> Fraction {
        let advice = "write 0 to 1, such as 0.25";
        self.number(at, value, advice).map_or(otherwise, |n| self.made(at, Fraction::new(n), otherwise, advice))
    }
}

/// A whole number in whatever spelling: 3, 3.0, 3e0.
fn whole(value: &Value) -> Option<i64> {
    #[expect(clippy::cast_possible_truncation, reason = "checked to be whole and far inside the range")]
    let spelled = |n: f64| (n.fract() == 0.0 && n.abs() < 1e9).then_some(n as i64);
    value.as_i64().or_else(|| spelled(value.as_f64()?))
}
