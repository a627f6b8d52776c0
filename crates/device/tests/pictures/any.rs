//! Any look.

use device::{DARK, DeviceLook, Duty, Motif, MotifName, Toward};
use proptest::prelude::*;

fn channel() -> impl Strategy<Value = u16> {
    prop_oneof![3 => any::<u16>(), 1 => Just(0), 2 => Just(u16::MAX)]
}

pub(crate) fn duty() -> impl Strategy<Value = Duty> {
    (channel(), channel(), channel(), prop_oneof![Just(0), channel()]).prop_map(|(r, g, b, w)| [r, g, b, w])
}

pub(crate) fn name() -> impl Strategy<Value = MotifName> {
    proptest::sample::select(MotifName::ALL.as_slice())
}

/// Periods lie close to the shortest, where most could go wrong.
pub(crate) fn motif() -> impl Strategy<Value = Motif> {
    let period = prop_oneof![4 => 0_u32..2_500, 1 => 0_u32..3_600_001, 1 => any::<u32>()];
    (name(), period, channel(), channel(), any::<bool>(), any::<u16>()).prop_map(
        |(name, period_ms, width, softness, start, seed)| {
            let toward = if start { Toward::Start } else { Toward::End };
            Motif { name, period_ms, width, softness, toward, seed }
        },
    )
}

pub(crate) fn span() -> impl Strategy<Value = [u16; 2]> {
    prop_oneof![2 => Just([0, u16::MAX]), 1 => any::<[u16; 2]>()]
}

pub(crate) fn look() -> impl Strategy<Value = DeviceLook> {
    let floor = prop_oneof![2 => Just(DARK), 1 => duty()];
    let look = (proptest::collection::vec(duty(), 0..10), span(), motif(), floor);
    look.prop_map(|(colours, span, motif, floor)| DeviceLook::new(&colours, span, motif).with_floor(floor))
}

pub(crate) fn count() -> impl Strategy<Value = usize> {
    prop_oneof![Just(0_usize), Just(1), Just(2), 3_usize..40, Just(144)]
}

pub(crate) fn picture(look: &DeviceLook, unix_ms: u64, count: usize) -> Vec<Duty> {
    look.pixels(unix_ms, count).collect()
}
