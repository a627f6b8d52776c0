//! From JSON of any shape to the members of a build sheet, with every fault of shape told.

use super::checking;
use super::chips::Chip;
use super::error::{Fault, FaultKind};
use super::piece::Piece;
use super::sheet::{Feed, Layout, Named, Protection, SheetMembers};

/// Reads and checks a sheet.
pub(super) fn sheet(piece: Piece) -> Result<SheetMembers, Vec<Fault>> {
    let mut faults = Vec::new();
    let Some(mut top) = Object::open(String::new(), piece, &mut faults) else {
        return Err(faults);
    };
    let chip = top.name::<Chip>("chip", &mut faults);
    let chip_missing = chip.is_none() && !faults.iter().any(|fault| fault.pointer == "/chip");
    let pixels = top.whole("pixels", &mut faults);
    let pixels_missing = pixels.is_none() && !faults.iter().any(|fault| fault.pointer == "/pixels");
    if chip_missing {
        let names: Vec<_> = Chip::ALL.iter().map(|(name, _)| *name).collect();
        let mend = format!("write the chip's name: {}", names.join(", "));
        faults.push(fault("/chip", FaultKind::Missing, "the chip is not named".to_owned(), mend));
    }
    if pixels_missing {
        let mend = "write how many pixels the strip has, such as 144".to_owned();
        faults.push(fault("/pixels", FaultKind::Missing, "the number of pixels is missing".to_owned(), mend));
    }
    let members = SheetMembers {
        // A stand-in where there is none: only what does not depend on it is checked then.
        chip: chip.unwrap_or(Chip::Ws2812b),
        pixels: pixels.unwrap_or(1),
        pixels_per_metre: top.number("pixels_per_metre", &mut faults),
        volts: top.number("volts", &mut faults),
        supply_amps: top.number("supply_amps", &mut faults),
        supply_limit_amps: top.number("supply_limit_amps", &mut faults),
        supplies: top.whole("supplies", &mut faults),
        supply_efficiency: top.number("supply_efficiency", &mut faults),
        fuse_amps: top.number("fuse_amps", &mut faults),
        channel_milliamps: top.number("channel_milliamps", &mut faults),
        idle_milliamps: top.number("idle_milliamps", &mut faults),
        controller_milliamps: top.number("controller_milliamps", &mut faults),
        measured_white_amps: top.number("measured_white_amps", &mut faults),
        rail_ohms_per_metre: top.number("rail_ohms_per_metre", &mut faults),
        rail_amps: top.number("rail_amps", &mut faults),
        feed: top.object("feed", &mut faults).map(|object| feed(object, &mut faults)),
        capacitor_microfarads: top.number("capacitor_microfarads", &mut faults),
        inrush_limiter: top.flag("inrush_limiter", &mut faults),
        data_volts: top.number("data_volts", &mut faults),
        data_metres: top.number("data_metres", &mut faults),
        series_ohms: top.number("series_ohms", &mut faults),
        clock_hertz: top.number("clock_hertz", &mut faults),
        relay: top.flag("relay", &mut faults),
        mounting: top.name("mounting", &mut faults),
        enclosure: top.name("enclosure", &mut faults),
        ambient_celsius: top.number("ambient_celsius", &mut faults),
        place: top.name("place", &mut faults),
        protection: top.object("protection", &mut faults).map(|object| protection(object, &mut faults)),
        layout: top.object("layout", &mut faults).map(|object| layout(object, &mut faults)),
    };
    top.close(&mut faults);
    faults.extend(checking::faults(&members, chip.is_some(), pixels.is_some()));
    if faults.is_empty() { Ok(members) } else { Err(faults) }
}

fn feed(mut object: Object, faults: &mut Vec<Fault>) -> Feed {
    let feed = Feed {
        mm2: object.number("mm2", faults),
        awg: object.whole("awg", faults),
        metres: object.number("metres", faults),
        points: object.list("points", faults, |pointer, piece, faults| number_of(pointer, &piece, faults)),
        connector_amps: object.number("connector_amps", faults),
        fuse_amps: object.number("fuse_amps", faults),
    };
    object.close(faults);
    feed
}

fn protection(mut object: Object, faults: &mut Vec<Fault>) -> Protection {
    let protection = Protection {
        selv: object.flag("selv", faults),
        rcd: object.flag("rcd", faults),
        ip: object.text("ip", faults),
    };
    object.close(faults);
    protection
}

fn layout(mut object: Object, faults: &mut Vec<Fault>) -> Layout {
    let layout = Layout {
        skip: object.whole("skip", faults),
        runs: object.list("runs", faults, run_of),
        outputs: object.whole("outputs", faults),
        order: object.text("order", faults),
        white_balance: object
            .list("white_balance", faults, |pointer, piece, faults| number_of(pointer, &piece, faults)),
    };
    object.close(faults);
    layout
}

fn run_of(pointer: &str, piece: Piece, faults: &mut Vec<Fault>) -> Option<[u32; 2]> {
    let described = piece.described();
    if let Piece::List(ends) = piece
        && let [first, last] = ends.as_slice()
    {
        let first = whole_of(&format!("{pointer}/0"), first, faults);
        let last = whole_of(&format!("{pointer}/1"), last, faults);
        return Some([first?, last?]);
    }
    faults.push(fault(
        pointer,
        FaultKind::WrongType,
        format!("{described} is no run"),
        "write its first and last pixel, such as [0, 143]".to_owned(),
    ));
    None
}

fn fault(pointer: &str, kind: FaultKind, text: String, mend: String) -> Fault {
    Fault { pointer: pointer.to_owned(), kind, text, mend }
}

fn number_of(pointer: &str, piece: &Piece, faults: &mut Vec<Fault>) -> Option<f64> {
    match piece {
        Piece::Nothing => None,
        Piece::Number(number) if number.is_finite() => Some(*number),
        other => {
            let text = format!("{} is no number", other.described());
            faults.push(fault(pointer, FaultKind::WrongType, text, "write a plain number without its unit".to_owned()));
            None
        }
    }
}

fn whole_of(pointer: &str, piece: &Piece, faults: &mut Vec<Fault>) -> Option<u32> {
    let number = number_of(pointer, piece, faults)?;
    if number.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&number) {
        return Some(number as u32);
    }
    let text = format!("{number} is no count");
    faults.push(fault(pointer, FaultKind::OutOfRange, text, "write a whole number that is not negative".to_owned()));
    None
}

/// An object whose members are taken one by one; what is left at the end is unknown.
struct Object {
    pointer: String,
    members: Vec<(String, Piece)>,
    known: Vec<&'static str>,
}

impl Object {
    fn open(pointer: String, piece: Piece, faults: &mut Vec<Fault>) -> Option<Self> {
        match piece {
            Piece::Members(members) => Some(Self { pointer, members, known: Vec::new() }),
            other => {
                let text = format!("{} is no object", other.described());
                faults.push(fault(&pointer, FaultKind::WrongType, text, "write an object with members".to_owned()));
                None
            }
        }
    }

    fn at(&self, key: &str) -> String {
        format!("{}/{}", self.pointer, key.replace('~', "~0").replace('/', "~1"))
    }

    /// The member, which is then gone; `null` counts as left out.
    fn take(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<Piece> {
        self.known.push(key);
        let mut found = None;
        while let Some(at) = self.members.iter().position(|(name, _)| name == key) {
            let (_, piece) = self.members.remove(at);
            if found.is_some() {
                let text = format!("\"{key}\" is given twice");
                faults.push(fault(&self.at(key), FaultKind::TwiceGiven, text, "keep one of the two".to_owned()));
            }
            found = Some(piece);
        }
        found.filter(|piece| *piece != Piece::Nothing)
    }

    fn number(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<f64> {
        let piece = self.take(key, faults)?;
        number_of(&self.at(key), &piece, faults)
    }

    fn whole(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<u32> {
        let piece = self.take(key, faults)?;
        whole_of(&self.at(key), &piece, faults)
    }

    fn flag(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<bool> {
        match self.take(key, faults)? {
            Piece::Flag(flag) => Some(flag),
            other => {
                let text = format!("{} is neither true nor false", other.described());
                faults.push(fault(&self.at(key), FaultKind::WrongType, text, "write true or false".to_owned()));
                None
            }
        }
    }

    fn text(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<String> {
        match self.take(key, faults)? {
            Piece::Text(text) => Some(text),
            other => {
                let text = format!("{} is no text", other.described());
                faults.push(fault(&self.at(key), FaultKind::WrongType, text, "write it in quotes".to_owned()));
                None
            }
        }
    }

    fn name<T: Named>(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<T> {
        let text = self.text(key, faults)?;
        let found = T::ALL.iter().find(|(name, _)| *name == text).map(|(_, value)| *value);
        if found.is_none() {
            let names: Vec<_> = T::ALL.iter().map(|(name, _)| *name).collect();
            let said = format!("there is no {key} \"{}\"", crate::error::excerpt(&text));
            let mend = format!("write one of {}", names.join(", "));
            faults.push(fault(&self.at(key), FaultKind::UnknownName, said, mend));
        }
        found
    }

    fn object(&mut self, key: &'static str, faults: &mut Vec<Fault>) -> Option<Object> {
        let piece = self.take(key, faults)?;
        Self::open(self.at(key), piece, faults)
    }

    fn list<T>(
        &mut self,
        key: &'static str,
        faults: &mut Vec<Fault>,
        each: impl Fn(&str, Piece, &mut Vec<Fault>) -> Option<T>,
    ) -> Option<Vec<T>> {
        let pointer = self.at(key);
        match self.take(key, faults)? {
            Piece::List(items) => {
                let empty = items.is_empty();
                let mut list = Vec::with_capacity(items.len());
                for (index, item) in items.into_iter().enumerate() {
                    let place = format!("{pointer}/{index}");
                    if item == Piece::Nothing {
                        let mend = "write a value or leave the place out".to_owned();
                        faults.push(fault(&place, FaultKind::WrongType, "null is no value here".to_owned(), mend));
                        continue;
                    }
                    list.extend(each(&place, item, faults));
                }
                // Of a list whose every item has its fault told there is no more to say.
                Some(list).filter(|list| empty || !list.is_empty())
            }
            other => {
                let text = format!("{} is no list", other.described());
                faults.push(fault(&pointer, FaultKind::WrongType, text, "write a list in [ ]".to_owned()));
                None
            }
        }
    }

    fn close(self, faults: &mut Vec<Fault>) {
        for (name, _) in &self.members {
            let text = format!("\"{}\" is no member of a build sheet here", crate::error::excerpt(name));
            let mend = format!("write one of {}", self.known.join(", "));
            faults.push(fault(&self.at(name), FaultKind::UnknownMember, text, mend));
        }
    }
}
