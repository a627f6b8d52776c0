//! The cautions that stand beside the numbers of every budget.

use super::answer::{Caution, CautionAbout};

/// All of them, the most general first. They do not depend on the sheet: none of them is ever out of place.
pub(super) fn cautions() -> Vec<Caution> {
    use CautionAbout::{All, Capacitor, Current, Data, Heat, Mains};
    [
        (
            All,
            "This is arithmetic on what the build sheet says. Local codes and a licensed electrician decide; measure \
             what you build.",
        ),
        (
            Mains,
            "Work on nothing that is live: unplug, and see that it is dead. Leave the mains side of a supply to a \
             licensed electrician; use a certified isolated (SELV) supply in its case.",
        ),
        (
            Mains,
            "Outdoors and where it is wet: residual current device of 30 mA or less, ingress protection that fits the \
             place, connections above standing water and sealed.",
        ),
        (
            Current,
            "Low voltage does not shock but burns: a short of some amps sets wire alight. Put a fuse into the plus, as \
             near to the supply as can be, sized for the thinnest conductor and weakest connector behind it.",
        ),
        (
            Current,
            "The ceiling is kept by software. A controller that hangs leaves what is latched, up to full white: the \
             fuse protects, the ceiling only comforts.",
        ),
        (Current, "Never join the plus of two supplies. Join all minus conductors, and those before the data line."),
        (
            Heat,
            "Run it at full white for an hour where it will live and feel it: what is too hot to hold is too hot. Keep \
             it from cloth, paper, straw and closed foam, and never run it rolled up.",
        ),
        (
            Capacitor,
            "Capacitors hold charge after switching off: wait, then measure. Mind the polarity, and choose a voltage \
             rating well above the supply's.",
        ),
        (
            Data,
            "Never drive data into a strip without power: it feeds itself through the data input and its first pixel \
             dies. Power first or together; controller off or data low before power goes.",
        ),
    ]
    .into_iter()
    .map(|(about, text)| Caution { about, text: text.to_owned() })
    .collect()
}
