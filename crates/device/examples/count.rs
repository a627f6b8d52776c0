//! Renders one frame, for counting its instructions:
//! `valgrind --tool=callgrind --toggle-collect='count::one_frame*' target/release/examples/count glint 144`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::print_stdout)]

use device::{Chip, DeviceLook, Layout, Motif, MotifName, Now, Output, Player};
use std::hint::black_box;

#[inline(never)]
fn one_frame(output: &Output<'_>, look: &DeviceLook, unix_ms: u64, out: &mut [u8]) -> Option<usize> {
    output.frame(look, unix_ms, out)
}

#[inline(never)]
fn one_frame_of_a_crossing(output: &Output<'_>, player: &Player<'_>, now: Now, out: &mut [u8]) -> Option<usize> {
    output.write(player.pixels(now), out)
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let name = arguments.next().expect("a motif, or crossing");
    let pixels: u32 = arguments.next().expect("a number of pixels").parse().expect("a number of pixels");
    let eight =
        [0_u16, 9_000, 18_000, 27_000, 36_000, 45_000, 54_000, 63_000].map(|duty| [duty, 65_535 - duty, 500, 0]);
    let output = Output::new(Chip::Ws2812b, Layout::straight(0, pixels));
    let mut out = vec![0; output.bytes()];
    let look = |name| DeviceLook::new(&eight, [0, u16::MAX], Motif { seed: 7, ..Motif::new(name) });
    if name == "crossing" {
        let mut room = vec![[0; 4]; output.layout().picture()];
        let mut player = Player::new(&mut room);
        player.set(look(MotifName::Glint), 2_000, Now { unix_ms: 1_764_060_000_000, uptime_ms: 0 });
        let now = Now { unix_ms: 1_764_060_000_900, uptime_ms: 900 };
        one_frame_of_a_crossing(&output, black_box(&player), now, &mut out).expect("room");
    } else {
        let name = MotifName::parse(&name).expect("the name of a motif");
        one_frame(&output, black_box(&look(name)), black_box(1_764_060_001_234), &mut out).expect("room");
    }
    println!("{}", out.iter().map(|byte| u64::from(*byte)).sum::<u64>());
}
