//! A look told by fewer colours, for a message that has no room for all of them.

use crate::{Compiled, MotifName};

impl Compiled {
    /// The same look told by so many colours, in place of more: those that the strip would have where the fewer ones will
    /// be. They are spread from end to end, but for `wander`, which goes round and joins the last to the first.
    #[must_use]
    pub fn told_by(mut self, count: usize) -> Self {
        if count < self.channels.len() {
            self.channels = fewer(&self.channels, count, self.motif.name);
        }
        self
    }
}

fn fewer(colours: &[Vec<u16>], count: usize, motif: MotifName) -> Vec<Vec<u16>> {
    let (many, few) = (as_u64(colours.len()), as_u64(count));
    // in parts of the way from one colour to the next
    let (way, parts) = match motif {
        MotifName::Wander => (many, few.max(1)),
        _ => (many.saturating_sub(1), few.saturating_sub(1).max(1)),
    };
    (0..few)
        .map(|index| {
            let at = index.saturating_mul(way);
            let (before, after) = (at.checked_div(parts).unwrap_or(0), at.checked_rem(parts).unwrap_or(0));
            mixed(colour(colours, before), colour(colours, before + 1), after, parts)
        })
        .collect()
}

fn as_u64(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

/// The colour at a place of the list, which goes round.
fn colour(colours: &[Vec<u16>], at: u64) -> &[u16] {
    colours.iter().cycle().nth(usize::try_from(at).unwrap_or(0)).map_or(&[], Vec::as_slice)
}

/// So many parts of the way from one colour to another, rounded half up.
fn mixed(from: &[u16], to: &[u16], part: u64, parts: u64) -> Vec<u16> {
    let channel = |(from, to): (&u16, &u16)| {
        let sum = u64::from(*from) * (parts - part) + u64::from(*to) * part;
        u16::try_from((sum + parts / 2) / parts).unwrap_or(u16::MAX)
    };
    from.iter().zip(to).map(channel).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn greys(list: &[u16]) -> Vec<Vec<u16>> {
        list.iter().map(|grey| vec![*grey; 3]).collect()
    }

    #[test]
    fn the_ends_stay_and_what_lies_between_is_taken_where_it_would_be() {
        let eight = greys(&[0, 100, 200, 300, 400, 500, 600, 700]);
        assert_eq!(fewer(&eight, 3, MotifName::Steady), greys(&[0, 350, 700]));
        assert_eq!(fewer(&eight, 7, MotifName::Swell), greys(&[0, 117, 233, 350, 467, 583, 700]));
        assert_eq!(fewer(&eight, 8, MotifName::Steady), eight);
        assert_eq!(fewer(&eight, 1, MotifName::Steady), greys(&[0]));
    }

    #[test]
    fn colours_that_go_round_are_taken_all_the_way_round() {
        let four = greys(&[0, 100, 200, 300]);
        assert_eq!(fewer(&four, 2, MotifName::Wander), greys(&[0, 200]));
        // the third is a third of the way from 200 to 300
        assert_eq!(fewer(&four, 3, MotifName::Wander), greys(&[0, 133, 267]));
        assert_eq!(fewer(&greys(&[0, 600]), 1, MotifName::Wander), greys(&[0]));
    }

    #[test]
    fn nothing_comes_of_nothing() {
        assert_eq!(fewer(&[], 0, MotifName::Steady), Vec::<Vec<u16>>::new());
        assert_eq!(fewer(&[], 2, MotifName::Wander), vec![Vec::<u16>::new(); 2]);
    }
}
