//! Golden frames: what any port of the rendering must give, in `vectors/frames.json`, which `vectors/README.md` explains.
//!
//! `UPDATE_VECTORS=1 cargo test -p device --test pictures golden` writes the file anew.

use std::fmt::Write as _;

use device::{Chip, Currents, DeviceLook, Layout, Motif, MotifName, Now, Order, Output, Player, Run, Toward};

const PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/vectors/frames.json");
const UNIX: u64 = 1_764_060_001_234;
const WHOLE: [u16; 2] = [0, u16::MAX];

fn look_json(look: &DeviceLook) -> String {
    let colours: Vec<String> = look.colours().map(|colour| format!("{colour:?}")).collect();
    let motif = look.motif();
    let moves = match motif.name {
        MotifName::Steady => "[\"steady\"]".to_owned(),
        name => format!(
            "[\"{}\", {}, {}, {}, \"{}\", {}]",
            name.as_str(),
            motif.period_ms,
            motif.width,
            motif.softness,
            motif.toward.as_str(),
            motif.seed
        ),
    };
    let (span, floor) = (look.span(), look.floor());
    format!("{{\"colours\": [{}], \"span\": {span:?}, \"motif\": {moves}, \"floor\": {floor:?}}}", colours.join(", "))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut hex, byte| {
        write!(hex, "{byte:02x}").unwrap();
        hex
    })
}

/// How a strip is built.
#[derive(Clone)]
struct Build {
    chip: Chip,
    order: Order,
    pixels: u32,
    skip: u32,
    runs: Vec<Run>,
    balance: [u16; 4],
    global: u8,
}

impl Build {
    fn of(chip: Chip, pixels: u32) -> Self {
        Self { chip, order: chip.order(), pixels, skip: 0, runs: Vec::new(), balance: [1_000; 4], global: 31 }
    }

    fn output(&self) -> Output<'_> {
        Output::new(self.chip, Layout::new(self.skip, self.pixels, &self.runs))
            .with_order(self.order)
            .with_balance(self.balance)
            .with_global(self.global)
    }

    fn frame(&self, look: &DeviceLook, unix_ms: u64) -> Vec<u8> {
        let output = self.output();
        let mut out = vec![0; output.bytes()];
        output.frame(look, unix_ms, &mut out).unwrap();
        out
    }

    fn json(&self) -> String {
        format!(
            "{{\"chip\": \"{}\", \"order\": \"{}\", \"pixels\": {}, \"skip\": {}, \"runs\": {:?}, \"balance\": {:?}, \
             \"global\": {}}}",
            self.chip.name(),
            self.order,
            self.pixels,
            self.skip,
            self.runs,
            self.balance,
            self.global
        )
    }
}

fn three() -> [[u16; 4]; 3] {
    [[65_535, 9_000, 0, 0], [1_200, 50_000, 700, 0], [300, 0, 40_000, 0]]
}

fn frames() -> Vec<String> {
    let mut cases: Vec<(Build, DeviceLook, u64)> = Vec::new();
    let plain = |pixels| Build::of(Chip::Ws2811, pixels);
    for name in MotifName::ALL {
        let usual = DeviceLook::new(&three(), WHOLE, Motif { seed: 7, ..Motif::new(name) });
        cases.push((plain(16), usual, UNIX));
        cases.push((plain(16), usual, UNIX + 777));
        for pixels in [1, 2] {
            cases.push((plain(pixels), usual, UNIX));
        }
        let other =
            Motif { period_ms: 1_501, width: 40_000, softness: 60_000, toward: Toward::Start, seed: 65_535, name };
        cases.push((plain(11), DeviceLook::new(&three(), [9_000, 50_000], other), UNIX));
        let hard = Motif { period_ms: 0, width: 0, softness: 0, ..Motif::new(name) };
        let floored = DeviceLook::new(&three()[1..], WHOLE, hard).with_floor([900, 300, 0, 0]);
        cases.push((plain(9), floored, 9_007_199_254_740_991));
    }
    let spread = DeviceLook::new(&three(), WHOLE, Motif::STEADY);
    cases.push((plain(0), spread, 0));
    for chip in Chip::ALL {
        let white = DeviceLook::new(&[[65_535, 32_768, 128, 129], [0, 1, 2, 65_535]], WHOLE, Motif::STEADY);
        cases.push((Build::of(chip, 3), white, 0));
    }
    let folded = Build { skip: 1, runs: vec![[0, 2], [6, 4], [9, 7]], ..Build::of(Chip::Ws2812b, 8) };
    cases.push((folded.clone(), spread, 0));
    cases.push((Build { balance: [1_000, 820, 655, 0], order: Order::RGB, ..folded }, spread, 0));
    cases.push((Build { global: 5, skip: 2, ..Build::of(Chip::Sk9822, 17) }, spread, 0));
    cases
        .into_iter()
        .map(|(build, look, unix_ms)| {
            let bytes = hex(&build.frame(&look, unix_ms));
            let (build, look) = (build.json(), look_json(&look));
            format!(
                "{{\"build\": {build},\n     \"look\": {look},\n     \"unix_ms\": {unix_ms}, \"bytes\": \"{bytes}\"}}"
            )
        })
        .collect()
}

fn ceilings() -> Vec<String> {
    let usual = Currents { channels: [2_000, 2_000, 2_000, 2_000], idle: 100 };
    let builds = [
        Build::of(Chip::Ws2812b, 5),
        Build { global: 9, ..Build::of(Chip::Apa102, 5) },
        Build { skip: 1, ..Build::of(Chip::Sk6812rgbw, 4) },
    ];
    let look = DeviceLook::new(&[[65_535, 20_000, 900, 30_000], [9_000, 65_535, 65_535, 0]], WHOLE, Motif::STEADY);
    let mut cases = Vec::new();
    for (build, currents) in
        builds.iter().zip([usual, usual, Currents { channels: [1_850, 1_900, 1_723, 2_011], idle: 61 }])
    {
        for ceiling in [0, 4, 47, 110, 60_000] {
            let mut bytes = build.frame(&look, 0);
            let drawn = build.output().limit(&mut bytes, &currents, ceiling);
            cases.push(format!(
                "{{\"build\": {},\n     \"look\": {},\n     \"channels\": {:?}, \"idle\": {}, \"ceiling_milliamps\": \
                 {ceiling},\n     \"wanted\": {}, \"drawn\": {}, \"factor\": {}, \"bytes\": \"{}\"}}",
                build.json(),
                look_json(&look),
                currents.channels,
                currents.idle,
                drawn.wanted,
                drawn.drawn,
                drawn.factor,
                hex(&bytes)
            ));
        }
    }
    cases
}

/// An uptime, and the look that is set then with its fade; without one, the picture is looked at.
type Step = (u64, Option<(DeviceLook, u32)>);

/// What happens to a strip of three pixels: a look and its fade at an uptime, or a picture that is looked at.
fn crossings() -> Vec<String> {
    let calm = DeviceLook::new(&three(), WHOLE, Motif::STEADY);
    let moving = DeviceLook::new(&three(), WHOLE, Motif::new(MotifName::Travel));
    let floor = DeviceLook::dark().with_floor([500, 400, 300, 0]);
    let courses: [&[Step]; 4] = [
        &[(5_000, Some((calm, 2_000))), (5_000, None), (5_700, None), (6_999, None), (7_000, None)],
        &[
            (0, Some((calm, 800))),
            (500, Some((moving, 1_000))),
            (899, None),
            (900, None),
            (1_300, None),
            (1_900, None),
            (2_299, None),
            (2_300, None),
            (2_400, None),
        ],
        &[
            (0, Some((moving, 0))),
            (50, Some((floor, 0))),
            (60, Some((calm, 0))),
            (449, None),
            (450, None),
            (1_450, Some((floor, 5_000))),
            (3_000, Some((moving, 4_000))),
            (4_000, None),
            (9_000, None),
        ],
        &[(0, Some((moving, u32::MAX))), (10, Some((moving, 0))), (90_000, None), (u64::from(u32::MAX), None)],
    ];
    let mut cases = Vec::new();
    for course in courses {
        let mut room = [[0; 4]; 3];
        let mut player = Player::new(&mut room);
        let steps: Vec<String> = course
            .iter()
            .map(|(uptime_ms, set)| {
                let now = Now { unix_ms: UNIX + uptime_ms, uptime_ms: *uptime_ms };
                let when = format!("\"uptime_ms\": {uptime_ms}, \"unix_ms\": {}", now.unix_ms);
                match set {
                    Some((look, fade_ms)) => {
                        player.set(*look, *fade_ms, now);
                        format!("      {{{when}, \"set\": {}, \"fade_ms\": {fade_ms}}}", look_json(look))
                    }
                    None => {
                        let picture: Vec<[u16; 4]> = player.pixels(now).collect();
                        format!("      {{{when}, \"picture\": {picture:?}}}")
                    }
                }
            })
            .collect();
        cases.push(format!("{{\"pixels\": 3, \"steps\": [\n{}]}}", steps.join(",\n")));
    }
    cases
}

fn file() -> String {
    let list = |cases: Vec<String>| cases.join(",\n    ");
    format!(
        "{{\n  \"about\": \"Golden frames; README.md beside this file explains them. Written by the device crate's \
         tests.\",\n  \"frames\": [\n    {}\n  ],\n  \"ceilings\": [\n    {}\n  ],\n  \"crossings\": [\n    {}\n  ]\n}}\n",
        list(frames()),
        list(ceilings()),
        list(crossings())
    )
}

#[test]
fn the_golden_frames_are_what_is_rendered() {
    let rendered = file();
    if std::env::var_os("UPDATE_VECTORS").is_some() {
        std::fs::write(PATH, &rendered).unwrap();
    }
    let kept = std::fs::read_to_string(PATH).unwrap();
    for (number, (kept, rendered)) in kept.lines().zip(rendered.lines()).enumerate() {
        assert_eq!(kept, rendered, "line {} of {PATH}; if the change is meant, see vectors/README.md", number + 1);
    }
    assert_eq!(kept.len(), rendered.len());
}
